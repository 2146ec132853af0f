package keeper

import (
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/charmbracelet/x/vt"

	"wetside/session/words"
	"wetside/tui/ember"
	"wetside/tui/termtest"
)

// screen is a terminal emulator behind a guard.
type screen struct {
	*vt.Emulator
	guard *ember.Guard
}

func newScreen(w, h int) screen {
	e := vt.NewEmulator(w, h)
	return screen{e, ember.NewGuard(e, ember.Options{Profile: ember.TrueColor, Level: ember.Ember})}
}

func (s screen) dark() error {
	return termtest.Dark(s.Emulator, ember.Ember.Red(ember.Strong), words.Unseen)
}

// fakeTTY is a terminal without a terminal: keys come from a list.
type fakeTTY struct {
	w, h    int
	keys    string
	onKey   func()
	resets  int
	keyMode bool
}

func (f *fakeTTY) Size() (int, int) { return f.w, f.h }
func (f *fakeTTY) Keys() error      { f.keyMode = true; return nil }
func (f *fakeTTY) Reset() error     { f.resets++; return nil }
func (f *fakeTTY) ReadKey() (byte, error) {
	if f.onKey != nil {
		f.onKey()
	}
	if f.keys == "" {
		return 0, io.EOF
	}
	c := f.keys[0]
	f.keys = f.keys[1:]
	return c, nil
}

// fakeChild runs run as the program.
type fakeChild struct {
	run     func(stderr io.Writer, signals <-chan os.Signal) (int, string)
	stderr  io.Writer
	signals chan os.Signal
	fail    error
}

func (c *fakeChild) Start(stderr io.Writer) error {
	c.stderr, c.signals = stderr, make(chan os.Signal, 4)
	return c.fail
}
func (c *fakeChild) Signal(s os.Signal) error { c.signals <- s; return nil }
func (c *fakeChild) Revive()                  {}
func (c *fakeChild) Wait() (int, string, error) {
	code, ended := c.run(c.stderr, c.signals)
	return code, ended, nil
}

func TestKeeperKeepsTheRoomDark(t *testing.T) {
	trace := "warming up\npanic: index out of range\n\n\x1b[32mgoroutine 1 [running]:\n\tmain.main()\n"
	for _, c := range []struct {
		name     string
		run      func(io.Writer, <-chan os.Signal) (int, string)
		fail     error
		keys     string
		signal   os.Signal
		code     int
		restored bool
		shown    []string
		after    string
	}{
		{name: "a good exit gives the terminal back without asking twice",
			run:  func(io.Writer, <-chan os.Signal) (int, string) { return 0, "" },
			code: 0, restored: true},
		{name: "what a good exit left to say is read in the light",
			run: func(e io.Writer, _ <-chan os.Signal) (int, string) {
				_, _ = io.WriteString(e, "the lamps cannot be put back\n")
				return 0, ""
			},
			code: 0, restored: true, after: "the lamps cannot be put back\n"},
		{name: "a panic is told in red and waits for the key",
			run: func(e io.Writer, _ <-chan os.Signal) (int, string) {
				_, _ = io.WriteString(e, trace)
				return 2, "The program broke off (code 2)."
			},
			keys: "nq Y", code: 2, restored: true,
			shown: []string{"The program broke off", "press y", "panic: index out of range", "goroutine 1 [running]:", "main.main()"}},
		{name: "a kill is told too",
			run: func(io.Writer, <-chan os.Signal) (int, string) {
				return 137, "The program was ended from outside (killed)."
			},
			keys: "y", code: 137, restored: true,
			shown: []string{"ended from outside (killed)"}},
		{name: "a signal goes to the child, which ends in its own way",
			run: func(_ io.Writer, s <-chan os.Signal) (int, string) {
				if got := <-s; got != os.Interrupt {
					return 99, ""
				}
				return 130, ""
			},
			signal: os.Interrupt, keys: "y", code: 130, restored: true,
			shown: []string{"code 130"}},
		{name: "nobody there to answer: the terminal stays dark",
			run:  func(io.Writer, <-chan os.Signal) (int, string) { return 1, "" },
			keys: "", code: 1, restored: false},
		{name: "a program that cannot be started",
			fail: errors.New("no such file"), keys: "y", code: 127, restored: true,
			shown: []string{"could not be started: no such file"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScreen(72, 12)
			var shown string
			tty := &fakeTTY{w: 72, h: 12, keys: c.keys}
			tty.onKey = func() {
				shown = s.String()
				if err := s.dark(); err != nil {
					t.Errorf("while the question stands: %v", err)
				}
				if !tty.keyMode {
					t.Error("keys are read in whatever mode the child left behind")
				}
			}
			signals := make(chan os.Signal, 1)
			if c.signal != nil {
				signals <- c.signal
			}
			var told string
			var after strings.Builder
			covered := 0
			k := Keeper{Guard: s.guard, Terminal: tty, Signals: signals, Ended: func(w string) { told = w },
				Covered: func() { covered++ }, Stderr: &after}
			code := k.Run(&fakeChild{run: c.run, fail: c.fail})
			if code != c.code {
				t.Errorf("code %d, want %d", code, c.code)
			}
			if restored := !s.IsAltScreen(); restored != c.restored {
				t.Errorf("terminal given back: %v, want %v", restored, c.restored)
			}
			if !c.restored {
				if err := s.dark(); err != nil {
					t.Error(err)
				}
			}
			for _, want := range c.shown {
				if !strings.Contains(shown, want) {
					t.Errorf("not shown: %q in\n%s", want, shown)
				}
			}
			if len(c.shown) > 0 && told == "" {
				t.Error("not told aloud")
			}
			if answered := c.restored && c.code != 0; (covered > 0) != answered {
				t.Errorf("the lamps are let back %d times; the question was answered: %v", covered, answered)
			}
			if after.String() != c.after {
				t.Errorf("on the terminal afterwards stands %q, want %q", after.String(), c.after)
			}
			if tty.resets == 0 {
				t.Error("the terminal's mode was not put back")
			}
		})
	}
}

