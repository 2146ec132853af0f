package profiles

import (
	"errors"
	"fmt"
	"time"

	"github.com/pelletier/go-toml/v2"

	"wetside/session"
)

// after is the safelight as it is known after a fog test. Figures hold for the
// light they were found in: those of another level of the screen stand no
// longer.
func (s Safelight) after(t session.FogTest) Safelight {
	safe, day := Duration(t.Safe), Date(t.At)
	same := s.Level == t.Level
	switch {
	case t.PreExposed && same:
		s.Unexposed = max(s.Unexposed, safe)
	case t.PreExposed, t.Safe == 0:
		// No safer than the strip was, either of them: exposed paper fogs sooner.
		s.Unexposed = safe
	default:
		// Of exposed paper, which a sheet is for most of its life, it says only
		// that it is no safer: that alone makes no paper a tested one, and a test
		// that said otherwise stands no longer.
		s.Unexposed = safe
		if s.Exposed > safe || !same {
			s.Exposed, s.Tested = min(s.Exposed, safe), toml.LocalDate{}
		}
		if !s.IsTested() {
			s.Level = t.Level
			s.Source = fmt.Sprintf("fog test of unexposed paper at %s on %s; exposed paper is not tested", t.Level, day)
		}
		return s
	}
	s.Exposed, s.Tested, s.Level, s.Source = safe, day, t.Level, fmt.Sprintf("fog test at %s", t.Level)
	return s
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
