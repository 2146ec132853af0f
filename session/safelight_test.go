package session_test

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

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

// The panel's black is a lamp too: a sheet's time in the open ends with it where it
// is shorter than the safelight's. What fell in one light of the screen counts in
// the next; a fog test replaces it.
func TestTheScreensTime(t *testing.T) {
	const min = time.Minute
	step := func(stage session.Stage, d time.Duration) session.Step {
		return session.Step{Stage: stage, AtLeast: d, AtMost: d}
	}
	begin := func(paper session.Paper) (*session.Machine, func(after time.Duration, e session.Event)) {
		m, now := session.New(), storyDay
		do := func(after time.Duration, e session.Event) {
			t.Helper()
			now = now.Add(after)
			if e.At = now; e.Kind != session.Opened && e.Kind != session.ScreenLit {
				e.Sheet = "a"
			}
			if err := m.Apply(e); err != nil {
				t.Fatal(err)
			}
		}
		do(0, session.Event{Kind: session.Opened})
		do(0, session.Event{Kind: session.SheetAdded, Spec: &session.SheetSpec{Paper: paper,
			Process: session.Process{Steps: []session.Step{step(session.Develop, 3*min), step(session.Fix, min), step(session.Wash, 5*min)}}}})
		return m, do
	}
	stands := func(m *session.Machine, after, used, allowed time.Duration, share float64, screen bool) {
		t.Helper()
		s := m.View(m.Last().Add(after)).Sheets[0]
		if s.SafeUsed != used || s.SafeAllowed != allowed || math.Abs(s.SafeShare-share) > 1e-9 || s.SafeScreen != screen {
			t.Errorf("%v of %v used, %v, the screen's: %v; want %v of %v, %v, %v", s.SafeUsed, s.SafeAllowed, s.SafeShare, s.SafeScreen, used, allowed, share, screen)
		}
	}
	// told are the cues from now on: of the screen, and when.
	told := func(m *session.Machine, ahead time.Duration) map[session.CueKind]time.Duration {
		t.Helper()
		all := map[session.CueKind]time.Duration{}
		for _, c := range m.Cues(m.Last(), m.Last().Add(ahead)) {
			if c.Kind != session.CueSafeHalf && c.Kind != session.CueSafeAll {
				continue
			}
			if !c.Screen {
				t.Errorf("%s is told of the safelight", c.Kind)
			}
			all[c.Kind] = c.T - m.Now()
		}
		return all
	}
	paper := session.Paper{Safe: 8 * min, SafeExp: 5 * min, FirstTone: 1.2}

	// 1.2 lx s at 0.01 lx are two minutes.
	m, do := begin(paper)
	do(0, session.Event{Kind: session.SheetOut})
	stands(m, min, min, 8*min, 0.125, false) // what the screen gives is not said yet
	do(0, session.Event{Kind: session.ScreenLit, Lux: 0.01})
	stands(m, min, min, 2*min, 0.5, true)
	if got := told(m, 10*min); len(got) != 2 || got[session.CueSafeHalf] != min || got[session.CueSafeAll] != 2*min {
		t.Errorf("told %v", got)
	}
	// Dimmed to a tenth: a quarter is used, and the rest takes ten times as long.
	do(30*time.Second, session.Event{Kind: session.ScreenLit, Lux: 0.001})
	stands(m, 0, 30*time.Second, 15*min+30*time.Second, 0.25, true)
	stands(m, 4*min, 4*min+30*time.Second, 8*min, 4.5/8, false) // now the safelight is nearer its end
	if used, share, allowed := m.Sheet("a").ScreenUsed(m.Now() + 4*min); used != 4*min+30*time.Second || math.Abs(share-0.45) > 1e-9 || allowed != 15*min+30*time.Second {
		t.Errorf("before the screen: %v, %v of %v", used, share, allowed)
	}
	// The lamp off: the screen shines on.
	do(0, session.Event{Kind: session.SheetAway})
	do(time.Hour, session.Event{Kind: session.SheetOut})
	do(5*min, session.Event{Kind: session.SheetAway})
	stands(m, time.Hour, 5*min+30*time.Second, 8*min, 5.5/8, false)

	// The same events once more are the same: no fact is lost over a restart. In the
	// fixer the account stands.
	m, do = begin(paper)
	do(0, session.Event{Kind: session.ScreenLit, Lux: 0.01})
	do(0, session.Event{Kind: session.ExposureBegun, Planned: min})
	do(9*min, session.Event{Kind: session.ExposureEnded})
	do(0, session.Event{Kind: session.Moved})
	do(min, session.Event{Kind: session.Moved, From: 1})
	do(min, session.Event{Kind: session.Moved, From: 2})
	stands(m, time.Hour, 2*min, 2*min, 1, true)
	if got := told(m, time.Hour); len(got) > 0 {
		t.Errorf("fixed, and told %v", got)
	}

	// All of it is used while it lies there: told once.
	m, do = begin(paper)
	do(0, session.Event{Kind: session.SheetOut})
	do(0, session.Event{Kind: session.ScreenLit, Lux: 0.01})
	do(3*min, session.Event{Kind: session.ScreenLit, Lux: 0.02})
	if got := told(m, time.Hour); len(got) > 0 {
		t.Errorf("used up, and told %v", got)
	}

	// A screen that gives nothing, a paper nothing is known of, and a fog test.
	for what, c := range map[string]struct {
		paper session.Paper
		lux   float64
	}{
		"off":    {paper, 0},
		"speed":  {session.Paper{Safe: 8 * min, SafeExp: 5 * min}, 0.01},
		"tested": {session.Paper{Safe: 8 * min, SafeExp: 5 * min, Tested: true, TestedOn: "2026-05-09", FirstTone: 1.2}, 0.01},
	} {
		t.Run(what, func(t *testing.T) {
			m, do := begin(c.paper)
			do(0, session.Event{Kind: session.SheetOut})
			do(0, session.Event{Kind: session.ScreenLit, Lux: c.lux})
			stands(m, 2*min, 2*min, 8*min, 0.25, false)
		})
	}
}

