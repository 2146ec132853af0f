package session_test

import (
	"testing"
	"time"

	"wetside/session"
	"wetside/sound/voice"
)

// While a test sheet is exposed each strip's end is called, as a share of the light it
// gets and not of the clock: a covered pinhole in between moves the calls that follow.
func TestEachStripOfATestIsCalled(t *testing.T) {
	m := session.New()
	at := storyDay
	do := func(after time.Duration, e session.Event) {
		t.Helper()
		at = at.Add(after)
		e.At = at
		if err := m.Apply(e); err != nil {
			t.Fatal(err)
		}
	}
	spec := &session.SheetSpec{Camera: "tea-caddy", Exposure: 8 * time.Minute, Reckoned: &session.Reckoned{Test: &session.Test{Strips: 4, Step: 1, Shares: []float64{0.125, 0.25, 0.5, 1}}},
		Process: session.Process{Steps: []session.Step{{Stage: session.Develop, Bath: "developer", AtLeast: time.Minute, AtMost: time.Minute}}}}
	do(0, session.Event{Kind: session.Opened})
	do(0, session.Event{Kind: session.SheetAdded, Sheet: "a", Spec: spec})
	do(0, session.Event{Kind: session.ExposureBegun, Sheet: "a", Planned: 8 * time.Minute})
	calls := func() (out []time.Duration) {
		for _, c := range m.Cues(at, at.Add(time.Hour)) {
			if c.Kind != session.CueLightOff {
				continue
			}
			out = append(out, c.At.Sub(storyDay))
			want := "sheet 1: cover the pinhole. Move the card"
			if c.N == 0 {
				want = "sheet 1: cover the pinhole"
			}
			if got := voice.Words(c, voice.Full); got != want {
				t.Errorf("at %v it says %q", out[len(out)-1], got)
			}
		}
		return out
	}
	is := func(want ...time.Duration) {
		t.Helper()
		got := calls()
		if len(got) != len(want) {
			t.Fatalf("called at %v, not %v", got, want)
		}
		for i := range want {
			if d := got[i] - want[i]; d < -time.Second || d > time.Second {
				t.Fatalf("called at %v, not %v", got, want)
			}
		}
	}
	const min = time.Minute
	is(1*min, 2*min, 4*min, 8*min)
	do(1*min, session.Event{Kind: session.PinholeCovered, Sheet: "a"})
	is()
	do(3*min, session.Event{Kind: session.PinholeUncovered, Sheet: "a"})
	is(5*min, 7*min, 11*min)
}
