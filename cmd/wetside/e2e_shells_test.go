//go:build unix

package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"wetside/session/sessiontest"
)

// The shells themselves complete a command line, a key of a profile, a value
// behind = and the number of a sheet: bash and zsh at a prompt, by the tab key.
func TestShellsComplete(t *testing.T) {
	t.Parallel()
	sessiontest.Need(t, "zsh", "fish", "tmux")
	h := newHome(t)
	bin := filepath.Dir(binary(t))
	h.env = append(h.env, "PATH="+bin+":"+os.Getenv("PATH"), "PS1=ready> ", "PROMPT=ready> ", "ZDOTDIR="+h.dir)
	if err := theWorkshop(&host{data: h.data(), now: func() time.Time { return scriptNow }}); err != nil {
		t.Fatal(err)
	}
	for shell, name := range map[string]string{"bash": ".bashrc", "zsh": ".zshrc"} {
		rc := "PS1='ready> '\n"
		if shell == "zsh" {
			rc += "autoload -Uz compinit && compinit -u\n"
		}
		if err := os.WriteFile(filepath.Join(h.dir, name), []byte(rc+h.wetside(t, "completion", shell)), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	lines := []struct{ typed, whole string }{
		{"wetside profiles sh", "wetside profiles show "},
		{"wetside pinhole --camera tea", "wetside pinhole --camera tea-caddy "},
		{"wetside pinhole --camera=hat", "wetside pinhole --camera=hat-box "},
		{"wetside sheet 2026", "wetside sheet 2026-05-02/1 "},
	}
	t.Run("fish", func(t *testing.T) {
		script := h.wetside(t, "completion", "fish")
		for _, l := range lines {
			cmd := exec.Command("fish", "--no-config", "-c", fmt.Sprintf("%s\ncomplete -C %q", script, l.typed))
			cmd.Env = append(os.Environ(), h.env...)
			out, err := cmd.Output()
			last := strings.Fields(l.whole)
			word, _, _ := strings.Cut(strings.TrimSpace(string(out)), "\t")
			if err != nil || word != last[len(last)-1] {
				t.Errorf("%q: %q, %v", l.typed, out, err)
			}
		}
	})
	for shell, start := range map[string][]string{"bash": {"bash", "--rcfile", filepath.Join(h.dir, ".bashrc"), "-i"}, "zsh": {"zsh", "-i"}} {
		t.Run(shell, func(t *testing.T) {
			in := h
			in.dir = t.TempDir()
			p := newPaneOf(t, in, 80, 24, start)
			p.wait("ready>")
			for _, l := range lines {
				p.keys("-l", l.typed)
				p.keys("Tab")
				p.keys("-l", "X") // what comes next stands behind a space
				p.wait("ready> " + l.whole + "X")
				p.keys("C-u")
				p.keys("-l", " clear")
				p.keys("Enter")
			}
		})
	}
}
