package main

import (
	"fmt"
	"runtime"
	"runtime/debug"
	"strings"

	"github.com/alecthomas/kong"
)

// Set by the linker for a release (.ci/release). version is a semantic version.
var version, commit, date = "0.1.0-dev", "", ""

// A build says which program this is.
type build struct {
	Version string `json:"version"`
	Prints  int    `json:"json_version"`     // of what commands print with --json: doc/json.md
	Commit  string `json:"commit,omitempty"` // empty: not known
	Date    string `json:"date,omitempty"`   // of the commit, RFC 3339
	Go      string `json:"go"`
	System  string `json:"system"`
}

// jsonVersion is that of what commands print with --json. A later one only adds names;
// where a name goes or changes its meaning, it gets a new number.
const jsonVersion = 1

// thisBuild takes what nobody stamped from what the compiler wrote down, if it
// was run in a clone.
func thisBuild() build {
	b := build{version, jsonVersion, commit, date, runtime.Version(), runtime.GOOS + "/" + runtime.GOARCH}
	if info, ok := debug.ReadBuildInfo(); ok && b.Commit == "" {
		for _, s := range info.Settings {
			switch s.Key {
			case "vcs.revision":
				b.Commit = s.Value
			case "vcs.time":
				b.Date = s.Value
			}
		}
	}
	return b
}

func (b build) String() string {
	about := []string{b.Go, b.System}
	if b.Commit != "" {
		day, _, _ := strings.Cut(b.Date, "T")
		about = append([]string{strings.TrimSpace("commit " + b.Commit[:min(12, len(b.Commit))] + " " + day)}, about...)
	}
	return "wetside " + b.Version + " (" + strings.Join(about, ", ") + ")"
}

// VersionCmd prints the version.
type VersionCmd struct {
	JSON bool `help:"As JSON." name:"json"`
}

// Help shows how it is used.
func (VersionCmd) Help() string {
	return `Examples:

  wetside version
  wetside version --json`
}

// Run prints the version.
func (c VersionCmd) Run(h *host) error {
	if c.JSON {
		return h.json(thisBuild())
	}
	_, err := fmt.Fprintln(h.out, thisBuild())
	return err
}

// versionFlag is --version, which may stand before anything that is wrong.
type versionFlag bool

// BeforeReset prints the version in place of whatever else was asked for.
func (versionFlag) BeforeReset(app *kong.Kong) error {
	fmt.Fprintln(app.Stdout, thisBuild())
	app.Exit(0)
	return nil
}
