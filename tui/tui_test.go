package tui

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/x/ansi"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/desk"
	"wetside/tui/ember"
)

// A world is a desk without a machine under it: a clock that is set by hand, a
// record in memory, a loudspeaker that remembers.
type world struct {
	now    session.Instant
	events []session.Event
	saved  []string
	due    []session.Due
	played []session.Cue
	full   bool // the disk refuses
	sound  *desk.SoundState
	kept   int
	ids    int
}

func (w *world) Now() session.Instant             { return w.now }
func (w *world) Real(i session.Instant) time.Time { return i.Wall }
func (w *world) Append(e session.Event) ([]session.Event, error) {
	w.events = append(w.events, e)
	if w.full {
		w.kept++
		return []session.Event{e}, errors.New("disk is full")
	}
	return []session.Event{e}, nil
}
func (w *world) Poll() ([]session.Event, error) { return nil, nil }
func (w *world) Save(_ *session.Machine, s *session.Sheet) error {
	w.saved = append(w.saved, fmt.Sprint(s.Num, " ", s.Phase))
	return nil
}
func (w *world) Unsaved() int             { return w.kept }
func (w *world) Loose() int               { return w.kept }
func (w *world) Schedule(d []session.Due) { w.due = d }
func (w *world) Play(c session.Cue)       { w.played = append(w.played, c) }
func (w *world) State() desk.SoundState {
	if w.sound != nil {
		return *w.sound
	}
	return desk.SoundState{Device: "test", OK: true, Volume: 70}
}
func (w *world) Volume(int)           {}
func (w *world) Confirm()             {}
func (w *world) newID() string        { w.ids++; return fmt.Sprint("id", w.ids) }
func (w *world) pass(d time.Duration) { w.now = w.now.Add(d) }

// aloud is what a cue says.
func aloud(c session.Cue) string {
	if c.Lines == nil {
		return ""
	}
	var out []string
	for _, l := range *c.Lines {
		out = append(out, l.String())
	}
	return strings.Join(out, ". ")
}

func (w *world) said() string {
	if len(w.played) == 0 {
		return ""
	}
	return aloud(w.played[len(w.played)-1])
}

func testProcess() session.Process {
	sec := time.Second
	return session.Process{Key: "three", Name: "Three trays", Steps: []session.Step{
		{Stage: session.Develop, Bath: "developer", AtLeast: 90 * sec, AtMost: 180 * sec, Drain: 10 * sec, Agitation: session.Agitation{Continuous: true}},
		{Stage: session.Stop, Bath: "stop", AtLeast: 10 * sec, AtMost: 10 * sec},
		{Stage: session.Fix, Bath: "fixer", AtLeast: 60 * sec, AtMost: 60 * sec, Drain: 10 * sec},
		{Stage: session.Wash, Bath: "wash", AtLeast: 1800 * sec, AtMost: 1800 * sec, Batch: true}}}
}

func newWorld(t testing.TB, change func(*Config)) (*world, *Model) {
	t.Helper()
	w := &world{now: session.Instant{Wall: time.Date(2026, 5, 9, 14, 0, 0, 0, time.UTC), Boot: time.Hour, BootID: "b"}}
	d := &desk.Desk{M: session.New(), Clock: w, Record: w, Sound: w, NewID: w.newID, Move: 8 * time.Second}
	d.M.Apply(session.Event{Kind: session.Opened, At: w.now})
	cfg := Config{Desk: d, Level: ember.Ember, Profile: ember.TrueColor, Start: Trays,
		Papers: []Choice{{"dp", "direct-positive FB paper, ISO 3"}}, Processes: []Choice{{"three", "Three trays"}}, Cameras: []Choice{{"tea-caddy", "tea caddy"}},
		Plan: func(f profiles.Form) (profiles.Reckoned, error) {
			p := profiles.Reckoned{Spec: session.SheetSpec{Name: f.Name, Maker: f.Maker, Camera: f.Camera, Paper: session.Paper{Key: "dp", Name: "direct-positive FB paper, ISO 3", AreaCM2: 100}, Process: testProcess(), Light: f.Light}}
			if f.Light != "" {
				x, err := time.ParseDuration(f.Light)
				if err != nil {
					return profiles.Reckoned{}, errors.New("light: write EV 13, or a time like 4m")
				}
				p.Exposure, p.Spec.Exposure, p.ByHand = x, x, f.Light != "7m15s" // which stands for a light
			}
			return p, nil
		},
		Shift: func(_ session.SheetSpec, full time.Duration, stops float64) time.Duration {
			return time.Duration(float64(full) / (1 + stops)) // any rule will do here
		},
		Brighter: func(*session.Sheet, string, time.Duration) float64 { return -1 }}
	if change != nil {
		change(&cfg)
	}
	m := New(cfg)
	m.Update(tea.WindowSizeMsg{Width: 80, Height: 24})
	return w, m
}

