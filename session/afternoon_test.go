package session_test

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"wetside/session"
)

// A simulated afternoon: clouds every few minutes, three cameras, one covered
// twice, the lid closed in between (the program is gone, and comes back from
// the stored events). Each exposure is ended when the machine says it is done;
// the light it got by then, summed in steps of 10 ms by a reckoning that shares
// nothing with the machine, is within 1% of what it should have had.
func TestAfternoon(t *testing.T) {
	for seed := range uint64(6) {
		rng := rand.New(rand.NewPCG(seed, 7))
		// The light: a full time for each stretch of the afternoon, in third
		// stops about 6 min.
		type stretch struct {
			from time.Duration
			stop float64
		}
		sky := []stretch{{0, 0}}
		for at := time.Duration(0); at < 2*time.Hour; {
			at += time.Duration(120+rng.IntN(240)) * time.Second
			sky = append(sky, stretch{at, float64(rng.IntN(9)-4) / 3})
		}
		full := func(cam int, at time.Duration) time.Duration {
			s := 0.0
			for _, x := range sky {
				if x.from <= at {
					s = x.stop
				}
			}
			return time.Duration(float64(time.Duration(5+cam)*time.Minute) * math.Exp2(-s))
		}

		m := session.New()
		var stored [][]byte
		do := func(m *session.Machine, at time.Duration, e session.Event) {
			t.Helper()
			e.At = storyDay.Add(at)
			raw, err := json.Marshal(e)
			if err != nil {
				t.Fatal(err)
			}
			stored = append(stored, raw)
			if err := m.Apply(e); err != nil {
				t.Fatalf("seed %d, %v: %v", seed, at, err)
			}
		}
		do(m, 0, session.Event{Kind: session.Opened})
		begun := [3]time.Duration{}
		open := [3]bool{}
		var given [3]float64 // by the other reckoning
		ended := [3]time.Duration{}
		for c := range 3 {
			do(m, 0, session.Event{Kind: session.SheetAdded, Sheet: fmt.Sprint(c), Spec: &session.SheetSpec{
				Process: session.Process{Steps: []session.Step{{Stage: session.Develop, AtLeast: 1, AtMost: time.Minute}}}}})
			begun[c] = time.Duration(c) * 47 * time.Second
		}
		coverings := map[time.Duration]bool{90 * time.Second: false, 130 * time.Second: true, 200 * time.Second: false, 290 * time.Second: true}
		lidFrom, lidTo := 150*time.Second, 190*time.Second
		next := 1
		const dt = 10 * time.Millisecond
		for at := time.Duration(0); at < 2*time.Hour && (ended[0] == 0 || ended[1] == 0 || ended[2] == 0); at += dt {
			if at == lidTo {
				m = session.New() // back from what was stored
				for _, raw := range stored {
					var e session.Event
					if err := json.Unmarshal(raw, &e); err != nil {
						t.Fatal(err)
					}
					m.Apply(e)
				}
			}
			asleep := at >= lidFrom && at < lidTo
			for c := range 3 {
				id := fmt.Sprint(c)
				if at == begun[c] {
					do(m, at, session.Event{Kind: session.ExposureBegun, Sheet: id, Planned: full(c, at)})
					open[c] = true
				}
				if on, hit := coverings[at]; hit && c == 0 && !asleep && ended[c] == 0 {
					kind := session.PinholeCovered
					if on {
						kind = session.PinholeUncovered
					}
					do(m, at, session.Event{Kind: kind, Sheet: id})
					open[c] = on
				}
			}
			// The user sees a cloud and says so. None comes while the lid is
			// closed: nobody would say so then, and no program could know.
			if next < len(sky) && at >= sky[next].from {
				if sky[next].from >= lidFrom && sky[next].from < lidTo {
					sky[next].stop = sky[next-1].stop
				}
				for c := range 3 {
					if at > begun[c] && ended[c] == 0 && !asleep {
						do(m, at, session.Event{Kind: session.LightChanged, Sheet: fmt.Sprint(c), Planned: full(c, at), Stops: sky[next].stop - sky[next-1].stop})
					}
				}
				next++
			}
			for c := range 3 {
				if open[c] && ended[c] == 0 && at >= begun[c] {
					given[c] += float64(dt) / float64(full(c, at))
				}
			}
			if asleep || at%(100*time.Millisecond) != 0 {
				continue
			}
			v := m.View(storyDay.Add(at))
			for c := range 3 {
				if s, _ := v.Sheet(fmt.Sprint(c)); s.Phase == session.Exposing && s.Open && s.Left == 0 {
					do(m, at, session.Event{Kind: session.ExposureEnded, Sheet: s.ID})
					ended[c] = at
				}
			}
		}
		for c := range 3 {
			if ended[c] == 0 {
				t.Errorf("seed %d: camera %d never ended", seed, c)
			} else if math.Abs(given[c]-1) > 0.01 {
				t.Errorf("seed %d: camera %d got %.4f of its exposure", seed, c, given[c])
			}
		}
	}
}
