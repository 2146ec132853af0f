//go:build linux

package main

import (
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"wetside/profiles"
	"wetside/session"
)

// interrupted leaves in the home what a program killed a moment ago would, or at the
// instant of what happened: one sheet, and what happened to it.
func (h home) interrupted(t testing.TB, light string, happened ...session.Event) {
	t.Helper()
	host := &host{data: h.data(), now: time.Now, err: os.Stderr}
	b, err := host.book()
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	set, err := profiles.Load(nil)
	if err != nil {
		t.Fatal(err)
	}
	plan, err := (&profiles.Planner{Set: set}).Plan(profiles.Form{Name: "signal arm", Paper: "direct-positive-fb", Process: "three-trays", Light: light})
	if err != nil {
		t.Fatal(err)
	}
	at := systemClock().Now()
	if len(happened) > 0 && !happened[0].At.IsZero() {
		at = happened[0].At
	}
	sit, err := b.Begin(session.Event{Kind: session.Opened, At: at, Pace: 1})
	if err != nil {
		t.Fatal(err)
	}
	m := session.New()
	m.Apply(session.Event{Kind: session.Opened, At: at, Pace: 1})
	for _, e := range append([]session.Event{{Kind: session.SheetAdded, Spec: &plan.Spec}}, happened...) {
		e.At, e.Sheet = at, "e5000001-0000-4000-8000-000000000001"
		if s := m.Numbered(1); s != nil && s.Visit() != nil {
			e.From = s.Visit().Serial
		}
		if err := m.Apply(e); err != nil {
			t.Fatal(err)
		}
		if _, err := b.Append(sit.ID, e); err != nil {
			t.Fatal(err)
		}
	}
}

// left lists the processes that were started with this environment and live.
func left(t testing.TB, mark string) (out []string) {
	t.Helper()
	envs, err := filepath.Glob("/proc/[0-9]*/environ")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range envs {
		if env, err := os.ReadFile(f); err == nil && strings.Contains("\x00"+string(env), "\x00"+mark+"\x00") {
			line, _ := os.ReadFile(filepath.Join(filepath.Dir(f), "cmdline"))
			out = append(out, strings.ReplaceAll(string(line), "\x00", " "))
		}
	}
	return out
}

// A desktop whose services take every call and never answer holds up neither
// the start nor the clock, nor a key nor the end; and nothing that was begun for
// it lives on.
func TestADesktopThatHangs(t *testing.T) {
	t.Parallel() // most of it is waiting
	h := newHome(t)
	socket := filepath.Join(h.dir, "deaf")
	deaf, err := net.Listen("unix", socket)
	if err != nil {
		t.Fatal(err)
	}
	defer deaf.Close()
	mark := "WETSIDE_TEST_HOME=" + h.dir
	h.env = append(h.env, "DBUS_SYSTEM_BUS_ADDRESS=unix:path="+socket, "DBUS_SESSION_BUS_ADDRESS=unix:path="+socket, mark)
	overrun(t, h)
	until(t, "all that was begun has ended", func() bool { return len(left(t, mark)) == 0 })
}

