package main

import (
	"encoding/json"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"wetside/session"
	"wetside/session/sessiontest"
)

// fullDisk puts a folder on a small disk of its own, and returns what fills it
// and what makes room again.
func fullDisk(t *testing.T, dir string) (fill, free func()) {
	t.Helper()
	if os.Geteuid() != 0 {
		sessiontest.Skip(t, "a small disk cannot be mounted", "run as root on Linux")
	}
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", dir).CombinedOutput(); err != nil {
		sessiontest.Skip(t, "a small disk cannot be mounted: "+string(out), "run with CAP_SYS_ADMIN")
	}
	t.Cleanup(func() {
		if out, err := exec.Command("umount", "-l", dir).CombinedOutput(); err != nil {
			t.Errorf("%s", out)
		}
	})
	ballast := filepath.Join(dir, "ballast")
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

// readOnly returns what makes all in a folder immutable, and what undoes it.
func readOnly(t *testing.T, dir string) (refuse, relent func()) {
	t.Helper()
	if os.Geteuid() != 0 {
		sessiontest.Skip(t, "a folder cannot be made immutable", "run as root on Linux")
	}
	change := func(flag string) {
		if out, err := exec.Command("chattr", "-R", flag, dir).CombinedOutput(); err != nil {
			sessiontest.Skip(t, "a folder cannot be made immutable: "+string(out), "chattr (e2fsprogs) on a file system that knows it")
		}
	}
	t.Cleanup(func() { exec.Command("chattr", "-R", "-i", dir).Run() })
	return func() { change("+i") }, func() { change("-i") }
}

// vanished returns what takes a folder away, and what brings it back.
func vanished(t *testing.T, dir string) (refuse, relent func()) {
	move := func(from, to string) func() {
		return func() {
			if err := os.Rename(from, to); err != nil {
				t.Fatal(err)
			}
		}
	}
	return move(dir, dir+".away"), move(dir+".away", dir)
}

// recorded are the kinds of the events that lie in the journals of a home, in
// the notebook's folder or in a second place, by their identity.
func (h home) recorded() (all map[string]string, elsewhere int) {
	all = map[string]string{}
	for i, dir := range []string{filepath.Join(h.data(), "notebook.db.journal"), filepath.Join(h.dir, ".local", "state", "wetside", "notebook-*"), filepath.Join(h.dir, "run", "wetside", "notebook-*")} {
		files, _ := filepath.Glob(filepath.Join(dir, "*.jsonl"))
		for _, f := range files {
			data, _ := os.ReadFile(f)
			for _, l := range strings.Split(string(data), "\n") {
				var line struct {
					ID    string
					Event struct{ Kind string }
				}
				if json.Unmarshal([]byte(l), &line) == nil && line.Event.Kind != "" {
					all[line.ID] = line.Event.Kind
					if i > 0 {
						elsewhere++
					}
				}
			}
		}
	}
	return all, elsewhere
}

