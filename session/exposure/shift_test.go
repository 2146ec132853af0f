package exposure_test

import (
	"math"
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
