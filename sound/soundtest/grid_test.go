package soundtest

import (
	"math"
	"testing"

	"wetside/sound"
)

// The grid of the motifs' frequencies lies within what the listener hears, up to
// its end; what lies above is not taken for something within.
func TestTheGridIsHeard(t *testing.T) {
	level := func(hz float64) float64 {
		in := make([]float32, sound.Rate)
		for i := range in {
			in[i] = float32(math.Sin(2 * math.Pi * hz * float64(i) / sound.Rate))
		}
		sum, out := 0.0, slow(in)
		for _, v := range out[rate/4 : 3*rate/4] {
			sum += v * v
		}
		return math.Sqrt(2 * sum / float64(rate/2))
	}
	for hz := float64(sound.GridLow); hz <= sound.GridHigh; hz += sound.GridStep {
		if l := level(hz); l < 0.9 || l > 1.1 {
			t.Errorf("%g Hz comes through at %.2f", hz, l)
		}
	}
	for hz := 6000.0 - sound.GridHigh; hz < 20000; hz += 110 {
		if l := level(hz); l > 0.1 {
			t.Errorf("%g Hz comes through at %.2f, and would be taken for another", hz, l)
		}
	}
}
