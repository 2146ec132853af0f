package session_test

import (
	"testing"
	"time"

	"wetside/session"
)

// Led is a move that is due after leading began, of a sheet whose step a press ends:
// never the last bath's, never one by its clock, nor out of holding water, nor a step
// that was due already, or was due when its move was taken back.
func TestWhichMovesAreLed(t *testing.T) {
	const sec, min = time.Second, time.Minute
	m, at, do := sheets(t)
	steps := []session.Step{
		{Stage: session.Develop, Bath: "developer", AtLeast: min, AtMost: min},
		{Stage: session.Stop, Bath: "stop", AtLeast: min, AtMost: min, ByClock: true},
		{Stage: session.Fix, Bath: "fixer", AtLeast: min, AtMost: min},
		{Stage: session.Wash, Bath: "wash", AtLeast: min, AtMost: min}}
	do(session.Event{Kind: session.SheetAdded, Sheet: "a", Spec: &session.SheetSpec{Process: session.Process{Steps: steps}}})
	s := m.Sheet("a")
	is := func(what string, want time.Duration) {
		t.Helper()
		end, ok := m.LedEnd(s)
		if ok != (want > 0) || ok && end != want {
			t.Errorf("%s: led at %v, %v; want %v", what, end, ok, want)
		}
	}
	is("dry", 0)
	do(session.Event{Kind: session.LeadBegun})
	is("dry, and led", 0)
	do(session.Event{Kind: session.Moved, Sheet: "a"})
	is("in the developer", min)
	do(session.Event{Kind: session.LeadEnded})
	if is("leading has ended", 0); m.Leading() {
		t.Error("it leads still")
	}
	*at = at.Add(min)
	do(session.Event{Kind: session.LeadBegun})
	is("due at the instant at which leading begins", 0)
	do(session.Event{Kind: session.Moved, Sheet: "a", From: 1})
	is("in the stop bath, which its clock ends", 0)
	*at = at.Add(30 * sec)
	do(session.Event{Kind: session.Moved, Sheet: "a", From: 2})
	is("in the fixer", 150*sec)
	*at = at.Add(59 * sec)
	do(session.Event{Kind: session.Moved, Sheet: "a", From: 3, Led: true})
	is("in the wash, the last bath", 0)
	do(session.Event{Kind: session.Undone, Sheet: "a"})
	is("taken back before it was due", 150*sec)
	*at = at.Add(sec)
	do(session.Event{Kind: session.Moved, Sheet: "a", From: 3, Led: true})
	do(session.Event{Kind: session.Undone, Sheet: "a"})
	is("taken back when it was due", 0)
	do(session.Event{Kind: session.Held, Sheet: "a", From: 3})
	is("in holding water", 0)
	if err := m.Would(session.Event{Kind: session.LeadBegun, At: *at}); err == nil {
		t.Error("leading begins twice")
	}
}

// The press that tells when a led sheet truly went in sets the end of the one bath and the
// begin of the other to that instant, and what follows from them: when it was fixed, the
// paper it has dirtied, the time under the safelight.
func TestALedMoveIsSetToItsTrueInstant(t *testing.T) {
	const sec, min = time.Second, time.Minute
	m, at, do := sheets(t)
	steps := []session.Step{
		{Stage: session.Fix, Bath: "fixer", AtLeast: min, AtMost: min},
		{Stage: session.Wash, Bath: "wash", AtLeast: 2 * min, AtMost: 2 * min, Batch: true},
		{Stage: session.Wash, Name: "last wash", Bath: "second wash", AtLeast: min, AtMost: min}}
	for _, id := range []string{"a", "b"} {
		do(session.Event{Kind: session.SheetAdded, Sheet: id, Spec: &session.SheetSpec{Process: session.Process{Steps: steps}}})
	}
	do(session.Event{Kind: session.LeadBegun})
	do(session.Event{Kind: session.Moved, Sheet: "a"})
	do(session.Event{Kind: session.Moved, Sheet: "b"})
	*at = at.Add(min)
	for _, id := range []string{"a", "b"} {
		do(session.Event{Kind: session.Moved, Sheet: id, From: 1, Led: true})
	}
	a, b := m.Sheet("a"), m.Sheet("b")
	if v := a.LedMove(); v == nil || v.Serial != 2 {
		t.Fatal("no press can tell of it")
	}
	*at = at.Add(6 * sec)
	for _, from := range []int{1, 3} {
		if m.Would(session.Event{Kind: session.Confirmed, Sheet: "a", From: from, At: *at}) == nil {
			t.Errorf("the move into visit %d is confirmed", from)
		}
	}
	do(session.Event{Kind: session.Confirmed, Sheet: "a", From: 2})
	fixed, wash := a.Visits[0], a.Visits[1]
	if fixed.Out != 66*sec || fixed.LedOut || wash.In != 66*sec || wash.Led || a.FixedT != 66*sec || fixed.OutAt != *at || wash.InAt != *at {
		t.Errorf("out at %v, led %v; in at %v, led %v; fixed at %v", fixed.Out, fixed.LedOut, wash.In, wash.Led, a.FixedT)
	}
	if a.LedMove() != nil || m.Would(session.Event{Kind: session.Confirmed, Sheet: "a", From: 2, At: *at}) == nil {
		t.Error("it is confirmed twice")
	}
	if v := b.Visits[1]; v.In != 60*sec || !v.Led || b.FixedT != 60*sec {
		t.Errorf("the other: in at %v, led %v, fixed at %v", v.In, v.Led, b.FixedT)
	}
	used, _ := a.SafeUsed(m.Now())
	other, _ := b.SafeUsed(m.Now())
	if used != 66*sec || other != 60*sec {
		t.Errorf("under the safelight unfixed %v and %v", used, other)
	}
	// Each sheet that comes into the wash dirties it: the last came at 66 s.
	for _, s := range m.View(*at).Sheets {
		if s.Left != 2*min {
			t.Errorf("sheet %d has %v of the wash left", s.Num, s.Left)
		}
	}
	if first := m.Sheet("a"); first != a {
		t.Error("another sheet")
	}
}
