package session_test

import (
	"fmt"
	"testing"
	"time"

	"wetside/session"
)

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
