package main

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"wetside/session/sessiontest"
	"wetside/tui/termtest"
)

// A site is a terminal that a walk is gone in, from a shell with a prompt of its own
// colours, with a bell that flashes where it can.
type site struct {
	name   string
	o      termtest.Options
	fullBy string   // what the program says makes it full screen
	full   bool     // the program itself can ask for that
	gate   []string // the deeds that are always done; the others take WETSIDE_SOAK=1
}

var sites = []site{
	{name: "xterm", o: termtest.Options{Kind: "xterm", Bell: true}, full: true, gate: []string{"bell", "stops", "the program killed", "the keeper killed", "both killed"}},
	{name: "urxvt", o: termtest.Options{Kind: "urxvt", Bell: true}, gate: []string{"the keeper killed"}},
	{name: "st", o: termtest.Options{Kind: "st", Unshifted: true}, gate: []string{"the keeper killed"}},
	{name: "xfce4-terminal", o: termtest.Options{Kind: "xfce4-terminal", Conf: "ScrollingBar=TERMINAL_SCROLLBAR_NONE\nMiscMenubarDefault=FALSE\n"}, // its preferences
		fullBy: "<F11>", gate: []string{"the keeper killed"}},
	{name: "kitty", o: termtest.Options{Kind: "kitty", Bell: true}, fullBy: "<ctrl+shift+F11>", gate: []string{"the keeper killed"}},
	{name: "alacritty", o: termtest.Options{Kind: "alacritty"}, gate: []string{"the keeper killed"}},
	{name: "tmux", o: termtest.Options{Tmux: true, Bell: true}, gate: []string{"the keeper killed", "both killed"}},
	{name: "screen", o: termtest.Options{Screen: true, Bell: true}, gate: []string{"the keeper killed", "both killed"}},
}

// A wanderer goes through a site.
type wanderer struct {
	*scene
	site
	soak bool
}

// deeds are what is done in each, one after the other. From the first frame to the
// word that paper is covered there is nothing but red, and no more than a frame may have.
var deeds = []struct {
	name string
	do   func(w *wanderer)
}{
	{"start", (*wanderer).start},
	{"every screen", (*wanderer).everyScreen},
	{"bell", func(w *wanderer) { w.ring() }},
	{"stops", (*wanderer).stops},
	{"the program killed", (*wanderer).programKilled},
	{"the keeper killed", (*wanderer).keeperKilled},
	{"both killed", (*wanderer).bothKilled},
	{"leave", (*wanderer).leave},
}

// The shell of the walk. A storm is every colour there is but those that a terminal is
// told by their own red, green and blue.
const walkShell = `PS1='\[\e[1;32;44m\]signal box\[\e[0;36m\] $\[\e[0m\] '
storm() {
	for i in {0..255}; do printf '\e[38;5;%dm#\e[48;5;%dm#\e[0;7;38;5;%dm#\e[0m' $i $((255-i)) $i; done
	for i in {0..7}; do printf '\e[0;1;3%dmbold\e[0;9%dmbright\e[10%dmground\e[0;'"$FAINT"'7;4;3%dmother' $i $i $i $i; done
	printf '\e[0;7m\e[K in reverse\n\e[0m\e[?25h'
}
`

// One walk through all the deeds, in each terminal that runs here.
func TestLightOfEveryTerminal(t *testing.T) {
	sessiontest.Need(t, "Xvfb=xvfb", "import=imagemagick", "xdotool", "bash", "tmux", "screen")
	soak := os.Getenv("WETSIDE_SOAK") != ""
	for _, p := range sites {
		t.Run(p.name, func(t *testing.T) {
			t.Parallel()
			h := newHome(t, "PATH="+filepath.Dir(binary(t))+":"+os.Getenv("PATH"), "HISTFILE=")
			past(t, h, false)
			if p.name != "alacritty" { // which has colours for what is faint that nobody can set
				h.env = append(h.env, "FAINT=2;")
			}
			rc := filepath.Join(h.dir, "rc")
			if err := os.WriteFile(rc, []byte(walkShell), 0o600); err != nil {
				t.Fatal(err)
			}
			o := p.o
			if o.Kind != "" {
				o.Managed, o.Display = true, "1000x650"
			}
			w := &wanderer{newScene(t, p.name, o, h, "bash", "--rcfile", rc, "-i"), p, soak}
			w.open()
			w.WaitShot("the prompt in blue", func(x termtest.Shot) bool { return !x.Alike(w.first) })
			for i, d := range deeds {
				if soak || i == 0 || i == len(deeds)-1 || slices.Contains(p.gate, d.name) {
					d.do(w)
				}
			}
		})
	}
	if !soak {
		t.Run("the rest", func(t *testing.T) {
			sessiontest.Leave(t, "every screen, kill and stop in every terminal takes ten minutes", "set WETSIDE_SOAK=1")
		})
	}
	t.Cleanup(func() { printFigures(t) })
}

