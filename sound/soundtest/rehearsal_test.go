package soundtest_test

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"wetside/profiles"
	"wetside/session"
	"wetside/sound"
	"wetside/sound/soundtest"
)

const pace = 20

// A walk is a rehearsal without a clock: sheets go through a process, each
// moved so long after it was due, and every cue is collected.
func walk(t *testing.T, p session.Process, paper session.Paper, late time.Duration, starts ...time.Duration) []session.Cue {
	t.Helper()
	m := session.New()
	zero := session.Instant{Wall: time.Date(2026, 5, 1, 10, 0, 0, 0, time.UTC), BootID: "b"}
	last := time.Duration(0)
	seen := map[string]bool{}
	var cues []session.Cue
	upTo := func(to time.Duration) {
		for _, c := range m.Cues(zero.Add(last), zero.Add(to)) {
			if !seen[c.Key] {
				seen[c.Key] = true
				cues = append(cues, c)
			}
		}
		last = to
	}
	apply := func(at time.Duration, e session.Event) {
		upTo(at)
		e.At = zero.Add(at)
		if err := m.Apply(e); err != nil {
			t.Fatal(err)
		}
	}
	apply(0, session.Event{Kind: session.Opened, Rehearsal: true, Pace: pace})
	for i := range starts {
		apply(0, session.Event{Kind: session.SheetAdded, Sheet: fmt.Sprint(i), Spec: &session.SheetSpec{Paper: paper, Process: p}})
	}
	started := 0
	for steps := 0; ; steps++ {
		if steps > 200 {
			t.Fatal("the rehearsal does not end")
		}
		// The next thing to do: a sheet goes in, or one that is due moves.
		at, sheet, from := time.Duration(math.MaxInt64), "", 0
		if started < len(starts) {
			at, sheet = starts[started], fmt.Sprint(started)
		}
		for _, v := range m.View(zero.Add(last)).Sheets {
			if v.Phase == session.Wet && !v.ByClock && v.Ends+late < at {
				at, sheet, from = v.Ends+late, v.ID, v.Visit
			} else if v.Phase == session.Wet && v.ByClock && v.Ends < at {
				at, sheet, from = v.Ends, "", 0
			}
		}
		if at == math.MaxInt64 {
			upTo(last + time.Second)
			return cues
		}
		at = max(at, last)
		if sheet == "" { // the clock moves it: see how it stands a moment later
			upTo(at + time.Millisecond)
			apply(last, session.Event{Kind: session.Noted, Note: "-"})
			continue
		}
		if from == 0 {
			started++
		}
		apply(at, session.Event{Kind: session.Moved, Sheet: sheet, From: from})
	}
}

// wants sets the cues on the recording's time line. What the mixer does not
// sound, a soft tick that falls into one like it, is not wanted; nor are pips, which
// are a second apart in life, and lie in one another at this pace.
func wants(cues []session.Cue) (ws []soundtest.Want, length time.Duration) {
	slices.SortStableFunc(cues, func(a, b session.Cue) int { return cmp.Compare(a.T, b.T) })
	until := map[string]time.Duration{}
	for _, c := range cues {
		if c.Kind == session.CuePip {
			continue
		}
		at := time.Second + c.T/pace
		if m, ok := sound.MotifFor(c); ok && m.Soft {
			if at < until[m.Name] {
				continue
			}
			until[m.Name] = at + m.Len() + 70*time.Millisecond
		}
		ws = append(ws, soundtest.Want{Cue: c, At: at})
		length = max(length, at+2*time.Second)
	}
	return ws, length
}

// Every process of the defaults, at twenty times its pace: all cues are found,
// none is missing, none is extra, and the stages come out as the machine has
// them; alone, and with running water (white noise at -20 dB).
func TestEveryProcessOfTheDefaultsIsHeard(t *testing.T) {
	set, err := profiles.Load(nil)
	if err != nil {
		t.Fatal(err)
	}
	paper := session.Paper{Name: "direct-positive FB paper", Base: session.FB, Response: session.Lighter, AreaCM2: 130}
	for i, p := range set.Processes() {
		if racing && i > 0 {
			t.Log("under the race detector, which makes the arithmetic slow, only the first process is heard")
			break
		}
		sp, err := p.At(20, session.FB)
		if err != nil {
			t.Fatal(err)
		}
		t.Run(p.Key, func(t *testing.T) {
			for name, starts := range map[string][]time.Duration{
				"one sheet":  {time.Second},
				"two sheets": {time.Second, 100 * time.Second},
			} {
				cues := walk(t, sp, paper, 3700*time.Millisecond, starts...)
				ws, length := wants(cues)
				within := 40 * time.Millisecond
				if len(starts) > 1 {
					within = 700 * time.Millisecond // one motif waits for its like to end
				}
				x := mix(ws, length, 0.8, nil)
				addNoise(x, -20)
				heard := soundtest.Listen(x)
				check(t, name, ws, heard, within)
				if len(starts) > 1 {
					continue
				}
				var begins []session.Cue
				for _, c := range cues {
					if c.Kind == session.CueBegin {
						begins = append(begins, c)
					}
				}
				spans := soundtest.Stages(heard)
				if len(spans) != len(begins) || len(spans) == 0 {
					t.Fatalf("%d stages heard, %d begun", len(spans), len(begins))
				}
				for i, s := range spans {
					// To within 40 ms of the recording, less than a second of the session.
					if off := s.Begin - time.Second - begins[i].T/pace; s.Stage != begins[i].Stage || off.Abs() > 40*time.Millisecond {
						t.Errorf("stage %d: %s, %v from its begin; it is %s", i+1, s.Stage, off, begins[i].Stage)
					}
					if i+1 < len(spans) && s.End != spans[i+1].Begin || i+1 == len(spans) && s.End == 0 {
						t.Errorf("%s ends at %v", s.Stage, s.End)
					}
				}
			}
		})
	}
}

// Three, two, one, and the call, at the pace of life.
func TestPipsAreHeardASecondApart(t *testing.T) {
	var ws []soundtest.Want
	for n := range 4 {
		c := session.Cue{Key: fmt.Sprint("1/1/pip/", 3-n), Kind: session.CuePip, Num: 1, Stage: session.Develop, Next: session.Stop, N: 3 - n}
		if n == 3 {
			c.Key, c.Kind = "1/1/move", session.CueMove
		}
		ws = append(ws, soundtest.Want{Cue: c, At: time.Duration(n+1) * time.Second})
	}
	x := mix(ws, 6*time.Second, 0.8, nil)
	addNoise(x, -20)
	check(t, "pips", ws, soundtest.Listen(x), 40*time.Millisecond)
}
