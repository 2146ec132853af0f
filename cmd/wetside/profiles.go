package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"wetside/profiles"
	"wetside/session/words"
)

// ProfilesCmd is about papers, processes and cameras.
type ProfilesCmd struct {
	List   ProfilesListCmd   `cmd:"" default:"1" help:"Papers, processes and cameras at hand."`
	Show   ProfilesShowCmd   `cmd:"" help:"One profile, as its file has it."`
	New    ProfilesNewCmd    `cmd:"" help:"Write a new one, to begin with."`
	Check  ProfilesCheckCmd  `cmd:"" help:"Read profiles and tell every fault with its line."`
	Edited ProfilesEditedCmd `cmd:"" help:"Say of a profile that was changed after its sheets: measured better, or another hole or box."`
	Bath   ProfilesBathCmd   `cmd:"" help:"Put a bath's capacity and life into a process, from its data sheet."`
}

// ProfilesListCmd lists.
type ProfilesListCmd struct {
	JSON bool `help:"As JSON." name:"json"`
}

// Help shows how it is used.
func (ProfilesListCmd) Help() string {
	return `Examples:

  wetside profiles
  wetside profiles list --json

Your own lie in the folder profiles of the configuration folder; one with the
key of a built-in profile takes its place, whole.`
}

// Run lists.
func (c *ProfilesListCmd) Run(h *host) error {
	type entry struct {
		Kind string `json:"kind"`
		Key  string `json:"key"`
		Name string `json:"name"`
		File string `json:"file,omitempty"` // empty: built in
	}
	var all []entry
	for _, src := range h.known().Sources(profiles.Kinds...) {
		e := entry{string(src.Kind), src.Key, src.Name, ""}
		if !src.Builtin {
			e.File = filepath.Join(h.config, "profiles", filepath.FromSlash(src.File))
		}
		all = append(all, e)
	}
	if c.JSON {
		return h.json(all)
	}
	var rows [][]string
	for _, e := range all {
		where := "built in"
		if e.File != "" {
			where = e.File
		}
		rows = append(rows, []string{e.Kind, e.Key, e.Name, where})
	}
	return h.table(rows)
}

// ProfilesShowCmd shows one.
type ProfilesShowCmd struct {
	Key string `arg:"" help:"Key of a paper, process or camera." complete:"profile"`
}

// Help shows how it is used.
func (ProfilesShowCmd) Help() string {
	return `Examples:

  wetside profiles show three-trays
  wetside profiles show tea-caddy > my-tin.toml`
}

// Run shows it.
func (c *ProfilesShowCmd) Run(h *host) error {
	shown := false
	var keys []string
	for _, src := range h.known().Sources(profiles.Kinds...) {
		if keys = append(keys, src.Key); src.Key != c.Key {
			continue
		}
		shown = true
		// Line by line: a file may hold control characters, a terminal should not.
		for line := range strings.Lines(string(src.Data)) {
			h.say("%s", strings.TrimRight(line, "\r\n"))
		}
	}
	if shown {
		return nil
	}
	if near := profiles.Near(c.Key, keys); len(near) > 0 {
		return advise("there is no profile %q; did you mean %s?", c.Key, strings.Join(near, " or "))
	}
	return advise("there is no profile %q; wetside profiles lists them", c.Key)
}

// ProfilesCheckCmd checks files.
type ProfilesCheckCmd struct {
	Files []string `arg:"" optional:"" name:"file" help:"Files to read; a folder stands for all its .toml files. Without one: all of your own."`
}

// Help shows how it is used.
func (ProfilesCheckCmd) Help() string {
	return `Examples:

  wetside profiles check
  wetside profiles check my-tin.toml
  wetside profiles check ~/.config/wetside/profiles

Each fault is one line, file:line: what is wrong and what would be right.`
}

// Run checks.
func (c *ProfilesCheckCmd) Run(h *host) error {
	own := h.profileFolder()
	if len(c.Files) == 0 {
		if _, err := os.Stat(own); errors.Is(err, fs.ErrNotExist) {
			h.say("you have no profiles of your own; they would lie in %s", own)
			return nil
		}
		c.Files = []string{own}
	}
	var files []string
	for _, f := range c.Files {
		in, err := profilesIn(f)
		if err != nil {
			return err
		}
		files = append(files, in...)
	}
	faults, bad := 0, 0
	for _, f := range files {
		data, err := readFile(f)
		if err != nil {
			return err
		}
		problems := profiles.CheckFile(f, data)
		for _, p := range problems {
			h.say("%s", p.Error())
		}
		if faults += len(problems); len(problems) > 0 {
			bad++
		} else {
			h.say("%s: good", f)
		}
	}
	switch {
	case len(files) == 0 && slices.Equal(c.Files, []string{own}):
		h.say("you have no profiles of your own in %s", own)
		return nil
	case len(files) == 0:
		return usage("there is no .toml file in %s", strings.Join(c.Files, ", "))
	case faults > 0:
		return fmt.Errorf("%s in %s; none of these would load", words.Count(faults, "fault"), words.Count(bad, "file"))
	}
	return nil
}

