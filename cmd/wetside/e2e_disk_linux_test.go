package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"wetside/session/sessiontest"
)

// fullDisk puts the whole home on a small disk of its own, and returns what
// fills it and what makes room again.
func fullDisk(t *testing.T, h home) (fill, free func()) {
	t.Helper()
	if os.Geteuid() != 0 {
		sessiontest.Skip(t, "a small disk cannot be mounted", "run as root on Linux")
	}
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", h.dir).CombinedOutput(); err != nil {
		sessiontest.Skip(t, "a small disk cannot be mounted: "+string(out), "run with CAP_SYS_ADMIN")
	}
	t.Cleanup(func() {
		if out, err := exec.Command("umount", "-l", h.dir).CombinedOutput(); err != nil {
			t.Errorf("%s", out)
		}
	})
	ballast := filepath.Join(h.dir, "ballast")
	return func() {
		f, err := os.OpenFile(ballast, os.O_CREATE|os.O_WRONLY|os.O_APPEND, 0o600)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		for n := 1 << 16; n > 0; {
			if _, err := f.Write(make([]byte, n)); err != nil {
				n /= 16
			}
		}
	}, func() { _ = os.Remove(ballast) }
}

// Who quits while the disk refuses is told before it what will be lost, and
// after it the same, once, and nothing that says otherwise. Paper was asked
// about already, and is not asked about again. When the disk takes the events
// in time, neither is said.
func TestQuittingWhileTheDiskRefuses(t *testing.T) {
	for _, x := range []struct {
		name   string
		killed bool // from outside, not by the key
		room   bool // is made before it is answered
	}{{name: "full"}, {name: "full, and killed", killed: true}, {name: "room in time", room: true}} {
		t.Run(x.name, func(t *testing.T) {
			t.Parallel()
			h := newHome(t)
			fill, free := fullDisk(t, h)
			p := newPane(t, h, 100, 24, "--sound", "none")
			if text := p.wait("light", "quit"); !strings.Contains(text, "sound off") || strings.Contains(text, "%") {
				t.Errorf("what is said of the sound that is switched off:\n%s", text)
			}
			p.keys("Enter")
			p.wait("sheet 1")
			p.keys("Tab", "Tab")
			p.wait("seen")
			p.keys("p")
			p.wait("PAPER IS OUT")
			fill()
			// A full disk still takes what fits into a page that is begun: mark
			// more than that. A key between keeps it from being one held down.
			for range 40 {
				p.keys("m", "Enter")
			}
			p.wait("kept in memory")
			p.keys("q")
			p.wait("not written yet, and lost if you quit", "covered?")
			// Every two seconds the disk is tried, and a few more may fit.
			var n []string
			since := time.Now()
			until(t, "the question says how many, and goes on saying so", func() bool {
				m := regexp.MustCompile(`(\d+) events are not written`).FindStringSubmatch(p.text())
				if m == nil || n == nil || m[1] != n[1] {
					n, since = m, time.Now()
				}
				return n != nil && time.Since(since) > 5*time.Second
			})
			if x.killed {
				pid, _ := strconv.Atoi(strings.TrimSpace(p.do("list-panes", "-F", "#{pane_pid}")))
				for range 2 { // the shell's keeper, the keeper's program
					pid = childOf(t, pid)
				}
				if err := syscall.Kill(pid, syscall.SIGTERM); err != nil {
					t.Fatal(err)
				}
				text := p.wait("Cover the paper", "events are lost")
				if !strings.Contains(text, "The last "+n[1]+" events") {
					t.Errorf("it asked about %s events, and says:\n%s", n[1], text)
				}
				if strings.Contains(text, "recorded before this is safe") {
					t.Errorf("it says that all is safe:\n%s", text)
				}
				p.keys("y")
				p.wait("status")
				return
			}
			if x.room {
				free()
				until(t, "the question no longer speaks of them", func() bool {
					text := p.text()
					return strings.Contains(text, "covered?") && !strings.Contains(text, "not written")
				})
			}
			p.keys("y")
			text := p.wait("status")
			lost := strings.Contains(strings.ReplaceAll(text, "\n", ""), "The last "+n[1]+" events are lost: they could not be written to "+h.data())
			if lost == x.room || strings.Contains(text, "safe") || strings.Contains(text, "Cover the paper") {
				t.Errorf("after quitting it says:\n%s", text)
			}
			if ok := strings.Contains(text, "status 0"); ok != x.room {
				t.Errorf("its status:\n%s", text)
			}
			if strings.Count(text, "could not be written") > 1 {
				t.Errorf("said twice:\n%s", text)
			}
		})
	}
}