const walkStart = "wetside --sound none<Return>"

func (w *wanderer) start() {
	w.Type(walkStart)
	small := w.arrive(emberLimit)
	if w.fullBy != "" {
		w.press(w.fullBy)
	}
	if w.fullBy != "" || w.full {
		w.WaitShot("full screen", func(x termtest.Shot) bool {
			return x.Width > min(small.Width, 999) && x.MaxRed > 0 && x.MaxGreen|x.MaxBlue == 0
		})
	}
	w.judge("ember", "resume", w.rest(true))
	w.meddle()
	w.dim("three screens", func() {
		w.on("y")
		w.judge("ember", "field", w.Shot())
		w.on("<Tab>")
		w.judge("ember", "trays", w.Shot())
		w.press("p")
		w.on("<Tab>")
		w.on("<Tab>")
		w.judge("ember", "room", w.Shot())
		w.meddle()
	})
}

func (w *wanderer) everyScreen() {
	w.dim("every screen", func() {
		w.on("<Tab>")
		w.on("<Tab>")
		w.says("ready, ")
		w.round("ember", w.rest(true), true)
	})
}

// ring has whatever else writes to the terminal ring its bell. The program rings none.
func (w *wanderer) ring() {
	w.t.Helper()
	tty, err := os.OpenFile(fmt.Sprintf("/proc/%d/fd/0", w.PID()), os.O_WRONLY|syscall.O_NOCTTY, 0)
	if err != nil {
		w.t.Fatal(err)
	}
	defer tty.Close()
	w.dim("bell", func() {
		for range 10 {
			tty.WriteString("\a")
			time.Sleep(100 * time.Millisecond)
		}
	})
}

// job are the keeper and the program.
func (w *wanderer) job() (keeper, program int) {
	w.t.Helper()
	keeper = childOf(w.t, w.PID())
	return keeper, childOf(w.t, keeper)
}

func (w *wanderer) kill(sig syscall.Signal, pids ...int) {
	w.t.Helper()
	for _, pid := range pids {
		if err := syscall.Kill(pid, sig); err != nil {
			w.t.Fatal(err)
		}
	}
}

// atShell types at the shell that has the window, whose bell rings.
func (w *wanderer) atShell(what string, meddle bool) {
	w.t.Helper()
	w.rest(true) // what is left sees it within half a second, and puts the mouse off
	w.Type("echo tea caddy<Return>")
	if meddle {
		w.meddle()
	}
	w.ring()
	w.judge("ember", what, w.rest(true))
	w.Type("<ctrl+u>")
}

// A keeper that is stopped, alone or with the program, leaves the window to the shell, and
// has it back.
func (w *wanderer) stops() {
	signals := []syscall.Signal{syscall.SIGTSTP}
	if w.soak {
		signals = append(signals, syscall.SIGSTOP)
	}
	keeper, _ := w.job()
	for _, sig := range signals {
		for _, pid := range []int{keeper, -keeper} { // a job is a group
			what := fmt.Sprintf("%s of %s", unix.SignalName(sig), map[bool]string{true: "the keeper", false: "both"}[pid > 0])
			w.dim(what, func() {
				before := w.Shot()
				w.kill(sig, pid)
				w.WaitShot("the shell after "+what, func(x termtest.Shot) bool { return !x.Alike(before) })
				w.atShell(what, pid > 0) // with both stopped nobody is left to keep the mouse from typing
				stopped := w.rest(true)
				w.Type("fg<Return>")
				w.WaitShot("the shell to take that", func(x termtest.Shot) bool { return !x.Alike(stopped) })
				shown := w.rest(true) // its echo is no picture yet
				w.judge("ember", "brought back", shown)
				w.press("?") // the keys are back too
				w.WaitShot("help", func(x termtest.Shot) bool { return !x.Alike(shown) })
				w.press("<Escape>")
				w.rest(true)
			})
		}
	}
}