// profilesIn are the .toml files of a folder; a file is itself.
func profilesIn(name string) (files []string, err error) {
	st, err := os.Stat(name)
	if err != nil {
		return nil, usage("%s cannot be read; name a profile file that is there", name)
	}
	if !st.IsDir() {
		return []string{name}, nil
	}
	err = filepath.WalkDir(name, func(p string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() && strings.HasSuffix(p, ".toml") {
			files = append(files, p)
		}
		return err
	})
	return files, err
}

// ProfilesBathCmd edits what a bath can take.
type ProfilesBathCmd struct {
	Process  string   `arg:"" help:"Key of the process."`
	Bath     string   `arg:"" help:"Name of the bath in it, like \"fixer 1\"."`
	Capacity string   `help:"Paper a litre can take, like \"8000 cm2/l\" or \"40 sheets of 8x10 in/l\"." placeholder:"C"`
	Life     duration `help:"Hours in the tray, like 24h." placeholder:"TIME"`
	Source   string   `help:"Whose figures they are." default:"data sheet" placeholder:"WORDS"`
}

// Help shows how it is used.
func (ProfilesBathCmd) Help() string {
	return `Example:

  wetside profiles bath two-bath-fix "fixer 1" --capacity "40 sheets of 8x10 in/l" --life 24h

The figures go into your own copy of the process; all else in it stays.`
}

// Run edits.
func (c *ProfilesBathCmd) Run(h *host) error {
	set := h.known()
	p, err := set.Process(c.Process)
	if err != nil {
		return usageError{err}
	}
	b, err := p.Bath(c.Bath)
	if err != nil {
		return usageError{err}
	}
	if c.Capacity == "" && c.Life == 0 {
		return usage("say what the data sheet says: --capacity \"8000 cm2/l\", --life 24h, or both")
	}
	// What is not said stays.
	capacity, life := b.Capacity, time.Duration(b.Life)
	if c.Capacity != "" {
		if err := capacity.UnmarshalText([]byte(c.Capacity)); err != nil {
			return usageError{err}
		}
	}
	if c.Life > 0 {
		life = time.Duration(c.Life)
	}
	file, err := h.editProfile(set, profiles.ProcessKind, c.Process, func(data []byte) ([]byte, error) {
		return profiles.WithBathLimits(data, c.Bath, capacity, life, c.Source)
	})
	if err != nil {
		return err
	}
	h.say("%s of %s: %s, %s in the tray; kept in %s", c.Bath, c.Process, capacity, profiles.Duration(life), file)
	return nil
}

// ProfilesEditedCmd answers what is asked of a profile that has judged sheets.
type ProfilesEditedCmd struct {
	Key     string `arg:"" help:"Key of the camera or paper."`
	Better  bool   `help:"The same hole, the same box: its figures are known better now." xor:"which" required:""`
	Another bool   `help:"Another hole, another box: what was judged says little of it." xor:"which" required:""`
}

// Help shows how it is used.
func (ProfilesEditedCmd) Help() string {
	return `Examples:

  wetside profiles edited tea-caddy --better
  wetside profiles edited direct-positive-fb --another

The answer is kept in the profile's own file. With --better every judged sheet
goes on teaching; with --another the camera's hole, or the paper's box, is counted
one on, and what was judged before teaches the rest alone.`
}

// Run keeps the answer.
func (c *ProfilesEditedCmd) Run(h *host) error {
	plan, done, err := h.reckoner()
	if err != nil {
		return err
	}
	defer done()
	model, err := plan.Model()
	if err != nil {
		return err
	}
	var kind profiles.Kind
	var what, is string
	var number int
	var earlier, had []string
	if cam, err := plan.Set.Camera(c.Key); err == nil {
		kind, what, number = profiles.CameraKind, "hole", cam.HoleNo()
		earlier, had, is = cam.Earlier, cam.WordsOf(model.Sheets()), profiles.FNumberWord(cam.FNumber())
	} else if pap, err := plan.Set.Paper(c.Key); err == nil {
		kind, what, number = profiles.PaperKind, "box", pap.BoxNo()
		earlier, had, is = pap.Earlier, pap.WordsOf(model.Sheets()), pap.Speed()
	} else {
		return usage("%q is neither a camera nor a paper: wetside profiles lists them", c.Key)
	}
	known := slices.Clone(earlier)
	for _, was := range had {
		if was != is && !slices.Contains(known, was) {
			known = append(known, was)
		}
	}
	if c.Better && len(known) == len(earlier) {
		h.say("%s is as it was for every judged sheet: nothing to do", c.Key)
		return nil
	}
	file, err := h.editProfile(plan.Set, kind, c.Key, func(data []byte) ([]byte, error) {
		if c.Better {
			return profiles.WithBetter(data, kind, known)
		}
		return profiles.WithAnother(data, kind, number+1)
	})
	if err != nil {
		return err
	}
	if c.Better {
		h.say("%s: the same %s, known better; its sheets go on teaching; kept in %s", c.Key, what, file)
	} else {
		h.say("%s: %s %d from now on; kept in %s", c.Key, what, number+1, file)
	}
	return nil
}
