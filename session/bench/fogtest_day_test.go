package bench_test

import (
	"testing"
	"time"

	"wetside/session"
	"wetside/session/bench"
)

// A fog test is dated by the calendar of the place, so on the morning it was
// made, far from Greenwich, it is of today and not still to come, and it stands
// for its six months by the same calendar.
func TestAFogTestIsDatedWhereItWasMade(t *testing.T) {
	paper := session.Paper{Tested: true, TestedOn: "2026-05-09"}
	for _, hours := range []int{-11, -5, 0, 2, 10, 13} {
		zone := time.FixedZone("", hours*3600)
		for _, day := range []time.Time{
			time.Date(2026, 5, 9, 0, 30, 0, 0, zone),
			time.Date(2026, 5, 9, 23, 30, 0, 0, zone),
			time.Date(2026, 11, 8, 0, 30, 0, 0, zone),
			time.Date(2026, 11, 8, 23, 30, 0, 0, zone),
		} {
			if got := bench.FogTestStale(paper, day, "ember", "ember"); got != "" {
				t.Errorf("%s: %s", day, got)
			}
		}
		for _, day := range []time.Time{time.Date(2026, 5, 8, 23, 30, 0, 0, zone), time.Date(2026, 11, 9, 0, 30, 0, 0, zone)} {
			if bench.FogTestStale(paper, day, "ember", "ember") == "" {
				t.Errorf("%s: it stands", day)
			}
		}
	}
}
