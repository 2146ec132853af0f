// Package keeper runs the program as a child, so that even a panic of the runtime
// or a kill leaves a black window and a question, not a white shell. What it
// reads of the keyboard, and the program too, comes through [Keyboard].
package keeper

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"strings"
	"sync"
	"time"

	"github.com/charmbracelet/x/ansi"
	"github.com/charmbracelet/x/term"

	"wetside/tui/ember"
)

// Child is the program that a [Keeper] watches over.
type Child interface {
	// Start starts it; what it writes to its standard error goes to stderr.
	Start(stderr io.Writer) error
	// Signal passes a signal on.
	Signal(os.Signal) error
	// Wait waits for its end, and gives its exit code, and in words what ended
	// it if that was not the program itself.
	Wait() (code int, ended string, err error)
	// Revive lets it go on if it was stopped.
	Revive()
}

// Terminal is the terminal as a [Keeper] needs it.
type Terminal interface {
	// Size of the window in cells.
	Size() (width, height int)
	// Keys puts the terminal into a mode in which single keys can be read,
	// whatever mode the child left it in.
	Keys() error
	// ReadKey waits for one key. An error means that nobody can answer any more.
	ReadKey() (byte, error)
	// Reset puts the terminal's mode back to what it was before the child.
	Reset() error
}

// Keeper keeps the room dark whatever becomes of the program. It is a second,
// tiny process: it runs the program as its child on the same terminal, catches
// the child's standard error (where the Go runtime writes the trace of a
// panic, past every guard within the process), passes signals on, and when the
// child ends otherwise than by its own good exit, it blackens the window, says
// in red what happened, and waits to be told that paper is covered before the
// terminal is given back.
//
// The child has a guard of its own and may call Begin and Blacken on it, but
// not Restore: last light is the keeper's. A child that asks the user itself
// whether paper is covered says so by its exit code, see Asked.
//
// If the keeper itself is killed outright, nothing is left that could keep the
// room dark. The terminal then still has the black and red colours the guard
// gave it: its own, its palette, its pointer and what is selected. The child
// lets go of it and goes on by sound, until it is started again.
type Keeper struct {
	// Guard is nil where not even black can be written.
	Guard    *ember.Guard
	Terminal Terminal
	// Blind says that nothing is drawn: the window is blackened, and what happened
	// is read once paper is covered.
	Blind bool
	// Signals are those to pass on to the child: the caller has asked
	// os/signal for them. May be nil.
	Signals <-chan os.Signal
	// Continued has a signal for each time that this process goes on after it was
	// stopped: the window is then as a shell has left it. May be nil.
	Continued <-chan os.Signal
	// Changed has a signal for each time that something became of the child: one that
	// was stopped alone, with paper in a bath and no call any more, goes on. May be nil.
	Changed <-chan os.Signal
	// Level is how light the child's picture was last: the question is no lighter.
	// said is false if the child never said it. May be nil.
	Level func() (level ember.Level, said bool)
	// Asked says whether a child that ended with this code has itself asked
	// whether paper is covered. If nil, only code 0 says so.
	Asked func(code int) bool
	// Ended is told what ended the child before the question is put, so that
	// it can be said aloud. May be nil. It must not wait.
	Ended func(what string)
	// Covered is called when the user has answered the question: what else
	// waits for paper to be covered may come back now. May be nil.
	Covered func()
	// Stderr gets what could not be drawn, once the terminal is itself again:
	// what a child that ended well wrote to its standard error, and what any child
	// did that drew nothing. May be nil.
	Stderr io.Writer
}

// traceLines is how much of a trace is shown, faintly.
const traceLines = 10

// Exit codes of the keeper itself.
const (
	exitNoStart = 127 // the child could not be started
)

