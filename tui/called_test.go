package tui

import (
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"wetside/session"
)

// Three cameras in the open: a press is for the one that was called.
func TestAPressAnswersTheCameraThatWasCalled(t *testing.T) {
	w, m := newWorld(t, func(c *Config) { c.Start = Field })
	a, b, c := m.add(t, "caddy", "4m"), m.add(t, "hat box", "2m"), m.add(t, "biscuit tin", "6m")
	for _, n := range []string{"1", "2", "3"} {
		m.keys(t, n, "space")
		w.pass(2 * time.Second)
	}
	w.pass(2 * time.Minute) // sheet two is done; the cursor stands on three
	if got := plain(m); !strings.Contains(got, "> 2 hat box") || !strings.Contains(got, "cover the pinhole") || !strings.Contains(got, "space 2: cover the pinhole") {
		t.Errorf("sheet 2 is called:\n%s", got)
	}
	m.keys(t, "space")
	if b.Phase != session.Exposed || a.Phase != session.Exposing || c.Phase != session.Exposing {
		t.Fatalf("space at the call for sheet 2: %s, %s, %s; %s", a.Phase, b.Phase, c.Phase, m.said)
	}
	// The row is that of the sheet which is due next.
	if got := plain(m); !strings.Contains(got, "> 1 caddy") {
		t.Errorf("after it:\n%s", got)
	}
	w.pass(5 * time.Minute) // one and three are done, one first
	m.keys(t, "space")
	if a.Phase != session.Exposed || c.Phase != session.Exposing {
		t.Fatalf("two are called, sheet 1 first: %s, %s", a.Phase, c.Phase)
	}
	w.pass(2 * time.Second)
	m.keys(t, "space")
	if c.Phase != session.Exposed {
		t.Fatal(c.Phase)
	}
}

// What was chosen by hand stays what a press is for: a call does not change it under the
// finger. Where the call came after the choice, the press may be for either, and is asked.
func TestACallDoesNotChangeWhatWasChosen(t *testing.T) {
	w, m := newWorld(t, func(c *Config) { c.Start = Field })
	a, b := m.add(t, "caddy", "1m"), m.add(t, "hat box", "6m")
	m.keys(t, "space")
	w.pass(57 * time.Second)
	m.keys(t, "2")
	w.pass(4 * time.Second) // the call for sheet 1 comes between the two keys
	m.keys(t, "space")
	if a.Phase != session.Exposing || b.Phase != session.Fresh || !strings.Contains(m.said, "2 or 1?") {
		t.Fatalf("2, then the call for 1, then space: %s, %s; %s", a.Phase, b.Phase, m.said)
	}
	m.keys(t, "2")
	if a.Phase != session.Exposing || b.Phase != session.Exposing {
		t.Fatalf("and 2 answers: %s, %s", a.Phase, b.Phase)
	}
	w.pass(2 * time.Second)
	m.keys(t, "space") // the choice is used up
	if a.Phase != session.Exposed {
		t.Fatalf("space after that: %s", m.said)
	}
	// Chosen after the call: the walk to that camera may be long.
	w, m = newWorld(t, func(c *Config) { c.Start = Field })
	a, b = m.add(t, "caddy", "1m"), m.add(t, "hat box", "6m")
	m.keys(t, "space")
	w.pass(70 * time.Second)
	m.Update(tea.KeyMsg{Type: tea.KeyDown})
	w.pass(time.Minute)
	m.keys(t, "space")
	if a.Phase != session.Exposing || b.Phase != session.Exposing {
		t.Errorf("down a minute before space: %s, %s", a.Phase, b.Phase)
	}
}

// A pinhole that was opened for the wrong camera is taken back; the light that
// fell counts when it is opened again.
func TestAnOpenedPinholeIsTakenBack(t *testing.T) {
	for _, restart := range []bool{false, true} {
		w, m := newWorld(t, func(c *Config) { c.Start = Field })
		a, b := m.add(t, "caddy", "2m"), m.add(t, "hat box", "6m")
		m.keys(t, "2", "space")
		w.pass(2 * time.Second)
		m.keys(t, "1", "space")
		w.pass(6 * time.Second)
		if restart {
			m = New(m.cfg)
		}
		m.keys(t, "backspace")
		if a.Phase != session.Fresh || b.Phase != session.Exposing {
			t.Fatalf("restart %v: taken back: %s, %s; %s", restart, a.Phase, b.Phase, m.said)
		}
		if got := plain(m); !strings.Contains(got, "ready, 2:00, 5% given") {
			t.Errorf("6 s of 2:00 fell:\n%s", got)
		}
		w.pass(time.Minute)
		m.keys(t, "1", "space")
		w.pass(54 * time.Second)
		if got := a.Light.Share(m.desk.M.T(w.now)); got != 0.5 {
			t.Errorf("6 s and 54 s of 2:00 are %v of it", got)
		}
		w.pass(time.Minute)
		if v, _ := m.desk.M.View(w.now).Sheet(a.ID); v.Doing != session.CoverHole {
			t.Errorf("after 2:00 of light: %+v", v)
		}
	}
}