func (m *Model) keys(t testing.TB, names ...string) {
	t.Helper()
	for _, n := range names {
		k := tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune(n)}
		switch n {
		case "space":
			k = tea.KeyMsg{Type: tea.KeySpace, Runes: []rune(" ")}
		case "enter":
			k = tea.KeyMsg{Type: tea.KeyEnter}
		case "backspace":
			k = tea.KeyMsg{Type: tea.KeyBackspace}
		case "tab":
			k = tea.KeyMsg{Type: tea.KeyTab}
		case "esc":
			k = tea.KeyMsg{Type: tea.KeyEsc}
		case "delete":
			k = tea.KeyMsg{Type: tea.KeyDelete}
		case "down":
			k = tea.KeyMsg{Type: tea.KeyDown}
		}
		m.Update(k)
		m.Update(splitMsg(m.split.n)) // whatever waits has waited enough
		m.Update(heldMsg(m.held.n))
	}
}

func (m *Model) add(t testing.TB, name, light string) *session.Sheet {
	t.Helper()
	f := profiles.Form{Name: name, Light: light}
	if light != "" { // else it is a contact print, or a blank sheet
		f.Camera = "tea-caddy"
	}
	if err := m.addForm(f); err != nil {
		t.Fatal(err)
	}
	ss := m.desk.M.Sheets()
	return ss[len(ss)-1]
}

func plain(m *Model) string { return ansi.Strip(m.View()) }

func TestASheetByThreeKeys(t *testing.T) {
	w, m := newWorld(t, nil)
	s := m.add(t, "caddy", "")
	m.keys(t, "space")
	if s.Visit() == nil || s.Visit().Stage != session.Develop {
		t.Fatalf("space did not put the sheet into the developer: %+v", s)
	}
	w.pass(100 * time.Second)
	if got := plain(m); !strings.Contains(got, "judge by eye") || !strings.Contains(got, "develop, then stop") {
		t.Errorf("at 1:40 the screen says\n%s", got)
	}
	m.keys(t, "space")
	w.pass(300 * time.Millisecond)
	m.keys(t, "space", "space") // a held key
	if v := s.Visit(); v.Stage != session.Stop {
		t.Fatalf("a held key went on to %s", v.Stage)
	}
	w.pass(3 * time.Second)
	m.keys(t, "backspace")
	if v := s.Visit(); v.Stage != session.Develop || m.desk.M.T(w.now)-v.In != 103300*time.Millisecond {
		t.Fatalf("taken back to %s", v.Stage)
	}
	w.pass(2 * time.Second)
	m.keys(t, "enter")
	if want := "sheet 1: press, into the stop bath. in the developer, 1:15 left"; w.said() != want {
		t.Errorf("enter said %q, not %q", w.said(), want)
	}
	m.keys(t, "space", "space") // to the stop
	w.pass(70 * time.Second)
	m.keys(t, "space") // to the fix
	w.pass(20 * time.Second)
	m.keys(t, "space")
	if v := s.Visit(); v.Stage != session.Fix || !strings.Contains(m.said, "not fixed: 0:40 left") {
		t.Fatalf("after 20 s of 60 in the fixer one press led to the %s: %q", v.Stage, m.said)
	}
	w.pass(33 * time.Second)
	m.keys(t, "space") // to the wash, in the drain's last seconds
	w.pass(70 * time.Second)
	m.keys(t, "space")
	if s.Phase != session.Wet {
		t.Fatal("one early press took the sheet out of the wash")
	}
	w.pass(2 * time.Second)
	m.keys(t, "space")
	if s.Phase != session.Finished {
		t.Fatalf("two presses did not: %s", m.said)
	}
	if len(w.saved) != 1 || w.saved[0] != "1 finished" {
		t.Errorf("saved %v", w.saved)
	}
}

