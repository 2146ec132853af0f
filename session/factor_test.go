package session_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"wetside/session"
)

// B. E. Jones (ed.), Cyclopaedia of Photography, 1911, "Factorial development"
// (read in an online reprint; the edition from memory): 4 parts of an agent
// with factor 6 and 2 parts of one with factor 30 make a developer of factor 14.
func TestMixedFactor(t *testing.T) {
	got, err := session.MixedFactor(session.Part{Parts: 4, Factor: 6}, session.Part{Parts: 2, Factor: 30})
	if err != nil || math.Abs(got-14) > 1e-12 {
		t.Fatalf("got %v, %v; the book says 14", got, err)
	}
	for _, bad := range [][]session.Part{nil, {{0, 5}}, {{1, -1}}, {{math.NaN(), 1}}, {{1, math.Inf(1)}}} {
		if _, err := session.MixedFactor(bad...); err == nil {
			t.Errorf("%v was taken", bad)
		}
	}
}

// BenchmarkReplay applies a session of 10,000 events: 1,250 sheets, several at
// once, each from camera to wash.
func BenchmarkReplay(b *testing.B) {
	evs := manyEvents(10_000)
	b.ReportAllocs()
	for b.Loop() {
		m := session.New()
		for _, e := range evs {
			if err := m.Apply(e); err != nil {
				b.Fatal(err)
			}
		}
	}
	b.ReportMetric(float64(len(evs)), "events/op")
}

func manyEvents(n int) []session.Event {
	p := session.Process{Steps: []session.Step{
		{Stage: session.Develop, Bath: "d", AtLeast: 90 * time.Second, AtMost: 180 * time.Second, Agitation: session.Agitation{Continuous: true}},
		{Stage: session.Stop, Bath: "s", AtLeast: 10 * time.Second, AtMost: 10 * time.Second},
		{Stage: session.Fix, Bath: "f", AtLeast: time.Minute, AtMost: time.Minute},
		{Stage: session.Wash, Bath: "w", AtLeast: 30 * time.Minute, AtMost: 30 * time.Minute, Batch: true}}}
	at := storyDay
	evs := []session.Event{{Kind: session.Opened, At: at}}
	for i := 0; len(evs) < n; i++ {
		id := fmt.Sprint("s", i)
		at = at.Add(time.Minute)
		evs = append(evs,
			session.Event{Kind: session.SheetAdded, At: at, Sheet: id, Spec: &session.SheetSpec{Process: p}},
			session.Event{Kind: session.ExposureBegun, At: at, Sheet: id, Planned: 4 * time.Minute},
			session.Event{Kind: session.ExposureEnded, At: at.Add(4 * time.Minute), Sheet: id})
		for step := range 5 {
			at = at.Add(time.Minute)
			evs = append(evs, session.Event{Kind: session.Moved, At: at, Sheet: id, From: step})
		}
	}
	return evs[:n]
}
