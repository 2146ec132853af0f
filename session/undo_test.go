package session_test

import (
	"testing"
	"time"

	"wetside/session"
)

// A sheet that comes into the wash sets the clock of the one in it back, and
// says so. Taken back, it never came: the clock is where it was and nothing is
// said; and it sets the clock back anew when it comes again.
func TestUndoWithdrawsTheRestartOfAWash(t *testing.T) {
	const min = time.Minute
	m, now := session.New(), storyDay
	do := func(e session.Event) {
		t.Helper()
		e.At = now
		if err := m.Apply(e); err != nil {
			t.Fatal(err)
		}
	}
	spec := session.SheetSpec{Process: session.Process{Steps: []session.Step{
		{Stage: session.Fix, Bath: "fixer", AtLeast: min, AtMost: min},
		{Stage: session.Wash, Bath: "wash tray", AtLeast: 30 * min, AtMost: 30 * min, Batch: true}}}}
	do(session.Event{Kind: session.Opened})
	for _, id := range []string{"a", "b"} {
		do(session.Event{Kind: session.SheetAdded, Sheet: id, Spec: &spec})
		do(session.Event{Kind: session.Moved, Sheet: id})
	}
	stands := func(what string, left time.Duration, anew int) {
		t.Helper()
		a := m.View(now).Sheets[0]
		if a.Left != left {
			t.Errorf("%s: %v left, want %v", what, a.Left, left)
		}
		n := 0
		for _, c := range m.Cues(storyDay, now.Add(time.Hour)) {
			if c.Kind == session.CueWashAnew {
				n++
			}
		}
		if n != anew {
			t.Errorf("%s: it is said %d times that the wash begins again, want %d", what, n, anew)
		}
	}
	do(session.Event{Kind: session.Moved, Sheet: "a", From: 1})
	now = now.Add(20 * min)
	do(session.Event{Kind: session.Moved, Sheet: "b", From: 1})
	stands("the other has come", 30*min, 1)
	now = now.Add(min)
	do(session.Event{Kind: session.Undone, Sheet: "b"})
	stands("taken back", 9*min, 0)
	now = now.Add(4 * min)
	do(session.Event{Kind: session.Moved, Sheet: "b", From: 1})
	stands("it has come again", 30*min, 1)
}

// A sheet is put into a wash by mistake, and puts off the end of another. When that is
// taken back the other was out at its own time, though its clock has moved it since; and
// a sheet that its clock moved in vain keeps the visit that it is in.
func TestUndoMakesAnewWhatClocksMoved(t *testing.T) {
	const min = time.Minute
	m, now := session.New(), storyDay
	do := func(e session.Event) {
		t.Helper()
		e.At = now
		if err := m.Apply(e); err != nil {
			t.Fatal(err)
		}
	}
	step := func(s session.Stage, d time.Duration, clock bool) session.Step {
		return session.Step{Stage: s, Bath: string(s), AtLeast: d, AtMost: d, ByClock: clock, Batch: s == session.Wash}
	}
	steps := []session.Step{step(session.Fix, 2*min, false), step(session.Wash, 5*min, true), step(session.Stop, min, false)}
	do(session.Event{Kind: session.Opened})
	for id, p := range map[string][]session.Step{"a": steps, "b": steps, "c": {step(session.Rinse, 4*min, true), step(session.Stop, min, false)}} {
		do(session.Event{Kind: session.SheetAdded, Sheet: id, Spec: &session.SheetSpec{Process: session.Process{Steps: p}}})
		do(session.Event{Kind: session.Moved, Sheet: id})
	}
	now = now.Add(min)
	do(session.Event{Kind: session.Moved, Sheet: "a", From: 1})
	now = now.Add(2 * min)
	do(session.Event{Kind: session.Moved, Sheet: "b", From: 1})
	now = now.Add(6 * min)
	autos(m, now)
	in := func(id string, want time.Duration) {
		t.Helper()
		if v := m.Sheet(id).Visit(); v == nil || v.In != want {
			t.Errorf("%s is in %+v, and not since %v", id, v, want)
		}
	}
	in("a", 8*min)
	in("c", 4*min)
	serial := m.Sheet("c").Visit().Serial
	do(session.Event{Kind: session.Undone, Sheet: "b", What: session.Moved})
	in("a", 6*min)
	in("b", 0)
	in("c", 4*min)
	if is := m.Sheet("c").Visit().Serial; is != serial {
		t.Errorf("the visit that stayed as it was had the number %d, and has %d", serial, is)
	}
}
