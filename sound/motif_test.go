package sound

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/dsp/fourier"

	"wetside/session"
)

// The weights of IEC 61672-1, table 3 (A, nominal frequencies; from memory).
func TestAWeightAgainstTheStandardsTable(t *testing.T) {
	for hz, want := range map[float64]float64{
		31.5: -39.4, 63: -26.2, 125: -16.1, 250: -8.6, 400: -4.8, 500: -3.2, 630: -1.9, 800: -0.8,
		1000: 0, 1250: 0.6, 1600: 1.0, 2000: 1.2, 2500: 1.3, 3150: 1.2, 4000: 1.0, 8000: -1.1,
	} {
		// The table's frequencies are rounded: 31.5 stands for 31.62.
		exact := 1000 * math.Pow(10, math.Round(10*math.Log10(hz/1000))/10)
		if got := AWeight(exact); math.Abs(got-want) > 0.06 {
			t.Errorf("A(%g Hz) = %.2f dB, want %.1f", hz, got, want)
		}
	}
}

// heardLevel measures a motif's samples as a sound level meter would: weighted
// in the spectrum, then the greatest of the mean with time weighting F.
func heardLevel(x []float32) float64 {
	n := 1 << 16
	in := make([]float64, n)
	for i, v := range x {
		in[i] = float64(v)
	}
	fft := fourier.NewFFT(n)
	c := fft.Coefficients(nil, in)
	for i := range c {
		f := fft.Freq(i) * Rate
		// IEC 61672-1 again, written out differently on purpose: poles at
		// 20.6 Hz (twice), 107.7, 737.9 and 12194 Hz (twice).
		h := 1.0
		if f == 0 {
			h = 0
		} else {
			h = f * f / (f*f + 20.598997*20.598997) * f / math.Hypot(f, 107.65265) * f / math.Hypot(f, 737.86223) *
				(12194.217 * 12194.217) / (f*f + 12194.217*12194.217) * math.Pow(10, 2.000/20)
		}
		c[i] *= complex(h, 0)
	}
	y := fft.Sequence(nil, c)
	keep := math.Exp(-1 / (0.125 * Rate))
	var mean, most float64
	for _, v := range y {
		v /= float64(n)
		mean = keep*mean + (1-keep)*v*v
		most = max(most, mean)
	}
	return 10 * math.Log10(most)
}

func TestMotifsAreEquallyLoud(t *testing.T) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, m := range motifs {
		l := heardLevel(m.render())
		if m.Soft { // below
			continue
		}
		lo, hi = min(lo, l), max(hi, l)
	}
	t.Logf("A-weighted, F, maximum: %.2f to %.2f dB re full scale", lo, hi)
	if hi-lo > 3 {
		t.Errorf("the motifs differ by %.1f dB, more than 3", hi-lo)
	}
	for _, m := range motifs {
		if !m.Soft {
			continue
		}
		if l := heardLevel(m.render()); l > lo-6 || l < lo-12 {
			t.Errorf("%s is meant to be soft: %.1f dB, the others from %.1f on", m.Name, l, lo)
		}
	}
}

