package desk

import (
	"math"
	"testing"
	"time"

	"wetside/session"
	"wetside/session/exposure"
	"wetside/session/notebook"
)

// A test sheet whose third strip is right teaches what a whole sheet of that time that is
// right does, to the second.
func TestAStripTeachesAsASheetOfItsOwn(t *testing.T) {
	law, err := exposure.Schwarzschild(0.86, 1)
	if err != nil {
		t.Fatal(err)
	}
	strips, err := exposure.TestSheet(300, 1, 5, law)
	if err != nil {
		t.Fatal(err)
	}
	whole := strips[4].Total
	test := &session.Test{Strips: 5, Step: 1}
	for _, s := range strips {
		test.Shares = append(test.Shares, s.Total/whole)
	}
	ev := 12.0
	record := func(seconds float64, test *session.Test) *notebook.Record {
		return &notebook.Record{Num: 1, Camera: "tin", Paper: notebook.PaperRecord{Key: "p", Response: "lighter"},
			Reckoned: &session.Reckoned{Lit: &session.Lit{EV: ev, Doubt: 0.5, As: "overcast"}, Hole: 1, Box: 1, FNumber: 150, ISO: 3, Law: law.String(), Test: test},
			Exposure: &notebook.ExposureRecord{Begun: time.Date(2026, 5, 2, 14, 0, 0, 0, time.UTC), Share: 1,
				Spells: []notebook.SpellRecord{{EV: &ev, For: notebook.Secs(seconds * 1e9)}}}}
	}
	today := func(string, string) (exposure.Ask, int, int, bool) {
		return exposure.Ask{FNumber: 150, ISO: 3, Reciprocity: law}, 1, 1, true
	}
	evidence := func(r *notebook.Record, said string) exposure.Judged {
		t.Helper()
		j, err := ReadJudgement(said, r)
		if err != nil {
			t.Fatal(err)
		}
		r.Judgements = append(r.Judgements, j)
		e, ok := Evidence(r, today)
		if !ok {
			t.Fatalf("%s teaches nothing", said)
		}
		return e
	}
	for _, c := range []struct {
		strip, sheet string
		n            int
	}{{"strip 3", "right", 3}, {"strip 1, 1 too light", "1 too light", 1}, {"strip 5, 1/2 too dark", "1/2 too dark", 5}, {"Strip 2: clouds", "right", 2}} {
		a, b := evidence(record(whole, test), c.strip), evidence(record(strips[c.n-1].Total, nil), c.sheet)
		if math.Abs(a.Seconds-b.Seconds) > 1 || math.Abs(a.Wanted-b.Wanted) > 0.01 || a.Stops != b.Stops {
			t.Errorf("%s: %.1f s, %.3f wanted, %g judged; a sheet: %.1f s, %.3f, %g", c.strip, a.Seconds, a.Wanted, a.Stops, b.Seconds, b.Wanted, b.Stops)
		}
	}
	for _, bad := range []string{"strip 0", "strip 6", "strips 1 and 4", "right", "1/2", "strip 3, 1/2 too"} {
		if j, err := ReadJudgement(bad, record(whole, test)); err == nil {
			t.Errorf("%q is taken for %+v", bad, j)
		}
	}
}
