// Package termtest draws in a real terminal and reads the pixels, for tests: xterm, or
// another, with its scrollbar and its pointer, which is moved over the window all the
// time, on an X server without a screen (Xvfb), with or without tmux in between. It shares no code with the package it judges,
// not even the formula for luminance.
//
// The tools are not part of the project: see [sessiontest.Need].
package termtest

import (
	"bufio"
	"bytes"
	"cmp"
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jezek/xgb"
	"github.com/jezek/xgb/xproto"

	"wetside/session/sessiontest"
)

// Options of a terminal.
type Options struct {
	// Cols and Rows are the size of the window in cells; 80 by 24 if 0.
	Cols, Rows int
	// Command is run in the terminal. The terminal stays as it is when it ends.
	Command []string
	// Env is added to the environment ("NAME=value").
	Env []string
	// Dir is the command's working directory.
	Dir string
	// Tmux puts tmux in between, with its status line off; TmuxConf can have it on.
	Tmux bool
	// TmuxConf is added to tmux's settings: lines of its own language.
	TmuxConf string
	// Screen puts GNU screen in between; ScreenConf is added to its settings.
	Screen     bool
	ScreenConf string
	// Kind is the terminal: see kinds; xterm in its plainest form if empty.
	Kind string
	// Conf is added to xfce4-terminal's settings.
	Conf string
	// Bell has xterm, urxvt, kitty or alacritty flash, for half a second where that can be
	// said, where others ring.
	Bell bool
	// Unshifted never holds shift when the mouse meddles: a terminal that shows what is
	// selected in reverse lights whole lines, and no program has a say in it.
	Unshifted bool
	// Display is the size of the whole screen, in pixels; 2400x1700 if empty.
	Display string
	// Managed has a window manager, so that a window may be full screen.
	Managed bool
	// Term is the value of TERM; by default what xterm or tmux would set with
	// true colour (xterm) or 256 colours (tmux). Another value says nothing of true
	// colour.
	Term string
	// White makes it a terminal of black on white, as many are: whatever the
	// command leaves unpainted shows up.
	White bool
	// Patience is how long to wait for anything; 20 s if 0.
	Patience time.Duration
}

// Term is a running terminal.
type Term struct {
	t       testing.TB
	opts    Options
	display string
	window  string
	server  string // of tmux: its socket
	env     []string
	dir     string
	kind    kind
	xterm   *exec.Cmd

	x   *xgb.Conn
	win xproto.Window // the same as window

	shots  sync.Mutex // one at a time
	places int        // the pointer was at
	bare   bool       // the pointer is left out
	size   [2]int     // of the window, in pixels, when it was last photographed
}

// Shot is what a photograph of the window shows.
type Shot struct {
	Width, Height int // pixels
	// MeanLuminance over the window relative to the same window in white.
	MeanLuminance float64
	// The brightest of each channel, 0 to 255.
	MaxRed, MaxGreen, MaxBlue uint8
	// Lit is the part of the pixels that are not black.
	Lit float64
	// At is the first pixel found with green or blue in it.
	At [2]int
}

// String gives the figures in one line.
func (s Shot) String() string {
	return fmt.Sprintf("%dx%d px: mean luminance %.4f%% of white, lit pixels %.2f%%, brightest r %d g %d b %d",
		s.Width, s.Height, 100*s.MeanLuminance, 100*s.Lit, s.MaxRed, s.MaxGreen, s.MaxBlue)
}

// Alike reports whether two photographs show the same picture. A terminal that
// draws a cell anew wipes out what a neighbour's letter left in it of its
// smoothed edge, so the same text is not the same pixels each time; they differ
// in less than three of a thousand.
func (s Shot) Alike(o Shot) bool {
	near := func(a, b float64) bool { return math.Abs(a-b) <= 0.003*max(a, b) }
	return s.Width == o.Width && s.Height == o.Height && s.MaxRed == o.MaxRed && s.MaxGreen == o.MaxGreen && s.MaxBlue == o.MaxBlue &&
		near(s.MeanLuminance, o.MeanLuminance) && near(s.Lit, o.Lit)
}

