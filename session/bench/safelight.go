package bench

import (
	"fmt"
	"time"

	"wetside/session"
)

// staleAfter is how many months a fog test stands.
const staleAfter = 6

// FogTestStale says why the fog test of a paper stands no longer; empty while
// it does. then is the screen's level in the test, empty where that is not known,
// and now the present one. Lamps fade, filters bleach and boxes of paper
// differ: six months is common practice, no source.
func FogTestStale(p session.Paper, today time.Time, then, now session.Level) string {
	if !p.Tested {
		return "never tested: the time is a cautious default"
	}
	// The date is one of the place's calendar, and so is today's.
	day, err := time.ParseInLocation("2006-01-02", p.TestedOn, today.Location())
	switch {
	case err != nil:
		return fmt.Sprintf("the date of the fog test, %q, cannot be read: write it like 2026-05-09, or test again", p.TestedOn)
	case day.After(today):
		return fmt.Sprintf("the fog test is dated %s, which is still to come: test again", p.TestedOn)
	case !day.AddDate(0, staleAfter, 0).After(today):
		return fmt.Sprintf("the fog test of %s is more than six months old: test again", p.TestedOn)
	case then == "":
		return "how light the screen was in the fog test is not noted: test again"
	case then != now:
		return fmt.Sprintf("the screen was at %s in the fog test and is at %s now: test again", then, now)
	}
	return ""
}