// Run gives first light, runs the child, and gives last light when the room is
// safe for it. It returns the code to exit with.
func (k Keeper) Run(child Child) int {
	k.Blind = k.Blind || k.Guard == nil
	// From now on nothing that is typed is drawn, and every key waits for the
	// child as it was pressed.
	if err := k.Terminal.Keys(); err != nil && k.Blind {
		return exitNoStart
	}
	if k.Guard != nil {
		if err := k.Guard.Begin(k.Terminal.Size()); err != nil && !k.Blind {
			// No light to keep: the caller runs such a program by sound alone.
			_ = k.Terminal.Reset()
			return exitNoStart
		}
	}
	said := &tail{keep: 64 << 10}
	if err := child.Start(said); err != nil {
		return k.ask(exitNoStart, "The program could not be started: "+err.Error(), said)
	}
	type result struct {
		code  int
		ended string
		err   error
	}
	done := make(chan result, 1)
	go func() {
		code, ended, err := child.Wait()
		done <- result{code, ended, err}
	}()
	signals := k.Signals
	for {
		select {
		case sig, open := <-signals:
			if !open {
				signals = nil
				continue
			}
			// A child that is gone already cannot be told; its end is on the way.
			_ = child.Signal(sig)
		case <-k.Continued:
			k.goOn() // unless blind, the child draws
		case <-k.Changed:
			child.Revive()
		case r := <-done:
			what := r.ended
			switch {
			case what != "":
			case r.err != nil:
				what = "The program ended: " + r.err.Error()
			case k.Asked == nil && r.code == 0, k.Asked != nil && k.Asked(r.code):
				k.giveBack(said.lines(math.MaxInt)...)
				return r.code
			default:
				what = fmt.Sprintf("The program ended with code %d.", r.code)
			}
			return k.ask(r.code, what, said)
		}
	}
}

// ask keeps the window black, tells what happened, and waits for the key.
func (k Keeper) ask(code int, what string, said *tail) int {
	if k.Ended != nil {
		k.Ended(what)
	}
	if !k.Blind {
		k.dim()
	}
	_ = k.Terminal.Keys()
	w, h := k.Terminal.Size()
	err := k.tell(w, h, what, said)
	presses := make(chan press)
	stop := make(chan struct{})
	defer close(stop)
	go k.read(presses, stop)
	look := time.NewTicker(sizeEach)
	defer look.Stop()
	// With nothing drawn nobody may know what is waited for: what ends a
	// program elsewhere ends the question too.
	var signals <-chan os.Signal
	if k.Blind {
		signals = k.Signals
	}
	left := false // without the answer
	for asked := true; asked && err == nil; {
		select {
		case <-signals:
			asked, left = false, true
		case p := <-presses:
			err = p.err
			left = k.Blind && p.c == ctrlC
			if err == nil && !k.Blind && p.c|0x20 == 'g' && k.Guard.Level() < ember.Ember { // who kept it dark may want to read
				_ = k.Guard.SetLevel(ember.Ember)
				err = k.tell(w, h, what, said)
			}
			asked = p.c|0x20 != covered && !left
		case <-k.Continued:
			k.goOn()
			err = k.tell(w, h, what, said)
		case <-look.C:
			// A multiplexer tells of a window's new size a while after it has it:
			// what was drawn for the old one may have scrolled away.
			if nw, nh := k.Terminal.Size(); nw != w || nh != h {
				w, h = nw, nh
				err = k.tell(w, h, what, said)
			}
		}
	}
	if err != nil {
		// Nobody can answer: the terminal is gone, or its input is. It is left dark.
		_ = k.Terminal.Reset()
		return code
	}
	var unread []string
	if k.Blind {
		unread = append([]string{ember.SafeText(what)}, said.lines(math.MaxInt)...)
	}
	k.giveBack(unread...)
	if k.Covered != nil && !left {
		k.Covered()
	}
	return code
}

// dim makes the question no lighter than the child's picture was.
func (k Keeper) dim() {
	level := k.Guard.Level()
	if k.Level != nil {
		if l, said := k.Level(); said {
			level = l
		}
	}
	// Whether paper lies open is not known here.
	if level = min(level, ember.Ember); level != k.Guard.Level() {
		_ = k.Guard.SetLevel(level)
	}
}

