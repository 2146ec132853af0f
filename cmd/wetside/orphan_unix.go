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
	"strconv"
	"syscall"
	"time"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/x/term"
	"github.com/gofrs/flock"
	"golang.org/x/sys/unix"

	"wetside/sound"
	"wetside/tui"
	"wetside/tui/ember"
	"wetside/tui/keeper"
)

// A program whose keeper was killed outright shares its terminal with a shell.
// It lets go of keys and picture and goes on by sound, until its window is gone
// or the program is started again: that one leaves word beside the orphan's
// lock, and takes the sound over when the lock is free. One whose keeper was
// stopped does the same until the shell brings both back.

// leash gives the child one end of a pipe whose other end goes with the keeper,
// and one of another by which it says how light its picture is.
func leash(child *exec.Cmd) (*leashed, error) {
	r, held, err := os.Pipe()
	if err != nil {
		return nil, err
	}
	levels, w, err := os.Pipe()
	if err != nil {
		return nil, errors.Join(err, r.Close(), held.Close())
	}
	child.ExtraFiles = []*os.File{r, w}
	return &leashed{held: held, levels: levels}, nil
}

// The first of a child's extra files.
const (
	leashFD = 3 + iota
	levelFD
)

// leashed are the keeper's ends.
type leashed struct{ held, levels *os.File }

func (l *leashed) Close() error { return errors.Join(l.held.Close(), l.levels.Close()) }

// level is what the child said last; false: nothing yet.
func (l *leashed) level() (level ember.Level, said bool) {
	// What it said is there: it said it before it ended.
	_ = l.levels.SetReadDeadline(time.Now().Add(20 * time.Millisecond))
	for b := make([]byte, 64); ; {
		n, err := l.levels.Read(b)
		if n > 0 {
			level, said = ember.Level(b[n-1]), true
		}
		if err != nil {
			return level, said
		}
	}
}

// levelTold says to the keeper how light the picture is, each time that changes;
// nil where no keeper listens.
func (p program) levelTold() func(ember.Level) {
	var st unix.Stat_t
	if p.getenv(kept) == "" || unix.Fstat(levelFD, &st) != nil || st.Mode&unix.S_IFMT != unix.S_IFIFO {
		return nil // started by hand in the keeper's name
	}
	w := os.NewFile(levelFD, "the keeper's ear")
	return func(l ember.Level) { _, _ = w.Write([]byte{byte(l)}) } // a keeper that is gone asks nothing
}

// notifyStops has continued told each time that a shell lets this process go on, and
// changed each time that its child was stopped or has ended.
func notifyStops(continued, changed chan<- os.Signal) {
	signal.Notify(continued, syscall.SIGCONT)
	signal.Notify(changed, syscall.SIGCHLD)
}

const (
	orphanEach  = 300 * time.Millisecond
	stoppedEach = 500 * time.Millisecond // two looks are within a second
	// handOver is how long a start waits for what an earlier one has to let go of. It
	// takes as long only where the machine has no time for that one, or that one hangs.
	handOver = 20 * time.Second
)

// A minder watches for the keeper's end, and for a shell that has taken the terminal
// from both.
type minder struct {
	program
	prog    *tea.Program
	guard   *ember.Guard // nil: nothing is drawn
	in      *os.File
	raw     *term.State  // the terminal's mode while it is ours
	held    *flock.Flock // while it is ours: see terminalLock
	leave   func()       // while it is the shell's
	stopped int          // looks in a row that found the keeper stopped, and the terminal ours
}

