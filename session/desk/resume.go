package desk

import (
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

// stale is how far past its time a sheet is when hands have more likely seen to
// it than not.
const stale = 10 * time.Minute

// Fates are the answers to what became of a sheet, the likely one first.
func Fates(s session.SheetView) []Fate {
	if Stale(s) {
		return []Fate{AsPlanned, At, Lost, GoesOn}
	}
	return []Fate{GoesOn, AsPlanned, At, Lost}
}

// Stale reports whether a sheet cannot well be where it was any more.
func Stale(s session.SheetView) bool {
	long := s.AtMost
	if s.Phase == session.Exposing {
		long = s.Full // at most grows while the pinhole is open
	}
	return s.Over > max(stale, long)
}

// Fare writes down what became of a sheet; told is how long it was in its bath, or
// in the light, in all, for [At]. No fate writes a time that nobody saw or said.
func (d *Desk) Fare(id string, f Fate, told time.Duration) error {
	s := d.M.Sheet(id)
	if f == GoesOn || s == nil {
		return nil
	}
	e := session.Event{Kind: session.Unseen, Sheet: id, What: session.Moved}
	if v := s.Visit(); v != nil {
		e.From = v.Serial
	}
	switch f {
	case At:
		e.Planned = told
	case Lost:
		e.What = ""
		if err := d.Do(e); err != nil {
			return err
		}
		e = session.Event{Kind: session.Spoiled, Sheet: id, Note: "not gone on with after an interruption"}
	}
	return d.Do(e)
}