// goOn takes the terminal back after this process was stopped.
func (k Keeper) goOn() {
	_ = k.Terminal.Keys()
	if k.Blind && k.Guard != nil {
		_ = k.Guard.Blacken()
	}
}

type press struct {
	c   byte
	err error
}

// read hands over keys. It ends with the one that answers, or with the terminal.
func (k Keeper) read(presses chan<- press, stop <-chan struct{}) {
	var in keystrokes
	for {
		c, err := k.Terminal.ReadKey()
		if err == nil && !in.key(c) {
			continue
		}
		select {
		case presses <- press{c, err}:
		case <-stop:
			return
		}
		if err != nil || c|0x20 == covered || k.Blind && c == ctrlC {
			return
		}
	}
}

// keystrokes tell a key from the rest of what a terminal sends: the reports of a
// mouse, arrows and the like. None of it is an answer. (What is pasted does not
// come this far.)
type keystrokes struct {
	in   keysIn
	bare bool // nothing stands after the introducer yet
	left int  // bytes of a report
}

type keysIn int

const (
	inNothing keysIn = iota
	inEscape
	inControl // CSI
	inShift   // SS3
	inReport  // of a mouse, by a terminal that knows only bytes for it
)

// key reports whether c is a key of its own.
func (s *keystrokes) key(c byte) bool {
	switch s.in {
	case inReport:
		if s.left--; s.left == 0 {
			s.in = inNothing
		}
		return false
	case inShift:
		s.in = inNothing
		return false
	case inControl:
		s.control(c)
		return false
	case inEscape:
		switch c {
		case '[':
			s.in, s.bare = inControl, true
			return false
		case 'O':
			s.in = inShift
			return false
		}
		s.in = inNothing
	}
	if c == esc {
		s.in = inEscape
		return false
	}
	return true
}

// control takes what follows the introducer, up to the letter that ends it.
func (s *keystrokes) control(c byte) {
	switch {
	case c == esc:
		s.in = inEscape
	case c < '@' || c > '~':
		s.bare = false
	case c == 'M' && s.bare:
		s.in, s.left = inReport, 3
	default:
		s.in = inNothing
	}
}

// giveBack gives the terminal back, and on it tells what could not be told.
func (k Keeper) giveBack(unread ...string) {
	_ = k.Terminal.Reset()
	if k.Guard != nil {
		_ = k.Guard.Restore()
	}
	for _, l := range unread {
		if k.Stderr != nil {
			_, _ = fmt.Fprintln(k.Stderr, l)
		}
	}
}

const (
	ctrlC   = 0x03
	esc     = 0x1b
	covered = 'y' // the key that says that paper is covered
)

// sizeEach is how often the question looks whether the window has another size.
const sizeEach = 200 * time.Millisecond

// tell paints the window black, and in it what happened and the question.
func (k Keeper) tell(w, h int, what string, said *tail) error {
	if k.Blind {
		return nil // Ended says it
	}
	_ = k.Guard.Resize(w, h)
	_ = k.Guard.Blacken()
	lines := []string{
		ember.SafeText(what),
		"The screen stays dark. What was written down is safe.",
		fmt.Sprintf("Cover the paper, then press %c: the screen comes back as it was.", covered),
	}
	// A trace over the whole window would be a lamp: its head says what happened.
	faint := ember.NewStyles(k.Guard.Level(), ember.TrueColor).Faint
	for _, l := range said.lines(min(traceLines, h-len(lines)-1)) {
		lines = append(lines, faint.Render(l))
	}
	// The cursor goes back to the top: a window made smaller afterwards loses
	// what is below it, not the words above.
	_, err := io.WriteString(k.Guard, strings.ReplaceAll(ember.Paint(strings.Join(lines, "\n"), w, h, k.Guard.Level()), "\n", "\r\n")+"\x1b[1;1H")
	return err
}

// tail keeps the last of what was written to it.
type tail struct {
	mu   sync.Mutex
	keep int
	b    []byte
}

