package tui

import (
	"fmt"
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"

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
		{"it goes on, both", []string{"n", "n", "n", "y"}, "", session.Wet, 0, []string{"n", "n", "n", "y"}, 0},
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
					in := one.Visit().InAt.Wall
					if num == "2" {
						in = two.Light.BegunAt.Wall
					}
					for wrong, why := range map[string]string{"35m": "is no time", "2026-05-01 10:00": "did not begin until", "2027-01-01 10:00": "has not come yet"} {
						m.typed(t, wrong)
						if m.ask == nil || !strings.Contains(m.said, why) {
							t.Fatalf("%q: %q, want %q", wrong, m.said, why)
						}
						m.ask.input.SetValue("")
					}
					m.typed(t, in.Add(c.wash).Format("15:04:05"))
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
			if want := map[bool]Screen{true: Bench, false: Trays}[c.state == session.Ruined]; m.screen != want { // else a sheet waits for the trays
				t.Errorf("it goes on at the %s, want the %s", m.screen, want)
			}
			r := notebook.RecordOf(one, notebook.Context{Now: m.desk.M.Now()})
			last := r.Stages[len(r.Stages)-1]
			if one.Phase != c.state || !last.Unseen || !r.Unseen || r.Washed || last.Actual.D() != c.wash || last.Over != 0 {
				t.Errorf("sheet one: %s, %+v", one.Phase, last)
			}
			if c.state == session.Wet {
				// It is still there, and what it was there for is not believed, then nor later.
				if two.Phase != session.Exposing || !two.Light.Open || !two.Light.Unseen {
					t.Errorf("sheet two: %s, %+v", two.Phase, two.Light)
				}
				m.desk.Do(session.Event{Kind: session.Moved, Sheet: one.ID, From: serial(one)})
				r := notebook.RecordOf(one, notebook.Context{Now: m.desk.M.Now()})
				if last := r.Stages[len(r.Stages)-1]; one.Phase != session.Finished || last.Actual != 0 || !last.Out.IsZero() || r.Washed {
					t.Errorf("sheet one out of the wash: %s, %+v", one.Phase, last)
				}
				return
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

// What was running a moment ago most likely still is, and that is asked first, of
// each sheet by itself.
func TestAMomentLaterEachIsAskedAbout(t *testing.T) {
	w, m := newWorld(t, nil)
	one, two := m.add(t, "caddy", ""), m.add(t, "hat box", "")
	for _, s := range []*session.Sheet{one, two} {
		m.desk.Do(session.Event{Kind: session.Moved, Sheet: s.ID})
	}
	w.pass(30 * time.Second)
	cfg := m.cfg
	cfg.Resumed = ResumeText(m.desk.M, w.now)
	m = New(cfg)
	for n := 1; n <= 2; n++ {
		if got := m.ask.says(); !strings.HasPrefix(got, fmt.Sprint("Sheet ", n)) || !strings.HasSuffix(got, "Is it still in there? Go on?") {
			t.Errorf("asked: %s", got)
		}
		m.keys(t, "y")
		w.pass(2 * time.Second)
	}
	if m.ask != nil || one.Phase != session.Wet || two.Phase != session.Wet || one.Visit().Unseen {
		t.Errorf("%+v %s %s", m.ask, one.Phase, two.Phase)
	}
}

// A time of day before the begin is told so, not as one of tomorrow; and no date is
// broken at the end of a line.
func TestAnEndBeforeTheBeginIsToldSo(t *testing.T) {
	w, m := newWorld(t, nil)
	one := m.add(t, "caddy", "")
	m.desk.Do(session.Event{Kind: session.Moved, Sheet: one.ID})
	in := w.now.Wall
	w.pass(2 * time.Minute)
	cfg := m.cfg
	cfg.Resumed = ResumeText(m.desk.M, w.now)
	m = New(cfg)
	m.keys(t, "n")
	w.pass(2 * time.Second)
	m.keys(t, "n")
	w.pass(2 * time.Second)
	m.keys(t, "y")
	for width := 40; width <= 100; width++ {
		m.Update(tea.WindowSizeMsg{Width: width, Height: 24})
		if !strings.Contains(plain(m), in.Format("2006-01-02")) {
			t.Errorf("at %d columns the date is broken:\n%s", width, plain(m))
		}
	}
	m.typed(t, in.Add(-10*time.Minute).Format("15:04"))
	if !strings.Contains(m.said, "did not begin until") {
		t.Errorf("said %q", m.said)
	}
}

// A step that the clock ends, and that it ended while no program ran, moves nobody's
// sheet: each answer is asked for first, and what is next begins when it is given.
func TestAClockThatRanOutUnwatchedMovesNothing(t *testing.T) {
	for _, answer := range []string{"y", "nnny", "taken back"} {
		t.Run(answer, func(t *testing.T) {
			w, m := newWorld(t, nil)
			p := testProcess()
			p.Steps[0].ByClock, p.Steps[1].ByClock = true, true
			s, _ := m.desk.Add(session.SheetSpec{Process: p})
			m.desk.Do(session.Event{Kind: session.Moved, Sheet: s.ID})
			w.pass(10 * time.Second)
			w.now = w.now.Add(7 * 24 * time.Hour)
			cfg := m.cfg
			cfg.Resumed = ResumeText(m.desk.M, w.now)
			d := *cfg.Desk
			d.Since = w.now
			cfg.Desk = &d
			m = New(cfg)
			w.pass(3 * time.Second)
			m.desk.Do(session.Event{Kind: session.Noted, Sheet: s.ID, Note: "back"})
			if len(s.Visits) != 1 {
				t.Fatalf("before any answer it is in bath %d", len(s.Visits))
			}
			if answer == "taken back" {
				m.keys(t, "y")
				m.desk.Do(session.Event{Kind: session.Undone, Sheet: s.ID, What: session.Unseen})
				w.pass(3 * time.Second)
				if len(s.Visits) != 1 || s.Visit() == nil {
					t.Errorf("%+v", s.Visits)
				}
				return
			}
			for _, k := range answer {
				m.keys(t, string(k))
				w.pass(2 * time.Second)
			}
			if v := s.Visits[0]; !v.Unseen || v.Told != 0 {
				t.Errorf("%+v", v)
			}
			if answer == "y" && s.Phase != session.Finished {
				t.Error(s.Phase)
			}
			if answer == "nnny" && (len(s.Visits) != 2 || w.now.Sub(s.Visits[1].InAt) > 10*time.Second) {
				t.Errorf("%+v", s.Visits)
			}
		})
	}
}
