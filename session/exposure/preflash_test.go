package exposure_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"wetside/session/exposure"
)

func TestStripHasEqualRatios(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		first := rapid.Float64Range(0.5, 20).Draw(t, "first")
		step := rapid.Float64Range(0.1, 1).Draw(t, "step")
		n := rapid.IntRange(2, 12).Draw(t, "patches")
		strip := must(exposure.Strip(first, step, n))
		sum := 0.0
		for i, p := range strip {
			sum += p.Add
			if p.Number != i+1 || math.Abs(sum/p.Total-1) > 1e-9 || !(p.Add > 0) {
				t.Fatalf("patch %+v after %g s in all", p, sum)
			}
			if i > 0 && math.Abs(math.Log2(p.Total/strip[i-1].Total)-step) > 1e-9 {
				t.Fatalf("patches %d and %d are not %g stops apart", i, i+1, step)
			}
		}
		unchanged := rapid.IntRange(1, n-1).Draw(t, "unchanged")
		th, pm, err := exposure.Threshold(strip, unchanged)
		if err != nil || th != strip[unchanged-1].Total || math.Abs(pm-step) > 1e-9 {
			t.Fatalf("threshold %g and at most %g more: %v", th, pm, err)
		}
	})
}

func TestPreflash(t *testing.T) {
	// Exposures add: half the threshold for one stop, three quarters for two.
	near(t, "one stop", must(exposure.Preflash(8, 1)), 4, 1e-12)
	near(t, "two stops", must(exposure.Preflash(8, 2)), 6, 1e-12)
	near(t, "none", must(exposure.Preflash(8, 0)), 0, 1e-12)
	rapid.Check(t, func(t *rapid.T) {
		th := rapid.Float64Range(0.5, 100).Draw(t, "threshold")
		s := rapid.Float64Range(0, exposure.MaxSoftening).Draw(t, "stops")
		f := must(exposure.Preflash(th, s))
		if !(f < th) {
			t.Fatalf("%g s of %g s", f, th)
		}
		// The shadow that far down gets just the threshold.
		if got := th*math.Exp2(-s) + f; math.Abs(got/th-1) > 1e-9 {
			t.Fatalf("shadow and flash give %g of %g s", got, th)
		}
	})
}

func TestPreflashRefusals(t *testing.T) {
	strip := must(exposure.Strip(2, 0.5, 6))
	for what, f := range map[string]func() error{
		"one patch":    func() error { _, err := exposure.Strip(2, 0.5, 1); return err },
		"hours":        func() error { _, err := exposure.Strip(3600, 3, 20); return err },
		"all changed":  func() error { _, _, err := exposure.Threshold(strip, 0); return err },
		"none changed": func() error { _, _, err := exposure.Threshold(strip, 6); return err },
		"no strip":     func() error { _, _, err := exposure.Threshold(nil, 1); return err },
		"21 patches":   func() error { _, err := exposure.Strip(2, 0.1, 21); return err },
		"one is none":  func() error { _, _, err := exposure.Threshold(strip[:1], 1); return err },
		"all alike":    func() error { _, _, err := exposure.Threshold([]exposure.Patch{{1, 2, 2}, {2, 2, 0}}, 1); return err },
		"from nothing": func() error { _, _, err := exposure.Threshold([]exposure.Patch{{1, 0, 0}, {2, 2, 2}}, 1); return err },
		"for ever": func() error {
			_, _, err := exposure.Threshold([]exposure.Patch{{1, 2, 2}, {2, math.Inf(1), 0}}, 1)
			return err
		},
		"not a strip": func() error { _, _, err := exposure.Threshold(make([]exposure.Patch, 4), 1); return err },
		"too soft":    func() error { _, err := exposure.Preflash(8, 4); return err },
	} {
		sentence(t, what, f())
	}
	if strip, err := exposure.Strip(2, 0.1, 20); err != nil || len(strip) != 20 {
		t.Errorf("twenty patches: %d, %v", len(strip), err)
	}
	// 2 x 8^5 s is 18 h, and eight times that more than a day: the seventh.
	if _, err := exposure.Strip(2, 3, 9); err == nil || !strings.HasPrefix(err.Error(), "patch 7 would take ") {
		t.Errorf("says %v", err)
	}
	for _, v := range append([]float64{0}, odd...) {
		_, err := exposure.Strip(v, 0.5, 5)
		sentence(t, fmt.Sprint("first ", v), err)
		_, err = exposure.Strip(2, v, 5)
		sentence(t, fmt.Sprint("step ", v), err)
		_, err = exposure.Preflash(v, 1)
		sentence(t, fmt.Sprint("threshold ", v), err)
		if v != 0 {
			_, err = exposure.Preflash(8, v)
			sentence(t, fmt.Sprint("softening ", v), err)
		}
	}
}
