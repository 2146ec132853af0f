package tui

import (
	"strings"
	"testing"
	"time"

	"wetside/session"
)

// Booted anew with a clock that lies behind: nobody is told how long a sheet has
// been in its bath, the user is asked how long it was off, and the sheet's time
// goes by what they say.
func TestAClockThatStandsBehind(t *testing.T) {
	for _, c := range []struct {
		name, typed string
		in          time.Duration // the sheet, afterwards
	}{
		{"they know", "25m", 26 * time.Minute},
		{"they cannot say", "", time.Minute},
		{"wrong, and put right", "soon", 5 * time.Minute},
		{"nothing", "0s", time.Minute},
	} {
		t.Run(c.name, func(t *testing.T) {
			var w *world
			w, m := newWorld(t, func(c *Config) { c.Span = time.ParseDuration })
			s := m.add(t, "caddy", "")
			m.desk.Do(session.Event{Kind: session.Moved, Sheet: s.ID})
			w.pass(time.Minute)
			m.desk.Do(session.Event{Kind: session.Noted, Sheet: s.ID, Note: "dark"})
			w.now = session.Instant{Wall: w.now.Wall.Add(-26 * time.Hour), Boot: time.Minute, BootID: "anew"}

			text := ResumeText(m.desk.M, w.now)
			for _, want := range []string{"how long it was off is not known", "Sheet 1 was in the developer, 1:00 into it"} {
				if !strings.Contains(text, want) {
					t.Errorf("%q lacks %q", text, want)
				}
			}
			m.askResume()
			if m.ask == nil || !strings.Contains(m.ask.says(), "How long was it off") {
				t.Fatal("nobody asked how long it was off")
			}
			// Nothing that the program writes down of itself answers meanwhile.
			m.desk.Screen = func() (lux float64, known bool) { return 0.007, true }
			m.Update(tickMsg(w.now.Wall))
			if !m.desk.M.Behind(w.now) {
				t.Fatal("the clock is believed before anybody has answered")
			}
			m.keys(t, "esc")
			if m.ask == nil {
				t.Fatal("esc left it open how long it was off")
			}
			for _, r := range c.typed {
				m.keys(t, string(r))
			}
			m.keys(t, "enter")
			if c.typed == "soon" {
				if m.ask == nil {
					t.Fatal("taken without a number")
				}
				for range c.typed {
					m.keys(t, "backspace")
				}
				m.keys(t, "4", "m", "enter")
			}
			if m.ask == nil || !strings.HasSuffix(m.ask.says(), "Go on?") && !strings.HasSuffix(m.ask.says(), "as planned?") {
				t.Fatalf("the sheet is not asked about: %+v", m.ask)
			}
			since := w.now
			for range 3 {
				if !strings.HasSuffix(m.ask.says(), "Go on?") {
					m.keys(t, "n")
					w.pass(2 * time.Second)
				}
			}
			c.in += w.now.Sub(since)
			m.keys(t, "y")
			if m.ask != nil {
				t.Fatalf("it still asks: %s", m.ask.says())
			}
			if unseen := c.typed == "" || c.in > 20*time.Minute; s.Visit().Unseen != unseen {
				t.Errorf("its time is believed: %t", unseen)
			}
			if v, _ := m.desk.M.View(w.now).Sheet(s.ID); v.Elapsed != c.in {
				t.Errorf("%v in the developer, not %v", v.Elapsed, c.in)
			}
			w.pass(30 * time.Second)
			if v, _ := m.desk.M.View(w.now).Sheet(s.ID); v.Elapsed != c.in+30*time.Second {
				t.Errorf("half a minute on: %v", v.Elapsed)
			}
		})
	}
}

// The clock is set while the question stands: then it tells.
func TestAClockThatIsSetMeanwhile(t *testing.T) {
	w, m := newWorld(t, func(c *Config) { c.Span = time.ParseDuration })
	s := m.add(t, "caddy", "")
	m.desk.Do(session.Event{Kind: session.Moved, Sheet: s.ID})
	then := w.now
	w.now = session.Instant{Wall: then.Wall.Add(-time.Hour), Boot: time.Minute, BootID: "anew"}
	m.askResume()
	w.now.Wall = then.Wall.Add(3 * time.Minute)
	if text := m.ask.says(); strings.Contains(text, "not known") || !strings.Contains(text, "that is 3:00") {
		t.Errorf("asks %q", text)
	}
	m.keys(t, "enter", "y")
	if v, _ := m.desk.M.View(w.now).Sheet(s.ID); m.ask != nil || v.Elapsed != 3*time.Minute {
		t.Errorf("%v in the developer", v.Elapsed)
	}
}
