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
	if got := plain(m); !strings.Contains(got, ">  2 hat box") || !strings.Contains(got, "cover the pinhole") || !strings.Contains(got, "space ends it") {
		t.Errorf("sheet 2 is called:\n%s", got)
	}
	m.keys(t, "space")
	if b.Phase != session.Exposed || a.Phase != session.Exposing || c.Phase != session.Exposing {
		t.Fatalf("space at the call for sheet 2: %s, %s, %s; %s", a.Phase, b.Phase, c.Phase, m.said)
	}
	// The row chosen by hand is there again, and the next call goes before it.
	if got := plain(m); !strings.Contains(got, ">  3 biscuit") {
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

// What was chosen by hand just before a call, or after it, stays what a press is
// for: a call does not change it under the finger.
func TestACallDoesNotChangeWhatWasChosen(t *testing.T) {
	w, m := newWorld(t, func(c *Config) { c.Start = Field })
	a, b := m.add(t, "caddy", "1m"), m.add(t, "hat box", "6m")
	m.keys(t, "space")
	w.pass(57 * time.Second)
	m.keys(t, "2")
	w.pass(4 * time.Second) // the call for sheet 1 comes between the two keys
	m.keys(t, "space")
	if a.Phase != session.Exposing || b.Phase != session.Exposing {
		t.Fatalf("2, then the call for 1, then space: %s, %s", a.Phase, b.Phase)
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

// Each screen takes back what was done on it.
func TestBackspaceIsForItsScreen(t *testing.T) {
	w, m := newWorld(t, nil)
	s, c := m.add(t, "contact print", ""), m.add(t, "caddy", "4m")
	m.keys(t, "space")
	w.pass(2 * time.Second)
	m.goTo(Field)
	m.keys(t, "2", "space")
	w.pass(2 * time.Second)
	m.goTo(Trays)
	m.keys(t, "backspace")
	if s.Phase != session.Fresh || c.Phase != session.Exposing {
		t.Fatalf("in the trays: %s, %s", s.Phase, c.Phase)
	}
	w.pass(2 * time.Second)
	m.keys(t, "backspace") // nothing is left
	m.goTo(Field)
	w.pass(2 * time.Second)
	m.keys(t, "backspace")
	if c.Phase != session.Fresh {
		t.Fatalf("in the field: %s", c.Phase)
	}
}