// The disk fills up, turns read-only or is taken out with a sheet in the fixer; keys are
// pressed all the same, and the program is killed at one of them. What was
// written down by then, anywhere, is told while the disk still refuses and is in
// the notebook when it is back: after the kill, or after a second start and a
// second kill. WETSIDE_TORTURE makes it 20 runs of each.
func TestRefusedAndKilledLosesNothing(t *testing.T) {
	runs := 3
	if os.Getenv("WETSIDE_TORTURE") != "" {
		runs = 20
	}
	made := t.TempDir()
	inTheFixer(t, made)
	for name, on := range map[string]func(*testing.T, string) (refuse, relent func()){"full": fullDisk, "read-only": readOnly, "vanished": vanished} {
		for run := range runs {
			t.Run(fmt.Sprintf("%s %d", name, run+1), func(t *testing.T) {
				t.Parallel()
				rng := rand.New(rand.NewPCG(uint64(time.Now().UnixNano()), uint64(run)))
				h := newHome(t)
				if err := os.MkdirAll(h.data(), 0o700); err != nil {
					t.Fatal(err)
				}
				what := h.data()
				if run%3 == 1 && name != "vanished" { // the state folder refuses too, and the runtime folder has to take it
					what = filepath.Join(h.dir, ".local")
				}
				refuse, relent := on(t, what)
				if err := os.CopyFS(h.data(), os.DirFS(made)); err != nil {
					t.Fatal(err)
				}
				confirmed := map[string]string{}
				learn := func() (marks, moves int) {
					all, _ := h.recorded()
					maps.Copy(confirmed, all)
					for _, k := range confirmed {
						switch session.Kind(k) {
						case session.Marked:
							marks++
						case session.Moved:
							moves++
						}
					}
					return marks, moves
				}
				var x *piped
				begin := func() (kill func()) {
					x = pipe(t, h)
					x.press("y")
					return x.kill
				}
				mark := func(n int) { // a key between, or it is one held down
					was, _ := learn()
					x.press(strings.Repeat("m\r", n))
					until(t, "the marks are written down", func() bool { now, _ := learn(); return now == was+n })
				}
				// Pressed again and again, and killed in the midst of it.
				markAndKill := func(kill func()) {
					for range 30 {
						x.press("m\r")
					}
					end := time.Now().Add(time.Duration(rng.IntN(60)) * time.Millisecond)
					for time.Now().Before(end) {
						learn()
					}
					kill()
				}
				away := false
				told := func(when string) {
					t.Helper()
					_, moves := learn()
					out, errs, status := h.told(t, 0, "where", "--json")
					var ps []place
					json.Unmarshal([]byte(out), &ps)
					if status != 0 || len(ps) != 2 || ps[1].Moves != moves {
						t.Errorf("where, %s: %d, after %d moves: %s%s", when, status, moves, out, errs)
					}
					out, errs, status = h.told(t, 0, "sheet", "aaaa-done")
					if away && status == 1 && strings.Contains(errs, "folder is gone") {
						return
					}
					if status != 0 || !strings.Contains(out, "torn") {
						t.Errorf("sheet, %s: %d: %s%s", when, status, out, errs)
					}
				}
				kill := begin()
				until(t, "it has gone on", func() bool {
					learn()
					return slices.Contains(slices.Collect(maps.Values(confirmed)), string(session.Resumed))
				})
				mark(1 + rng.IntN(3))
				refuse()
				away = name == "vanished"
				mark(20 + rng.IntN(20)) // a full disk still takes what fits into a page that is begun
				if _, elsewhere := h.recorded(); elsewhere == 0 {
					t.Fatal("it did not refuse")
				}
				if _, moves := learn(); rng.IntN(2) == 0 {
					x.press(" ")
					pressed := time.Now()
					until(t, "the sheet is moved on", func() bool {
						if time.Since(pressed) > 1600*time.Millisecond {
							x.press(" ") // early: asked once more
							pressed = time.Now()
						}
						_, now := learn()
						return now == moves+1
					})
				}
				markAndKill(kill)
				told("while it refuses")
				if run%2 == 1 {
					kill = begin()
					mark(1)
					markAndKill(kill)
					told("after the second kill")
				}
				relent()
				away = false
				kill = begin()
				until(t, "all is in its place", func() bool { _, elsewhere := h.recorded(); return elsewhere == 0 })
				told("with the disk back")
				mark(1)
				kill()
				told("at last")
				all, elsewhere := h.recorded()
				for id, kind := range confirmed {
					if all[id] != kind {
						t.Errorf("lost: %s %s", kind, id)
					}
				}
				if elsewhere > 0 {
					t.Errorf("%d events are left in a second place", elsewhere)
				}
			})
		}
	}
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
			fill, free := fullDisk(t, h.dir)
			p := newPane(t, h, 100, 24, "--sound", "none")
			p.wait("try it in the light")
			p.keys("1")
			if text := p.wait("filter 1", "quit"); !strings.Contains(text, "sound off") || strings.Contains(text, "%") {
				t.Errorf("what is said of the sound that is switched off:\n%s", text)
			}
			p.keys("a")
			p.wait("sheet 1")
			p.keys("Tab", "Tab")
			p.wait("seen")
			p.keys("p")
			p.wait("PAPER IS OUT")
			fill()
			// A full disk still takes what fits into a page that is begun: mark more
			// than that, but no more keys than the disk has time to refuse. A key
			// between keeps it from being one held down.
			kept := regexp.MustCompile(`\d\d kept in memory`)
			until(t, "ten events are kept in memory", func() bool {
				p.keys("m", "Enter")
				return kept.MatchString(p.text())
			})
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
