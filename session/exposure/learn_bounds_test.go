package exposure_test

import (
	"math"
	"testing"

	"wetside/session/exposure"
)

// Whatever may be judged can be learned from: one sheet, mistyped or cut short at
// once, does not take away what all the others have taught.
func TestOneSheetFarOffDoesNotEndTheLearning(t *testing.T) {
	good := exposure.Judged{ID: "sheet 1", Camera: "tea caddy", Paper: "direct positive", Seconds: 240, Stops: 1}
	for name, far := range map[string]exposure.Judged{
		"16 for 1.6":         {Stops: 16},
		"as far as it goes":  {Stops: -20},
		"a day, cut short":   {Given: exposure.GivenStops(-10, 0.5/exposure.MaxSeconds), Stops: 20},
		"left open all week": {Given: exposure.GivenStops(10, 1e6), Stops: -20},
	} {
		far.ID, far.Camera, far.Paper, far.Seconds = "sheet 2", "hat box", "paper negative", 60
		m, err := exposure.Learn([]exposure.Judged{good, far}, exposure.WeakPrior)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if c, err := m.Predict("tea caddy", "direct positive", 240); err != nil || math.Abs(c.Stops-1) > 0.2 {
			t.Errorf("%s: %+v, %v", name, c, err)
		}
	}
}
