package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"syscall"
	"testing"

	"golang.org/x/sys/unix"
)

// A wire is a terminal of which every byte is kept.
type wire struct {
	mu   sync.Mutex
	all  []byte
	keys *os.File
	tty  string // its other end
	done chan struct{}
}

func (w *wire) sent() []byte {
	w.mu.Lock()
	defer w.mu.Unlock()
	return bytes.Clone(w.all)
}

// onWire runs a command on a terminal of its own and returns it with the wire.
func onWire(t *testing.T, h home, args ...string) (*exec.Cmd, *wire) {
	t.Helper()
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR|syscall.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	fd := int(master.Fd())
	n, err := unix.IoctlGetInt(fd, unix.TIOCGPTN)
	if err == nil {
		err = unix.IoctlSetPointerInt(fd, unix.TIOCSPTLCK, 0)
	}
	if err == nil {
		err = unix.IoctlSetWinsize(fd, unix.TIOCSWINSZ, &unix.Winsize{Row: 24, Col: 160})
	}
	if err != nil {
		t.Fatal(err)
	}
	tty, err := os.OpenFile(fmt.Sprintf("/dev/pts/%d", n), os.O_RDWR|syscall.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer tty.Close()
	cmd := exec.Command(binary(t), args...)
	cmd.Env = append(append(os.Environ(), "TERM=screen-256color", "TMUX=", "STY="), h.env...)
	cmd.Stdin, cmd.Stdout, cmd.Stderr = tty, tty, tty
	cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true, Setctty: true}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	w := &wire{keys: master, tty: tty.Name(), done: make(chan struct{})}
	go func() {
		defer close(w.done)
		var b [4096]byte
		for {
			n, err := master.Read(b[:])
			w.mu.Lock()
			w.all = append(w.all, b[:n]...)
			w.mu.Unlock()
			if err != nil {
				return // the program has let go of it
			}
		}
	}()
	t.Cleanup(func() {
		cmd.Process.Kill()
		cmd.Wait()
		<-w.done
		master.Close()
	})
	return cmd, w
}

// With nothing to be heard with, no terminal's bell takes its place: a visual
// bell lights the whole window. It is silence, and where there are words they
// say so.
func TestNoBell(t *testing.T) {
	none := filepath.Join(t.TempDir(), "asound.conf")
	if err := os.WriteFile(none, []byte("# no card\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	quit := func(t *testing.T, w *wire) {
		until(t, "the picture says that there is no sound", func() bool { return bytes.Contains(w.sent(), []byte("NO SOUND")) })
		io.WriteString(w.keys, "n")
		io.WriteString(w.keys, "q")
		until(t, "it asks whether paper is covered", func() bool { return bytes.Contains(w.sent(), []byte("overed?")) })
		io.WriteString(w.keys, "y")
	}
	for _, c := range []struct {
		name, says string
		args       []string
		code       int
		do         func(*testing.T, *wire)
	}{
		{"the program", "NO SOUND", nil, 0, quit},
		{"by sound alone", "nothing can be heard", []string{"--blind"}, 3, nil},
		{"a rehearsal by sound alone", "nothing can be heard", []string{"rehearse", "--blind", "--self", "--pace", "1000"}, 3, nil},
		{"the sounds, one by one", "nothing can be heard", []string{"sounds"}, 0, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			h := newHome(t, "PULSE_SERVER=unix:/nonexistent/native", "ALSA_CONFIG_PATH="+none)
			cmd, w := onWire(t, h, c.args...)
			if c.do != nil {
				c.do(t, w)
			}
			err := cmd.Wait()
			<-w.done
			if code := cmd.ProcessState.ExitCode(); code != c.code {
				t.Errorf("status %d (%v), want %d", code, err, c.code)
			}
			sent := w.sent()
			if !bytes.Contains(sent, []byte(c.says)) {
				t.Errorf("it does not say %q:\n%q", c.says, sent)
			}
			if i := bytes.IndexByte(sent, 7); i >= 0 {
				t.Errorf("a bell is written at byte %d of %d: %q", i, len(sent), sent[max(0, i-30):min(len(sent), i+30)])
			}
		})
	}
}
