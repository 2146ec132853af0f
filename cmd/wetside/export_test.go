package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"wetside/session/notebook"
)

// Every format of export is in the help and in README, and is written by its name
// and by the ending of a file alike.
func TestEveryFormatOfExport(t *testing.T) {
	dir := t.TempDir()
	var out bytes.Buffer
	h := &host{data: dir, config: dir, state: dir, runtime: dir, ctx: t.Context(), in: strings.NewReader(""), out: &out, err: &out,
		now: func() time.Time { return scriptNow }, getenv: func(string) string { return "" }, terminal: func() (*os.File, *os.File, bool) { return nil, nil, false }}
	if err := theWorkshop(h); err != nil {
		t.Fatal(err)
	}
	wetside := func(args ...string) string {
		t.Helper()
		out.Reset()
		h.args = args
		if status := run(h); status != 0 {
			t.Errorf("%q ends with %d: %s", args, status, out.String())
		}
		return out.String()
	}
	help := wetside("export", "--help")
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	var line string
	for l := range strings.Lines(string(readme)) {
		if strings.HasPrefix(l, "| export |") {
			line = l
		}
	}
	for _, f := range notebook.Formats {
		if !strings.Contains(help, f.Name+" (") {
			t.Errorf("wetside export --help does not name %s", f.Name)
		}
		if !strings.Contains(line, strings.ToUpper(f.Name)) {
			t.Errorf("README does not name %s as a format of export", strings.ToUpper(f.Name))
		}
		file := filepath.Join(dir, "all."+f.Name)
		wetside("export", "-o", file)
		got, err := os.ReadFile(file)
		if named := wetside("export", "--format", f.Name); err != nil || string(got) != named || named == "" {
			t.Errorf("%s by its ending is not what --format %s gives: %v", file, f.Name, err)
		}
	}
}
