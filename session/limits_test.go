package session_test

import (
	"math"
	"testing"
	"time"

	"wetside/session"
)

// Each figure of a step and of a sheet is taken to its limit, and refused beyond it.
func TestFiguresOfASheetToTheirLimits(t *testing.T) {
	const week = 7 * 24 * time.Hour
	type sheet = session.SheetSpec
	step := func(change func(*session.Step)) func(*sheet) {
		return func(s *sheet) { change(&s.Process.Steps[0]) }
	}
	reckoned := func(change func(*session.Reckoned)) func(*sheet) {
		return func(s *sheet) {
			s.Reckoned = &session.Reckoned{Test: &session.Test{Strips: 3, Step: 1}, Lit: &session.Lit{}}
			change(s.Reckoned)
		}
	}
	agitated := func(first, each, spell time.Duration) func(*sheet) {
		return step(func(s *session.Step) { s.Agitation = session.Agitation{First: first, Every: each, For: spell} })
	}
	shares := func(x ...float64) func(*sheet) {
		return reckoned(func(r *session.Reckoned) { r.Test.Shares = x })
	}
	nan := math.NaN()
	for what, c := range map[string]struct{ taken, refused []func(*sheet) }{
		"steps": {nil, []func(*sheet){func(s *sheet) { s.Process.Steps = nil }, func(s *sheet) { s.Process.Steps = make([]session.Step, 1000) }}},
		"area": {[]func(*sheet){func(s *sheet) { s.Paper.AreaCM2 = 0 }, func(s *sheet) { s.Paper.AreaCM2 = 1e6 }},
			[]func(*sheet){func(s *sheet) { s.Paper.AreaCM2 = -1 }, func(s *sheet) { s.Paper.AreaCM2 = 1e6 + 1 }, func(s *sheet) { s.Paper.AreaCM2 = nan }}},
		"safelight": {[]func(*sheet){func(s *sheet) { s.Paper.Safe, s.Paper.SafeExp = week, week }},
			[]func(*sheet){func(s *sheet) { s.Paper.Safe = -1 }, func(s *sheet) { s.Paper.SafeExp = -1 }, func(s *sheet) { s.Paper.Safe = week + 1 }, func(s *sheet) { s.Paper.SafeExp = week + 1 }}},
		"stage": {nil, []func(*sheet){step(func(s *session.Step) { s.Stage = "toning" }), step(func(s *session.Step) { s.Stage = session.Exposure }), step(func(s *session.Step) { s.Stage = session.Hold })}},
		"at most": {[]func(*sheet){step(func(s *session.Step) { s.AtMost = week })},
			[]func(*sheet){step(func(s *session.Step) { s.AtMost, s.AtLeast = 0, 0 }), step(func(s *session.Step) { s.AtMost = week + 1 })}},
		"at least": {[]func(*sheet){step(func(s *session.Step) { s.AtLeast = 0 }), step(func(s *session.Step) { s.AtLeast = s.AtMost })},
			[]func(*sheet){step(func(s *session.Step) { s.AtLeast = -1 }), step(func(s *session.Step) { s.AtLeast = s.AtMost + 1 })}},
		"drain": {[]func(*sheet){step(func(s *session.Step) { s.Drain = s.AtMost })},
			[]func(*sheet){step(func(s *session.Step) { s.Drain = -1 }), step(func(s *session.Step) { s.Drain = s.AtMost + 1 })}},
		"agitation": {[]func(*sheet){agitated(30*time.Second, 0, 0), agitated(0, time.Second, time.Second), agitated(week, week, week)},
			[]func(*sheet){agitated(-1, 0, 0), agitated(week+1, 0, 0), agitated(0, -1, 0), agitated(0, week+1, 1), agitated(0, time.Minute, -1),
				agitated(0, time.Second-1, 1), agitated(0, time.Minute, time.Minute+1), agitated(0, time.Minute, 0), agitated(0, 0, time.Second)}},
		"factor": {[]func(*sheet){step(func(s *session.Step) { s.Factor = 1000 })},
			[]func(*sheet){step(func(s *session.Step) { s.Factor = -1 }), step(func(s *session.Step) { s.Factor = 1001 }), step(func(s *session.Step) { s.Factor = nan })}},
		"short wash": {[]func(*sheet){step(func(s *session.Step) { s.ShortAfter = week })},
			[]func(*sheet){step(func(s *session.Step) { s.ShortAfter = -1 }), step(func(s *session.Step) { s.ShortAfter = week + 1 })}},
		"changes": {[]func(*sheet){step(func(s *session.Step) { s.Changes = 100 })},
			[]func(*sheet){step(func(s *session.Step) { s.Changes = -1 }), step(func(s *session.Step) { s.Changes = 101 })}},
		"reckoned": {[]func(*sheet){reckoned(func(r *session.Reckoned) {}), reckoned(func(r *session.Reckoned) { r.FNumber = 1e9 }), reckoned(func(r *session.Reckoned) { r.Test, r.Lit = nil, nil })},
			[]func(*sheet){reckoned(func(r *session.Reckoned) { r.ISO = -1 }), reckoned(func(r *session.Reckoned) { r.Filter = 2e9 }), reckoned(func(r *session.Reckoned) { r.Warm = nan })}},
		"strips": {[]func(*sheet){reckoned(func(r *session.Reckoned) { r.Test.Strips = 2 }), reckoned(func(r *session.Reckoned) { r.Test.Strips, r.Test.Step = 9, 5 })},
			[]func(*sheet){reckoned(func(r *session.Reckoned) { r.Test.Strips = 1 }), reckoned(func(r *session.Reckoned) { r.Test.Strips = 10 }),
				reckoned(func(r *session.Reckoned) { r.Test.Step = 0 }), reckoned(func(r *session.Reckoned) { r.Test.Step = 5.1 }), reckoned(func(r *session.Reckoned) { r.Test.Step = nan })}},
		"shares": {[]func(*sheet){shares(0.25, 0.5, 1)},
			[]func(*sheet){shares(0.25, 1), shares(0.25, 0.25, 1), shares(0.25, nan, 1), shares(0.25, 0.5, 1.1), shares(0, 0.5, 1)}},
		"light": {[]func(*sheet){reckoned(func(r *session.Reckoned) { r.Lit.EV, r.Lit.Doubt = session.MaxChange, 10 }), reckoned(func(r *session.Reckoned) { r.Lit.EV = -session.MaxChange })},
			[]func(*sheet){reckoned(func(r *session.Reckoned) { r.Lit.EV = session.MaxChange + 1 }), reckoned(func(r *session.Reckoned) { r.Lit.EV = nan }),
				reckoned(func(r *session.Reckoned) { r.Lit.Doubt = -1 }), reckoned(func(r *session.Reckoned) { r.Lit.Doubt = 10.1 }), reckoned(func(r *session.Reckoned) { r.Lit.Doubt = nan })}},
	} {
		add := func(change func(*sheet)) error {
			m := session.New()
			if err := m.Apply(session.Event{Kind: session.Opened, At: storyDay}); err != nil {
				t.Fatal(err)
			}
			s := sheet{Process: session.Process{Steps: []session.Step{{Stage: session.Wash, Bath: "wash tray", AtLeast: time.Minute, AtMost: 2 * time.Minute}}}}
			change(&s)
			return m.Apply(session.Event{Kind: session.SheetAdded, At: storyDay, Sheet: "a", Spec: &s})
		}
		for i, change := range c.taken {
			if err := add(change); err != nil {
				t.Errorf("%s, %d: refused: %v", what, i, err)
			}
		}
		for i, change := range c.refused {
			if err := add(change); err == nil {
				t.Errorf("%s, %d: taken", what, i)
			}
		}
	}
}
