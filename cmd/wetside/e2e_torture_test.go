package main

import (
	"encoding/json"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"
)

// TestTorture kills the program with SIGKILL at random instants of a running
// session, starts it again each time, and finds every confirmed event present,
// the sheet's stage right and the remaining time right to 0.2 s, against the
// test's own clock and its own count of key presses.
//
//	WETSIDE_TORTURE=300 go test ./cmd/wetside -run TestTorture -v
func TestTorture(t *testing.T) {
	kills := 12
	if n, err := strconv.Atoi(os.Getenv("WETSIDE_TORTURE")); err == nil {
		kills = n
	}
	h := newHome(t)
	rng := rand.New(rand.NewPCG(1, 2))
	stages := []string{"develop", "stop", "fix", "wash"}
	times := map[string]float64{"develop": 180, "stop": 10, "fix": 60, "wash": 1800}

	where := func() []place {
		var ps []place
		if err := json.Unmarshal([]byte(h.wetside(t, "where", "--json")), &ps); err != nil {
			t.Fatal(err)
		}
		return ps
	}

	r := pipe(t, h)
	r.press("1a\t\t") // what the first page asks, a sheet added, to the trays
	until(t, "the sheet is known", func() bool { return len(where()) == 1 })

	stage := -1 // the stage the test saw confirmed
	var entered [2]time.Time
	sheets, moves, worst := 1, 0, -1.0e9
	var pressed time.Time
	for kill := range kills {
		// Now and then a move, or taking one back: confirmed once another
		// program has read it from the notebook.
		if rng.IntN(2) == 0 && time.Since(pressed) > 1600*time.Millisecond {
			before := time.Now()
			r.press(" ")
			pressed = before
			if stage == 3 { // out of an unfinished wash: asked once more
				until(t, "the sheet is done", func() bool {
					if time.Since(pressed) > 1600*time.Millisecond {
						r.press(" ")
						pressed = time.Now()
					}
					return where()[sheets-1].Phase == "finished"
				})
				r.press("\x1b[Z\x1b[Za\t\t") // back to the bench, another sheet
				sheets++
				until(t, "another sheet is known", func() bool { return len(where()) == sheets })
				stage = -1
			} else {
				want := stages[stage+1]
				until(t, "the sheet is in the "+want, func() bool {
					if (want == "develop" || want == "wash") && time.Since(pressed) > 1600*time.Millisecond {
						r.press(" ") // unexposed, or out of the fixer early: asked once more
						pressed = time.Now()
					}
					return where()[sheets-1].Stage == want
				})
				stage++
				moves++
				entered = [2]time.Time{before, time.Now()}
			}
		}
		until(t, "a random instant", randomly(rng))
		r.kill()
		r = pipe(t, h)
		asked := time.Now()
		ps := where()
		if len(ps) != sheets {
			t.Fatalf("after kill %d there are %d sheets, not %d", kill, len(ps), sheets)
		}
		s := ps[sheets-1]
		if stage < 0 {
			if s.Stage != "" {
				t.Fatalf("after kill %d the sheet is in the %s", kill, s.Stage)
			}
		} else {
			if s.Stage != stages[stage] || s.Moves != stage+1 {
				t.Fatalf("after kill %d the sheet is in the %q after %d moves, not in the %s", kill, s.Stage, s.Moves, stages[stage])
			}
			// Its time in the bath lies between the test's own two readings.
			got := times[s.Stage] - s.Left + s.Over
			// The reading was taken between asking and hearing the answer.
			least, most := asked.Sub(entered[1]).Seconds(), time.Since(entered[0]).Seconds()
			if got > most+0.2 || got < least-0.2 {
				t.Fatalf("after kill %d the sheet has been in the %s for %.3f s, by the test's clock for %.3f to %.3f s", kill, s.Stage, got, least, most)
			}
			worst = max(worst, got-most, least-got)
		}
		// Is the sheet running, the program asks whether to go on; else
		// nothing is asked.
		if stage >= 0 {
			r.press("y")
		} else {
			r.press("y\t")
		}
	}
	r.kill()
	t.Logf("%d kills, %d sheets, %d moves; elapsed time at most %.3f s outside what the test's clock allows", kills, sheets, moves, worst)
}

// randomly comes true after a random short while.
func randomly(rng *rand.Rand) func() bool {
	end := time.Now().Add(time.Duration(rng.IntN(400)) * time.Millisecond)
	return func() bool { return time.Now().After(end) }
}
