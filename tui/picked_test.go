package tui

import (
	"strings"
	"testing"
	"time"

	"github.com/charmbracelet/x/ansi"

	"wetside/profiles"
	"wetside/session"
)

// inTheTrays brings blank sheets in and puts them into the developer, half a
// minute after one another, and then into the stop bath.
func inTheTrays(t *testing.T, w *world, m *Model, safe time.Duration, n int) {
	t.Helper()
	for range n {
		p, err := m.cfg.Plan(profiles.Form{Name: "blank"})
		if err != nil {
			t.Fatal(err)
		}
		p.Spec.Paper.Safe, p.Spec.Paper.SafeExp = safe, safe
		id := m.desk.NewID()
		for _, e := range []session.Event{{Kind: session.SheetAdded, Spec: &p.Spec}, {Kind: session.Moved}, {Kind: session.Moved, From: 1}} {
			e.Sheet = id
			if err := m.desk.Do(e); err != nil {
				t.Fatal(err)
			}
			w.pass(30 * time.Second)
		}
	}
}

// Backspace takes back the last move of the sheet that was picked, and not the
// last that was made.
func TestBackspaceIsForThePickedSheet(t *testing.T) {
	w, m := newWorld(t, nil)
	inTheTrays(t, w, m, 0, 2)
	m.keys(t, "1", "backspace")
	one, two := m.desk.M.Numbered(1), m.desk.M.Numbered(2)
	if v := one.Visit(); v == nil || v.Stage != session.Develop {
		t.Errorf("sheet 1 was picked, and is in %+v", v)
	}
	if v := two.Visit(); v == nil || v.Stage != session.Stop {
		t.Errorf("sheet 2 was not, and is in %+v", v)
	}
	if !strings.Contains(m.said, "1") {
		t.Errorf("said %q", m.said)
	}
}

// A row says how much of its time under the safelight a sheet has had.
func TestARowSaysThePartOfTheSafelightsTime(t *testing.T) {
	w, m := newWorld(t, nil)
	inTheTrays(t, w, m, 4*time.Minute, 1) // a minute ago it came out
	if v := ansi.Strip(m.View()); !strings.Contains(v, "safelight 25% used") {
		t.Errorf("a minute of four:\n%s", v)
	}
	w.pass(5 * time.Minute)
	if v := ansi.Strip(m.View()); !strings.Contains(v, "safelight 150% used") {
		t.Errorf("six minutes of four:\n%s", v)
	}
}

// Where the screen's black is nearer its end than the safelight, the row says so, from
// the light that the panel gives by then.
func TestARowSaysThePartOfTheScreensTime(t *testing.T) {
	lux := 0.01
	w, m := newWorld(t, func(c *Config) {
		plan := c.Plan
		c.Plan = func(f profiles.Form) (profiles.Reckoned, error) {
			r, err := plan(f)
			r.Spec.Paper.FirstTone = 1.2
			return r, err
		}
		c.Desk.Screen = func() (float64, bool) { return lux, true }
	})
	inTheTrays(t, w, m, 4*time.Minute, 1) // a minute ago it came out
	see := func(want string) {
		t.Helper()
		m.Update(tickMsg{})
		if v := ansi.Strip(m.View()); !strings.Contains(v, want) {
			t.Errorf("%q is not there:\n%s", want, v)
		}
	}
	see("screen light 50% used")
	lux = 0.001 // dimmed
	w.pass(30 * time.Second)
	see("screen light 75% used") // that it was dimmed is known from now on
	w.pass(4 * time.Minute)
	see("safelight 137% used")
	lux = 0.0011 // a reading is no better
	n := len(w.events)
	w.pass(time.Minute)
	see("safelight 162% used")
	if got := len(w.events); got != n {
		t.Errorf("%d events more of the same light", got-n)
	}
}
