package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/gofrs/flock"

	"wetside/session"
	"wetside/session/sessiontest"
	"wetside/tui/keeper"
)

// A keeper that is stopped leaves the terminal to its shell: the program paints
// nothing, takes no key, and goes on by sound. The shell brings both back as they
// were, and another start takes over from those who are stopped.
func TestAStoppedKeeperLeavesTheWindow(t *testing.T) {
	t.Parallel() // most of it is waiting
	sessiontest.Need(t, "bash")
	h := newHome(t)
	h.interrupted(t, "", session.Event{Kind: session.Moved})
	mark := "WETSIDE_TEST_HOME=" + h.dir
	h.env = append(h.env, mark)
	shell := newPaneOf(t, h, 100, 30, []string{"bash", "--norc", "-i"})
	keeper := func() int {
		t.Helper()
		pane, err := strconv.Atoi(strings.TrimSpace(shell.do("list-panes", "-F", "#{pane_pid}")))
		if err != nil {
			t.Fatal(err)
		}
		return childOf(t, childOf(t, pane))
	}
	lives := func() (n int) {
		for _, line := range left(t, mark) {
			if strings.HasPrefix(line, binary(t)) {
				n++
			}
		}
		return n
	}
	begin := func() {
		t.Helper()
		shell.keys(binary(t)+" --sound none", "Enter")
		shell.wait("Go on?")
	}
	begin()
	shell.keys("y")
	shell.wait("develop, then")
	for _, sig := range []syscall.Signal{syscall.SIGSTOP, syscall.SIGTSTP} {
		if err := syscall.Kill(keeper(), sig); err != nil {
			t.Fatal(err)
		}
		shell.wait("start wetside again here")
		shell.keys("clear; echo the sh''ell has the keys", "Enter") // m, h and x would be deeds
		shell.wait("the shell has the keys")
		shell.keys("clear; sleep 2; echo two sec''onds", "Enter") // two ticks of every clock
		shell.wait("two seconds")
		if now := shell.text(); strings.Contains(now, "develop") {
			t.Errorf("after %v it is painted into the shell:\n%s", sig, now)
		}
		shell.keys("fg", "Enter")
		shell.wait("develop, then")
		shell.keys("?")
		shell.wait("close")
		shell.keys("Escape")
		shell.wait("develop, then")
	}
	// Another start while it is stopped.
	stopped := keeper()
	if err := syscall.Kill(stopped, syscall.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	shell.wait("start wetside again here")
	begin()
	until(t, "the program that was stopped has handed over", func() bool { return lives() == 3 }) // its keeper stays
	shell.keys("y")
	shell.wait("develop, then")
	shell.do("kill-server")
	until(t, "nothing outlives its window", func() bool { return len(left(t, mark)) == 0 })
}

// A program that was stopped by itself says no call, with paper in a bath: its keeper
// brings it back.
func TestAStoppedProgramIsBroughtBack(t *testing.T) {
	t.Parallel()
	h := newHome(t)
	cmd, w := onWire(t, h, "rehearse", "--sound", "none")
	until(t, "it draws", func() bool { return bytes.Contains(w.sent(), []byte("blank")) })
	program := childOf(t, cmd.Process.Pid)
	for range 3 {
		if err := syscall.Kill(program, syscall.SIGSTOP); err != nil {
			t.Fatal(err)
		}
		until(t, "it goes on", func() bool { return !keeper.Stopped(program) })
	}
	before := len(w.sent())
	io.WriteString(w.keys, "?")
	until(t, "its keys answer", func() bool { return bytes.Contains(w.sent()[before:], []byte("keys of")) })
	before = len(w.sent())
	io.WriteString(w.keys, "\x1b")
	until(t, "help is gone", func() bool { return bytes.Contains(w.sent()[before:], []byte("blank")) })
	io.WriteString(w.keys, "q")
	until(t, "it asks", func() bool { return bytes.Contains(w.sent()[before:], []byte("overed?")) })
	io.WriteString(w.keys, "y")
	if err := cmd.Wait(); err != nil {
		t.Error(err)
	}
}

// A program that was stopped together with its keeper, or whose keeper was killed then,
// holds the loudspeaker and says nothing: the next start wakes it, and takes over.
func TestTheNextStartWakesWhatWasStopped(t *testing.T) {
	sessiontest.Need(t, "bash")
	for _, killed := range []bool{false, true} {
		t.Run(map[bool]string{false: "with its keeper", true: "and its keeper killed"}[killed], func(t *testing.T) {
			t.Parallel()
			h := newHome(t)
			h.interrupted(t, "", session.Event{Kind: session.Moved})
			once := binary(t) + " --sound none"
			in := []string{"bash", "--norc", "-i"}
			if killed { // without job control: where there is some, the system ends the program
				in = []string{"sh", "-c", once + "; " + once}
			}
			shell := newPaneOf(t, h, 100, 30, in)
			goOn := func() {
				t.Helper()
				shell.wait("Go on?")
				shell.keys("y")
				shell.wait("develop, then")
			}
			if !killed {
				shell.keys(once, "Enter")
			}
			goOn()
			pane, err := strconv.Atoi(strings.TrimSpace(shell.do("list-panes", "-F", "#{pane_pid}")))
			if err != nil {
				t.Fatal(err)
			}
			first := childOf(t, childOf(t, pane))
			program := childOf(t, first)
			for _, pid := range []int{first, program} {
				if err := syscall.Kill(pid, syscall.SIGSTOP); err != nil {
					t.Fatal(err)
				}
			}
			until(t, "both are stopped", func() bool { return keeper.Stopped(first) && keeper.Stopped(program) })
			if killed {
				if err := syscall.Kill(first, syscall.SIGKILL); err != nil {
					t.Fatal(err)
				}
			} else {
				shell.keys("clear; echo the sh''ell has the keys", "Enter")
				shell.wait("the shell has the keys")
				shell.keys("clear; "+once, "Enter")
			}
			goOn()
			until(t, "the program that was stopped has handed over", func() bool {
				line, _ := os.ReadFile(fmt.Sprintf("/proc/%d/cmdline", program)) // a keeper that is stopped buries nobody
				return len(line) == 0
			})
			loud := flock.New(filepath.Join(h.dir, ".local", "state", "wetside", "sound.lock"))
			if free, err := loud.TryLock(); free || err != nil {
				t.Errorf("nobody has the loudspeaker: %v", err)
			}
			shell.keys("?") // and no enter after it
			shell.wait("keys of")
			shell.do("kill-server")
		})
	}
}

// Whatever puts the terminal into the shell's mode under the running program, its keys
// are keys again at its next look, and the shell has its own mode after the end.
func TestRawModeIsTakenBack(t *testing.T) {
	t.Parallel()
	h := newHome(t)
	p := newPaneOf(t, h, 100, 30, []string{"sh", "-c", binary(t) + " rehearse --sound none; stty -a; cat"})
	p.wait("blank")
	tty := strings.TrimSpace(p.do("list-panes", "-F", "#{pane_tty}"))
	mode := func() string {
		t.Helper()
		out, err := exec.Command("stty", "-F", tty, "-g").CombinedOutput()
		if err != nil {
			t.Fatalf("stty: %v\n%s", err, out)
		}
		return string(out)
	}
	before := mode()
	// It says that not all was done where the program was quicker than its own look back.
	exec.Command("stty", "-F", tty, "sane").Run()
	until(t, "the terminal is raw again", func() bool { return mode() == before })
	p.keys("?") // and no enter after it
	p.wait("keys of")
	p.keys("Escape")
	p.wait("blank")
	p.keys("q")
	p.wait("overed?")
	p.keys("y")
	if shown := p.wait("speed ", "echoke"); !strings.Contains(shown, " icanon") || !strings.Contains(shown, " echo ") {
		t.Errorf("the terminal's mode is not the shell's:\n%s", shown)
	}
}

// The picture was made dark, and the program crashes: what the keeper then shows is
// no lighter.
func TestACrashInTheDarkStaysDark(t *testing.T) {
	t.Parallel()
	h := newHome(t)
	h.interrupted(t, "", session.Event{Kind: session.Moved})
	p := newPaneOf(t, h, 100, 30, []string{binary(t)}, "--sound", "none")
	p.wait("Go on?")
	p.keys("y")
	p.wait("develop, then")
	red := regexp.MustCompile(`[34]8;(?:2;[1-9]|5;(?:[2-9]|1[0-57-9]|\d{3}))`)
	lit := func() bool { return red.MatchString(p.do("capture-pane", "-p", "-e")) }
	if !lit() {
		t.Fatalf("nothing is lit:\n%s", p.do("capture-pane", "-p", "-e"))
	}
	p.keys("g")
	until(t, "the picture is dark", func() bool { return !lit() })
	pane, err := strconv.Atoi(strings.TrimSpace(p.do("list-panes", "-F", "#{pane_pid}")))
	if err != nil {
		t.Fatal(err)
	}
	child := childOf(t, childOf(t, pane)) // of the pane the keeper, and of that the program
	if err := syscall.Kill(child, syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	until(t, "the program is gone", func() bool { return syscall.Kill(child, 0) != nil })
	p.wait("Cover the paper")
	if lit() {
		t.Errorf("the question is lit:\n%s", p.do("capture-pane", "-p", "-e"))
	}
	p.keys("g")
	until(t, "g shows it", lit)
	p.keys("y")
	p.wait("status")
}

// Without a shell nobody takes the terminal from a keeper that is stopped: the program
// paints no more until the keeper goes on.
func TestAStoppedKeeperWithoutAShell(t *testing.T) {
	t.Parallel()
	h := newHome(t)
	cmd, w := onWire(t, h, "rehearse", "--sound", "none")
	said := func(words string) func() bool { return func() bool { return bytes.Contains(w.sent(), []byte(words)) } }
	until(t, "it draws", said("blank"))
	if err := cmd.Process.Signal(syscall.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	until(t, "it says so", said("was stopped"))
	before := len(w.sent())
	io.WriteString(w.keys, "?") // another picture
	time.Sleep(700 * time.Millisecond)
	if more := w.sent()[before:]; bytes.Contains(more, []byte("keys of")) {
		t.Errorf("it paints: %q", more)
	}
	if err := cmd.Process.Signal(syscall.SIGCONT); err != nil {
		t.Fatal(err)
	}
	until(t, "the picture is back", func() bool { return bytes.Contains(w.sent()[before:], []byte("keys of")) })
	io.WriteString(w.keys, "?")
	until(t, "help is gone", func() bool { return bytes.Contains(w.sent()[before:], []byte("blank")) })
	io.WriteString(w.keys, "q")
	until(t, "it asks", said("overed?"))
	io.WriteString(w.keys, "y")
	if err := cmd.Wait(); err != nil {
		t.Error(err)
	}
}
