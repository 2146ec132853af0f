package profiles_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/exposure"
)

// A camera that needs exactly one stop more, judged without error, is to be
// learned as one stop.
func TestOneStopIsLearnedAsOneStop(t *testing.T) {
	set, err := profiles.Load(nil)
	if err != nil {
		t.Fatal(err)
	}
	var sheets []exposure.Judged
	now := time.Date(2026, 5, 1, 14, 0, 0, 0, time.UTC)
	p := &profiles.Planner{Set: set, Judged: func() []exposure.Judged { return sheets }, Now: func() time.Time { return now }}
	f := profiles.Form{Paper: "direct-positive-fb", Process: "three-trays", Camera: "tea-caddy", Light: "overcast"}
	paper, err := set.Paper(f.Paper)
	if err != nil {
		t.Fatal(err)
	}
	rec := paper.Reciprocity.Law()
	var judged float64
	for range 30 {
		p.Forget()
		plan, err := p.Plan(f)
		if err != nil {
			t.Fatal(err)
		}
		bare := 150 * 150 / (4096 * 0.03)
		given := rec.Metered(plan.Exposure.Seconds())
		judged = 1 - math.Log2(given/bare) // what it still lacks, in light
		sheets = append(sheets, exposure.Judged{Camera: f.Camera, Hole: 1, Paper: f.Paper, Box: 1, At: now, Reading: exposure.Reading(now, "overcast"),
			Seconds: plan.Exposure.Seconds(), Wanted: 1, Stops: judged, Doubt: 0.5})
		now = now.AddDate(0, 0, 1)
	}
	if math.Abs(judged) > 0.1 {
		t.Errorf("after 30 sheets each is still judged %+.2f stop: the correction does not settle where the sheets are right", judged)
	}
}

// A light typed in mid-exposure is so many stops brighter or darker than the one
// before, however that one came to be known.
func TestALightInMidExposureIsComparedWithTheOneBefore(t *testing.T) {
	set, err := profiles.Load(nil)
	if err != nil {
		t.Fatal(err)
	}
	p := &profiles.Planner{Set: set}
	form := func(light string) profiles.Form {
		return profiles.Form{Paper: "direct-positive-fb", Process: "three-trays", Camera: "tea-caddy", Light: light}
	}
	for _, c := range []struct {
		first    string
		readings []session.Reading
		typed    string
		want     float64
		within   float64
	}{
		{"EV 12", nil, "EV 11", -1, 1e-9},
		{"overcast", nil, "overcast", 0, 1e-9},
		{"EV 12", []session.Reading{{Stops: 1.0 / 3}}, "EV 12", -1.0 / 3, 1e-9},
		{"EV 12", []session.Reading{{Stops: 2, Light: "EV 14"}, {Light: "9m", Open: 9 * time.Minute}}, "EV 13.5", -0.5, 1e-9},
		{"EV 12", []session.Reading{{Light: "EV 14"}}, "EV 13", -1, 1e-9}, // as they were kept before
		{"7m15s", nil, "EV 11", -1, 0.05}, // 7:15 is what EV 12 takes, rounded
	} {
		plan, err := p.Plan(form(c.first))
		if err != nil {
			t.Fatal(err)
		}
		s := &session.Sheet{Spec: plan.Spec, Light: session.Light{Planned: plan.Exposure, Readings: c.readings}}
		then, err := p.Plan(form(c.typed))
		if err != nil {
			t.Fatal(err)
		}
		if got := p.Brighter(s, c.typed, then.Exposure); math.Abs(got-c.want) > c.within {
			t.Errorf("%s, %+v, and then %s: %v stops brighter, not %v", c.first, c.readings, c.typed, got, c.want)
		}
	}
	if plan, _ := p.Plan(form("EV 12")); plan.ByHand {
		t.Error("a light is taken for a time given by hand")
	}
	if plan, _ := p.Plan(form("8m")); !plan.ByHand {
		t.Error("a time is taken for a light")
	}
}

