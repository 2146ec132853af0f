package profiles

import (
	"errors"
	"fmt"
	"math"
	"time"

	"github.com/pelletier/go-toml/v2"

	"wetside/session"
)

// after is the safelight as it is known after a half of the fog test. Figures hold
// for the light they were found in: those of another level of the screen or another
// backlight stand no longer. Of two halves the shorter counts, before the exposure
// and after it.
func (s Safelight) after(t session.FogTest) Safelight {
	safe, day := Duration(t.Safe), Date(t.At)
	var lit Share
	if t.Backlight != nil {
		lit = Share{math.Round(*t.Backlight*1000) / 1000, true} // as it is written
	}
	if s.IsTested() && !s.Before.Done && !s.After.Done {
		s.After = Half{s.Exposed, true} // of a program that knew no halves
	}
	if s.Level != t.Level || !s.Backlight.like(lit) {
		s.Before, s.After, s.Tested = Half{}, Half{}, toml.LocalDate{}
	}
	s.Level, s.Backlight = t.Level, lit
	half := Half{safe, true}
	if t.PreExposed {
		s.After = half
	} else {
		s.Before = half
	}
	switch {
	case s.Before.Done && s.After.Done:
		safe = min(s.Before.Safe, s.After.Safe)
		s.Source = fmt.Sprintf("fog test at %s, both halves", t.Level)
	case t.PreExposed, safe == 0:
		s.Source = fmt.Sprintf("fog test at %s, %s alone", t.Level, t.Half())
	default:
		// Of exposed paper, which a sheet is for most of its life, it says only that it
		// is no safer: that alone makes no paper a tested one.
		s.Unexposed, s.Exposed, s.Tested = safe, min(s.Exposed, safe), toml.LocalDate{}
		s.Source = fmt.Sprintf("fog test at %s on %s, %s alone; light after it is not tested", t.Level, day, t.Half())
		return s
	}
	s.Unexposed, s.Exposed, s.Tested = safe, safe, day
	return s
}

// like reports whether two backlights give about the same light: a quarter is less
// than a step of a fog test can tell. One that is not known is like any.
func (s Share) like(t Share) bool {
	return !s.Known || !t.Known || max(s.Of, t.Of) <= 1.25*min(s.Of, t.Of)
}

// Outshone says why the test stands no longer where the panel's backlight gives that
// share of its most by now; empty while it does.
func (s Safelight) Outshone(now float64) string {
	lit := Share{now, true}
	if !s.Backlight.Known || now <= s.Backlight.Of || s.Backlight.like(lit) {
		return ""
	}
	return fmt.Sprintf("the backlight was at %s in the fog test and is at %s now: test again", s.Backlight, lit)
}

// FogStrip is how a paper's strip gets its exposure in a fog test.
type FogStrip struct {
	Response session.Response
	Flash    time.Duration // just past the threshold of a pre-flash; 0: no strip was made for it
	Lamp     string        // which the flash is for
	// Missing: which half was not made yet, if the other stands; empty: both or none.
	Missing string
}

// pastThreshold is how many stops past the longest flash that leaves no tone the
// strip is exposed: there a little more light shows most (common practice, no source).
const pastThreshold = 1.0 / 3

// FogStrip says it of a paper.
func (p *Planner) FogStrip(paper string) FogStrip {
	is, err := p.Set.Paper(paper)
	if err != nil {
		return FogStrip{}
	}
	f := FogStrip{Response: is.Response}
	if pre := is.Preflash; pre != nil {
		f.Flash, f.Lamp = time.Duration(float64(pre.Threshold)*math.Exp2(pastThreshold)), pre.Light
	}
	switch l := is.Safelight; {
	case l.Before.Done && !l.After.Done:
		f.Missing = session.FogTest{PreExposed: true}.Half()
	case l.After.Done && !l.Before.Done:
		f.Missing = session.FogTest{}.Half()
	}
	return f
}

// Date makes a profile's date of an instant, in the instant's own place.
func Date(t time.Time) toml.LocalDate {
	y, m, d := t.Date()
	return toml.LocalDate{Year: y, Month: int(m), Day: d}
}

// KeepFogTest writes the answer of a fog test into the user's own profile of the
// paper, and reckons with it from then on.
func (p *Planner) KeepFogTest(t session.FogTest) error {
	paper, err := p.Set.Paper(t.Paper)
	if err != nil {
		return err
	}
	src, err := p.Set.Source(PaperKind, t.Paper)
	if err != nil {
		return err
	}
	want := paper.Safelight.after(t)
	data, err := withSafelight(src.Data, want)
	if err != nil {
		return err
	}
	user, err := p.Write(src.Path(), data)
	if err != nil {
		return err
	}
	// Faults of other profiles were told at the start.
	set, problems := Load(user)
	p.Set = set
	if got, gone := set.Paper(t.Paper); gone != nil || got.Safelight != want {
		return fmt.Errorf("the fog test was written to %s, and cannot be read there: %w", src.Path(), errors.Join(gone, problems))
	}
	return nil
}
