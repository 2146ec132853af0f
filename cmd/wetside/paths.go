package main

import "path/filepath"

// PathsCmd says where everything lies.
type PathsCmd struct {
	JSON bool `help:"As JSON." name:"json"`
}

// Help shows how it is used.
func (PathsCmd) Help() string {
	return `Examples:

  wetside paths
  wetside paths --json

It makes none of them. --data and --config choose others.`
}

// Run says it.
func (c *PathsCmd) Run(h *host) error {
	type path struct {
		Key  string `json:"key"`
		What string `json:"what"`
		Path string `json:"path"`
	}
	all := []path{
		{"notebook", "notebook, a journal in plain lines", h.notebookFile() + ".journal"},
		{"index", "its index", h.notebookFile()},
		{"logs", "logs of each day, for a spreadsheet", filepath.Join(h.data, "logs")},
		{"settings", "settings", filepath.Join(h.config, settingsFile)},
		{"profiles", "your papers, processes, cameras", filepath.Join(h.config, "profiles")},
		{"voices", "your recordings", filepath.Join(h.config, "voices")},
		{"state", "locks, lamps, a fog test that waits", h.state},
		{"spare", "what the notebook's folder refuses", filepath.Join(h.state, "notebook-*")},
	}
	if c.JSON {
		return h.json(all)
	}
	var rows [][]string
	for _, p := range all {
		rows = append(rows, []string{p.What, p.Path})
	}
	return h.table(rows)
}
