package desk

import (
	"fmt"
	"math"
	"testing"
	"time"

	"wetside/session"
)

// The record says how much of a bath was used when the sheet went in, its own
// paper not counted: the last sheet that a bath can take went into no spent one.
func TestASheetsOwnPaperIsNotInTheBathItCameTo(t *testing.T) {
	m := session.New()
	t0 := time.Date(2026, 5, 9, 14, 0, 0, 0, time.UTC)
	do := func(after time.Duration, ev session.Event) {
		t.Helper()
		ev.At = session.Instant{Wall: t0.Add(after), Boot: time.Hour + after, BootID: "b1"}
		if err := m.Apply(ev); err != nil {
			t.Fatal(ev.Kind, err)
		}
	}
	// 500 ml that take two sheets of 100 cm2.
	mix := session.Mix{ID: "fix-1", Name: "fixer", Dilution: "1+4", ML: 500, PerLitre: 400}
	spec := &session.SheetSpec{Paper: session.Paper{Key: "direct-positive-fb", Base: session.FB, Response: session.Lighter, AreaCM2: 100},
		Process: session.Process{Key: "fix-alone", Steps: []session.Step{{Stage: session.Fix, Bath: "fixer", AtLeast: time.Minute, AtMost: time.Minute}}}}
	do(0, session.Event{Kind: session.Opened})
	do(time.Second, session.Event{Kind: session.BathMixed, Mix: &mix})
	for i := range 2 {
		at, id := time.Duration(i+1)*10*time.Minute, fmt.Sprint("s", i+1)
		do(at, session.Event{Kind: session.SheetAdded, Sheet: id, Spec: spec})
		do(at, session.Event{Kind: session.Moved, Sheet: id})
		do(at+time.Minute, session.Event{Kind: session.Moved, Sheet: id, From: 1})
		us := Uses(m, m.Sheet(id))
		if len(us) != 1 || us[0].Sheets != i || math.Abs(us[0].Share-float64(i)/2) > 1e-9 {
			t.Errorf("sheet %d went into a bath that had seen %d sheets: recorded is %+v", i+1, i, us)
		}
	}
}
