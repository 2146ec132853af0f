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

// A listener keeps what the loudspeaker was told to take back.
type listener struct {
	*room
	gone []session.CueKind
}

func (l *listener) Schedule(ds []session.Due) {
	for _, x := range ds {
		if x.Gone {
			l.gone = append(l.gone, x.Cue.Kind)
		}
	}
}

// That a bath is spent goes on being said whatever is done beside it; that it is nearly
// so is taken back when it is spent the moment after, and with the move that made it so.
func TestASpentBathIsSaidWhateverIsDone(t *testing.T) {
	x := lay(t, InTrays)
	l := &listener{room: x.r}
	x.d.Sound = l
	p := trays(0)
	p.Steps = p.Steps[2:]
	for _, share := range []float64{1.2, 0.85, 0.9} {
		x.pass(10 * time.Minute)
		mix := session.Mix{ID: fmt.Sprint("fix-", share), Name: "fixer", Dilution: "1+4", ML: 1000, PerLitre: 100}
		if err := x.d.Do(session.Event{Kind: session.BathMixed, Mix: &mix}); err != nil {
			t.Fatal(err)
		}
		s, err := x.d.Add(session.SheetSpec{Paper: session.Paper{AreaCM2: share * 100}, Process: p})
		if err != nil {
			t.Fatal(err)
		}
		x.to(s, 0)
		x.pass(4 * sec)
		x.d.Do(session.Event{Kind: session.Noted, Note: "a note"})
		if len(l.gone) > 0 {
			t.Fatalf("at %v of it a note takes back %v", share, l.gone)
		}
		want := 0
		switch share {
		case 0.85:
			b, _ := x.d.Add(session.SheetSpec{Paper: session.Paper{AreaCM2: 50}, Process: p})
			x.to(b, 0)
			want = 1
		case 0.9:
			x.d.Do(session.Event{Kind: session.Undone, Sheet: s.ID})
			want = 1
		}
		n := 0
		for _, k := range l.gone {
			if k == session.CueBathHigh {
				n++
			}
		}
		if n != want {
			t.Errorf("at %v of it is taken back: %v", share, l.gone)
		}
		l.gone = nil
	}
}
