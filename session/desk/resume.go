package desk

import (
	"slices"
	"time"

	"wetside/session"
)

// A Fate is what became of a sheet while no program ran.
type Fate int

const (
	GoesOn    Fate = iota // it is where it was, and its clock is right
	AsPlanned             // finished by hand, as planned
	At                    // finished by hand, at a time that the user says
	Lost                  // spoiled
)

// staleAfter is how far past its time a sheet is when hands have more likely seen to
// it than not.
const staleAfter = 10 * time.Minute

// Fates are the answers to what became of a sheet, the likely one first.
func Fates(s session.SheetView) []Fate {
	out := []Fate{GoesOn, AsPlanned, At, Lost}
	if stale(s) {
		out = []Fate{AsPlanned, At, Lost, GoesOn}
	}
	if s.Phase == session.Exposing && !s.Open { // a covered pinhole gives no light that could end
		out = slices.DeleteFunc(out, func(f Fate) bool { return f == At })
	}
	return out
}

// stale reports whether a sheet cannot well be where it was any more.
func stale(s session.SheetView) bool {
	long := s.AtMost
	if s.Phase == session.Exposing {
		long = s.Full // at most grows while the pinhole is open
	}
	return s.Over > max(staleAfter, long)
}

// Doubt keeps the clocks of sheets from moving them until it is said what became
// of each: see [Desk.Fare].
func (d *Desk) Doubt(sheets []string) {
	d.doubt = map[string]bool{}
	for _, id := range sheets {
		d.doubt[id] = true
	}
}

// Guess says that nobody knows how long it was since the last event: what goes on
// then is written down as not seen.
func (d *Desk) Guess() { d.guess = true }

// Fare writes down what became of a sheet; told is how long it was in its bath, or
// in the light, in all, for [At]. No fate writes a time that nobody saw or said.
func (d *Desk) Fare(id string, f Fate, told time.Duration) error {
	s := d.M.Sheet(id)
	if s == nil {
		return nil
	}
	es := []session.Event{{Kind: session.Unseen, Sheet: id, What: session.Moved}}
	if v := s.Visit(); v != nil {
		es[0].From = v.Serial
	}
	switch f {
	case GoesOn:
		es = d.goesOn(s, es[0])
	case At:
		es[0].Planned = told
	case Lost:
		es[0].What = ""
		es = append(es, session.Event{Kind: session.Spoiled, Sheet: id, Note: "not continued after an interruption"})
	}
	for _, e := range es {
		if err := d.Do(e); err != nil {
			return err
		}
	}
	delete(d.doubt, id) // not sooner: a clock would move it, at a time that nobody saw
	return nil
}

// goesOn writes down that a sheet is where it was. What can hardly be, nobody saw
// either: it goes on, and its time is not believed.
func (d *Desk) goesOn(s *session.Sheet, e session.Event) []session.Event {
	e.What = ""
	sv, _ := d.M.View(d.Now()).Sheet(s.ID)
	switch {
	case sv.ByClock && sv.Left == 0:
		// When it came out of there nobody saw; what is next begins now.
		return []session.Event{e, {Kind: session.Moved, Sheet: s.ID, From: e.From}}
	case !d.guess && !stale(sv):
		return nil
	case s.Phase == session.Exposing:
		if e.Planned = sv.Elapsed; sv.Open {
			return []session.Event{e, {Kind: session.PinholeUncovered, Sheet: s.ID}}
		}
	}
	return []session.Event{e}
}
