package ember

import (
	"os"
	"strings"
	"testing"
)

// A terminal is known by what it sets; a name that only looks like it, and whatever a
// multiplexer has inherited, is not.
func TestWindowIsNamed(t *testing.T) {
	for vars, want := range map[string]string{
		"TERM=xterm-256color VTE_VERSION=7600":            "a VTE terminal",
		"TERM=xterm XTERM_VERSION=XTerm(379)":             "xterm",
		"TERM=xterm-kitty KITTY_WINDOW_ID=1":              "kitty",
		"TERM=rxvt-unicode-256color":                      "rxvt",
		"TERM=st-256color":                                "st",
		"TERM=sterling":                                   "",
		"TERM=xterm-256color":                             "",
		"TERM=xterm-256color TERM_PROGRAM=Apple_Terminal": "the Mac's terminal",
		"TERM=xterm-256color TERM_PROGRAM=other":          "",
		"TERM=tmux-256color TMUX=/x,1,0 VTE_VERSION=7600": "",
		"TERM=xterm-256color told=XTerm(379)":             "xterm",
		"TERM=xterm-256color told=Other(1)":               "",
		"TERM=tmux-256color TMUX=/x told=XTerm(379)":      "",
		"TERM=screen KITTY_WINDOW_ID=1":                   "",
	} {
		env := map[string]string{}
		for _, v := range strings.Fields(vars) {
			k, is, _ := strings.Cut(v, "=")
			env[k] = is
		}
		name, press := Window(func(k string) string { return env[k] }, env["told"])
		if name != want || (press == "") != (want == "") {
			t.Errorf("%s: %q, %q", vars, name, press)
		}
	}
}

// README has the same table.
func TestReadmeHasTheWindows(t *testing.T) {
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, w := range terminals {
		if row := "| " + w.name + " | " + w.press + " | "; !strings.Contains(string(readme), row) {
			t.Errorf("no row %q", row)
		}
	}
}
