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
