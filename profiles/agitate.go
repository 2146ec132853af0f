package profiles

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"wetside/session"
)

// Agitation is when to rock the tray: "continuous", "none", "10s every 1m",
// or, with a longer first spell, "first 30s, then 10s every 1m".
type Agitation session.Agitation

// UnmarshalText reads an agitation.
func (a *Agitation) UnmarshalText(b []byte) error {
	const example = `write "continuous", "none", "10s every 1m" or "first 30s, then 10s every 1m"`
	s := strings.Join(strings.Fields(strings.ToLower(string(b))), " ")
	switch s {
	case "continuous":
		*a = Agitation{Continuous: true}
		return nil
	case "none":
		*a = Agitation{}
		return nil
	}
	var out Agitation
	rest := s
	if r, ok := strings.CutPrefix(s, "first "); ok {
		first, then, more := strings.Cut(r, ",")
		d, err := ParseDuration(first)
		if err != nil {
			return err
		}
		out.First = d
		if !more {
			if d <= 0 {
				return errors.New("a first spell of nothing: " + example)
			}
			*a = out
			return nil
		}
		rest = strings.TrimSpace(strings.TrimPrefix(strings.TrimSpace(then), "then "))
	}
	for_, every, ok := strings.Cut(rest, " every ")
	if !ok {
		return fmt.Errorf("%q does not say when to rock: %s", string(b), example)
	}
	var err error
	if out.For, err = ParseDuration(for_); err != nil {
		return err
	}
	if out.Every, err = ParseDuration(every); err != nil {
		return err
	}
	switch {
	case out.For <= 0 || out.Every <= 0:
		return fmt.Errorf("%q has a spell of nothing: %s", string(b), example)
	case out.For >= out.Every:
		return fmt.Errorf(`rocking %s of every %s never rests: write "continuous"`, Duration(out.For), Duration(out.Every))
	case out.Every < time.Second:
		return fmt.Errorf("%q is faster than any hand: %s", string(b), example)
	}
	*a = out
	return nil
}

// MarshalText writes the agitation as String does.
func (a Agitation) MarshalText() ([]byte, error) { return []byte(a.String()), nil }

// String writes the agitation as a profile would.
func (a Agitation) String() string {
	switch {
	case a.Continuous:
		return "continuous"
	case a == Agitation{}:
		return "none"
	}
	var s string
	if a.First > 0 {
		s = "first " + Duration(a.First).String()
		if a.Every <= 0 {
			return s
		}
		s += ", then "
	}
	return s + Duration(a.For).String() + " every " + Duration(a.Every).String()
}