// Start opens a terminal and runs the command in it. Everything it started
// ends with the test.
func Start(t testing.TB, o Options) *Term {
	t.Helper()
	sessiontest.Need(t, "Xvfb=xvfb", "import=imagemagick", "xdotool")
	if o.Tmux {
		sessiontest.Need(t, "tmux")
	}
	if o.Screen {
		sessiontest.Need(t, "screen")
	}
	o.Cols = cmp.Or(o.Cols, 80)
	if o.Rows == 0 {
		o.Rows = 24
	}
	o.Patience = cmp.Or(o.Patience, 20*time.Second)
	term := &Term{t: t, opts: o, dir: t.TempDir(), kind: kinds[either(o.Kind, "xterm")]}
	sessiontest.Need(t, term.kind.need...)
	t.Cleanup(term.alone)
	term.startX()
	term.startTerminal()
	return term
}

// startX starts an X server on a display of its own choosing, with a black root.
func (m *Term) startX() {
	m.t.Helper()
	r, w, err := os.Pipe()
	if err != nil {
		m.t.Fatal(err)
	}
	defer r.Close()
	cmd := exec.Command("Xvfb", "-displayfd", "3", "-screen", "0", either(m.opts.Display, "2400x1700")+"x24", "-br", "-nolisten", "tcp", "-noreset", "-fbdir", m.dir)
	cmd.ExtraFiles = []*os.File{w}
	m.run(cmd)
	w.Close()
	line, err := bufio.NewReader(r).ReadString('\n')
	if err != nil {
		m.t.Fatalf("Xvfb gave no display: %v", err)
	}
	m.display = ":" + strings.TrimSpace(line)
	m.env = append(bare(os.Environ()), "DISPLAY="+m.display, "LC_ALL=C.UTF-8", "LIBGL_ALWAYS_SOFTWARE=1")
	xgb.Logger.SetOutput(io.Discard) // that the server ended with the test is no news
	m.await("the X server", func() bool {
		m.x, err = xgb.NewConnDisplay(m.display)
		return err == nil
	})
	m.t.Cleanup(m.x.Close)
}

// A kind is how a terminal is opened, in its own colours but for black on white, with
// all the bars and borders that it has.
type kind struct {
	need  []string // its program, and its package where that has another name
	class string   // of its window
	open  func(m *Term, script string) []string
	// white is what its own script writes where no option makes it white.
	white string
}

// bare is an environment without what other terminals have left in it.
func bare(env []string) []string {
	return slices.DeleteFunc(slices.Clone(env), func(v string) bool {
		name, _, _ := strings.Cut(v, "=")
		return slices.Contains([]string{"TERM", "COLORTERM", "COLORFGBG", "WINDOWID", "VTE_VERSION", "XTERM_VERSION", "KITTY_WINDOW_ID", "ALACRITTY_WINDOW_ID", "TERM_PROGRAM"}, name)
	})
}

func (m *Term) geometry() string { return fmt.Sprintf("%dx%d+0+0", m.opts.Cols, m.opts.Rows) }

