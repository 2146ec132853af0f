package main

import (
	"math"
	"testing"

	"wetside/profiles"
	"wetside/session/exposure"
	"wetside/tui"
)

// A camera that needs exactly one stop more, judged without error, is to be
// learned as one stop.
func TestOneStopIsLearnedAsOneStop(t *testing.T) {
	set, err := profiles.Load(nil)
	if err != nil {
		t.Fatal(err)
	}
	var sheets []exposure.Judged
	p := &planner{set: set, judged: func() []exposure.Judged { return sheets }}
	f := tui.Form{Paper: "direct-positive-fb", Process: "three-trays", Camera: "tea-caddy", Light: "overcast"}
	paper, err := set.Paper(f.Paper)
	if err != nil {
		t.Fatal(err)
	}
	rec := reciprocity(paper)
	var judged float64
	for range 30 {
		p.dirty = true
		plan, err := p.plan(f)
		if err != nil {
			t.Fatal(err)
		}
		base, _ := rec.Metered(plan.Spec.Base.Seconds())
		given, _ := rec.Metered(plan.Exposure.Seconds())
		judged = 1 - math.Log2(given/base) // what it still lacks, in light
		sheets = append(sheets, exposure.Judged{Camera: f.Camera, Paper: f.Paper, Seconds: plan.Spec.Base.Seconds(),
			Given: exposure.GivenStops(plan.Spec.Learned, 1), Stops: judged})
	}
	if math.Abs(judged) > 0.1 {
		t.Errorf("after 30 sheets each is still judged %+.2f stop: the correction does not settle where the sheets are right", judged)
	}
}