// Everything is stored before it is applied, and what is refused is not stored.
func TestStoredBeforeApplied(t *testing.T) {
	w, m := newWorld(t, nil)
	m.add(t, "caddy", "")
	n := len(w.events)
	m.keys(t, "i")
	if len(w.events) != n {
		t.Errorf("an event that was refused was stored")
	}
	m.keys(t, "space")
	if e := w.events[len(w.events)-1]; e.Kind != session.Moved {
		t.Errorf("stored last: %s", e.Kind)
	}
}

// A disk that refuses stops nothing, and the screen says so.
func TestDiskFull(t *testing.T) {
	w, m := newWorld(t, nil)
	s := m.add(t, "caddy", "")
	w.full = true
	m.keys(t, "space")
	if s.Visit() == nil {
		t.Fatal("the sheet did not move")
	}
	if got := plain(m); !strings.Contains(got, "disk is full") {
		t.Errorf("the screen says\n%s", got)
	}
	if c := w.played[len(w.played)-1]; c.Kind != session.CueError {
		t.Errorf("no error was heard, but %s", c.Kind)
	}
	w.full, w.kept = false, 0
	m.desk.Tick()
	if strings.Contains(plain(m), "disk is full") {
		t.Error("the disk is back, and the screen does not know")
	}
}

// Cues are handed over ahead of time, with the instant they are due.
func TestCuesAreHandedOverAhead(t *testing.T) {
	w, m := newWorld(t, nil)
	m.add(t, "caddy", "")
	m.keys(t, "space")
	w.pass(75 * time.Second)
	m.desk.Tick()
	found := false
	for _, d := range w.due {
		if d.Cue.Kind == session.CueAtLeast {
			found = true
			if got := d.At.Sub(w.now.Wall); got != 15*time.Second {
				t.Errorf("may be judged is due in %v, not 15 s", got)
			}
		}
	}
	if !found {
		t.Errorf("15 s ahead, the cue is not handed over: %v", w.due)
	}
}

func TestFieldWorks(t *testing.T) {
	w, m := newWorld(t, nil)
	s := m.add(t, "caddy", "4m")
	m.goTo(Field)
	m.keys(t, "space")
	w.pass(time.Minute)
	m.keys(t, "c")
	w.pass(time.Minute)
	if got := plain(m); !strings.Contains(got, "pinhole covered") || !strings.Contains(got, "25% given") {
		t.Errorf("covered, the screen says\n%s", got)
	}
	m.keys(t, "c")
	w.pass(2 * time.Second)
	m.keys(t, "space") // early: warns
	if s.Phase != session.Exposing {
		t.Fatal("one press ended the exposure early")
	}
	w.pass(3 * time.Minute)
	m.keys(t, "space")
	if s.Phase != session.Exposed {
		t.Fatalf("not ended: %s", m.said)
	}
}

// Desktop notifications are white: none while paper is out.
func TestNotificationsOnlyInTheField(t *testing.T) {
	for _, out := range []bool{false, true} {
		w, m := newWorld(t, nil)
		var shown []string
		m.desk.Notify = func(title, text string) { shown = append(shown, text) }
		m.add(t, "caddy", "1m")
		wet := m.add(t, "tin", "")
		m.goTo(Field)
		m.keys(t, "space")
		if out {
			if err := m.desk.Do(session.Event{Kind: session.Moved, Sheet: wet.ID}); err != nil {
				t.Fatal(err)
			}
		}
		w.pass(61 * time.Second)
		m.desk.Tick()
		m.desk.Tick()
		if want := map[bool]int{false: 1, true: 0}[out]; len(shown) != want {
			t.Errorf("paper out %v: shown %v", out, shown)
		}
	}
}

