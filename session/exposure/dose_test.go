package exposure_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pgregory.net/rapid"

	"wetside/session/exposure"
)

func TestShift(t *testing.T) {
	none := exposure.Reciprocity{}
	if got := must(exposure.Shift(4*time.Minute, -1, none)); got != 8*time.Minute {
		t.Errorf("half the light: %v", got)
	}
	// With reciprocity failure half the light costs more than twice the time.
	near(t, "with failure", must(exposure.Shift(4*time.Minute, -1, schwarzschild())).Seconds(), 240*math.Exp2(1/0.86), 1e-6)
	rapid.Check(t, func(t *rapid.T) {
		r := anyReciprocity(t)
		full := time.Duration(rapid.Float64Range(20, 1200).Draw(t, "full") * float64(time.Second))
		a := rapid.Float64Range(-2, 2).Draw(t, "a")
		b := rapid.Float64Range(-2, 2).Draw(t, "b")
		both, err := exposure.Shift(full, a+b, r)
		one, err1 := exposure.Shift(full, a, r)
		if err != nil || err1 != nil {
			t.Skip("beyond a day")
		}
		if two, err := exposure.Shift(one, b, r); err != nil || math.Abs(float64(two-both)) > 1e-6*float64(both)+2 {
			t.Fatalf("%v: by %g then %g is %v (%v), at once %v", full, a, b, two, err, both)
		}
	})
	_, err := exposure.Shift(0, 1, none)
	sentence(t, "nothing planned", err)
	_, err = exposure.Shift(10*time.Hour, -3, none)
	sentence(t, "80 h", err)
	_, err = exposure.Shift(time.Second, 19, none)
	sentence(t, "at once", err)
}

func TestDose(t *testing.T) {
	var d exposure.Dose
	sentence(t, "no time yet", d.Uncover(0, 0))
	if d.Share(time.Hour) != 0 || d.Left(0) != 0 || d.Open() {
		t.Error("a covered pinhole that has seen nothing has")
	}
	m := time.Minute
	for _, err := range []error{d.Uncover(1*m, 8*m), d.Cover(2 * m), d.Uncover(5*m, 0), d.Change(6*m, 16*m)} {
		if err != nil {
			t.Fatal(err)
		}
	}
	near(t, "share", d.Share(6*m), 0.25, 1e-12)
	if at, ok := d.Ends(6 * m); !ok || at != 18*m {
		t.Errorf("ends %v %v, want 18 min", at, ok)
	}
	if at, ok := d.Ends(30 * m); !ok || at != 18*m {
		t.Errorf("once past it ended %v %v, want 18 min", at, ok)
	}
	if left := d.Left(10 * m); left != 8*m {
		t.Errorf("left %v, want 8 min", left)
	}
	near(t, "a stop over", d.Off(34*m), 1, 1e-12)
	sentence(t, "backwards", d.Cover(5*m))
	sentence(t, "no light", d.Change(40*m, 0))
	if err := d.Cover(20 * m); err != nil {
		t.Fatal(err)
	}
	if _, ok := d.Ends(20 * m); ok {
		t.Error("a covered pinhole has an end")
	}
	near(t, "covered", d.Share(100*m), d.Share(20*m), 0)
}

func TestIntegralAgainstClosedForm(t *testing.T) {
	// Light that dies away exponentially, half gone in 10 min, whole exposure
	// 8 min at first: share = 10/(8 ln 2) (1 - 2^(-t/10)).
	full := func(t time.Duration) time.Duration {
		return time.Duration(float64(8*time.Minute) * math.Exp2(t.Minutes()/10))
	}
	got := exposure.Integral(0, 12*time.Minute, 50, full)
	near(t, "share", got, 10/(8*math.Ln2)*(1-math.Exp2(-1.2)), 1e-9)
}

