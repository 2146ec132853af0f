package tui

import (
	"strings"
	"testing"
	"time"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/notebook"
)

// A week after the program ended each sheet is asked about by itself, the likely
// answer first, and no answer writes a time that nobody saw.
func TestAWeekLaterNoAnswerWritesAFalseTime(t *testing.T) {
	for _, c := range []struct {
		name     string
		keys     []string // to the questions of sheet one, in the wash
		told     string
		state    session.Phase
		wash     time.Duration // as recorded
		exposure []string      // to those of sheet two, in its camera
		lit      time.Duration
	}{
		{"as planned, both", []string{"y"}, "", session.Finished, 0, []string{"y"}, 0},
		{"at a time, both", []string{"n", "y"}, "35m", session.Finished, 35 * time.Minute, []string{"n", "y"}, 35 * time.Minute},
		{"spoiled, both", []string{"n", "n", "y"}, "", session.Ruined, 0, []string{"n", "n", "y"}, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			w, m := newWorld(t, func(c *Config) { c.Span = profiles.ParseDuration })
			one := m.add(t, "one", "")
			two := m.add(t, "two", "4m")
			m.desk.Do(session.Event{Kind: session.ExposureBegun, Sheet: two.ID, Planned: 4 * time.Minute})
			for one.Visit() == nil || one.Visit().Stage != session.Wash {
				m.desk.Do(session.Event{Kind: session.Moved, Sheet: one.ID, From: serial(one)})
				w.pass(time.Minute)
			}
			seen := w.now
			w.pass(7 * 24 * time.Hour)
			cfg := m.cfg
			cfg.Resumed = ResumeText(m.desk.M, w.now)
			m = New(cfg)
			answer := func(num string, keys []string) {
				t.Helper()
				if m.ask == nil || !strings.HasPrefix(m.ask.says(), "Sheet "+num+" ") {
					t.Fatalf("sheet %s is not asked about: %+v", num, m.ask)
				}
				if got := m.ask.says(); !strings.Contains(got, "as planned?") {
					t.Errorf("first asked: %s", got)
				}
				for _, habit := range []string{"space", "enter", "esc"} {
					m.keys(t, habit)
				}
				for _, k := range keys {
					m.keys(t, k)
					w.pass(2 * time.Second)
				}
				if m.ask != nil && m.ask.words != nil {
					m.typed(t, c.told)
				}
			}
			need := m.desk.M.View(w.now).Need
			for _, id := range need {
				if id == one.ID {
					answer("1", c.keys)
				} else {
					answer("2", c.exposure)
				}
			}
			if m.ask != nil {
				t.Fatal("still asked: ", m.ask.says())
			}
			r := notebook.RecordOf(one, notebook.Context{Now: m.desk.M.Now()})
			last := r.Stages[len(r.Stages)-1]
			if one.Phase != c.state || !last.Unseen || !r.Unseen || r.Washed || last.Actual.D() != c.wash || last.Over != 0 {
				t.Errorf("sheet one: %s, %+v", one.Phase, last)
			}
			if c.told == "" && (!last.Out.IsZero() || !r.Ended.IsZero()) || c.told != "" && r.Ended.Sub(last.In) != c.wash {
				t.Errorf("sheet one ended %v, left the wash %v", r.Ended, last.Out)
			}
			if r.Safelight.D() > w.now.Sub(seen) || r.Safelight.D() > time.Hour {
				t.Errorf("%v under the safelight", r.Safelight.D())
			}
			e := notebook.RecordOf(two, notebook.Context{Now: m.desk.M.Now()}).Exposure
			if !e.Unseen || e.Actual.D() != c.lit || !e.Ended.IsZero() || len(e.Covered) != 0 {
				t.Errorf("sheet two: %s, %+v", two.Phase, e)
			}
			// And the answer can be taken back.
			if d, ok := m.desk.M.LastDeed(one.ID); !ok || c.state == session.Finished && d.Kind != session.Unseen {
				t.Errorf("the last deed is %+v", d)
			} else if err := m.desk.Do(session.Event{Kind: session.Undone, Sheet: one.ID, What: d.Kind}); err != nil || one.Phase != session.Wet {
				t.Errorf("%v, %s", err, one.Phase)
			}
		})
	}
}

// What was running a moment ago most likely still is: one answer goes on with all
// of it; a no asks of each sheet by itself.
func TestAMomentLaterAllGoesOn(t *testing.T) {
	w, m := newWorld(t, nil)
	s := m.add(t, "caddy", "")
	m.keys(t, "space")
	w.pass(30 * time.Second)
	cfg := m.cfg
	cfg.Resumed = ResumeText(m.desk.M, w.now)
	m = New(cfg)
	if got := m.ask.says(); !strings.HasSuffix(got, "Go on?") {
		t.Errorf("asked: %s", got)
	}
	m.keys(t, "n")
	w.pass(2 * time.Second)
	if got := m.ask.says(); !strings.HasSuffix(got, "Is it still in there, and does it go on?") {
		t.Errorf("then asked: %s", got)
	}
	m.keys(t, "y")
	if m.ask != nil || s.Phase != session.Wet || s.Visit().Unseen {
		t.Errorf("%+v %s", m.ask, s.Phase)
	}
}