// Keys that were read at once are keys all the same.
func TestKeysReadAtOnce(t *testing.T) {
	w, m := newWorld(t, nil)
	s := m.add(t, "caddy", "")
	m.desk.Do(session.Event{Kind: session.Moved, Sheet: s.ID})
	w.pass(2 * time.Minute)
	cfg := m.cfg
	cfg.Resumed = ResumeText(m.desk.M, w.now)
	m = New(cfg)
	m.Update(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune("y ")})
	if v := s.Visit(); v.Stage != session.Stop {
		t.Errorf("yes and space, read at once, left the sheet in the %s", v.Stage)
	}
}

// An arrow that a slow line brings in pieces is an arrow: in the field its "["
// would be a change of light.
func TestKeysReadInPieces(t *testing.T) {
	_, m := newWorld(t, func(c *Config) { c.Start = Field })
	s := m.add(t, "caddy", "4m")
	m.keys(t, "space")
	esc := tea.KeyMsg{Type: tea.KeyEsc}
	runes := func(s string) tea.KeyMsg { return tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune(s)} }
	alt := tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune("["), Alt: true}
	for _, c := range []struct {
		name string
		in   []tea.KeyMsg
		on   Screen // where shift+tab, or nothing, leads
	}{
		{"one cut", []tea.KeyMsg{esc, runes("[Z")}, Bench},
		{"each sign for itself", []tea.KeyMsg{esc, runes("["), runes("Z")}, Bench},
		{"cut after the second sign", []tea.KeyMsg{alt, runes("Z")}, Bench},
		{"an arrow, which does nothing here", []tea.KeyMsg{esc, runes("[A")}, Field},
		{"a key that is none of ours", []tea.KeyMsg{esc, runes("[1;5"), runes("P")}, Field},
		{"with another key behind it", []tea.KeyMsg{esc, runes("[Z?")}, Bench},
		{"half of one, and then nothing", []tea.KeyMsg{esc, runes("[")}, Field},
		{"esc, and tab after it", []tea.KeyMsg{esc, {Type: tea.KeyTab}}, Trays},
		{"two escapes and the rest of one", []tea.KeyMsg{esc, esc, runes("[Z")}, Bench},
		{"a terminal's answer about its colours", []tea.KeyMsg{{Type: tea.KeyRunes, Runes: []rune("]"), Alt: true}, runes("11;rgb:ffff/?"), {Type: tea.KeyRunes, Runes: []rune("\\"), Alt: true}}, Field},
		{"an answer in pieces, another key behind it", []tea.KeyMsg{esc, runes("]11;?"), runes("?"), {Type: tea.KeyCtrlG}, runes("?")}, Field},
		{"a console's own function key", []tea.KeyMsg{esc, runes("[[A")}, Field},
	} {
		m.screen, m.help = Field, false
		m.hands.Unpick()
		for _, k := range c.in {
			m.Update(k)
		}
		m.Update(splitMsg(m.split.n))
		if m.screen != c.on || m.split.waiting {
			t.Errorf("%s: on the %v, not the %v", c.name, m.screen, c.on)
		}
		if strings.Contains(c.name, "function") && m.hands.Picked() == nil {
			t.Errorf("%s: no sheet is picked", c.name)
		}
		m.hands.Unpick()
		if want := strings.Contains(c.name, "behind"); m.help != want {
			t.Errorf("%s: help %v", c.name, m.help)
		}
	}
	if n := len(s.Light.Readings); n != 0 {
		t.Errorf("%d changes of light were written down", n)
	}
	m.screen = Field
	m.keys(t, "esc", "[")
	if n := len(s.Light.Readings); n != 1 {
		t.Errorf("esc and, after a while, [: %d changes of light", n)
	}
}

func TestQuitAsksFirst(t *testing.T) {
	w, m := newWorld(t, nil)
	m.add(t, "caddy", "")
	m.keys(t, "space")
	m.keys(t, "q")
	if !strings.Contains(plain(m), "Paper is out") {
		t.Errorf("q asks\n%s", plain(m))
	}
	m.keys(t, "space", "enter", "x") // elbows
	if m.Quit() {
		t.Fatal("quit by an elbow")
	}
	m.keys(t, "n")
	if m.ask != nil || m.Quit() {
		t.Fatal("no did not go on")
	}
	m.keys(t, "q", "y")
	if !m.Quit() {
		t.Fatal("yes did not quit")
	}
	for _, e := range w.events {
		if e.Kind == session.Closed {
			t.Error("the session was closed with a sheet in the developer")
		}
	}
}

