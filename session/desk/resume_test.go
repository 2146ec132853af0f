package desk

import (
	"fmt"
	"testing"
	"time"

	"wetside/session"
)

// What is asked first of a sheet that was left is the likely answer: that it is where it
// was until ten minutes past its time, or its time again where that is longer (common
// practice, no source); after that that it was finished by hand.
func TestWhichFateIsAskedFirst(t *testing.T) {
	const m, sec = time.Minute, time.Second
	wet := func(atMost, over time.Duration) session.SheetView {
		return session.SheetView{Phase: session.Wet, AtMost: atMost, Over: over}
	}
	open := func(full, over time.Duration) session.SheetView {
		return session.SheetView{Phase: session.Exposing, Open: true, Full: full, AtMost: time.Second, Over: over}
	}
	for _, c := range []struct {
		name string
		s    session.SheetView
		want []Fate
	}{
		{"a short bath, ten minutes over", wet(m, 10*m), []Fate{GoesOn, AsPlanned, At, Lost}},
		{"a second more", wet(m, 10*m+sec), []Fate{AsPlanned, At, Lost, GoesOn}},
		{"a long wash, once more its time", wet(30*m, 30*m), []Fate{GoesOn, AsPlanned, At, Lost}},
		{"and a second more", wet(30*m, 30*m+sec), []Fate{AsPlanned, At, Lost, GoesOn}},
		{"an exposure of forty minutes, that long over", open(40*m, 40*m), []Fate{GoesOn, AsPlanned, At, Lost}},
		{"and a second more", open(40*m, 40*m+sec), []Fate{AsPlanned, At, Lost, GoesOn}},
		{"covered", session.SheetView{Phase: session.Exposing, Full: 40 * m}, []Fate{GoesOn, AsPlanned, Lost}},
	} {
		if got := Fates(c.s); fmt.Sprint(got) != fmt.Sprint(c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

// Each answer to what became of a sheet writes what was said, and no time that nobody saw.
func TestWhatBecameOfASheet(t *testing.T) {
	const min = time.Minute
	begin := func(exposing, covered bool) (*room, *Desk) {
		r, d := newRoom()
		do := func(e session.Event) {
			if e.Kind != session.SheetAdded {
				e.Sheet = "a"
			}
			if err := d.Do(e); err != nil {
				t.Fatal(e.Kind, err)
			}
		}
		spec := &session.SheetSpec{Process: trays(0)}
		do(session.Event{Kind: session.SheetAdded, Sheet: "a", Spec: spec})
		if exposing {
			do(session.Event{Kind: session.ExposureBegun, Planned: 4 * min})
			if r.to(d, d.M.T(d.Now())+min); covered {
				do(session.Event{Kind: session.PinholeCovered})
			}
		} else {
			do(session.Event{Kind: session.Moved})
		}
		return r, d
	}
	for _, c := range []struct {
		name              string
		exposing, covered bool
		after             time.Duration
		guess             bool
		fate              Fate
		told              time.Duration
		phase             session.Phase
		unseen            bool
		known             time.Duration // how long it was in the bath or the light, as the record has it
		events            string
	}{
		{"it goes on, and in time", false, false, min, false, GoesOn, 0, session.Wet, false, min, ""},
		{"it goes on, and can hardly", false, false, 20 * min, false, GoesOn, 0, session.Wet, true, 20 * min, "unseen"},
		{"it goes on, and nobody knows how long it was", false, false, min, true, GoesOn, 0, session.Wet, true, min, "unseen"},
		{"finished by hand", false, false, min, false, AsPlanned, 0, session.Finished, true, 0, "unseen"},
		{"finished by hand after a while", false, false, 20 * min, false, At, 2 * min, session.Finished, true, 2 * min, "unseen"},
		{"spoiled", false, false, min, false, Lost, 0, session.Ruined, true, 0, "unseen, spoiled"},
		{"open: it goes on", true, false, min, false, GoesOn, 0, session.Exposing, false, 2 * min, ""},
		{"open: it goes on, and nobody knows", true, false, min, true, GoesOn, 0, session.Exposing, true, 2 * min, "unseen, pinhole uncovered"},
		{"covered: it goes on, and nobody knows", true, true, min, true, GoesOn, 0, session.Exposing, true, min, "unseen"},
		{"open: closed by hand", true, false, 20 * min, false, AsPlanned, 0, session.Exposed, true, 0, "unseen"},
		{"open: closed after a while", true, false, 20 * min, false, At, 3 * min, session.Exposed, true, 3 * min, "unseen"},
		{"open: spoiled", true, false, min, false, Lost, 0, session.Ruined, true, 0, "unseen, spoiled"},
	} {
		r, d := begin(c.exposing, c.covered)
		d.Doubt([]string{"a"})
		if c.guess {
			d.Guess()
		}
		r.to(d, d.M.T(d.Now())+c.after)
		n := len(r.events)
		if err := d.Fare("a", c.fate, c.told); err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if d.doubt["a"] {
			t.Errorf("%s: its fate is in doubt still", c.name)
		}
		events := ""
		for _, e := range r.events[n:] {
			if events != "" {
				events += ", "
			}
			events += string(e.Kind)
		}
		s := d.M.Sheet("a")
		unseen, known := s.Light.Unseen, time.Duration(0)
		switch v := s.Visit(); {
		case c.exposing:
			known = s.Light.OpenFor(d.M.T(d.Now()))
		case v != nil || len(s.Visits) > 0:
			if v == nil {
				v = &s.Visits[len(s.Visits)-1]
			}
			unseen = v.Unseen
			if known = v.Told; known == 0 && c.phase == session.Wet {
				known = d.M.T(d.Now()) - v.In
			}
		}
		if c.known == 0 {
			known = 0 // it is not known, and the record leaves it out: see below
		}
		if events != c.events || s.Phase != c.phase || unseen != c.unseen || known != c.known {
			t.Errorf("%s: %q, %s, unseen %v, %v; want %q, %s, %v, %v", c.name, events, s.Phase, unseen, known, c.events, c.phase, c.unseen, c.known)
		}
	}
	if _, d := begin(false, false); d.Fare("nobody", Lost, 0) != nil {
		t.Error("of a sheet that is not there nothing is written")
	}
}

// A clock does not move a sheet whose fate is in doubt.
func TestNoClockMovesASheetInDoubt(t *testing.T) {
	for _, doubt := range []bool{false, true} {
		r, d := newRoom()
		p := trays(0)
		p.Steps[0].ByClock = true
		if err := d.Do(session.Event{Kind: session.SheetAdded, Sheet: "a", Spec: &session.SheetSpec{Process: p}}); err != nil {
			t.Fatal(err)
		}
		if err := d.Do(session.Event{Kind: session.Moved, Sheet: "a"}); err != nil {
			t.Fatal(err)
		}
		if doubt {
			d.Doubt([]string{"a"})
		}
		first := d.M.Sheet("a").Visit().Serial
		r.to(d, d.M.T(d.Now())+20*time.Minute)
		d.Tick()
		moved := d.M.Sheet("a").Visit() == nil || d.M.Sheet("a").Visit().Serial != first
		if moved == doubt {
			t.Errorf("in doubt %v: moved %v", doubt, moved)
		}
		if !doubt {
			continue
		}
		if err := d.Fare("a", GoesOn, 0); err != nil {
			t.Fatal(err)
		}
		d.Tick()
		if v := d.M.Sheet("a").Visit(); v != nil && v.Serial == first {
			t.Error("its fate is told, and the clock does not move it on")
		}
	}
}
