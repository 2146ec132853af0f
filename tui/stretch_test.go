package tui

import (
	"slices"
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"wetside/session"
	"wetside/tui/ember"
)

// The arrows give the step that runs half a minute more or less, ten seconds
// where it is short; it is said, recorded as the user's own, taken back, and the
// plan of the others follows.
func TestTheArrowsGiveAStepMoreTime(t *testing.T) {
	w, m := newWorld(t, nil)
	s := m.add(t, "one", "")
	m.add(t, "two", "")
	m.keys(t, "space")
	w.pass(time.Minute)
	next := m.desk.Next()
	before, _, _ := m.desk.Soon(next, m.desk.M.T(w.now))
	arrow := func(ty tea.KeyType) {
		t.Helper()
		w.pass(2 * time.Second)
		m.Update(tea.KeyMsg{Type: ty})
	}
	arrow(tea.KeyDown)
	if v := s.Visit(); v.AtMost != 150*time.Second || v.Set != 150*time.Second || v.AtLeast != 90*time.Second {
		t.Fatalf("half a minute less of three: %+v", v)
	}
	if w.said() != "sheet 1: in the developer, 2:30 in all" {
		t.Errorf("said %q", w.said())
	}
	if after, _, _ := m.desk.Soon(next, m.desk.M.T(w.now)); before-after != 30*time.Second {
		t.Errorf("the next may go in at %v, and before it at %v", after, before)
	}
	arrow(tea.KeyUp)
	arrow(tea.KeyUp)
	if v := s.Visit(); v.AtMost != 210*time.Second {
		t.Errorf("two more: %v", v.AtMost)
	}
	for range 3 {
		w.pass(2 * time.Second)
		m.keys(t, "backspace")
	}
	if v := s.Visit(); v.AtMost != 180*time.Second || v.Set != 0 {
		t.Errorf("all taken back: %+v", v)
	}
	m.keys(t, "space") // 10 s of stop
	arrow(tea.KeyUp)
	if v := s.Visit(); v.Stage != session.Stop || v.AtMost != 20*time.Second {
		t.Errorf("a short step: %+v", v)
	}
	w.pass(2 * time.Second)
	w.hold(m, tea.KeyMsg{Type: tea.KeyUp}, 500*time.Millisecond, 30*time.Millisecond, 3*time.Second)
	if v := s.Visit(); v.AtMost != 30*time.Second {
		t.Errorf("held, the key gave %v", v.AtMost)
	}
}

// What the arrows do is what help says of them, drawn and spoken, for each length of a
// step and each way.
func TestTheArrowsDoWhatTheySay(t *testing.T) {
	w, m := newWorld(t, nil)
	s := m.add(t, "one", "")
	m.keys(t, "space")
	w.pass(time.Minute)
	m.keys(t, "space") // 10 s of stop
	by := map[string]time.Duration{"half a minute more": 30 * time.Second, "half a minute less": -30 * time.Second, "ten seconds more": 10 * time.Second, "ten seconds less": -10 * time.Second}
	seen := map[time.Duration]bool{}
	for _, k := range []string{"up", "up", "up", "up", "up", "up", "down", "down", "down", "up"} {
		w.pass(2 * time.Second)
		said := ""
		for _, b := range m.up().keys(m) {
			if b.Keys()[0] == k {
				said = b.Help().Desc
			}
		}
		m.cfg.Blind = true
		m.sayKeys()
		m.cfg.Blind = false
		if !strings.Contains(w.said(), ". "+k+", "+said+". ") {
			t.Fatalf("%s %s is not among the keys that are said: %s", k, said, w.said())
		}
		was := s.Visit().AtMost
		m.Update(tea.KeyMsg{Type: map[string]tea.KeyType{"up": tea.KeyUp, "down": tea.KeyDown}[k]})
		did := s.Visit().AtMost - was
		if seen[did] = true; by[said] != did {
			t.Errorf("%s at %v: said is %q, done %v", k, was, said, did)
		}
	}
	if len(seen) != 4 {
		t.Errorf("done was only %v", seen)
	}
}

// How long a step lasts still is taken back in its midst when the step is made shorter,
// also where something else was done at the same time.
func TestTheTimeLeftIsTakenBackWithTheStep(t *testing.T) {
	w, m := newWorld(t, nil)
	s := m.add(t, "one", "")
	camera := m.add(t, "caddy", "4m")
	for _, lies := range []time.Duration{3 * time.Minute, 10 * time.Second, 29 * time.Second} {
		m.keys(t, "space")
		w.pass(lies)
	}
	m.desk.Tick()
	w.pass(2 * time.Second)
	if v := s.Visit(); v.Stage != session.Fix || v.AtMost != time.Minute {
		t.Fatalf("it lies in the %s for %v", v.Stage, v.AtMost)
	}
	m.desk.Do(session.Event{Kind: session.ExposureBegun, Sheet: camera.ID, Planned: 4 * time.Minute})
	m.Update(tea.KeyMsg{Type: tea.KeyDown})
	if !slices.ContainsFunc(w.due, func(d session.Due) bool { return d.Cue.Kind == session.CueThirty && d.Gone }) {
		t.Error("still 0:30 goes on being said")
	}
}

// A box of paper that is open is paper out: dark is as with a sheet, and torch
// never. From ember g goes to dark first.
func TestABoxThatIsOpen(t *testing.T) {
	w, m := newWorld(t, nil)
	m.keys(t, "g")
	if m.level != ember.Dark {
		t.Fatalf("g from ember: %v", m.level)
	}
	w.pass(2 * time.Second)
	m.keys(t, "g")
	if m.level != ember.Torch {
		t.Fatalf("and then %v", m.level)
	}
	m.keys(t, "p")
	if !m.desk.M.PaperOut() || m.level != ember.Ember {
		t.Fatalf("p with no sheet: out %v, %v", m.desk.M.PaperOut(), m.level)
	}
	for range 5 {
		w.pass(2 * time.Second)
		m.keys(t, "g")
		if m.level == ember.Torch {
			t.Fatal("torch with a box open")
		}
	}
	w.pass(2 * time.Second)
	m.keys(t, "p")
	if m.desk.M.PaperOut() {
		t.Error("p again did not put it away")
	}
}

// A sheet that was added is taken away until it has had light, and comes back.
func TestASheetIsTakenAway(t *testing.T) {
	w, m := newWorld(t, func(c *Config) { c.Start = Field })
	a, b := m.add(t, "caddy", "4m"), m.add(t, "hat box", "4m")
	m.keys(t, "2")
	m.Update(tea.KeyMsg{Type: tea.KeyDelete})
	if m.desk.M.Sheet(b.ID) != nil || m.desk.M.Sheet(a.ID) == nil {
		t.Fatalf("%q", m.said)
	}
	if c := m.add(t, "biscuit tin", "4m"); c.Num != 3 {
		t.Errorf("the next sheet is %d: a number that was spoken is another sheet's", c.Num)
	}
	for range 2 {
		w.pass(2 * time.Second)
		m.keys(t, "backspace")
	}
	if got := m.desk.M.Numbered(2); got == nil || got.Spec.Name != "hat box" {
		t.Errorf("taken back: %v; %q", got, m.said)
	}
	w.pass(2 * time.Second)
	m.keys(t, "1", "space")
	w.pass(2 * time.Second)
	m.Update(tea.KeyMsg{Type: tea.KeyDelete})
	if m.desk.M.Sheet(a.ID) == nil {
		t.Error("a sheet that is being exposed was taken away")
	}
}