func (t *tail) Write(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.b = append(t.b, p...)
	if over := len(t.b) - t.keep; over > 0 {
		t.b = append(t.b[:0], t.b[over:]...)
	}
	return len(p), nil
}

// lines gives at most n lines, made fit to be shown. A trace begins with what
// went wrong, so the first lines from the last "panic:" or "fatal error:" on
// are worth more than the last ones.
func (t *tail) lines(n int) []string {
	t.mu.Lock()
	text := string(t.b)
	t.mu.Unlock()
	if n <= 0 || text == "" {
		return nil
	}
	if i := max(strings.LastIndex(text, "panic: "), strings.LastIndex(text, "fatal error: ")); i >= 0 {
		text = text[i:]
	}
	all := strings.Split(strings.TrimRight(ansi.Strip(text), "\n"), "\n")
	if len(all) > n {
		all = all[:n]
	}
	for i, l := range all {
		all[i] = ember.SafeText(strings.ReplaceAll(l, "\t", "    "))
	}
	return all
}

// Command makes a child of an external command that shares the terminal.
func Command(cmd *exec.Cmd) Child { return &command{cmd} }

type command struct{ cmd *exec.Cmd }

func (c *command) Start(stderr io.Writer) error {
	if c.cmd.Stdin == nil {
		c.cmd.Stdin = os.Stdin
	}
	if c.cmd.Stdout == nil {
		c.cmd.Stdout = os.Stdout
	}
	c.cmd.Stderr = stderr
	return c.cmd.Start()
}

func (c *command) Signal(s os.Signal) error { return c.cmd.Process.Signal(s) }

func (c *command) Wait() (int, string, error) {
	err := c.cmd.Wait()
	if c.cmd.ProcessState == nil {
		return exitNoStart, "", err
	}
	code := c.cmd.ProcessState.ExitCode()
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		err = nil
	}
	if ended, n := killedBy(c.cmd.ProcessState); ended != "" {
		return n, ended, err
	}
	if code == 2 {
		// What the Go runtime exits with after a panic.
		return code, "The program broke off (code 2).", err
	}
	return code, "", err
}

// TTY is the terminal of this process, whose mode is remembered from now on.
// It is to be made before first light: on Windows it also makes the console
// understand what the guard writes.
func TTY(in, out *os.File) Terminal {
	t := &tty{in: in, out: out}
	_ = ember.EnableVT(out) // not a console: nothing will be drawn there anyway
	t.state, _ = term.GetState(in.Fd())
	return t
}

type tty struct {
	in, out *os.File
	state   *term.State
	pastes  pastes
	keys    []byte // read, and not yet asked for
}

func (t *tty) Size() (int, int) {
	w, h, err := term.GetSize(t.out.Fd())
	if err != nil || w < 1 || h < 1 {
		return 80, 24
	}
	return w, h
}

func (t *tty) Keys() error {
	if t.state != nil {
		_ = term.Restore(t.in.Fd(), t.state)
	}
	_, err := term.MakeRaw(t.in.Fd())
	t.brackets("h")
	return err
}

// brackets has the terminal mark what is pasted (h), or not (l).
func (t *tty) brackets(mode string) {
	if term.IsTerminal(t.out.Fd()) {
		_, _ = io.WriteString(t.out, "\x1b[?2004"+mode)
	}
}

// ReadKey leaves out what is pasted: it answers nothing.
func (t *tty) ReadKey() (byte, error) {
	var b [256]byte
	for len(t.keys) == 0 {
		n, err := t.in.Read(b[:])
		t.keys = t.pastes.keys(b[:n], n == len(b), time.Now())
		if err != nil && len(t.keys) == 0 {
			return 0, err
		}
	}
	c := t.keys[0]
	t.keys = t.keys[1:]
	return c, nil
}

func (t *tty) Reset() error {
	t.brackets("l")
	if t.state == nil {
		return nil
	}
	return term.Restore(t.in.Fd(), t.state)
}