// An elbow on backspace ends no exposure that has run for a while.
func TestALongExposureIsNotTakenBackUnasked(t *testing.T) {
	w, m := newWorld(t, func(c *Config) { c.Start = Field })
	s := m.add(t, "caddy", "20m")
	m.keys(t, "space")
	w.pass(5 * time.Minute)
	m.keys(t, "backspace")
	if s.Phase != session.Exposing || !strings.Contains(m.said, "5:00 ago. Backspace again") {
		t.Fatalf("backspace after 5:00: %s, %q", s.Phase, m.said)
	}
	w.pass(2 * time.Second)
	m.keys(t, "backspace")
	if s.Phase != session.Fresh {
		t.Fatal("twice is not enough")
	}
}

// An exposure that was ended too soon goes on.
func TestAnEndedExposureIsTakenBack(t *testing.T) {
	w, m := newWorld(t, func(c *Config) { c.Start = Field })
	s := m.add(t, "caddy", "4m")
	m.keys(t, "space")
	w.pass(time.Minute)
	m.keys(t, "space")
	w.pass(2 * time.Second)
	m.keys(t, "space")
	if s.Phase != session.Exposed {
		t.Fatal(s.Phase)
	}
	w.pass(4 * time.Second)
	m.keys(t, "backspace")
	w.pass(54 * time.Second)
	if s.Phase != session.Exposing || s.Light.Share(m.desk.M.T(w.now)) != 0.5 {
		t.Errorf("%s, %v given; %s", s.Phase, s.Light.Share(m.desk.M.T(w.now)), m.said)
	}
}

// Backspace takes back what was done last, on whatever screen, and then what was
// done before that.
func TestBackspaceIsForTheLastDeedOnAnyScreen(t *testing.T) {
	w, m := newWorld(t, nil)
	s, c := m.add(t, "contact print", ""), m.add(t, "caddy", "4m")
	m.keys(t, "space")
	w.pass(2 * time.Second)
	m.goTo(Field)
	m.keys(t, "2", "space")
	w.pass(2 * time.Second)
	m.goTo(Trays)
	m.keys(t, "backspace")
	if s.Phase != session.Wet || c.Phase != session.Fresh {
		t.Fatalf("in the trays: %s, %s", s.Phase, c.Phase)
	}
	m.goTo(Field)
	for _, want := range []int{2, 1, 0, 0} { // out of the developer, then both sheets, then nothing is left
		w.pass(2 * time.Second)
		m.keys(t, "backspace")
		if n := len(m.desk.M.Sheets()); n != want || s.Phase != session.Fresh {
			t.Fatalf("%d sheets, not %d; the first %s", n, want, s.Phase)
		}
	}
	if !strings.Contains(w.said(), "nothing to take back") && !strings.Contains(m.said, "nothing to take back") {
		t.Errorf("said %q, aloud %q", m.said, w.said())
	}
}

// What is called is answered on every screen, and while a question stands; two
// calls at once are asked about, and a number answers.
func TestACallIsAnsweredWhereverOneIs(t *testing.T) {
	for _, where := range []Screen{Bench, Room, Notebook} {
		w, m := newWorld(t, func(c *Config) { c.Start = Field })
		a := m.add(t, "caddy", "2m")
		m.keys(t, "space")
		w.pass(121 * time.Second)
		m.screen = where
		m.form.focus(m, fPaper)
		if got := plain(m); !strings.Contains(got, "space 1: cover the pinhole") {
			t.Errorf("%s: beside the key stands\n%s", where, got)
		}
		m.keys(t, "space")
		if a.Phase != session.Exposed {
			t.Errorf("%s: space leaves the sheet %s: %q", where, a.Phase, m.said)
		}
		w.pass(2 * time.Second)
		m.keys(t, "backspace")
		if a.Phase != session.Exposing {
			t.Errorf("%s: backspace leaves the sheet %s: %q", where, a.Phase, m.said)
		}
	}
	for _, where := range []Screen{Bench, Room, Notebook, Field, Trays} {
		w, m := newWorld(t, func(c *Config) { c.Start = Field })
		a, b := m.add(t, "caddy", "2m"), m.add(t, "hat box", "2m")
		m.keys(t, "1", "space")
		w.pass(2 * time.Second)
		m.keys(t, "2", "space")
		w.pass(121 * time.Second)
		m.screen = where
		m.form.focus(m, fPaper)
		m.keys(t, "space", "2")
		if a.Phase != session.Exposing || b.Phase != session.Exposed {
			t.Errorf("%s: 2 answers: sheet 1 %s, sheet 2 %s", where, a.Phase, b.Phase)
		}
	}
	w, m := newWorld(t, func(c *Config) { c.Start = Field })
	a, b := m.add(t, "caddy", "2m"), m.add(t, "hat box", "2m")
	m.keys(t, "1", "space")
	w.pass(2 * time.Second)
	m.keys(t, "2", "space")
	w.pass(121 * time.Second)
	m.keys(t, "q", "space")
	if m.ask == nil || a.Phase != session.Exposing || !strings.Contains(m.said, "1 or 2? Press the number.") {
		t.Fatalf("space in a question, two are called: %q, sheet 1 %s", m.said, a.Phase)
	}
	m.keys(t, "2")
	if m.ask == nil {
		t.Error("the number answered the other question too")
	}
	m.keys(t, "n")
	if a.Phase != session.Exposing || b.Phase != session.Exposed {
		t.Errorf("2 answers: sheet 1 %s, sheet 2 %s", a.Phase, b.Phase)
	}
	w.pass(2 * time.Second)
	m.keys(t, "q", "space")
	if m.ask == nil || a.Phase != session.Exposed {
		t.Errorf("space in a question leaves sheet 1 %s", a.Phase)
	}
}
