package main

import (
	"bytes"
	"io"
	"os"
	"syscall"
	"testing"

	"github.com/charmbracelet/x/term"
	"golang.org/x/sys/unix"
)

// A terminal that says it has sixteen colours is asked for one of 256, the window
// black already, and drawn on if it answers; what is typed meanwhile is a key of the
// program's, and no byte of an answer is one. Without an answer it is as it was, and
// the user is told what to type.
func TestATerminalOfSixteenColoursIsAsked(t *testing.T) {
	const colour, is = "\x1b]4;196;rgb:ffff/0000/0000\x1b\\", "\x1b[?64;1;2;6;22c"
	for _, c := range []struct {
		name  string
		sent  []string // by the terminal, each piece by itself
		draws bool
		late  string // what it sends when it was refused
	}{
		{"answers", []string{colour + is}, true, ""},
		{"answers in pieces between keys", []string{"qn", colour[:3], colour[3:20], colour[20:] + is[:4], is[4:] + "\x1b[B"}, true, ""},
		{"has no such colour", []string{is}, false, ""},
		{"answers too late", nil, false, colour + is},
		{"is typed on only", []string{"qy", "\x1b"}, false, "j"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			h := newHome(t, "TERM=xterm", "COLORTERM=")
			cmd, w := onWire(t, h, "rehearse", "--sound", "none")
			asked := []byte("\x1b]4;196;?")
			until(t, "it asks for a colour", func() bool { return bytes.Contains(w.sent(), asked) })
			before, _, _ := bytes.Cut(w.sent(), asked)
			if !bytes.Contains(before, []byte("\x1b]11;#000000")) || !bytes.Contains(before, []byte("\x1b[?1049h")) {
				t.Errorf("before the window is black it asks: %q", before)
			}
			for _, x := range c.sent {
				io.WriteString(w.keys, x)
			}
			if c.draws {
				until(t, "it draws", func() bool {
					return bytes.Contains(w.sent(), []byte("blank")) || bytes.Contains(w.sent(), []byte("overed?"))
				})
				if c.sent[0][0] != 'q' {
					io.WriteString(w.keys, "q")
				} else {
					until(t, "q and n are keys", func() bool { return bytes.Contains(w.sent(), []byte("blank")) })
					io.WriteString(w.keys, "q")
				}
				until(t, "it asks whether paper is covered", func() bool { return bytes.Contains(w.sent(), []byte("overed?")) })
				io.WriteString(w.keys, "y")
			}
			if c.late != "" {
				until(t, "it says what to type", func() bool { return bytes.Contains(w.sent(), []byte("set TERM to say so")) })
			}
			shell, err := os.OpenFile(w.tty, os.O_RDWR|syscall.O_NOCTTY, 0)
			if err != nil {
				t.Fatal(err)
			}
			defer shell.Close()
			io.WriteString(w.keys, c.late)
			err = cmd.Wait()
			term.MakeRaw(shell.Fd()) // else a line counts when it has an end
			if n, err := unix.IoctlGetInt(int(shell.Fd()), unix.TIOCINQ); n > 0 || err != nil {
				t.Errorf("%d bytes are left for the shell (%v)", n, err)
			}
			shell.Close()
			<-w.done
			if code := cmd.ProcessState.ExitCode(); c.draws != (code == 0) {
				t.Errorf("status %d (%v):\n%q", code, err, w.sent())
			}
			said := bytes.Contains(w.sent(), []byte("set TERM to say so"))
			if said == c.draws {
				t.Errorf("told what to type: %v", said)
			}
			if got := w.sent(); bytes.LastIndex(got, []byte("\x1b[?1049l")) < bytes.LastIndex(got, []byte("\x1b[?1049h")) {
				t.Error("the window is not as it was")
			}
		})
	}
}