// mind watches until stop is called.
func (p program) mind(prog *tea.Program, guard *ember.Guard, in *os.File) (stop func()) {
	if err := syscall.SetNonblock(leashFD, true); err != nil {
		return func() {} // started by hand in the keeper's name
	}
	// Who asks for the terminal from behind is stopped, unless he does not mind.
	signal.Ignore(syscall.SIGTTOU, syscall.SIGTTIN)
	m := &minder{program: p, prog: prog, guard: guard, in: in, held: p.terminalLock(in)}
	m.hold()
	_, _ = term.MakeRaw(in.Fd())
	m.raw, _ = term.GetState(in.Fd())
	end := os.NewFile(leashFD, "the keeper's pipe")
	ctx, cancel := context.WithCancel(p.ctx)
	gone, done := make(chan struct{}), make(chan struct{})
	go func() {
		if _, err := end.Read(make([]byte, 1)); errors.Is(err, io.EOF) {
			close(gone)
		}
	}()
	go func() {
		defer close(done)
		m.watch(ctx, gone)
	}()
	return func() {
		cancel()
		end.Close()
		<-done
	}
}

func (m *minder) watch(ctx context.Context, gone <-chan struct{}) {
	defer m.held.Unlock()
	again := make(chan os.Signal, 1)
	signal.Notify(again, syscall.SIGCONT)
	defer signal.Stop(again)
	for {
		select {
		case <-ctx.Done():
			m.back()
			return
		case <-gone:
			m.back()
			m.orphaned(ctx)
			return
		case <-again:
			m.look(true)
		case <-time.After(sound.Beat(stoppedEach)):
			m.look(false)
		}
	}
}

// hold takes the terminal's lock, and says in it who has it.
func (m *minder) hold() {
	if ours, _ := m.held.TryLock(); ours {
		_ = os.WriteFile(m.held.Path(), []byte(strconv.Itoa(os.Getpid())), 0o600)
	}
}

// back ends standing by, if it does.
func (m *minder) back() {
	if m.leave != nil {
		m.leave()
		m.leave = nil
	}
}

// look sees whose the terminal is. Where there is a shell it takes the terminal of what
// was stopped at once; without one nobody does, and nobody keeps it dark either.
func (m *minder) look(continued bool) {
	ours := keeper.Foreground(m.in)
	if m.stopped++; !ours || !keeper.Stopped(os.Getppid()) {
		m.stopped = 0
	}
	here, was := ours && m.stopped < 2, m.leave != nil
	switch {
	case !here && !was:
		m.held.Unlock()
		why := "The program was stopped. The clocks go on by sound: fg brings it back, or start wetside again here."
		if ours {
			why = fmt.Sprintf("What keeps this window dark was stopped. The clocks go on by sound: kill -CONT %d brings it back.", os.Getppid())
		}
		m.leave = m.standBy(m.prog, m.guard, why)
	case here && (was || continued):
		m.back()
		m.hold()
		if m.guard != nil {
			m.guard.Mute(false)
			_ = m.guard.Blacken()
		}
		m.prog.Send(tui.WindowBack{})
	case here:
		// What an earlier program left behind may have come late with the shell's mode.
		if mode, err := term.GetState(m.in.Fd()); err == nil && !reflect.DeepEqual(mode, m.raw) {
			_ = term.Restore(m.in.Fd(), m.raw)
		}
	case m.toLeave():
		os.Exit(codeSignal)
	}
}

// standBy lets go of the picture, and takes the orphan's lock; leave gives it back.
func (p program) standBy(prog *tea.Program, guard *ember.Guard, why string) (leave func()) {
	lock := flock.New(p.orphan(fmt.Sprint(os.Getpid())))
	os.Remove(lock.Path() + orphanLeave) // that of another who had this pid
	lock.TryLock()                       // without one it ends with its window
	if guard != nil {
		// A clock that stands still would be believed, and a mouse would mark it in reverse.
		_ = guard.Retake()
		fmt.Fprint(guard, why+"\r\n")
		guard.Mute(true)
	}
	prog.Send(tui.WindowLost{})
	return func() {
		os.Remove(lock.Path())
		os.Remove(lock.Path() + orphanLeave)
		lock.Unlock()
	}
}

// toLeave reports whether another start wants what this program holds.
func (p program) toLeave() bool {
	_, err := os.Stat(p.orphan(fmt.Sprint(os.Getpid())) + orphanLeave)
	return err == nil
}