// An afternoon at the disused signal box: three tins on the platform, clouds
// every few minutes in steps of a third of a stop, the biscuit tin covered
// twice, the laptop's lid shut for a while. The photographer presses "darker" or
// "brighter" when the light changes and covers each hole when its time is up.
// What each sheet got is then added up anew, from the light itself in steps of
// 10 ms and from the meter's law and Schwarzschild's, by none of the code that
// did the counting.
func TestAfternoonOfClouds(t *testing.T) {
	type change struct {
		at time.Duration
		ev float64
	}
	for seed := range uint64(20) {
		rng := rand.New(rand.NewPCG(seed, 6))
		// The sky, from 2 to 6 minutes a piece.
		sky := []change{{0, 13}}
		for at := time.Duration(0); at < 5*time.Hour; {
			at += 2*time.Minute + time.Duration(rng.Int64N(int64(4*time.Minute)))
			ev := sky[len(sky)-1].ev + float64(rng.IntN(7)-3)/3
			sky = append(sky, change{at, max(11, min(15, ev))})
		}
		light := func(at time.Duration) float64 {
			ev := sky[0].ev
			for _, c := range sky {
				if c.at > at {
					break
				}
				ev = c.ev
			}
			return ev
		}
		lidShut := 5 * time.Minute
		for _, cam := range []struct {
			name     string
			f        float64
			begin    time.Duration
			coverFor []time.Duration // start and end, from the beginning
		}{
			{"tea caddy", 150, 30 * time.Second, nil},
			{"hat box", 220, 3 * time.Minute, nil},
			{"biscuit tin", 260, 4 * time.Minute, []time.Duration{40 * time.Second, 95 * time.Second, 3 * time.Minute, 3*time.Minute + 30*time.Second}},
		} {
			rec := schwarzschild()
			first := must(exposure.Reckon(ask(light(cam.begin), cam.f, 3, rec)))
			full := first.Exact()
			var d exposure.Dose
			var written []func(*exposure.Dose) error // what happened, as a log holds it
			var open [][2]time.Duration              // what the light could come in through
			do := func(what func(*exposure.Dose) error) {
				t.Helper()
				written = append(written, what)
				if err := what(&d); err != nil {
					t.Fatalf("%s: %v", cam.name, err)
				}
			}
			uncover := func(at, full time.Duration) func(*exposure.Dose) error {
				return func(d *exposure.Dose) error { return d.Uncover(at, full) }
			}
			shut := func(at time.Duration) func(*exposure.Dose) error {
				return func(d *exposure.Dose) error { return d.Cover(at) }
			}
			changed := func(at, full time.Duration) func(*exposure.Dose) error {
				return func(d *exposure.Dose) error { return d.Change(at, full) }
			}
			do(uncover(cam.begin, full))
			opened := cam.begin
			now, next, cover, reopened := cam.begin, 0, 0, false
			for sky[next].at <= now {
				next++
			}
			for {
				end, running := d.Ends(now)
				due := sky[next].at
				covers := cover < len(cam.coverFor) && cam.begin+cam.coverFor[cover] < due
				if covers {
					due = cam.begin + cam.coverFor[cover]
				}
				if running && end <= due {
					do(shut(end))
					open = append(open, [2]time.Duration{opened, end})
					now = end
					break
				}
				now = due
				switch {
				case covers && cover%2 == 0:
					do(shut(now))
					open = append(open, [2]time.Duration{opened, now})
					cover++
				case covers:
					do(uncover(now, 0))
					opened = now
					cover++
				default:
					full = must(exposure.Shift(full, sky[next].ev-sky[next-1].ev, rec))
					do(changed(now, full))
					next++
				}
				if !reopened && now > lidShut {
					// The lid was shut and the program gone: it comes back
					// from what was written down.
					reopened = true
					d = exposure.Dose{}
					for _, what := range written {
						if err := what(&d); err != nil {
							t.Fatalf("%s, read again: %v", cam.name, err)
						}
					}
				}
			}
			got := 0.0
			const dt = 10 * time.Millisecond
			for _, o := range open {
				for at := o[0]; at < o[1]; at += dt {
					step := min(dt, o[1]-at)
					metered := cam.f * cam.f / (math.Exp2(light(at+step/2)) * 3 / 100)
					got += step.Seconds() / math.Pow(metered, 1/0.86)
				}
			}
			if math.Abs(got-1) > 0.01 {
				t.Errorf("seed %d, %s: %.4f of the exposure after %v, counted %.4f", seed, cam.name, got, now, d.Share(now))
			}
			near(t, cam.name+" counted", d.Share(now), 1, 1e-6)
		}
	}
}

// Light that slides without a step, followed by a person who presses a third of
// a stop once it has slid by that much: what the counting then misses is what
// the eye missed, less than the third it waits for.
func TestSlidingLightFollowedInThirds(t *testing.T) {
	worst := 0.0
	for seed := range uint64(60) {
		rng := rand.New(rand.NewPCG(seed, 12))
		rec := schwarzschild()
		// Two slow waves on a fading afternoon.
		a, b, fade := rng.Float64(), rng.Float64(), 0.5+rng.Float64()
		pa, pb := 4+4*rng.Float64(), 9+6*rng.Float64()
		ev := func(at time.Duration) float64 {
			m := at.Minutes()
			return 13 + a*math.Sin(2*math.Pi*m/pa) + b*math.Sin(2*math.Pi*m/pb) - fade*m/60
		}
		full := func(at time.Duration) time.Duration {
			return must(exposure.Reckon(ask(ev(at), 220, 3, rec))).Exact()
		}
		var d exposure.Dose
		told, now := ev(0), time.Duration(0)
		if err := d.Uncover(0, full(0)); err != nil {
			t.Fatal(err)
		}
		present := full(0)
		for d.Share(now) < 1 {
			now += time.Second
			if off := ev(now) - told; math.Abs(off) >= 1./3 {
				third := math.Copysign(1./3, off)
				present = must(exposure.Shift(present, third, rec))
				told += third
				if err := d.Change(now, present); err != nil {
					t.Fatal(err)
				}
			}
		}
		worst = max(worst, math.Abs(math.Log2(exposure.Integral(0, now, 2000, full))))
	}
	t.Logf("worst of 60: %.3f stop", worst)
	if worst > 1./3 {
		t.Errorf("worst of 60: %.3f stop", worst)
	}
}