// What a mouse sends is no answer, whatever letters are in it: the terminal is
// given back for the key alone.
func TestNothingButAKeyAnswers(t *testing.T) {
	for _, c := range []struct {
		name, sent string
		answered   bool
	}{
		{"the key", "y", true},
		{"the key, large", "Y", true},
		{"after another", "n y", true},
		{"a click", "\x1b[<0;12;3M\x1b[<0;12;3m", false},
		{"a click told in bytes, the column being a y", "\x1b[My!y\x1b[M y!", false},
		{"the key after all of them", "\x1b[<0;12;3M\x1b[My!y\x1b[A\x1bOyy", true},
		{"a sequence with that end", "\x1b[1;2y\x1bOy", false},
		{"the key after esc", "\x1by", true},
		{"a sequence broken off", "\x1b[12\x1b[1;2y", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScreen(40, 6)
			Keeper{Guard: s.guard, Terminal: &fakeTTY{w: 40, h: 6, keys: c.sent}}.Run(&fakeChild{run: func(io.Writer, <-chan os.Signal) (int, string) { return 1, "" }})
			if given := !s.IsAltScreen(); given != c.answered {
				t.Errorf("the terminal was given back: %v", given)
			}
		})
	}
}

// A real process, a real panic: the test binary runs itself.
func TestKeeperCatchesARealPanic(t *testing.T) {
	switch os.Getenv("KEEPER_TEST_CHILD") {
	case "panic":
		go func() { panic("tray on the floor") }()
		select {}
	case "good":
		os.Exit(0)
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	for _, what := range []string{"panic", "good"} {
		s := newScreen(80, 20)
		var shown string
		tty := &fakeTTY{w: 80, h: 20, keys: "y"}
		tty.onKey = func() { shown = s.String() }
		cmd := exec.Command(self, "-test.run=^TestKeeperCatchesARealPanic$")
		cmd.Env = append(os.Environ(), "KEEPER_TEST_CHILD="+what)
		cmd.Stdout = io.Discard
		code := Keeper{Guard: s.guard, Terminal: tty}.Run(Command(cmd))
		if what == "good" {
			if code != 0 || shown != "" {
				t.Errorf("a good exit: code %d, shown %q", code, shown)
			}
			continue
		}
		if code != 2 || !strings.Contains(shown, "tray on the floor") {
			t.Errorf("after a panic: code %d, shown\n%s", code, shown)
		}
	}
}

// However bright the field's level is, the keeper's question is no brighter
// than the darkroom's: paper may lie open.
func TestKeeperAsksNoBrighterThanTheDarkroom(t *testing.T) {
	var out strings.Builder
	g := ember.NewGuard(&out, ember.Options{Profile: ember.TrueColor, Level: ember.Torch})
	child := &fakeChild{run: func(io.Writer, <-chan os.Signal) (int, string) {
		out.Reset()
		return 137, "The program was ended from outside (killed)."
	}}
	Keeper{Guard: g, Terminal: &fakeTTY{w: 60, h: 10}}.Run(child)
	most := 0
	for _, m := range regexp.MustCompile(`38;2;(\d+);`).FindAllStringSubmatch(out.String(), -1) {
		n, _ := strconv.Atoi(m[1])
		most = max(most, n)
	}
	if most == 0 || most > int(ember.Ember.Red(ember.Strong)) {
		t.Errorf("the question is drawn in red %d, the darkroom allows %d", most, ember.Ember.Red(ember.Strong))
	}
}

// A picture that was dark when the program crashed stays dark, question and all,
// until somebody wants to read it.
func TestKeeperAsksInTheDark(t *testing.T) {
	s := newScreen(60, 10)
	lit := func() bool {
		for y := range 10 {
			for x := range 60 {
				if c := s.CellAt(x, y); c != nil && c.Style.Fg != nil && strings.TrimSpace(c.Content) != "" {
					if r, _, _, _ := c.Style.Fg.RGBA(); r > 0 {
						return true
					}
				}
			}
		}
		return false
	}
	tty := &sizedTTY{fakeTTY: fakeTTY{w: 60, h: 10, keys: "ngy"}}
	var seen []bool
	look := make(chan struct{}) // before each key, by whoever draws
	tty.onKey = func() { look <- struct{}{} }
	tty.onSize = func() {
		select {
		case <-look:
			seen = append(seen, lit())
		default:
		}
	}
	code := Keeper{Guard: s.guard, Terminal: tty, Level: func() (ember.Level, bool) { return ember.Dark, true }}.Run(
		&fakeChild{run: func(io.Writer, <-chan os.Signal) (int, string) {
			return 137, "The program was ended from outside (killed)."
		}})
	if code != 137 || !slices.Equal(seen, []bool{false, false, true}) {
		t.Errorf("code %d, lit at each key: %v", code, seen)
	}
}

// A keeper that was stopped and goes on puts its question anew: a shell has been
// there.
func TestKeeperAsksAgainAfterAStop(t *testing.T) {
	s := newScreen(60, 10)
	again, look := make(chan os.Signal), make(chan struct{})
	tty := &sizedTTY{fakeTTY: fakeTTY{w: 60, h: 10, keys: "ny"}}
	tty.onKey = sync.OnceFunc(func() {
		fmt.Fprint(s.Emulator, "\x1b[1;1H\x1b[2J$ echo over")
		tty.keyMode = false
		again <- os.Interrupt
		look <- struct{}{}
	})
	looked := false
	tty.onSize = func() { // asked by whoever draws, between two pictures
		select {
		case <-look:
			looked = true
			if !strings.Contains(s.String(), "Cover the paper") || strings.Contains(s.String(), "echo") || !tty.keyMode {
				t.Errorf("shown after the stop:\n%s", s.String())
			}
		default:
		}
	}
	Keeper{Guard: s.guard, Terminal: tty, Continued: again}.Run(
		&fakeChild{run: func(io.Writer, <-chan os.Signal) (int, string) {
			return 137, "The program was ended from outside (killed)."
		}})
	if !looked {
		t.Error("nobody looked at it")
	}
}

// sizedTTY tells when its size is asked for.
type sizedTTY struct {
	fakeTTY
	onSize func()
}

func (f *sizedTTY) Size() (int, int) { f.onSize(); return f.fakeTTY.Size() }

// With nothing drawn, what ends a program elsewhere ends the question too.
func TestKeeperWithoutAPictureCanBeLeft(t *testing.T) {
	for name, set := range map[string]func(*fakeTTY, chan os.Signal){
		"by ctrl+c": func(f *fakeTTY, _ chan os.Signal) { f.keys = "q\x03" },
		"by a signal": func(f *fakeTTY, s chan os.Signal) {
			f.keys = strings.Repeat("q", 1<<20)
			f.onKey = sync.OnceFunc(func() { s <- os.Interrupt })
		},
	} {
		t.Run(name, func(t *testing.T) {
			var after strings.Builder
			tty, signals := &fakeTTY{}, make(chan os.Signal, 1)
			// Nobody said that paper is covered: no lamp comes up.
			k := Keeper{Terminal: tty, Stderr: &after, Signals: signals, Covered: func() { t.Error("the lamps were let back") }}
			code := k.Run(&fakeChild{run: func(io.Writer, <-chan os.Signal) (int, string) {
				set(tty, signals)
				return 1, "The program broke off (code 1)."
			}})
			if code != 1 || !strings.Contains(after.String(), "broke off") || tty.resets == 0 {
				t.Errorf("code %d, %d resets, afterwards %q", code, tty.resets, after.String())
			}
		})
	}
}

// With nothing drawn the keys are read one by one from the start, and a trace
// waits until paper is covered.
func TestKeeperWithoutAPicture(t *testing.T) {
	var after strings.Builder
	tty := &fakeTTY{keys: "nY"}
	tty.onKey = func() {
		if after.Len() > 0 {
			t.Errorf("before the question was answered stands there %q", after.String())
		}
	}
	var told string
	k := Keeper{Terminal: tty, Ended: func(w string) { told = w }, Stderr: &after}
	code := k.Run(&fakeChild{run: func(e io.Writer, _ <-chan os.Signal) (int, string) {
		if !tty.keyMode {
			t.Error("the terminal draws what is typed")
		}
		_, _ = io.WriteString(e, "panic: index out of range\n\n\x1b[32mgoroutine 1 [running]:\n")
		return 2, "The program broke off (code 2)."
	}})
	if want := "The program broke off (code 2).\npanic: index out of range\n\ngoroutine 1 [running]:\n"; code != 2 || after.String() != want || told == "" || tty.resets == 0 {
		t.Errorf("code %d, told %q, %d resets, afterwards:\n%s", code, told, tty.resets, after.String())
	}
}