// kinds are the terminals there are. The figures that some draw by OpenGL are drawn in
// software.
var kinds = map[string]kind{
	"xterm": {[]string{"xterm"}, "xterm", func(m *Term, script string) []string {
		fg, bg := "white", "black"
		if m.opts.White {
			fg, bg = bg, fg
		}
		ops, not := "false", "10" // the size is the test's: no full screen
		if m.opts.Kind != "" {
			ops, not = "true", ""
		}
		bell := "+vb"
		if m.opts.Bell {
			bell = "-vb"
		}
		return []string{"xterm", "-geometry", m.geometry(), bell, "-xrm", "XTerm*visualBellDelay: 500",
			"-bg", bg, "-fg", fg, "-b", "0", "-sb", "-u8", "-hold",
			"-xrm", "XTerm*borderWidth: 0", "-xrm", "XTerm*internalBorder: 0",
			"-xrm", "XTerm*allowWindowOps: " + ops, "-xrm", "XTerm*disallowedWindowOps: " + not, "-xrm", "XTerm*directColor: true",
			"-fa", "DejaVu Sans Mono", "-fs", "9",
			"-e", "sh", script}
	}, ""},
	"urxvt": {[]string{"urxvt=rxvt-unicode"}, "urxvt", func(m *Term, script string) []string {
		bell := "+vb"
		if m.opts.Bell {
			bell = "-vb"
		}
		return []string{"urxvt", bell, "-geometry", m.geometry(), "-bg", "white", "-fg", "black", "-e", "sh", script}
	}, ""},
	"st": {[]string{"st=stterm"}, "st", func(m *Term, script string) []string {
		return []string{"st", "-g", m.geometry(), "-e", "sh", script}
	}, "\\033]10;#000000\\033\\\\\\033]11;#ffffff\\033\\\\\\033[2J"},
	"kitty": {[]string{"kitty"}, "kitty", func(m *Term, script string) []string {
		return []string{"kitty", "--config", "NONE", "-o", "background=#ffffff", "-o", "foreground=#000000", "-o", "update_check_interval=0", "-o", "remember_window_size=no", "-o", "enable_audio_bell=no",
			"-o", fmt.Sprintf("visual_bell_duration=%g", m.flash().Seconds()),
			"-o", fmt.Sprintf("initial_window_width=%dc", m.opts.Cols), "-o", fmt.Sprintf("initial_window_height=%dc", m.opts.Rows), "sh", script}
	}, ""},
	"alacritty": {[]string{"alacritty"}, "Alacritty", func(m *Term, script string) []string {
		conf := filepath.Join(m.dir, "alacritty.yml")
		m.write(conf, fmt.Sprintf("colors: {primary: {background: '#ffffff', foreground: '#000000'}}\nwindow: {position: {x: 0, y: 0}, dimensions: {columns: %d, lines: %d}}\nbell: {duration: %d}\n", m.opts.Cols, m.opts.Rows, m.flash().Milliseconds()))
		return []string{"alacritty", "--config-file", conf, "-e", "sh", script}
	}, ""},
	// One of those that draw with VTE, with their menu and scrollbar.
	"xfce4-terminal": {[]string{"xfce4-terminal", "dbus-run-session=dbus"}, "xfce4-terminal", func(m *Term, script string) []string {
		conf := filepath.Join(m.dir, "xfce4", "terminal")
		if err := os.MkdirAll(conf, 0o700); err != nil {
			m.t.Fatal(err)
		}
		m.write(filepath.Join(conf, "terminalrc"), "[Configuration]\nColorForeground=#000000\nColorBackground=#ffffff\n"+m.opts.Conf)
		return []string{"dbus-run-session", "--", "env", "XDG_CONFIG_HOME=" + m.dir, "NO_AT_BRIDGE=1", "xfce4-terminal", "--disable-server",
			"--geometry=" + m.geometry(), "-e", "sh " + script}
	}, ""},
}

// flash is how long a bell lights the window.
func (m *Term) flash() time.Duration {
	if m.opts.Bell {
		return time.Second / 2
	}
	return 0
}

func (m *Term) startTerminal() {
	m.t.Helper()
	script := m.script()
	if m.opts.Managed {
		m.manage()
	}
	args := m.kind.open(m, script)
	var ended <-chan struct{}
	tries := 0
	m.await("the terminal's window", func() bool {
		select {
		case <-ended:
			ended = nil // a server on a busy machine may turn its first client away
		default:
		}
		if ended == nil && tries < 5 {
			tries++
			m.xterm = exec.Command(args[0], args[1:]...)
			m.xterm.Env = append(m.env, m.opts.Env...)
			ended = m.run(m.xterm)
		}
		out, err := m.output("xdotool", "search", "--onlyvisible", "--class", m.kind.class)
		for line := range strings.Lines(out) { // GTK has one of a pixel too
			id, bad := strconv.ParseUint(strings.TrimSpace(line), 10, 32)
			if size, no := xproto.GetGeometry(m.x, xproto.Drawable(id)).Reply(); bad == nil && no == nil && size.Width > 50 {
				m.window, m.win = strings.TrimSpace(line), xproto.Window(id)
				break
			}
		}
		return err == nil && m.window != ""
	})
	m.await("the command", func() bool {
		_, err := os.Stat(filepath.Join(m.dir, "started"))
		return err == nil
	})
}

