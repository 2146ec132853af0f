package tui

import (
	"strings"
	"testing"
	"time"

	"wetside/session"
)

// Only a second x answers x. The keys that are pressed without looking do what
// they always do, and are a no.
func TestOnlyASecondXSpoils(t *testing.T) {
	for _, screen := range []Screen{Trays, Field} {
		for _, k := range []string{"enter", "space", "y", "n", "esc", "backspace", "o", "i", "tab", "1", "2", "down"} {
			w, m := newWorld(t, func(c *Config) { c.Start = screen })
			a, b := m.add(t, "caddy", "4m"), m.add(t, "hat box", "4m")
			if screen == Trays {
				m.desk.Do(session.Event{Kind: session.ExposureBegun, Sheet: a.ID, Planned: time.Minute})
				m.desk.Do(session.Event{Kind: session.ExposureEnded, Sheet: a.ID})
				m.keys(t, "space")
				w.pass(100 * time.Second)
			}
			m.keys(t, "x")
			if !strings.Contains(m.said, "x again") || !strings.Contains(w.said(), "spoiled") {
				t.Fatalf("%s: x says %q, aloud %q", screen, m.said, w.said())
			}
			w.pass(2 * time.Second)
			m.keys(t, k)
			w.pass(2 * time.Second)
			if m.ask != nil {
				m.keys(t, "esc")
			}
			m.screen = screen
			m.keys(t, "x")
			if a.Phase == session.Ruined || b.Phase == session.Ruined {
				t.Errorf("%s: x, %s and x spoiled a sheet", screen, k)
			}
		}
	}
}

// A first x is forgotten after a while, and a held one is one.
func TestAFirstXDoesNotWaitForEver(t *testing.T) {
	w, m := newWorld(t, nil)
	s := m.add(t, "caddy", "")
	m.keys(t, "space")
	w.pass(20 * time.Second)
	m.keys(t, "x")
	w.pass(earlyFor)
	m.keys(t, "x")
	w.pass(time.Minute)
	w.hold(m, letter("x"), 500*time.Millisecond, 30*time.Millisecond, 5*time.Second)
	if s.Phase != session.Wet {
		t.Errorf("the sheet is %s", s.Phase)
	}
}

// The second x is for the sheet that the first one asked about, whichever needs
// the hands by then.
func TestTheSecondXIsForTheSheetOfTheFirst(t *testing.T) {
	w, m := newWorld(t, nil)
	a, b := m.add(t, "caddy", ""), m.add(t, "hat box", "")
	m.desk.Do(session.Event{Kind: session.Moved, Sheet: a.ID})
	w.pass(20 * time.Second)
	m.keys(t, "x")
	w.pass(time.Second)
	m.desk.Do(session.Event{Kind: session.Moved, Sheet: b.ID})
	for range 2 { // another hand moves b into the stop bath, which is due before a
		w.pass(time.Second)
		m.desk.Do(session.Event{Kind: session.Moved, Sheet: b.ID, From: serial(b)})
	}
	if v := m.desk.M.View(w.now); v.Due != b.ID {
		t.Fatalf("due is %s", v.Due)
	}
	m.keys(t, "x")
	if a.Phase != session.Ruined || b.Phase != session.Wet {
		t.Errorf("sheet 1 was asked about: it is %s, sheet 2 %s", a.Phase, b.Phase)
	}
}

// A spoiled sheet is taken back, and is where it would have been: by the program
// that spoiled it, and by one that was started since.
func TestSpoiledIsTakenBack(t *testing.T) {
	for _, restart := range []bool{false, true} {
		w, m := newWorld(t, nil)
		s := m.add(t, "caddy", "")
		m.keys(t, "space")
		w.pass(20 * time.Second)
		m.keys(t, "x")
		w.pass(time.Second)
		m.keys(t, "x")
		if s.Phase != session.Ruined || m.ask != nil || !strings.Contains(m.said, "backspace takes it back") {
			t.Fatalf("x, x: the sheet is %s, said %q", s.Phase, m.said)
		}
		m.keys(t, "o", "T", "o", "r", "n", "enter")
		if s.SpoiltFor != "Torn" {
			t.Errorf("the reason is %q", s.SpoiltFor)
		}
		if restart {
			m = New(m.cfg)
		}
		w.pass(10 * time.Second)
		m.keys(t, "backspace")
		v := s.Visit()
		if s.Phase != session.Wet || v == nil || v.Stage != session.Develop || s.SpoiltFor != "" {
			t.Fatalf("restart %v: taken back, the sheet is %s, %+v", restart, s.Phase, v)
		}
		if got := m.desk.M.T(w.now) - v.In; got != 31*time.Second {
			t.Errorf("restart %v: it has been in the developer for %v, not 31 s", restart, got)
		}
		if strings.Join(w.saved, ", ") != "1 spoiled, 1 spoiled, 1 wet" { // wet: the record goes
			t.Errorf("saved %v", w.saved)
		}
		w.pass(2 * time.Second)
		m.keys(t, "space")
		if s.Visit().Stage != session.Stop {
			t.Error("and it does not go on")
		}
	}
}

// In the field too, where the light has gone on meanwhile.
func TestSpoiledInTheFieldIsTakenBack(t *testing.T) {
	for _, restart := range []bool{false, true} {
		w, m := newWorld(t, func(c *Config) { c.Start = Field })
		s := m.add(t, "caddy", "4m")
		m.keys(t, "space")
		w.pass(time.Minute)
		m.keys(t, "x")
		w.pass(time.Second)
		m.keys(t, "x")
		if s.Phase != session.Ruined {
			t.Fatal(s.Phase)
		}
		if restart {
			m = New(m.cfg)
		}
		w.pass(59 * time.Second)
		m.keys(t, "backspace")
		if s.Phase != session.Exposing || s.Light.Share(m.desk.M.T(w.now)) != 0.5 {
			t.Errorf("restart %v: the sheet is %s with %v given", restart, s.Phase, s.Light.Share(m.desk.M.T(w.now)))
		}
	}
}