// The light that a sheet has had is what falls on it second by second while it lies open
// and is not fixed: under the safelight when that is lit, before the screen by its light.
// Whatever is done in whatever order, the accounts are that sum.
func TestTheAccountsAreTheSumOfTheSeconds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const sec = time.Second
		m, at := session.New(), storyDay
		apply := func(e session.Event) bool { e.At = at; return m.Apply(e) == nil }
		apply(session.Event{Kind: session.Opened})
		step := func(s session.Stage) session.Step {
			return session.Step{Stage: s, Bath: string(s), AtLeast: 20 * sec, AtMost: 20 * sec}
		}
		apply(session.Event{Kind: session.SheetAdded, Sheet: "a", Spec: &session.SheetSpec{Paper: session.Paper{FirstTone: 10},
			Process: session.Process{Steps: []session.Step{step(session.Develop), step(session.Fix), step(session.Wash)}}}})
		var lamp, open, fixed bool
		var lux float64
		lamp = true // a room begins with its lamp lit
		shown := false
		var used, before time.Duration
		var light float64
		for range rapid.IntRange(3, 25).Draw(t, "deeds") {
			e := session.Event{Sheet: "a", Planned: time.Minute, Kind: rapid.SampledFrom([]session.Kind{session.SheetOut, session.SheetAway,
				session.SafelightOn, session.SafelightOff, session.ScreenLit, session.ExposureBegun, session.ExposureEnded, session.Moved, session.Moved}).Draw(t, "kind")}
			switch e.Kind {
			case session.SafelightOn, session.SafelightOff, session.ScreenLit:
				e.Sheet = ""
			case session.Moved:
				if v := m.Sheet("a").Visit(); v != nil {
					e.From = v.Serial
				}
			}
			if e.Kind != session.ExposureBegun {
				e.Planned = 0
			}
			if e.Kind == session.ScreenLit {
				e.Lux = float64(rapid.IntRange(0, 3).Draw(t, "lux")) / 100
			}
			if apply(e) {
				switch e.Kind {
				case session.SheetOut:
					open = true
				case session.SheetAway, session.ExposureBegun:
					open = false
				case session.SafelightOn, session.SafelightOff:
					lamp = e.Kind == session.SafelightOn
				case session.ScreenLit:
					if lux = e.Lux; !shown {
						light = before.Seconds() * lux // as it was found, so it was
					}
					shown = true
				case session.Moved:
					// It lies open from its first bath on, and is fixed as it leaves the fixer.
					open, fixed = true, fixed || m.Sheet("a").Visit() == nil || m.Sheet("a").Visit().Stage == session.Wash
				}
			}
			d := time.Duration(rapid.IntRange(0, 90).Draw(t, "seconds")) * sec
			if open && !fixed {
				before += d
				light += d.Seconds() * lux
				if lamp {
					used += d
				}
			}
			at = at.Add(d)
			s := m.Sheet("a")
			now := m.T(at)
			if got, _ := s.SafeUsed(now); got != used {
				t.Fatalf("%v under the safelight, %v by the seconds", got, used)
			}
			got, share, _ := s.ScreenUsed(now)
			if want := light / 10; shown && math.Abs(share-want) > 1e-9 || shown && got != before {
				t.Fatalf("%v before the screen, %.4f of a tone; by the seconds %v, %.4f", got, share, before, want)
			}
		}
	})
}