// script writes what the terminal runs. While nobody has asked to see the
// window it is at rest, so what is photographed first is what the command did.
func (m *Term) script() string {
	m.t.Helper()
	term, colorterm := m.opts.Term, "truecolor"
	if term == "" {
		term = "xterm-256color"
	} else {
		colorterm = "" // it is for the terminal to say
	}
	var b strings.Builder
	cd := ""
	if m.opts.Dir != "" {
		cd = "cd " + quote(m.opts.Dir) + "\n"
	}
	words := make([]string, len(m.opts.Command))
	for i, w := range m.opts.Command {
		words[i] = quote(w)
	}
	inner := filepath.Join(m.dir, "inner.sh")
	started := "stty -echo 2>/dev/null; : > " + quote(filepath.Join(m.dir, "started"))
	ended := "echo $? > " + quote(filepath.Join(m.dir, "ended"))
	// The pid is there for the test to send signals to.
	run := "echo $$ > " + quote(filepath.Join(m.dir, "pid")) + "\nexec " + strings.Join(words, " ")
	runner := filepath.Join(m.dir, "run.sh")
	m.write(runner, cd+run+"\n")
	wait := "\nwhile :; do sleep 3600; done\n"
	switch {
	case m.opts.Screen:
		conf, sockets := filepath.Join(m.dir, "screenrc"), filepath.Join(m.dir, "screens")
		m.write(conf, "startup_message off\nterm screen-256color\nvbell off\ndefutf8 on\n"+m.opts.ScreenConf)
		if err := os.Mkdir(sockets, 0o700); err != nil {
			m.t.Fatal(err)
		}
		m.env = append(m.env, "SCREENDIR="+sockets)
		m.write(inner, started+"\nsh "+quote(runner)+"\n"+ended+wait)
		fmt.Fprintf(&b, "unset TMUX STY COLORTERM\nTERM=%s screen -c %s -S rig sh %s\n", quote(term), quote(conf), quote(inner))
		m.t.Cleanup(func() { _, _ = m.output("screen", "-S", "rig", "-X", "quit") })
	case m.opts.Tmux:
		m.server = filepath.Join(m.dir, "tmux")
		conf := filepath.Join(m.dir, "tmux.conf")
		m.write(conf, "set -g status off\nset -g default-terminal tmux-256color\nset -g escape-time 0\nset -ga terminal-overrides ',*256col*:RGB'\n"+m.opts.TmuxConf)
		m.write(inner, started+"\nsh "+quote(runner)+"\n"+ended+wait)
		fmt.Fprintf(&b, "unset TMUX COLORTERM\nTERM=%s tmux -S %s -f %s new-session sh %s\n", quote(term), quote(m.server), quote(conf), quote(inner))
		m.t.Cleanup(func() { _, _ = m.output("tmux", "-S", m.server, "kill-server") })
	case m.opts.Kind != "": // it says what it is by itself
		fmt.Fprintf(&b, "unset TMUX STY\nprintf %s\n%s\nsh %s\n%s%s", quote(m.kind.white), started, quote(runner), ended, wait)
	default:
		fmt.Fprintf(&b, "unset TMUX STY\nTERM=%s COLORTERM=%s; export TERM COLORTERM\n%s\nsh %s\n%s%s", quote(term), colorterm, started, quote(runner), ended, wait)
	}
	// Some terminals set the user's own HOME anew.
	exports := ""
	for _, v := range append([]string{mark + "=" + m.dir}, m.opts.Env...) {
		exports += "export " + quote(v) + "\n"
	}
	outer := filepath.Join(m.dir, "outer.sh")
	m.write(outer, exports+b.String())
	return outer
}