func TestTorchFallsBackWhenPaperComesOut(t *testing.T) {
	_, m := newWorld(t, func(c *Config) { c.Level = ember.Torch })
	m.add(t, "caddy", "")
	m.light()
	if m.styles.Level != ember.Torch {
		t.Fatal("no torch in the field")
	}
	m.keys(t, "space")
	m.light()
	if m.styles.Level != ember.Ember {
		t.Fatalf("a sheet is in the developer under %s", m.styles.Level)
	}
}

// Every screen is exactly as large as the window and holds no control
// characters of the user's, at every size.
func TestEveryScreenFitsEveryWindow(t *testing.T) {
	w, m := newWorld(t, nil)
	m.add(t, "bad\x1b[31m\x07name\u202e", "4m")
	m.add(t, strings.Repeat("wide 漢字 ", 10), "")
	m.keys(t, "2", "space")
	w.pass(200 * time.Second)
	for _, size := range [][2]int{{1, 1}, {10, 3}, {39, 11}, {40, 12}, {80, 24}, {120, 40}, {200, 60}} {
		m.Update(tea.WindowSizeMsg{Width: size[0], Height: size[1]})
		for _, shown := range m.screens {
			s := shown.name()
			for _, help := range []bool{false, true} {
				m.goTo(s)
				m.help = help
				frame := m.View()
				lines := strings.Split(frame, "\n")
				if len(lines) != size[1] {
					t.Fatalf("%s at %v: %d lines", s, size, len(lines))
				}
				for _, l := range lines {
					if got := ansi.StringWidth(l); got != size[0] {
						t.Fatalf("%s at %v: a line of %d cells: %q", s, size, got, ansi.Strip(l))
					}
				}
				if strings.ContainsAny(ansi.Strip(frame), "\x07\u202e") {
					t.Fatalf("%s shows control characters", s)
				}
			}
		}
	}
}

// Below 40x12: stage and remaining, nothing else.
func TestTinyWindow(t *testing.T) {
	w, m := newWorld(t, nil)
	m.add(t, "caddy", "")
	m.keys(t, "space")
	w.pass(30 * time.Second)
	m.Update(tea.WindowSizeMsg{Width: 20, Height: 4})
	got := strings.Fields(plain(m))
	if strings.Join(got, " ") != "1 develop 2:30" {
		t.Errorf("a tiny window says %q", got)
	}
}

func TestResumeText(t *testing.T) {
	w, m := newWorld(t, nil)
	m.add(t, "caddy", "")
	m.keys(t, "space")
	w.pass(47 * time.Second)
	if got, want := ResumeText(m.desk.M, w.now), "Sheet 1 has been in the developer since 14:00:00, that is 0:47."; got != want {
		t.Errorf("%q, not %q", got, want)
	}
	w.pass(10 * time.Minute)
	if got := ResumeText(m.desk.M, w.now); !strings.Contains(got, "7:47 longer than it should be") {
		t.Errorf("after 10:47 in the developer: %q", got)
	}
}

func BenchmarkFrame(b *testing.B) {
	w, m := newWorld(b, nil)
	for i := range 8 {
		m.add(b, fmt.Sprint("sheet ", i), "")
		m.desk.Do(session.Event{Kind: session.Moved, Sheet: m.desk.M.Numbered(i + 1).ID})
		w.pass(20 * time.Second)
	}
	m.Update(tea.WindowSizeMsg{Width: 120, Height: 40})
	b.ReportAllocs()
	for b.Loop() {
		m.View()
	}
}

// addForm brings in a sheet as the bench would.
func (m *Model) addForm(f profiles.Form) error {
	p, err := m.cfg.Plan(f)
	if err != nil {
		return err
	}
	_, err = m.desk.Add(p.Spec)
	return err
}
