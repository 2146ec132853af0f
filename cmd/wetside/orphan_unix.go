//go:build unix

package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"reflect"
	"syscall"
	"time"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/x/term"
	"github.com/gofrs/flock"

	"wetside/tui/ember"
)

// A program whose keeper was killed outright shares its terminal with a shell.
// It lets go of keys and picture and goes on by sound, until its window is gone
// or the program is started again: that one leaves word beside the orphan's
// lock, and takes the sound over when the lock is free.

// leash gives the child one end of a pipe whose other end goes with the keeper.
func leash(child *exec.Cmd) (held io.Closer, err error) {
	r, w, err := os.Pipe()
	if err != nil {
		return nil, err
	}
	child.ExtraFiles = []*os.File{r}
	return w, nil
}

const leashFD = 3 // the first of a child's extra files

const orphanEach = 300 * time.Millisecond

// mind waits for the keeper's end until stop is called.
func (p program) mind(prog *tea.Program, guard *ember.Guard, in *os.File) (stop func()) {
	if err := syscall.SetNonblock(leashFD, true); err != nil {
		return func() {} // started by hand in the keeper's name
	}
	end := os.NewFile(leashFD, "the keeper's pipe")
	raw, _ := term.GetState(in.Fd())
	ctx, cancel := context.WithCancel(p.ctx)
	done := make(chan struct{})
	go func() {
		defer close(done)
		if _, err := end.Read(make([]byte, 1)); errors.Is(err, io.EOF) {
			p.orphaned(ctx, prog, guard, in, raw)
		}
	}()
	return func() {
		cancel()
		end.Close()
		<-done
	}
}

func (p program) orphaned(ctx context.Context, prog *tea.Program, guard *ember.Guard, in *os.File, raw *term.State) {
	// The terminal is the shell's, and its mode too: who asks for it from behind
	// is stopped, unless he does not mind.
	signal.Ignore(syscall.SIGTTOU, syscall.SIGTTIN)
	mode, unread := term.GetState(in.Fd())
	prog.ReleaseTerminal()
	if unread == nil {
		term.Restore(in.Fd(), mode)
	}
	lock := flock.New(p.orphan(fmt.Sprint(os.Getpid())))
	lock.TryLock() // without one it ends with its window
	leave := func() {
		os.Remove(lock.Path())
		os.Remove(lock.Path() + orphanLeave)
		lock.Unlock()
	}
	look := time.NewTicker(orphanEach)
	defer look.Stop()
	for first := true; ; first = false {
		select {
		case <-ctx.Done():
			leave()
			return
		case <-look.C:
		}
		if mode, err := term.GetState(in.Fd()); first && err == nil && reflect.DeepEqual(mode, raw) {
			// A shell without an editor of its own takes the terminal as it finds it.
			sane := exec.CommandContext(ctx, "stty", "sane")
			sane.Stdin = in
			sane.Run()
		}
		if first && guard != nil {
			fmt.Fprint(guard, "\r\nWhat kept this window dark was killed. The clocks go on by sound: start wetside again here.\r\n")
			guard.Mute()
		}
		_, asked := os.Stat(lock.Path() + orphanLeave)
		_, gone := term.GetState(in.Fd())
		if asked == nil || gone != nil {
			leave()
			os.Exit(codeSignal) // as by a kill: all is written, and nobody has said that paper is covered
		}
	}
}

const orphanLeave = ".leave"

// orphan is the lock of one: a rehearsal takes over no sheet that is real, and
// has none made to leave.
func (p program) orphan(pid string) string {
	kind := "orphan"
	if p.rehearsal {
		kind = "orphan-rehearsal"
	}
	return filepath.Join(p.state, kind+"-pid"+pid+".lock")
}

// takeOver has orphans of earlier keepers leave, and waits a little for each.
func (p program) takeOver() {
	left, _ := filepath.Glob(p.orphan("*"))
	for _, file := range left {
		if os.WriteFile(file+orphanLeave, nil, 0o600) != nil {
			continue
		}
		ctx, cancel := context.WithTimeout(p.ctx, 10*orphanEach)
		lock := flock.New(file)
		if free, _ := lock.TryLockContext(ctx, orphanEach/10); free {
			os.Remove(file)
			os.Remove(file + orphanLeave)
			lock.Unlock()
		}
		cancel()
	}
}
