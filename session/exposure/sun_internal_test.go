package exposure

import (
	"math"
	"testing"
)

// J. Meeus, Astronomical Algorithms, 2nd edition, example 25.a: the sun on 1992
// October 13 at 0h TD (JDE 2448908.5), low accuracy: apparent longitude
// 199.90895, right ascension 13h 13m 31.4s, declination -7d 47' 06".
func TestMeeusExample25a(t *testing.T) {
	ra, dec, lambda := sunEquatorial(2448908.5)
	if math.Abs(lambda-199.90895) > 0.00002 {
		t.Errorf("apparent longitude %.5f, want 199.90895", lambda)
	}
	if h := turn(deg(ra)) / 15; math.Abs(h-(13+13./60+31.4/3600)) > 0.1/3600 {
		t.Errorf("right ascension %.6f h, want 13h 13m 31.4s", h)
	}
	if d := deg(dec); math.Abs(d+(7+47./60+6./3600)) > 1./3600 {
		t.Errorf("declination %.5f, want -7d 47' 06\"", d)
	}
}
