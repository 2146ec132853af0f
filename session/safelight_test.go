package session_test

import (
	"testing"
	"time"

	"wetside/session"
)

// A sheet's account with the safelight, over its life: it runs while the paper
// is out, stands while it is put away, has the shorter time once it is exposed,
// says half and all of it once each, and stands for good once it is fixed.
func TestSafelightStory(t *testing.T) {
	m, now := session.New(), storyDay
	do := func(after time.Duration, e session.Event) {
		t.Helper()
		now = now.Add(after)
		e.At = now
		if e.Kind != session.Opened {
			e.Sheet = "a"
		}
		if err := m.Apply(e); err != nil {
			t.Fatal(err)
		}
	}
	stands := func(after, used, allowed time.Duration) {
		t.Helper()
		s := m.View(now.Add(after)).Sheets[0]
		if s.SafeUsed != used || s.SafeAllowed != allowed {
			t.Errorf("%v of %v used, want %v of %v", s.SafeUsed, s.SafeAllowed, used, allowed)
		}
	}
	step := func(stage session.Stage, d time.Duration) session.Step {
		return session.Step{Stage: stage, AtLeast: d, AtMost: d}
	}
	const min, sec = time.Minute, time.Second
	do(0, session.Event{Kind: session.Opened})
	do(0, session.Event{Kind: session.SheetAdded, Spec: &session.SheetSpec{Paper: session.Paper{Safe: 6 * min, SafeExp: 4 * min},
		Process: session.Process{Steps: []session.Step{step(session.Develop, min), step(session.Fix, min), step(session.Wash, 5*min)}}}})
	do(sec, session.Event{Kind: session.SheetOut})
	stands(30*sec, 30*sec, 6*min)
	do(min, session.Event{Kind: session.SheetAway})
	stands(500*sec, min, 6*min)
	do(500*sec, session.Event{Kind: session.ExposureBegun, Planned: min})
	do(0, session.Event{Kind: session.ExposureEnded})
	stands(0, min, 4*min)
	do(0, session.Event{Kind: session.Moved}) // it comes out and goes into the developer
	stands(59*sec, 119*sec, 4*min)
	said := map[session.CueKind]time.Duration{}
	for _, c := range m.Cues(now, now.Add(10*min)) {
		if c.Kind == session.CueSafeHalf || c.Kind == session.CueSafeAll {
			if _, again := said[c.Kind]; again {
				t.Errorf("%s twice", c.Kind)
			}
			said[c.Kind] = c.T - m.T(now)
		}
	}
	// Half of it is used as the move is called, and is said behind that call.
	if len(said) != 2 || said[session.CueSafeHalf] < min || said[session.CueSafeHalf] > min+3*sec || said[session.CueSafeAll] != 3*min {
		t.Errorf("said %v after it came out", said)
	}
	do(min, session.Event{Kind: session.Moved, From: 1})
	stands(2*min, 4*min, 4*min)
	do(2*min, session.Event{Kind: session.Moved, From: 2}) // fixed
	stands(15*min, 4*min, 4*min)
}

// A fog test whose first step shows leaves no time safe: that is told as soon as
// the sheet comes out. Without a test, no figure is no figure.
func TestNoTimeUnderTheSafelight(t *testing.T) {
	for tested, want := range map[bool]int{true: 1, false: 0} {
		m, now := session.New(), storyDay
		for _, e := range []session.Event{
			{Kind: session.Opened},
			{Kind: session.SheetAdded, Sheet: "a", Spec: &session.SheetSpec{Paper: session.Paper{Tested: tested},
				Process: session.Process{Steps: []session.Step{{Stage: session.Develop, AtLeast: time.Minute, AtMost: time.Minute}}}}},
			{Kind: session.SheetOut, Sheet: "a"},
		} {
			e.At = now
			if err := m.Apply(e); err != nil {
				t.Fatal(err)
			}
		}
		n := 0
		for _, c := range m.Cues(now, now.Add(10*time.Minute)) {
			if c.Kind == session.CueSafeAll && c.T == m.T(now) {
				n++
			}
			if c.Kind == session.CueSafeHalf {
				t.Errorf("tested %v: half of nothing is told", tested)
			}
		}
		if got := m.View(now.Add(time.Minute)).Sheets[0].SafeNone; n != want || got != tested {
			t.Errorf("tested %v: told %d times, none safe: %v", tested, n, got)
		}
	}
}