// A filter, a pre-flash, warm light and a near subject are in the time, in the
// sum behind it, and in what the sheet is learned from.
func TestWhatIsThePicturesOwnIsInItsTime(t *testing.T) {
	set, err := profiles.Load(nil)
	if err != nil {
		t.Fatal(err)
	}
	p := &profiles.Planner{Set: set}
	form := profiles.Form{Paper: "direct-positive-fb", Process: "three-trays", Camera: "tea-caddy", Light: "EV 12"}
	for with, stops := range map[string]float64{"": 0, "filter 1": 1, "pre-flash 1/2": -0.5, "warm light 1/3": 1. / 3, "Filter 2, pre-flash 1, warm 1/2, subject at 1m": 1.5} {
		form.With = with
		plan, err := p.Plan(form)
		if err != nil {
			t.Fatal(with, err)
		}
		// 150^2 / (2^12 x 0.03) s, and Schwarzschild's p = 0.86.
		want := math.Pow(150*150/(4096*0.03)*math.Exp2(stops), 1/0.86)
		if off := math.Log2(plan.Exposure.Seconds() / want); math.Abs(off) > 1./12 {
			t.Errorf("%q: %v, not %.0f s", with, plan.Exposure, want)
		}
		r := plan.Spec.Reckoned
		if got := r.Filter + r.Warm - r.Preflash; math.Abs(got-stops) > 1e-12 || r.Lit == nil || r.Lit.EV != 12 || r.Hole != 1 || r.FNumber != 150 || r.ISO != 3 {
			t.Errorf("%q: kept is %+v", with, r)
		}
		// So is what was said before any light, once there is one.
		dark := form
		dark.Light = ""
		blank, err := p.Plan(dark)
		if err != nil {
			t.Fatal(with, err)
		}
		dark.Light, dark.With, dark.Own = form.Light, "", profiles.OwnOf(blank.Spec.Reckoned)
		if then, err := p.Plan(dark); err != nil || then.Exposure != plan.Exposure {
			t.Errorf("%q, and the light later: %v, %v", with, then.Exposure, err)
		}
		// A light edited later keeps what is the picture's own.
		again := form
		again.With, again.Own = "", profiles.OwnOf(r)
		if then, err := p.Plan(again); err != nil || then.Exposure != plan.Exposure {
			t.Errorf("%q, asked again: %v, %v", with, then.Exposure, err)
		}
	}
	for _, bad := range []string{"filter", "filter much", "filter -1", "lens 2", "subject far away"} {
		form.With = bad
		for _, light := range []string{"EV 12", ""} {
			form.Light = light
			if _, err := p.Plan(form); err == nil {
				t.Errorf("%q is taken, in the light %q", bad, light)
			}
		}
	}
	// A time and its light together: the time is the user's, the light is known.
	form.With, form.Light = "", "overcast 5m"
	plan, err := p.Plan(form)
	if err != nil || plan.Exposure != 5*time.Minute || !plan.ByHand || plan.Spec.Reckoned.Lit == nil || plan.Spec.Reckoned.Lit.EV != 12 || plan.Spec.Reckoned.Lit.As != "overcast" {
		t.Errorf("%+v %v", plan, err)
	}
	for typed, light := range map[string]string{"EV 12 1/3, 90s": "EV 12 1/3", "f/16 1/125 4m30s": "f/16 1/125", "sun, back lit 10m": "sun, back lit"} {
		form.Light = typed
		if plan, err := p.Plan(form); err != nil || !plan.ByHand || plan.Spec.Reckoned.Lit.As != strings.ToLower(light) {
			t.Errorf("%q: %+v %v", typed, plan.Spec.Reckoned, err)
		}
	}
	form.Light, form.Celsius = "EV 12", "0"
	if _, err := p.Plan(form); err == nil {
		t.Error("a developer at 0 C is taken")
	}
}
