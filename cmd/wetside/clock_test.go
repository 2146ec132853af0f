package main

import (
	"testing"
	"time"

	"wetside/session"
)

// fakeClock is a machine whose wall clock can be stepped, that can sleep, and
// that can be booted anew.
type fakeClock struct {
	t    time.Time
	up   time.Duration
	id   string
	pace float64
}

func (f *fakeClock) clock(from session.Instant) *clock {
	pace := f.pace
	if pace == 0 {
		pace = 1
	}
	return newClock(func() time.Time { return f.t }, func() (time.Duration, string) { return f.up, f.id }, pace, from)
}

// pass is time that goes by for both clocks, awake or asleep: a clock that
// counts through sleep cannot tell the two apart, which is the point.
func (f *fakeClock) pass(d time.Duration) { f.t, f.up = f.t.Add(d), f.up+d }
func (f *fakeClock) step(d time.Duration) { f.t = f.t.Add(d) }
func (f *fakeClock) boot(off time.Duration) {
	f.t, f.up, f.id = f.t.Add(off), 20*time.Second, f.id+"'"
}

var seamProcess = session.Process{Steps: []session.Step{
	{Stage: session.Develop, Bath: "d", AtLeast: 2 * time.Minute, AtMost: 2 * time.Minute},
	{Stage: session.Wash, Bath: "w", AtLeast: 90 * time.Minute, AtMost: 90 * time.Minute, Batch: true}}}

// seam is a session on a fake clock.
func seam(t *testing.T) (*fakeClock, *clock, func(session.Event), *session.Machine) {
	f := &fakeClock{t: time.Date(2026, 10, 25, 1, 30, 0, 0, time.UTC), up: time.Hour, id: "a"}
	c := f.clock(session.Instant{})
	m := session.New()
	do := func(e session.Event) {
		t.Helper()
		e.At = c.Now()
		if e.Kind != session.Opened && e.Kind != session.Resumed {
			e.Sheet = "s"
		}
		if err := m.Apply(e); err != nil {
			t.Fatal(err)
		}
	}
	do(session.Event{Kind: session.Opened})
	do(session.Event{Kind: session.SheetAdded, Spec: &session.SheetSpec{Process: seamProcess}})
	return f, c, do, m
}

// Asleep for an hour in a wash: the wash went on, and so did its clock.
func TestAnHourAsleepInTheWash(t *testing.T) {
	f, c, do, m := seam(t)
	do(session.Event{Kind: session.Moved})
	f.pass(2 * time.Minute)
	do(session.Event{Kind: session.Moved, From: 1})
	f.pass(5 * time.Minute)
	f.pass(time.Hour) // the lid
	s := m.View(c.Now()).Sheets[0]
	if s.Left != 25*time.Minute {
		t.Errorf("%v left of a wash of 90 min, 65 of them asleep or awake", s.Left)
	}
	// What was due in the sleep is past; what comes is where it should be.
	for _, q := range m.Cues(c.Now(), c.Now().Add(time.Hour)) {
		if q.Kind == session.CueMove {
			if at := c.Real(q.At).Sub(f.t); at != 25*time.Minute {
				t.Errorf("the call to move is due in %v", at)
			}
			return
		}
	}
	t.Error("no call to move")
}

// The wall clock is stepped a day forth and a day back in an exposure.
func TestWallClockStepped(t *testing.T) {
	f, c, do, m := seam(t)
	do(session.Event{Kind: session.ExposureBegun, Planned: 10 * time.Minute})
	for i, step := range []time.Duration{24 * time.Hour, -48 * time.Hour, 24 * time.Hour, -time.Hour} {
		f.pass(time.Minute)
		f.step(step)
		want := time.Duration(9-i) * time.Minute
		if s := m.View(c.Now()).Sheets[0]; s.Left != want {
			t.Errorf("after a step of %v: %v left, not %v", step, s.Left, want)
		}
		do(session.Event{Kind: session.Noted, Note: "the clock was set"})
	}
}

// Booted anew in an exposure: the wall clock is all there is to go by.
func TestBootedAnew(t *testing.T) {
	f, c, do, m := seam(t)
	do(session.Event{Kind: session.ExposureBegun, Planned: 10 * time.Minute})
	f.pass(3 * time.Minute)
	f.boot(time.Minute)
	if s := m.View(c.Now()).Sheets[0]; s.Left != 6*time.Minute {
		t.Errorf("after a boot of one minute: %v left", s.Left)
	}
	do(session.Event{Kind: session.Resumed})
	f.step(-time.Hour) // within the new boot, steps change nothing again
	f.pass(time.Minute)
	if s := m.View(c.Now()).Sheets[0]; s.Left != 5*time.Minute {
		t.Errorf("a minute later: %v left", s.Left)
	}
	// Booted with a wall clock that lies behind: time never runs backwards, and
	// goes on from what was recorded last.
	do(session.Event{Kind: session.Noted, Note: "still light"})
	f.boot(-24 * time.Hour)
	if s := m.View(c.Now()).Sheets[0]; s.Left != 5*time.Minute {
		t.Errorf("booted a day too early: %v left", s.Left)
	}
	do(session.Event{Kind: session.Resumed})
	f.pass(time.Minute)
	if s := m.View(c.Now()).Sheets[0]; s.Left != 4*time.Minute {
		t.Errorf("and a minute on: %v left", s.Left)
	}
}

// A rehearsal runs faster, its instants are real again where they are heard, and
// one that is gone on with begins where it had come to.
func TestPace(t *testing.T) {
	f := &fakeClock{t: time.Date(2026, 5, 9, 14, 0, 0, 0, time.UTC), up: time.Hour, id: "a", pace: 20}
	c := f.clock(session.Instant{})
	a := c.Now()
	f.pass(3 * time.Second)
	if d := c.Now().Sub(a); d != time.Minute {
		t.Errorf("3 s at twenty times life are %v", d)
	}
	if d := c.Real(c.Now().Add(time.Minute)).Sub(f.t); d != 3*time.Second {
		t.Errorf("what is due in a minute sounds in %v", d)
	}
	last := c.Now()
	f.pass(time.Second)
	c = f.clock(last)
	if d := c.Now().Sub(last); d < 0 || d > time.Second {
		t.Errorf("gone on with %v from where it was", d)
	}
}

// The system's own clock: both readings go on, and the boot has a name.
func TestSystemClock(t *testing.T) {
	c := systemClock()
	a := c.Now()
	until(t, "the clock has moved", func() bool { return c.Now().Sub(a) > 0 })
	b := c.Now()
	if a.BootID == "" || a.BootID != b.BootID {
		t.Errorf("boots %q and %q", a.BootID, b.BootID)
	}
	if b.Boot <= a.Boot || !b.Wall.After(a.Wall) {
		t.Errorf("from %v to %v", a, b)
	}
}
