package bench

import (
	"fmt"
	"time"

	"wetside/session"
)

// A SafeState is one sheet's account with the safelight.
type SafeState struct {
	ID, Maker string
	Num       int
	Used      time.Duration // in the open, unfixed, with the lamp on
	Allowed   time.Duration // 0: there is no figure for this paper
	Share     float64       // Used of Allowed; 0 without a figure
	Tested    bool          // by a fog test, and not a cautious default
	Exposed   bool          // so the shorter time counts
	Half, All bool
	Running   bool // it counts on
	Words     string
}

// Safelight returns the account of one sheet as of session time now: the sum of
// its spans in the open against the safe time of its paper, the shorter one once
// it has been exposed.
func Safelight(s *session.Sheet, now time.Duration) SafeState {
	p := s.Spec.Paper
	st := SafeState{ID: s.ID, Num: s.Num, Maker: s.Spec.Maker, Tested: p.Tested, Exposed: s.Phase != session.Fresh}
	for _, sp := range s.Open {
		st.Used += sp.Len(now)
		st.Running = st.Running || sp.Running
	}
	st.Allowed = p.Safe
	if st.Exposed && p.SafeExp > 0 && (p.SafeExp < p.Safe || p.Safe == 0) {
		st.Allowed = p.SafeExp
	}
	if st.Allowed > 0 {
		st.Share = float64(st.Used) / float64(st.Allowed)
		st.Half = 2*st.Used >= st.Allowed
		st.All = st.Used >= st.Allowed
	}
	st.Words = st.words()
	return st
}

func (s SafeState) words() string {
	untested := ""
	if !s.Tested {
		untested = ", untested"
	}
	switch {
	case s.Allowed == 0:
		return fmt.Sprintf("%s has been in the open for %s; this paper has no safe time yet", sheetName(s.Num), Span(s.Used))
	case s.All:
		return fmt.Sprintf("%s has used all its safelight time, %s of %s%s", sheetName(s.Num), Span(s.Used), Span(s.Allowed), untested)
	}
	return fmt.Sprintf("%s has been in the open for %s of %s%s", sheetName(s.Num), Span(s.Used), Span(s.Allowed), untested)
}

// StaleAfter is how many months a fog test stands.
const StaleAfter = 6

// FogTestStale says why the fog test of a paper stands no longer; empty while
// it does. TestedOn and today are dates, 2006-01-02; level is the screen's
// level in the test and now. Lamps fade, filters bleach and boxes of paper
// differ: six months is common practice, no source.
func FogTestStale(p session.Paper, today time.Time, levelThen, levelNow string) string {
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
	case !day.AddDate(0, StaleAfter, 0).After(today):
		return fmt.Sprintf("the fog test of %s is more than six months old: test again", p.TestedOn)
	case levelThen != levelNow:
		return fmt.Sprintf("the screen was at %s in the fog test and is at %s now: test again", levelThen, levelNow)
	}
	return ""
}
