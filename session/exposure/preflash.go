package exposure

import (
	"fmt"
	"math"

	"wetside/session/words"
)

// A Patch is one step of a test strip.
type Patch struct {
	Number int     // 1 is the least exposed
	Total  float64 // s, all the light this patch gets
	Add    float64 // s, how long to switch on for this step
}

// Strip plans a test strip in equal ratios: n patches from first seconds up,
// each step stops more than the one before. Equal seconds would crowd the last
// patches and leave the first far apart.
//
// The whole sheet gets the first Add; then, before each further Add, cover one
// more patch. The patch covered first is number 1.
func Strip(first, step float64, n int) ([]Patch, error) {
	if err := check("the first step", first, 0.5, 3600, "s"); err != nil {
		return nil, err
	}
	if err := check("a step", step, 0.1, 3, "stops"); err != nil {
		return nil, err
	}
	if n < 2 || n > 20 {
		return nil, fmt.Errorf("a test strip of %d patches cannot be made: choose between 2 and 20", n)
	}
	var strip []Patch
	last := 0.0
	for i := range n {
		total := first * math.Exp2(step*float64(i))
		if total > MaxSeconds {
			return nil, fmt.Errorf("patch %d would take %s, more than a day: fewer patches or smaller steps", i+1, words.Long(total))
		}
		strip = append(strip, Patch{i + 1, total, total - last})
		last = total
	}
	return strip, nil
}

// Threshold is the longest flash, in seconds, that was seen to leave no tone: the
// last patch that looks like unexposed paper (unchanged; 0 when even the first has
// changed). more is by how many stops the true one may lie above it, at most: the
// next patch did change. Keep it per paper, lamp and distance.
func Threshold(strip []Patch, unchanged int) (seconds, more float64, err error) {
	switch {
	case len(strip) < 2:
		return 0, 0, fmt.Errorf("there is no test strip to judge: make one of at least 2 patches")
	case unchanged < 1:
		return 0, 0, fmt.Errorf("every patch has changed: make the strip again with a dimmer lamp or a shorter first step")
	case unchanged >= len(strip):
		return 0, 0, fmt.Errorf("no patch has changed: make the strip again with longer steps or a brighter lamp")
	}
	a, b := strip[unchanged-1].Total, strip[unchanged].Total
	if !(a > 0) || !(b > a) || math.IsInf(b, 0) {
		return 0, 0, fmt.Errorf("the patches do not grow: give the strip as it was planned")
	}
	return a, math.Log2(b / a), nil
}

// MaxSoftening, in stops, is where lifting the shadows further brings the flash
// so near the threshold that the paper's evenness decides.
const MaxSoftening = 3.0

// Preflash is the flash time for a wanted softening, from the paper's threshold
// in seconds.
//
// The rule, stated and not measured: exposures add. A shadow that lies s stops
// below the threshold gets 2^-s of it from the scene; a flash of 1 - 2^-s of the
// threshold lifts it just to where tone begins. One stop of softening is half
// the threshold, two are three quarters. Common practice, no source.
func Preflash(threshold, softening float64) (float64, error) {
	if err := check("a threshold", threshold, 0.1, 3600, "s"); err != nil {
		return 0, err
	}
	if err := check("a softening", softening, 0, MaxSoftening, "stops"); err != nil {
		return 0, err
	}
	return threshold * (1 - math.Exp2(-softening)), nil
}