func either(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

func quote(s string) string { return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'" }

func (m *Term) write(name, text string) {
	m.t.Helper()
	if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
		m.t.Fatal(err)
	}
}

// mark is in the environment of whatever runs in a terminal.
const mark = "WETSIDE_TEST_TERMINAL"

// alone waits until nothing is left of what ran in the terminal, which has gone
// by then; what outlives it might still write where the test cleans up.
func (m *Term) alone() {
	left := m.inside()
	for end := time.Now().Add(m.opts.Patience); len(left) > 0 && time.Now().Before(end); left = m.inside() {
		time.Sleep(20 * time.Millisecond)
	}
	for pid, name := range left {
		m.t.Errorf("%s outlived its terminal", name)
		if p, err := os.FindProcess(pid); err == nil {
			_ = p.Kill()
		}
	}
}

// inside are the processes that the terminal's environment was handed down to,
// with their command lines.
func (m *Term) inside() map[int]string {
	found := map[int]string{}
	all, _ := filepath.Glob("/proc/[0-9]*/environ")
	for _, file := range all {
		env, err := os.ReadFile(file)
		if err != nil || !bytes.Contains(env, []byte(mark+"="+m.dir+"\x00")) {
			continue
		}
		pid, _ := strconv.Atoi(filepath.Base(filepath.Dir(file)))
		line, _ := os.ReadFile(filepath.Join(filepath.Dir(file), "cmdline"))
		found[pid] = string(bytes.ReplaceAll(line, []byte{0}, []byte{' '}))
	}
	return found
}

// run starts a process that ends with the test, and says when it ended before.
func (m *Term) run(cmd *exec.Cmd) (ended <-chan struct{}) {
	m.t.Helper()
	if err := cmd.Start(); err != nil {
		m.t.Fatalf("%s: %v", cmd.Path, err)
	}
	done := make(chan struct{})
	go func() { _ = cmd.Wait(); close(done) }()
	m.t.Cleanup(func() {
		_ = cmd.Process.Signal(os.Interrupt)
		select {
		case <-done:
		case <-time.After(2 * time.Second):
			_ = cmd.Process.Kill()
			<-done
		}
	})
	return done
}

func (m *Term) output(name string, args ...string) (string, error) {
	ctx, cancel := context.WithTimeout(context.Background(), m.opts.Patience)
	defer cancel()
	cmd := exec.CommandContext(ctx, name, args...)
	cmd.Env = m.env
	out, err := cmd.Output()
	return string(out), err
}

// await waits for a condition, and fails the test if it does not come.
func (m *Term) await(what string, cond func() bool) {
	m.t.Helper()
	end := time.Now().Add(m.opts.Patience)
	for !cond() {
		if time.Now().After(end) {
			m.t.Fatalf("waited in vain for %s", what)
		}
		time.Sleep(20 * time.Millisecond)
	}
}

// PID is the process of the command.
func (m *Term) PID() int {
	m.t.Helper()
	var pid int
	m.await("the command's process", func() bool {
		b, err := os.ReadFile(filepath.Join(m.dir, "pid"))
		if err != nil {
			return false
		}
		pid, err = strconv.Atoi(strings.TrimSpace(string(b)))
		return err == nil
	})
	return pid
}

// WaitEnd waits for the command to end and gives its exit code.
func (m *Term) WaitEnd() int {
	m.t.Helper()
	code := -1
	m.await("the command's end", func() bool {
		b, err := os.ReadFile(filepath.Join(m.dir, "ended"))
		if err != nil {
			return false
		}
		code, err = strconv.Atoi(strings.TrimSpace(string(b)))
		return err == nil
	})
	return code
}

// Type sends keys: text as it is, and named keys after xdotool's names in
// angle brackets: "<Return>", "<Escape>", "<Up>", "<ctrl+c>".
func (m *Term) Type(keys string) {
	m.t.Helper()
	for keys != "" {
		args := []string{"type", "--window", m.window, "--delay", "5", "--"}
		if i := strings.IndexByte(keys, '>'); keys[0] == '<' && i > 1 {
			args = []string{"key", "--window", m.window, keys[1:i]}
			keys = keys[i+1:]
		} else {
			text := keys
			if j := strings.IndexByte(keys[1:], '<'); j >= 0 {
				text = keys[:j+1]
			}
			args = append(args, text)
			keys = keys[len(text):]
		}
		// xterm takes no keys from another program's events unless told to; so
		// they go to whatever has the focus, and that is the only window.
		args = append(args[:1], args[3:]...)
		if _, err := m.output("xdotool", append([]string{"windowfocus", "--sync", m.window}, args...)...); err != nil {
			m.t.Fatalf("xdotool %v: %v", args, err)
		}
	}
}

// Resize gives the window another size in cells.
func (m *Term) Resize(cols, rows int) {
	m.t.Helper()
	if _, err := m.output("xdotool", "windowsize", "--sync", "--usehints", m.window, strconv.Itoa(cols), strconv.Itoa(rows)); err != nil {
		m.t.Fatalf("xdotool windowsize: %v", err)
	}
	m.opts.Cols, m.opts.Rows = cols, rows
}

// Text is what the multiplexer holds the window to show; only with Tmux or
// Screen, and with Screen only what of it is ASCII.
func (m *Term) Text() string {
	m.t.Helper()
	switch {
	case m.opts.Tmux:
		out, _ := m.output("tmux", "-S", m.server, "capture-pane", "-p")
		return out
	case m.opts.Screen:
		// It writes when it comes to it; until then there is nothing.
		file := filepath.Join(m.dir, "hardcopy")
		_ = os.Remove(file)
		_, _ = m.output("screen", "-S", "rig", "-X", "hardcopy", file)
		out, _ := os.ReadFile(file)
		return string(out)
	}
	m.t.Fatal("the text can be read back with Tmux or Screen only: wait for a shot instead")
	return ""
}

// Mux runs a command of tmux, only with Tmux, and gives what it prints; or of screen,
// only with Screen, which prints nothing.
func (m *Term) Mux(args ...string) string {
	m.t.Helper()
	mux := []string{"tmux", "-S", m.server}
	if m.opts.Screen {
		mux = []string{"screen", "-S", "rig", "-X"}
	}
	out, err := m.output(mux[0], append(mux[1:], args...)...)
	if err != nil {
		m.t.Fatalf("%s %q: %v: %s", mux[0], args, err, out)
	}
	return out
}

// WaitText waits until the text of the window satisfies cond; only with Tmux
// or Screen.
func (m *Term) WaitText(what string, cond func(text string) bool) {
	m.t.Helper()
	m.await(what, func() bool { return cond(m.Text()) })
}

// WaitShot waits until a photograph satisfies cond, and gives it.
func (m *Term) WaitShot(what string, cond func(Shot) bool) Shot {
	m.t.Helper()
	var s Shot
	end := time.Now().Add(m.opts.Patience)
	for s = m.Shot(); !cond(s); s = m.Shot() {
		if time.Now().After(end) {
			m.t.Fatalf("waited in vain for %s; what is there: %v", what, s)
		}
		time.Sleep(20 * time.Millisecond)
	}
	return s
}

// Settled waits until two photographs in a row are alike and something is
// lit (or, if dark is expected, nothing is), and gives the last one.
func (m *Term) Settled(dark bool) Shot {
	m.t.Helper()
	var last, s Shot
	m.await("the window to come to rest", func() bool {
		last, s = s, m.Shot()
		return s == last && s.Width > 0 && (s.Lit == 0) == dark
	})
	return s
}

// Next waits until the window no longer looks as it did in before and has come
// to rest again, and gives a photograph of it.
func (m *Term) Next(before Shot) Shot {
	m.t.Helper()
	m.WaitShot("the window to change", func(s Shot) bool { return s != before })
	var last, s Shot
	m.await("the window to come to rest", func() bool {
		last, s = s, m.Shot()
		return s == last && s != before
	})
	return s
}

// Watch photographs the window over and over, as fast as can be, until stop is
// called, which gives the worst of what was seen, each figure for itself, and
// how many photographs were taken. It is for what must not even flash up.
func (m *Term) Watch() (stop func() (worst Shot, taken int)) {
	quit, done := make(chan struct{}), make(chan struct{})
	var worst Shot
	taken := 0
	go func() {
		defer close(done)
		for {
			select {
			case <-quit:
				return
			default:
			}
			s, err := m.shot()
			if err != nil {
				continue // the window changed its size while it was read
			}
			if s.MaxGreen|s.MaxBlue > 0 && worst.MaxGreen|worst.MaxBlue == 0 {
				worst.At = s.At
			}
			worst.Width, worst.Height = max(worst.Width, s.Width), max(worst.Height, s.Height)
			worst.MeanLuminance, worst.Lit = max(worst.MeanLuminance, s.MeanLuminance), max(worst.Lit, s.Lit)
			worst.MaxRed, worst.MaxGreen, worst.MaxBlue = max(worst.MaxRed, s.MaxRed), max(worst.MaxGreen, s.MaxGreen), max(worst.MaxBlue, s.MaxBlue)
			taken++
		}
	}()
	return func() (Shot, int) {
		close(quit)
		<-done
		return worst, taken
	}
}

// Save keeps a photograph as a PNG file, for a person to look at.
func (m *Term) Save(file string) {
	m.t.Helper()
	if _, err := m.output("import", "-silent", "-display", m.display, "-window", m.window, "png:"+file); err != nil {
		m.t.Fatalf("import: %v", err)
	}
}

// Shot photographs the window and reads every pixel.
func (m *Term) Shot() Shot {
	m.t.Helper()
	for end := time.Now().Add(10 * time.Second); ; time.Sleep(50 * time.Millisecond) {
		s, err := m.shot()
		if err == nil {
			return s
		}
		// A window that is changing its size is not there for a moment.
		if time.Now().After(end) {
			m.t.Fatal(err)
		}
	}
}

// shot moves the pointer on, over the window, and reads the window twice: from
// the server, which leaves the pointer out, so that pictures can be compared;
// and from its memory, where the pointer is. Green and blue count from both.
func (m *Term) shot() (Shot, error) {
	m.shots.Lock()
	defer m.shots.Unlock()
	m.places++
	at := func(size, step int) int16 { return int16(m.places * step % max(1, size)) }
	xproto.WarpPointer(m.x, 0, m.win, 0, 0, 0, 0, at(m.size[0], 149), at(m.size[1], 97))
	size, err := xproto.GetGeometry(m.x, xproto.Drawable(m.win)).Reply()
	if err != nil {
		return Shot{}, fmt.Errorf("the window's size: %w", err)
	}
	image, err := xproto.GetImage(m.x, xproto.ImageFormatZPixmap, xproto.Drawable(m.win), 0, 0, size.Width, size.Height, math.MaxUint32).Reply()
	if err != nil {
		return Shot{}, fmt.Errorf("the window's picture: %w", err)
	}
	s := seen(int(size.Width), int(size.Height), image.Data)
	m.size = [2]int{s.Width, s.Height}
	if m.bare {
		return s, nil
	}
	bare, err := m.memory(s.Width, s.Height)
	if err != nil {
		return s, err
	}
	if s.MaxGreen|s.MaxBlue == 0 {
		s.At = bare.At
	}
	s.MaxGreen, s.MaxBlue = max(s.MaxGreen, bare.MaxGreen), max(s.MaxBlue, bare.MaxBlue)
	return s, nil
}

// Unpointed leaves the pointer out of photographs from now on, or no longer.
func (m *Term) Unpointed(on bool) {
	m.shots.Lock()
	defer m.shots.Unlock()
	m.bare = on
}

// Pointed photographs the window with its pointer, as the eye sees it.
func (m *Term) Pointed() Shot {
	m.t.Helper()
	m.shots.Lock()
	defer m.shots.Unlock()
	s, err := m.memory(m.size[0], m.size[1])
	if err != nil {
		m.t.Fatal(err)
	}
	return s
}

// memory reads the upper left corner of the screen, where the window is, from
// the server's memory, which it keeps as a file in the format of xwd
// (X11/XWDFile.h: 25 words of 32 bits, most significant byte first).
func (m *Term) memory(width, height int) (Shot, error) {
	f, err := os.Open(filepath.Join(m.dir, "Xvfb_screen0"))
	if err != nil {
		return Shot{}, err
	}
	defer f.Close()
	var head [25]uint32
	if err := binary.Read(f, binary.BigEndian, &head); err != nil {
		return Shot{}, fmt.Errorf("the server's memory: %w", err)
	}
	const littleEndian = 0
	size, order, depth, line, colours := head[0], head[7], head[11], int64(head[12]), head[19]
	if order != littleEndian || depth != 32 || head[14] != 0xff0000 || head[15] != 0xff00 || head[16] != 0xff {
		return Shot{}, fmt.Errorf("the server's memory is in an order not known here: %v", head)
	}
	bgr := make([]byte, 4*width*height)
	for y := range height {
		if _, err := f.ReadAt(bgr[4*width*y:4*width*(y+1)], int64(size)+12*int64(colours)+line*int64(y)); err != nil {
			return Shot{}, fmt.Errorf("the server's memory: %w", err)
		}
	}
	return seen(width, height, bgr), nil
}

// Meddle does to the window what an elbow on the mouse does: it drags over it,
// clicks three times in a row, turns the wheel; and the same with shift, which
// in many terminals selects whatever the program wants of the mouse.
func (m *Term) Meddle() {
	m.t.Helper()
	m.shots.Lock()
	defer m.shots.Unlock()
	to := func(x, y int) []string {
		return []string{"mousemove", "--window", m.window, strconv.Itoa(m.size[0] * x / 8), strconv.Itoa(m.size[1] * y / 8)}
	}
	for _, shift := range []bool{false, true} {
		if shift && m.opts.Unshifted {
			return
		}
		var args []string
		if shift {
			args = append(args, "keydown", "shift")
		}
		args = append(append(append(args, to(1, 1)...), "mousedown", "1"), to(5, 3)...)
		args = append(append(args, to(6, 7)...), "mouseup", "1")
		args = append(append(args, to(3, 1)...), "click", "--repeat", "3", "--delay", "20", "1", "click", "4", "click", "5")
		if shift {
			args = append(args, "keyup", "shift")
		}
		if _, err := m.output("xdotool", args...); err != nil {
			m.t.Fatalf("xdotool %v: %v", args, err)
		}
	}
}

// Judge fails the test if a photograph shows green or blue, or more light than
// limit (mean luminance relative to white).
func (s Shot) Judge(t testing.TB, what string, limit float64) {
	t.Helper()
	t.Logf("%s: %v", what, s)
	if s.MaxGreen > 0 || s.MaxBlue > 0 {
		t.Errorf("%s: green up to %d, blue up to %d, first at %v", what, s.MaxGreen, s.MaxBlue, s.At)
	}
	if s.MeanLuminance > limit {
		t.Errorf("%s: mean luminance %.4f%% of white, at most %.4f%% may be", what, 100*s.MeanLuminance, 100*limit)
	}
}

// seen gives the figures of a picture as the X server has it: four bytes a
// pixel, blue, green, red and one that is not used.
func seen(width, height int, bgr []byte) Shot {
	s := Shot{Width: width, Height: height}
	var sum float64
	lit, first, pixels := 0, true, width*height
	for i := range pixels {
		b, g, r := bgr[4*i], bgr[4*i+1], bgr[4*i+2]
		if r|g|b == 0 {
			continue
		}
		lit++
		sum += 0.2126*linear[r] + 0.7152*linear[g] + 0.0722*linear[b]
		s.MaxRed, s.MaxGreen, s.MaxBlue = max(s.MaxRed, r), max(s.MaxGreen, g), max(s.MaxBlue, b)
		if g|b != 0 && first {
			s.At, first = [2]int{i % width, i / width}, false
		}
	}
	if pixels > 0 {
		s.MeanLuminance, s.Lit = sum/float64(pixels), float64(lit)/float64(pixels)
	}
	return s
}

// linear is the transfer function of IEC 61966-2-1 (sRGB), inverted.
var linear = func() (t [256]float64) {
	for i := range t {
		c := float64(i) / 255
		if c <= 0.04045 {
			t[i] = c / 12.92
		} else {
			t[i] = math.Pow((c+0.055)/1.055, 2.4)
		}
	}
	return
}()
