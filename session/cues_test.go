package session_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"wetside/session"
)

// oneSheet is a machine, the time it has got to, and a way to tell it what
// happens to sheet "s", each thing so much after the one before.
func oneSheet(t *testing.T, each time.Duration) (m *session.Machine, at *session.Instant, do func(session.Event)) {
	m, now := session.New(), storyDay
	return m, &now, func(e session.Event) {
		t.Helper()
		now = now.Add(each)
		e.At, e.Sheet = now, "s"
		if err := m.Apply(e); err != nil {
			t.Fatal(err)
		}
	}
}

// A reading made under the cover does not make later changes sound as openings.
func TestAChangeOfLightIsNoOpening(t *testing.T) {
	m, at, do := oneSheet(t, 30*time.Second)
	sp := session.SheetSpec{Process: session.Process{Steps: []session.Step{{Stage: session.Develop, AtLeast: time.Minute, AtMost: time.Minute}}}}
	do(session.Event{Kind: session.SheetAdded, Spec: &sp})
	do(session.Event{Kind: session.ExposureBegun, Planned: 10 * time.Minute})
	do(session.Event{Kind: session.PinholeCovered})
	do(session.Event{Kind: session.LightChanged, Stops: -1, Planned: 20 * time.Minute})
	do(session.Event{Kind: session.PinholeUncovered})
	do(session.Event{Kind: session.LightChanged, Stops: 1, Planned: 10 * time.Minute})
	n := 0
	for _, c := range m.Cues(storyDay, at.Add(time.Second)) {
		if c.Kind == session.CueUncovered {
			n++
			t.Log(c.Key, c.T)
		}
	}
	if n != 1 {
		t.Errorf("the pinhole was uncovered once and heard to open %d times", n)
	}
}

// What is foretold of a wash is what it will be.
func TestAWashAfterAClearByTheClockIsAnnouncedShort(t *testing.T) {
	m, at, do := oneSheet(t, 0)
	sp := session.SheetSpec{Process: session.Process{Steps: []session.Step{
		{Stage: session.Clear, AtLeast: time.Minute, AtMost: time.Minute, ByClock: true},
		{Stage: session.Wash, AtLeast: time.Hour, AtMost: time.Hour, ShortAfter: 10 * time.Minute}}}}
	do(session.Event{Kind: session.SheetAdded, Spec: &sp})
	do(session.Event{Kind: session.Moved})
	begin := func() (f time.Duration) {
		for _, c := range m.Cues(storyDay, storyDay.Add(2*time.Minute)) {
			if c.Kind == session.CueBegin && c.Stage == session.Wash {
				f = c.For
			}
		}
		return f
	}
	foretold := begin()
	for e, ok := m.AutoMove(at.Add(time.Minute), nil); ok; e, ok = m.AutoMove(at.Add(time.Minute), nil) {
		if err := m.Apply(e); err != nil {
			t.Fatal(err)
		}
	}
	if is := begin(); foretold != is {
		t.Errorf("the wash is announced with %v and takes %v", foretold, is)
	}
}

// A second developer has its own image to be seen, or none.
func TestAnImageIsSeenInOneDeveloper(t *testing.T) {
	m, at, do := oneSheet(t, 30*time.Second)
	dev := session.Step{Stage: session.Develop, AtLeast: time.Minute, AtMost: 2 * time.Minute}
	sp := session.SheetSpec{Process: session.Process{Steps: []session.Step{dev, dev}}}
	do(session.Event{Kind: session.SheetAdded, Spec: &sp})
	do(session.Event{Kind: session.Moved})
	do(session.Event{Kind: session.ImageSeen})
	do(session.Event{Kind: session.Moved, From: 1})
	n := 0
	for _, c := range m.Cues(storyDay, at.Add(time.Hour)) {
		if c.Kind == session.CueSeen {
			n++
		}
	}
	if n != 1 {
		t.Errorf("the image was seen once and is heard %d times", n)
	}
}

// A whole time that is set by hand while the pinhole is open is how long it is
// open in all, whatever the light did before.
func TestATimeSetByHandIsTheTimeInAll(t *testing.T) {
	noted := session.Event{Kind: session.Noted, Note: "a cloud"}
	sp := session.SheetSpec{Process: session.Process{Steps: []session.Step{{Stage: session.Develop, AtLeast: time.Minute, AtMost: time.Minute}}}}
	for _, c := range []struct {
		name   string
		before []session.Event // each 40 s after the one before
		set    time.Duration
	}{
		{"in one light", nil, 8 * time.Minute},
		{"shorter", nil, time.Minute},
		{"after it was over", []session.Event{noted, noted, noted, noted, noted, noted}, 7 * time.Minute},
		{"in a third light", []session.Event{{Kind: session.LightChanged, Stops: -1, Planned: 9 * time.Minute}, {Kind: session.LightChanged, Stops: 0.5, Planned: 7*time.Minute + 7}}, 10 * time.Minute},
		{"twice", []session.Event{{Kind: session.Retimed, Planned: 10 * time.Minute}}, 6 * time.Minute},
	} {
		m, at, do := oneSheet(t, 40*time.Second)
		do(session.Event{Kind: session.SheetAdded, Spec: &sp})
		do(session.Event{Kind: session.ExposureBegun, Planned: 4 * time.Minute})
		for _, e := range c.before {
			do(e)
		}
		do(session.Event{Kind: session.Retimed, Planned: c.set})
		v, _ := m.View(*at).Sheet("s")
		if off := v.Left - (c.set - v.Elapsed); off.Abs() > 10 { // ns
			t.Errorf("%s: %v of %v have passed and %v are left", c.name, v.Elapsed, c.set, v.Left)
		}
		done := 0
		for _, q := range m.Cues(*at, at.Add(time.Hour)) {
			if q.Kind == session.CueLightOff {
				done++
				if off := q.T - (v.Ends); off.Abs() > 10 {
					t.Errorf("%s: it ends at %v and is called at %v", c.name, v.Ends, q.T)
				}
			}
		}
		if done != 1 {
			t.Errorf("%s: its end is called %d times", c.name, done)
		}
		if share := m.Sheet("s").Light.Share(v.Ends); math.Abs(share-1) > 1e-9 {
			t.Errorf("%s: at the end %v of the exposure is given", c.name, share)
		}
	}

	m, at, do := oneSheet(t, 40*time.Second)
	do(session.Event{Kind: session.SheetAdded, Spec: &sp})
	do(session.Event{Kind: session.ExposureBegun, Planned: 4 * time.Minute})
	if err := m.Apply(session.Event{Kind: session.Retimed, At: at.Add(2 * time.Minute), Sheet: "s", Planned: 2 * time.Minute}); err == nil || !strings.Contains(err.Error(), "has had as much light already") {
		t.Errorf("less than it has had already: %v", err)
	}
}
