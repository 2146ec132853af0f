package tui

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"wetside/session"
)

// everyKeyThereIs are the keys of a keyboard, a clicker and a number pad.
func everyKeyThereIs() (out []tea.KeyMsg) {
	for r := rune(' '); r < 127; r++ {
		if r > 'A' && r <= 'Z' {
			continue // Caps Lock: one is enough
		}
		if r == ' ' {
			out = append(out, tea.KeyMsg{Type: tea.KeySpace, Runes: []rune{r}})
			continue
		}
		out = append(out, tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune{r}})
	}
	for _, k := range []tea.KeyType{tea.KeyEnter, tea.KeyBackspace, tea.KeyTab, tea.KeyShiftTab, tea.KeyEsc, tea.KeyUp, tea.KeyDown, tea.KeyLeft, tea.KeyRight,
		tea.KeyHome, tea.KeyEnd, tea.KeyPgUp, tea.KeyPgDown, tea.KeyDelete, tea.KeyInsert, tea.KeyF1, tea.KeyF2, tea.KeyF5, tea.KeyF10, tea.KeyF12, tea.KeyCtrlC, tea.KeyCtrlA} {
		out = append(out, tea.KeyMsg{Type: k})
	}
	return out
}

// places are the screens and the questions in which a key may come.
func places() map[string]func(t testing.TB, w *world, m *Model) {
	out := map[string]func(t testing.TB, w *world, m *Model){}
	on := func(s Screen) func(t testing.TB, w *world, m *Model) {
		return func(t testing.TB, w *world, m *Model) { m.goTo(s) }
	}
	_, m := newWorld(&testing.T{}, nil)
	for _, s := range m.Screens() {
		out[string(s)] = on(s)
	}
	press := func(s Screen, keys ...string) func(t testing.TB, w *world, m *Model) {
		return func(t testing.TB, w *world, m *Model) { m.goTo(s); m.keys(t, keys...) }
	}
	out["quit?"] = press(Trays, "q")
	out["a note"] = press(Trays, "o")
	out["the light"] = press(Field, "e")
	out["spoiled?"] = press(Trays, "x")
	out["help"] = press(Trays, "?")
	out["fresh bath"] = press(Trays, "b")
	out["pre-exposed?"] = press(Room, "f")
	out["the fog test"] = press(Room, "f", "y")
	out["which camera?"] = press(Room, "l")
	out["loading"] = press(Room, "l", "1")
	out["the dark"] = press(Room, "d")
	out["which number?"] = func(t testing.TB, w *world, m *Model) { m.ask = m.askHeard() }
	out["a line of text"] = func(t testing.TB, w *world, m *Model) { m.goTo(Bench); m.form.focus(m, fName) }
	out["a first page"] = func(t testing.TB, w *world, m *Model) { m.first.on = true }
	out["two or three?"] = func(t testing.TB, w *world, m *Model) {
		for _, name := range []string{"two", "three"} {
			s := m.add(t, name, "1m")
			m.desk.Do(session.Event{Kind: session.ExposureBegun, Sheet: s.ID, Planned: time.Minute})
		}
		w.pass(61 * time.Second)
		m.goTo(Field)
		m.keys(t, "space")
	}
	return out
}

// Every key on every screen and in every question is heard within 0.3 s, and where
// nothing is drawn in words, unless it is the sheet's own sound.
func TestEveryKeyAnswers(t *testing.T) {
	for _, blind := range []bool{true, false} {
		for name, begin := range places() {
			for i, k := range everyKeyThereIs() {
				if !blind && i%4 > 0 {
					continue
				}
				w, m := newWorld(t, func(c *Config) {
					c.Blind, c.Book = blind, shelf{}
					c.Baths = func(string) []session.Mix { return []session.Mix{{Name: "developer", ML: 500}} }
				})
				s := m.add(t, "one", "")
				m.desk.Do(session.Event{Kind: session.Moved, Sheet: s.ID})
				w.pass(30 * time.Second)
				begin(t, w, m)
				w.pass(20 * time.Second)
				m.desk.Tick()
				w.played = nil
				was := map[string]bool{}
				for _, d := range w.due {
					was[d.Cue.Key] = true
				}
				m.Update(k)
				m.Update(splitMsg(m.split.n))
				heard := len(w.played) > 0
				for _, d := range w.due {
					heard = heard || !was[d.Cue.Key] && d.At.Sub(w.now.Wall) <= 300*time.Millisecond
				}
				if words := slices.ContainsFunc(w.played, func(c session.Cue) bool { return c.Lines != nil }); blind && len(w.played) > 0 && !words {
					t.Errorf("%s: no word says what became of %q", name, fmt.Sprint(k))
				}
				if !heard && !m.done {
					t.Errorf("blind %t, %s: nothing is heard of %q", blind, name, fmt.Sprint(k))
				}
			}
		}
	}
}

