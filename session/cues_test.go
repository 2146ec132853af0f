package session_test

import (
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
	for _, e := range m.AutoMoves(at.Add(time.Minute)) {
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