func TestMotifsKeepTheirRules(t *testing.T) {
	owner := map[float64]string{}
	var all []float64
	shapes := map[string]string{}
	for _, m := range motifs {
		if l := m.Len(); l > 1200*time.Millisecond || l <= 0 {
			t.Errorf("%s lasts %v", m.Name, l)
		}
		for _, n := range m.Notes {
			if n.Hz < 400 || n.Hz > 2500 {
				t.Errorf("%s: %g Hz lies outside of 400 to 2500", m.Name, n.Hz)
			}
			if n.Len < Attack+Release {
				t.Errorf("%s: a note of %v is shorter than its edges", m.Name, n.Len)
			}
		}
		for _, f := range m.Frequencies() {
			if o := owner[f]; o != "" {
				t.Errorf("%g Hz belongs to %s and to %s", f, o, m.Name)
			}
			owner[f] = m.Name
			all = append(all, f)
		}
		peak := float32(0)
		x := m.render()
		for _, v := range x {
			peak = max(peak, v, -v)
		}
		if peak > 0.5 {
			t.Errorf("%s peaks at %.2f", m.Name, peak)
		}
		// Attacks are soft: nothing in the first milliseconds.
		for i := range samples(time.Millisecond) {
			if v := x[i]; v > peak*0.03 || v < -peak*0.03 {
				t.Errorf("%s begins with %g of its peak within 1 ms", m.Name, v/peak)
				break
			}
		}
		shape := shapeOf(m)
		if o := shapes[shape]; o != "" {
			t.Errorf("%s and %s have the same contour and rhythm", o, m.Name)
		}
		shapes[shape] = m.Name
	}
	slices.Sort(all)
	for i := 1; i < len(all); i++ {
		if d := all[i] - all[i-1]; d < 33 {
			t.Errorf("%g and %g Hz (%s, %s) are too near for a window of 64 ms", all[i-1], all[i], owner[all[i-1]], owner[all[i]])
		}
	}
}

// shapeOf writes down a motif's contour and rhythm without its register: which
// note is higher than which, and their times in units of 20 ms.
func shapeOf(m Motif) string {
	fs := m.Frequencies()
	var b strings.Builder
	for _, n := range m.Notes {
		i, _ := slices.BinarySearch(fs, n.Hz)
		b.WriteString(strings.Join([]string{string(rune('a' + i)), string(rune('0' + n.At/(20*time.Millisecond))), string(rune('0' + n.Len/(20*time.Millisecond))), " "}, ""))
	}
	return b.String()
}

func TestStageMotifsClimb(t *testing.T) {
	low, high := 0.0, 0.0
	for _, s := range session.Stages {
		m, ok := MotifFor(session.Cue{Kind: session.CueBegin, Stage: s})
		if !ok {
			t.Fatalf("%s has no motif", s)
		}
		fs := m.Frequencies()
		if fs[0] <= low || fs[len(fs)-1] <= high {
			t.Errorf("%s (%v Hz) does not lie above the stage before (%g, %g)", s, fs, low, high)
		}
		if m.Notes[0].Hz != fs[0] {
			t.Errorf("%s does not rise", s)
		}
		low, high = fs[0], fs[len(fs)-1]
	}
}

// Every cue that is marked with a motif in the list of cues has one.
func TestEveryCueHasItsSound(t *testing.T) {
	for _, k := range []session.CueKind{
		session.CueRockOn, session.CueRockOff, session.CueRock, session.CueTen, session.CueAtLeast, session.CueDrain,
		session.CueMove, session.CueCall, session.CueBack, session.CueDone, session.CueSpoiled, session.CueWashAnew,
		session.CueChange, session.CueAlive, session.CueLightOn, session.CueLightOff, session.CueCovered,
		session.CueUncovered, session.CueSafeAll, session.CueMayGoIn, session.CueBathSpent, session.CueError,
		// chimes of what is chiefly spoken
		session.CueMinutes, session.CueThirty, session.CueOver, session.CueSeen, session.CueHalf, session.CueRelight,
		session.CueSafeHalf, session.CueConflict, session.CueBathHigh,
	} {
		if _, ok := MotifFor(session.Cue{Kind: k}); !ok {
			t.Errorf("%s has no sound", k)
		}
	}
	if _, ok := MotifFor(session.Cue{Kind: session.CueSay}); ok {
		t.Error("what the user asked for is only spoken")
	}
	names := Names()
	if len(names) != len(motifs) {
		t.Errorf("%d names for %d motifs", len(names), len(motifs))
	}
	for i, n := range names {
		if m, ok := MotifFor(n.Cue); !ok || m.Name != n.Name || n.Says == "" || motifs[i].Name != n.Name {
			t.Errorf("%q plays %q and says %q", n.Name, m.Name, n.Says)
		}
	}
}