// What does nothing sounds dull, what was taken ticks where it says nothing by
// itself, and a press that was part of the one before it says nothing.
func TestTakenOrNot(t *testing.T) {
	w, m := newWorld(t, func(c *Config) { c.Book = shelf{} })
	m.add(t, "one", "")
	last := func() session.CueKind {
		if len(w.played) == 0 {
			return ""
		}
		k := w.played[len(w.played)-1].Kind
		w.played = nil
		return k
	}
	last()
	for _, c := range []struct {
		key  string
		want session.CueKind
	}{{"!", session.CueIdle}, {"tab", session.CueTaken}, {"?", session.CueTaken}, {"esc", session.CueTaken}, {"g", session.CueTaken}, {"!", session.CueIdle}} {
		w.pass(2 * time.Second)
		m.keys(t, c.key)
		if got := last(); got != c.want {
			t.Errorf("%q sounds as %q, not %q", c.key, got, c.want)
		}
	}
	m.goTo(Trays)
	w.pass(2 * time.Second)
	m.keys(t, "space")
	if got := last(); got != "" {
		t.Errorf("beside the stage's own sound a press sounds as %q", got)
	}
	w.pass(300 * time.Millisecond)
	m.keys(t, "space")
	if got := last(); got != "" {
		t.Errorf("the bounce of a press sounds as %q", got)
	}
}

// all is everything that was said since it was asked last.
func (w *world) all() string {
	var out []string
	for _, c := range w.played {
		if c.Lines != nil {
			out = append(out, aloud(c))
		}
	}
	w.played = nil
	return strings.Join(out, ". ")
}

// Who begins without looking is asked aloud, told the keys, and then where things
// stand: in the trays where a sheet lies there.
func TestABlindStartIsSpoken(t *testing.T) {
	wants := func(w *world, what string, want ...string) {
		t.Helper()
		got := w.all()
		for _, x := range want {
			if !strings.Contains(got, x) {
				t.Errorf("%s: %q is not said, but %q", what, x, got)
			}
		}
	}
	w, first := newWorld(t, func(c *Config) { c.Blind, c.Start, c.First, c.ConfirmSound = true, "", true, true })
	number := w.played[0]
	first.Init()
	wants(w, "the start's question", "type the number that you heard", "n, none")
	n := aloud(number)
	first.keys(t, n[len(n)-1:])
	wants(w, "after it the first page", "good", "what do you want to do?", "1, expose and develop", "4, try it in the light")
	first.keys(t, "down")
	wants(w, "a way", "2, only the trays")
	w.pass(2 * time.Second)
	first.keys(t, "?")
	wants(w, "help there", "3, just a timer")

	v, m := newWorld(t, nil)
	s := m.add(t, "one", "")
	m.desk.Do(session.Event{Kind: session.Moved, Sheet: s.ID})
	v.pass(time.Minute)
	cfg := m.cfg
	cfg.Blind, cfg.Start = true, ""
	again := New(cfg)
	v.all()
	again.Init()
	wants(v, "with a sheet in the developer", "screen, trays", "in the developer, 2:00 left")
	for _, c := range []struct{ key, want string }{{"+", "volume, 70"}, {"g", "the screen is dark"}, {"q", "Is the paper covered?. y, covered: quit. n, not yet: go on"}, {"enter", "n, not yet: go on"}, {"n", "going on"}} {
		v.pass(2 * time.Second)
		again.keys(t, c.key)
		wants(v, c.key, c.want)
	}
	cfg.Resumed = "A sheet is in the developer."
	resumed := New(cfg)
	v.all()
	resumed.Init()
	wants(v, "a start with a question", "is it still in there, and does it go on?", "y, yes")
	resumed.keys(t, "y")
	wants(v, "its answer", "going on", "screen, trays")
}