// terminalLock is held for as long as the terminal's mode is a program's own: what is
// started right after a killed keeper waits until the child has put the mode back.
func (p program) terminalLock(in *os.File) *flock.Flock {
	var st unix.Stat_t
	_ = unix.Fstat(int(in.Fd()), &st)
	return flock.New(filepath.Join(p.state, fmt.Sprintf("terminal-%x.lock", st.Rdev)))
}

// awaitTerminal waits for that, not for ever, and lets a holder that was stopped go on,
// who else never would.
func (p program) awaitTerminal(in *os.File) {
	ctx, cancel := context.WithTimeout(p.ctx, handOver)
	defer cancel()
	lock := p.terminalLock(in)
	p.wake(ctx, lock.Path())
	if free, _ := lock.TryLockContext(ctx, orphanEach/30); free {
		lock.Unlock()
	}
}

// wake lets the program that holds a terminal's lock go on if it was stopped, and waits
// until it stands by, as one does whose keeper was stopped or killed.
func (p program) wake(ctx context.Context, terminal string) {
	lock := flock.New(terminal)
	if free, err := lock.TryLock(); free || err != nil {
		lock.Unlock()
		return
	}
	b, _ := os.ReadFile(terminal) // by an older wetside it says nothing
	pid, _ := strconv.Atoi(string(b))
	if pid <= 0 || !keeper.Stopped(pid) || syscall.Kill(pid, syscall.SIGCONT) != nil {
		return
	}
	look := time.NewTicker(orphanEach / 10)
	defer look.Stop()
	for standsBy := false; !standsBy && syscall.Kill(pid, 0) == nil; {
		select {
		case <-ctx.Done():
			return
		case <-look.C:
		}
		by, _ := filepath.Glob(filepath.Join(p.state, fmt.Sprintf("orphan*-pid%d.lock", pid)))
		standsBy = len(by) > 0
	}
}

// orphaned goes on without a keeper. It holds the terminal, unless another start was
// so soon that its mode is that one's by now.
func (m *minder) orphaned(ctx context.Context) {
	// The terminal is the shell's, and its mode too.
	mode, unread := term.GetState(m.in.Fd())
	m.prog.ReleaseTerminal()
	if unread == nil {
		term.Restore(m.in.Fd(), mode)
	}
	look := time.NewTicker(orphanEach)
	defer look.Stop()
	for {
		select {
		case <-ctx.Done():
			m.back()
			return
		case <-look.C:
		}
		mode, err := term.GetState(m.in.Fd())
		if m.leave == nil {
			if err == nil && m.held.Locked() && reflect.DeepEqual(mode, m.raw) {
				// A shell without an editor of its own takes the terminal as it finds it.
				sane := exec.CommandContext(ctx, "stty", "sane")
				sane.Stdin = m.in
				sane.Run()
			}
			m.leave = m.standBy(m.prog, m.guard, "What kept this window dark was killed. The clocks go on by sound: start wetside again here.")
			m.held.Unlock()
		}
		if err != nil || m.toLeave() { // its window is gone, or it is started again
			// As by a kill: all is written, and nobody has said that paper is covered. Its
			// locks go with it, all at once: who waits for this one wants the loudspeaker too.
			os.Exit(codeSignal)
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

// takeOver has orphans of earlier keepers leave, and waits a little for each. A program
// that was stopped together with its keeper is one of them, and has to be woken first: it
// holds the loudspeaker, and says nothing.
func (p program) takeOver() {
	terminals, _ := filepath.Glob(filepath.Join(p.state, "terminal-*.lock"))
	for _, file := range terminals {
		ctx, cancel := context.WithTimeout(p.ctx, handOver)
		p.wake(ctx, file)
		cancel()
	}
	left, _ := filepath.Glob(p.orphan("*"))
	for _, file := range left {
		if os.WriteFile(file+orphanLeave, nil, 0o600) != nil {
			continue
		}
		ctx, cancel := context.WithTimeout(p.ctx, handOver)
		lock := flock.New(file)
		if free, _ := lock.TryLockContext(ctx, orphanEach/10); free {
			os.Remove(file)
			os.Remove(file + orphanLeave)
			lock.Unlock()
		}
		cancel()
	}
}
