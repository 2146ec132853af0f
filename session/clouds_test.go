package session_test

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"wetside/session"
	"wetside/session/exposure"
)

// A tin out in the changing light: a machine with one sheet, driven as the
// field screen drives it, each event by way of its stored form. The light it
// gets is added up beside it, from the light itself in steps of 10 ms, from the
// meter's law and from Schwarzschild's, by none of the code that counts.
type tin struct {
	t      testing.TB
	m      *session.Machine
	stored [][]byte
	f      float64                        // f-number
	ev     func(at time.Duration) float64 // the light
	full   time.Duration                  // the whole exposure, in the light the machine was told of
	opened time.Duration                  // -1: covered
	got    float64                        // share of the exposure, by the other reckoning
}

const tinP = 0.86 // Schwarzschild's exponent

func tinReciprocity(t testing.TB) exposure.Reciprocity {
	r, err := exposure.Schwarzschild(tinP, 1)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func newTin(t testing.TB, f float64, ev func(time.Duration) float64) *tin {
	c := &tin{t: t, m: session.New(), f: f, ev: ev, opened: -1}
	c.do(0, session.Event{Kind: session.Opened})
	c.do(0, session.Event{Kind: session.SheetAdded, Spec: &session.SheetSpec{
		Process: session.Process{Steps: []session.Step{{Stage: session.Develop, AtLeast: 1, AtMost: time.Minute}}}}})
	return c
}

func (c *tin) do(at time.Duration, e session.Event) {
	c.t.Helper()
	e.At = storyDay.Add(at)
	if e.Kind != session.Opened {
		e.Sheet = "tin"
	}
	raw, err := json.Marshal(e)
	if err != nil {
		c.t.Fatal(err)
	}
	c.stored = append(c.stored, raw)
	c.apply(raw)
	switch e.Kind {
	case session.ExposureBegun, session.PinholeUncovered:
		c.opened = at
	case session.PinholeCovered, session.ExposureEnded:
		c.sum(at)
		c.opened = -1
	}
}

func (c *tin) apply(raw []byte) {
	c.t.Helper()
	var e session.Event
	if err := json.Unmarshal(raw, &e); err != nil {
		c.t.Fatal(err)
	}
	if err := c.m.Apply(e); err != nil {
		c.t.Fatalf("%s: %v", e.Kind, err)
	}
}

// sum adds up what came in since the pinhole was opened.
func (c *tin) sum(to time.Duration) {
	const dt = 10 * time.Millisecond
	for at := c.opened; at >= 0 && at < to; at += dt {
		step := min(dt, to-at)
		metered := c.f * c.f / (math.Exp2(c.ev(at+step/2)) * 3 / 100) // ISO 3
		c.got += step.Seconds() / math.Pow(metered, 1/tinP)
	}
}

// begin opens the pinhole, with the time for the light there is.
func (c *tin) begin(at time.Duration) {
	c.t.Helper()
	r, err := exposure.Reckon(exposure.Ask{Light: exposure.Light{EV: c.ev(at)}, FNumber: c.f, ISO: 3, Reciprocity: tinReciprocity(c.t)})
	if err != nil {
		c.t.Fatal(err)
	}
	c.full = time.Duration(math.Round(r.Seconds * float64(time.Second)))
	c.do(at, session.Event{Kind: session.ExposureBegun, Planned: c.full})
}

// press tells the machine of a change of light, as the keys of the field do.
func (c *tin) press(at time.Duration, stops float64) {
	c.t.Helper()
	var err error
	if c.full, err = exposure.Shift(c.full, stops, tinReciprocity(c.t)); err != nil {
		c.t.Fatal(err)
	}
	c.do(at, session.Event{Kind: session.LightChanged, Stops: stops, Planned: c.full})
}

// ends is when the machine says the exposure is done, if it runs.
func (c *tin) ends(at time.Duration) (time.Duration, bool) {
	s := c.m.View(storyDay.Add(at)).Sheets[0]
	return s.Ends, s.Open
}

// An afternoon at the disused signal box: three tins on the platform, clouds
// every few minutes in steps of a third of a stop, the biscuit tin covered
// twice, the laptop's lid shut for a while. The photographer presses "darker" or
// "brighter" when the light changes and covers each hole when its time is up.
// What each sheet got is then added up anew; see [tin].
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
			c := newTin(t, cam.f, light)
			c.begin(cam.begin)
			now, next, cover, reopened := cam.begin, 0, 0, false
			for sky[next].at <= now {
				next++
			}
			for {
				end, running := c.ends(now)
				due := sky[next].at
				covers := cover < len(cam.coverFor) && cam.begin+cam.coverFor[cover] < due
				if covers {
					due = cam.begin + cam.coverFor[cover]
				}
				if running && end <= due {
					now = end
					c.do(now, session.Event{Kind: session.ExposureEnded})
					break
				}
				now = due
				switch {
				case covers && cover%2 == 0:
					c.do(now, session.Event{Kind: session.PinholeCovered})
					cover++
				case covers:
					c.do(now, session.Event{Kind: session.PinholeUncovered})
					cover++
				default:
					c.press(now, sky[next].ev-sky[next-1].ev)
					next++
				}
				if !reopened && now > lidShut {
					// The lid was shut and the program gone: it comes back
					// from what was written down.
					reopened = true
					c.m = session.New()
					for _, raw := range c.stored {
						c.apply(raw)
					}
				}
			}
			counted := c.m.Sheet("tin").Light.Share(now)
			if math.Abs(c.got-1) > 0.01 {
				t.Errorf("seed %d, %s: %.4f of the exposure after %v, counted %.4f", seed, cam.name, c.got, now, counted)
			}
			if math.Abs(counted-1) > 1e-6 {
				t.Errorf("seed %d, %s: ended with %.7f counted", seed, cam.name, counted)
			}
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
		// Two slow waves on a fading afternoon.
		a, b, fade := rng.Float64(), rng.Float64(), 0.5+rng.Float64()
		pa, pb := 4+4*rng.Float64(), 9+6*rng.Float64()
		c := newTin(t, 220, func(at time.Duration) float64 {
			m := at.Minutes()
			return 13 + a*math.Sin(2*math.Pi*m/pa) + b*math.Sin(2*math.Pi*m/pb) - fade*m/60
		})
		c.begin(0)
		told, now := c.ev(0), time.Duration(0)
		for {
			now += time.Second
			if end, _ := c.ends(now); end <= now {
				break
			}
			if off := c.ev(now) - told; math.Abs(off) >= 1./3 {
				third := math.Copysign(1./3, off)
				c.press(now, third)
				told += third
			}
		}
		c.do(now, session.Event{Kind: session.ExposureEnded})
		worst = max(worst, math.Abs(math.Log2(c.got)))
	}
	t.Logf("worst of 60: %.3f stop", worst)
	if worst > 1./3 {
		t.Errorf("worst of 60: %.3f stop", worst)
	}
}