// A keeper whose program was killed asks, and the next start begins in white.
func (w *wanderer) programKilled() {
	w.dim("the program killed", func() {
		_, program := w.job()
		w.kill(syscall.SIGKILL, program)
		w.says("press y")
		w.judge("ember", "what happened, and the question", w.rest(true))
		w.meddle()
		w.ring()
		w.Type("x <Return>") // elbows
		w.judge("ember", "last before the answer", w.rest(true))
	})
	w.Type("y")
	w.white()
	w.Type(walkStart)
	w.arrive(emberLimit)
	w.judge("ember", "started again", w.rest(true))
	w.on("y")
}

func (w *wanderer) keeperKilled() {
	w.dim("the keeper killed", func() {
		keeper, _ := w.job()
		before := w.Shot()
		w.kill(syscall.SIGKILL, keeper)
		w.says("What kept this window dark was killed")
		w.WaitShot("the shell", func(x termtest.Shot) bool { return !x.Alike(before) })
		w.atShell("the keeper killed", true)
		w.again(keeper)
	})
}

// With both killed nobody is left to hide the pointer, which but for xterm's has colours of
// its own.
func (w *wanderer) bothKilled() {
	w.Unpointed(w.o.Kind != "" && w.o.Kind != "xterm")
	w.dim("both killed", func() {
		keeper, program := w.job()
		before := w.Shot()
		w.kill(syscall.SIGKILL, keeper, program)
		prompt := w.WaitShot("the shell", func(x termtest.Shot) bool { return !x.Alike(before) })
		w.Type("storm<Return>")
		w.says("in reverse")
		w.WaitShot("the storm", func(x termtest.Shot) bool { return x.Lit > 2*prompt.Lit })
		w.ring()
		for range 3 { // the mouse types at the shell
			w.meddle()
		}
		w.judge("ember", "both killed", w.rest(true))
		w.Type("<ctrl+u>")
		w.again(keeper)
	})
	w.Unpointed(false)
}

// again starts the program in the window that another was killed in.
func (w *wanderer) again(was int) {
	w.t.Helper()
	w.Type(walkStart)
	until(w.t, "it was started again", func() bool { c := childOf(w.t, w.PID()); return c != was && childOf(w.t, c) > 0 })
	w.says("Go on?")
	w.judge("ember", "started again", w.rest(true))
	w.on("y")
}

func (w *wanderer) leave() {
	w.on("q")
	w.press("y")
	w.white()
}

// white waits for the shell and its terminal as they were.
func (w *wanderer) white() {
	w.t.Helper()
	if w.o.Screen { // which leaves the last picture where it was
		w.WaitShot("light", func(x termtest.Shot) bool { return x.MaxGreen > 0 })
		w.Type("clear<Return>")
	}
	w.WaitShot("the terminal as it was", func(x termtest.Shot) bool { return x.MaxGreen == 255 && x.MeanLuminance > 0.8 })
}

// A desktop's VTE terminal, as it comes, lights a menu and a scrollbar, which the README
// says in figures.
func TestLightOfBars(t *testing.T) {
	sessiontest.Need(t, "Xvfb=xvfb", "import=imagemagick", "xdotool")
	t.Parallel()
	h := newHome(t)
	s := newScene(t, "xfce4-terminal", termtest.Options{Kind: "xfce4-terminal", Display: "1000x650"}, h, binary(t), "--sound", "none")
	s.open()
	x := s.WaitShot("the first frame", func(x termtest.Shot) bool { return x.MeanLuminance < 0.3 })
	if x.MeanLuminance < 0.03 || x.MeanLuminance > 0.06 {
		t.Errorf("its bars are no 3 to 6%% of the window in white: %v", x)
	}
	s.Type("qy")
}
