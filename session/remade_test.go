package session_test

import (
	"testing"
	"time"

	"wetside/session"
)

// A sheet's words are changed while it is wet, also to another process that has the
// baths it has been in; what was done stays, and what comes follows the new one.
func TestAWetSheetIsPutRight(t *testing.T) {
	step := func(stage session.Stage, d time.Duration) session.Step {
		return session.Step{Stage: stage, Bath: string(stage), AtLeast: d, AtMost: d}
	}
	of := func(name string, steps ...session.Step) *session.SheetSpec {
		return &session.SheetSpec{Name: name, Process: session.Process{Key: name, Steps: steps}}
	}
	m, at := session.New(), storyDay
	do := func(e session.Event) error {
		at = at.Add(time.Minute)
		e.At, e.Sheet = at, map[bool]string{true: "", false: "a"}[e.Kind == session.Opened]
		return m.Apply(e)
	}
	short := of("short", step(session.Develop, time.Minute), step(session.Fix, time.Minute))
	long := of("long", step(session.Develop, 3*time.Minute), step(session.Stop, time.Minute), step(session.Fix, time.Minute))
	for _, e := range []session.Event{{Kind: session.Opened}, {Kind: session.SheetAdded, Spec: short}, {Kind: session.Moved}, {Kind: session.Remade, Spec: long}} {
		if err := do(e); err != nil {
			t.Fatal(e.Kind, err)
		}
	}
	s := m.Sheet("a")
	if v := s.Visit(); v.AtMost != 3*time.Minute || v.Out != 0 || len(s.Corrected) != 0 {
		t.Errorf("the developer is now for %v", v.AtMost)
	}
	if err := do(session.Event{Kind: session.Moved, From: s.Visit().Serial}); err != nil || s.Visit().Stage != session.Stop {
		t.Fatal(err, s.Visit())
	}
	if err := do(session.Event{Kind: session.Remade, Spec: short}); err == nil {
		t.Error("it lies in the stop bath, and its process has none")
	}
	if err := do(session.Event{Kind: session.Spoiled}); err != nil {
		t.Fatal(err)
	}
	fix := *long
	fix.Name, fix.Camera = "right", "hat-box"
	if err := do(session.Event{Kind: session.Remade, Spec: &fix}); err != nil || len(s.Corrected) != 2 || s.Corrected[0].Was != "long" || s.Corrected[1].What != "camera" {
		t.Errorf("%v: %+v", err, s.Corrected)
	}
}