// Where no desktop runs, none is started to show a pop-up on.
func TestNoDesktopIsStarted(t *testing.T) {
	t.Parallel() // most of it is waiting
	h := newHome(t)
	bin := filepath.Join(h.dir, "bin")
	if err := os.Mkdir(bin, 0o755); err != nil {
		t.Fatal(err)
	}
	told := filepath.Join(h.dir, "started")
	for _, name := range []string{"dbus-launch", "notify-send", "kdialog"} {
		script := fmt.Sprintf("#!/bin/sh\necho %s >> '%s'\nsleep 1000 >&- 2>&- &\necho DBUS_SESSION_BUS_ADDRESS=unix:path=/nonexistent\n", name, told)
		if err := os.WriteFile(filepath.Join(bin, name), []byte(script), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	bus := ""
	if _, err := os.Stat(fmt.Sprintf("/run/user/%d/bus", os.Getuid())); err == nil {
		bus = "unix:path=" + filepath.Join(h.dir, "no-bus") // whoever runs the test has a desktop, which is left in peace
	}
	mark := "WETSIDE_TEST_HOME=" + h.dir
	h.env = append(h.env, "DBUS_SESSION_BUS_ADDRESS="+bus, "PATH="+bin+":"+os.Getenv("PATH"), mark)
	overrun(t, h)
	if got, err := os.ReadFile(told); err == nil {
		t.Errorf("started: %q", got)
	}
	until(t, "all that was begun has ended", func() bool { return len(left(t, mark)) == 0 })
}

// overrun goes on with a sheet in its camera until its time is over by a while,
// and leaves.
func overrun(t *testing.T, h home) {
	binary(t) // it takes its time to be built
	h.interrupted(t, "30s", session.Event{Kind: session.ExposureBegun, Planned: 30 * time.Second})
	p := newPane(t, h, 100, 30, "--sound", "none")
	p.wait("Go on?")
	p.keys("y")
	p.wait("pinhole open")
	p.keys("?") // a key is answered as ever
	p.wait("screen before")
	p.keys("Escape")
	p.wait("cover the pinhole", " +") // over by so much
	p.keys("q")
	p.wait("covered?")
	p.keys("y")
	p.wait("status 0")
}

// Whatever lies in the place of settings and profiles, the program starts and
// leads to the sheet in the fixer; what was left out is told by name.
func TestItAlwaysStarts(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		lay  func(config string) error
		told []string
	}{
		"torn settings": {func(dir string) error {
			return os.WriteFile(filepath.Join(dir, "settings.toml"), []byte("talk = \"few\"\nvolume = \"lo"), 0o600)
		}, []string{"settings.toml:2: "}},
		"settings of another kind": {func(dir string) error {
			return os.WriteFile(filepath.Join(dir, "settings.toml"), []byte("level = \"bright\"\n\ncolour = \"green\"\n"), 0o600)
		}, []string{"settings.toml:3: ", "settings.toml:1: "}},
		"a pipe for settings":   {func(dir string) error { return syscall.Mkfifo(filepath.Join(dir, "settings.toml"), 0o600) }, []string{"settings.toml is a pipe, not a file"}},
		"a device for settings": {func(dir string) error { return os.Symlink("/dev/zero", filepath.Join(dir, "settings.toml")) }, []string{"settings.toml is a device, not a file"}},
		"a folder for settings": {func(dir string) error { return os.Mkdir(filepath.Join(dir, "settings.toml"), 0o700) }, []string{"settings.toml: is a directory"}},
		"pipe and device among the profiles, a pipe among the voices": {func(dir string) error {
			papers, voices := filepath.Join(dir, "profiles", "papers"), filepath.Join(dir, "voices")
			return errors.Join(os.MkdirAll(papers, 0o700), os.MkdirAll(voices, 0o700), syscall.Mkfifo(filepath.Join(papers, "mine.toml"), 0o600),
				os.Symlink("/dev/zero", filepath.Join(papers, "other.toml")), syscall.Mkfifo(filepath.Join(voices, "develop.wav"), 0o600))
		}, []string{"papers/mine.toml: ", "papers/other.toml: "}},
	} {
		t.Run(name, func(t *testing.T) {
			h := newHome(t)
			dir := filepath.Join(h.dir, ".config", "wetside")
			if err := errors.Join(os.MkdirAll(dir, 0o700), c.lay(dir)); err != nil {
				t.Fatal(err)
			}
			h.interrupted(t, "", session.Event{Kind: session.Moved}, session.Event{Kind: session.Moved}, session.Event{Kind: session.Moved})
			p := newPane(t, h, 160, 40, "--sound", "none")
			p.wait(append(c.told, "in the fixer", "Go on?")...)
			p.keys("y")
			p.wait("fix, then")
			p.keys("q")
			p.wait("covered?")
			p.keys("y")
			p.wait("status 0")
		})
	}
}

// While a sitting has paper out, another window answers in red on black, errors
// and help too; a pipe and JSON are left alone. Once paper is covered, the
// window has its own colours.
func TestOtherCommandsAnswerInRed(t *testing.T) {
	t.Parallel()
	binary(t)
	h := newHome(t)
	h.interrupted(t, "", session.Event{Kind: session.Moved})
	mark := filepath.Join(h.dir, ".local", "state", "wetside", "paper-out")
	out := func() bool { _, err := os.Stat(mark); return err == nil }
	p := newPane(t, h, 100, 30, "--sound", "none")
	p.wait("Go on?")
	until(t, "paper is known to be out", out)
	// answer is what stands on a window of its own after a command.
	answer := func(args ...string) string {
		other := newPane(t, home{t.TempDir(), h.env}, 100, 40, args...)
		other.wait("status ")
		said, _, _ := strings.Cut(other.do("capture-pane", "-p", "-e"), "status ")
		return strings.TrimSpace(said)
	}
	for _, args := range [][]string{{"where"}, {"mix", "--help"}, {"mix", "nonsense"}, {"sheets"}, {"version"}} {
		said := answer(args...)
		rest := redOnBlack.ReplaceAllString(said, "")
		if said == "" || strings.TrimSpace(rest) != "" {
			t.Errorf("%v: not red on black: %q", args, said)
		}
	}
	if said := answer("where", "--json"); !strings.HasPrefix(said, "[") || strings.Contains(said, "\x1b") {
		t.Errorf("JSON: %q", said)
	}
	if said := h.wetside(t, "where"); !strings.HasPrefix(said, "sheet 1 signal arm: ") || strings.Contains(said, "\x1b") {
		t.Errorf("a pipe: %q", said)
	}
	p.keys("y")
	p.wait("develop, then")
	p.keys("q")
	p.wait("covered?")
	p.keys("y")
	p.wait("status 0")
	if out() {
		t.Error("paper is covered, and yet marked as out")
	}
	if said := answer("where"); !strings.HasPrefix(said, "sheet 1 signal arm: ") || strings.Contains(said, "\x1b") {
		t.Errorf("after paper was covered: %q", said)
	}
}

// redOnBlack is text in a pure red of the 256-colour cube on black, to the end
// of what tmux shows of it.
var redOnBlack = regexp.MustCompile(`\x1b\[38;5;(?:16|52|88|124|160|196)m\x1b\[48;5;16m[^\x1b]*(?:\x1b\[39m\x1b\[49m|\x1b\[0m|\x1b\[m)?`)
