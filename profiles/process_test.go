package profiles

import (
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"wetside/session"
)

// tenMinutes is a process of one ten-minute develop step and one fix, for a
// developer that works coef times faster 10 C warmer.
func tenMinutes(coef float64, table ...Warmth) Process {
	return Process{Key: "p", Temperature: Temperature{Reference: 20, Lowest: 10, Highest: 30, Coefficient: coef, Factors: table},
		Baths: []Bath{{Name: "developer", Lengthen: 0.3}, {Name: "fixer"}},
		Steps: []Step{
			{Stage: session.Develop, Bath: "developer", Times: Times{AtLeast: Duration(5 * time.Minute), AtMost: Duration(10 * time.Minute)}, Drain: Duration(10 * time.Second)},
			{Stage: session.Fix, Bath: "fixer", Times: Times{Target: Duration(time.Minute)}},
		}}
}

// TestVantHoff: the rule of textbook kinetics that a reaction goes about twice
// as fast 10 C warmer (J. H. van 't Hoff's rule), at a coefficient of exactly 2:
// ten minutes at 20 C are five at 30 C and twenty at 10 C.
func TestVantHoff(t *testing.T) {
	p := tenMinutes(2)
	for c, want := range map[float64]time.Duration{10: 20 * time.Minute, 20: 10 * time.Minute, 30: 5 * time.Minute, 0: 10 * time.Minute} {
		sp, err := p.At(c, session.FB)
		if err != nil {
			t.Fatal(err)
		}
		if got := sp.Steps[0]; got.AtMost != want || got.AtLeast != want/2 {
			t.Errorf("at %v C: %v to %v, want %v to %v", c, got.AtLeast, got.AtMost, want/2, want)
		}
		if got := sp.Steps[1].AtMost; got != time.Minute {
			t.Errorf("at %v C fixing takes %v; only development follows temperature", c, got)
		}
	}
}

// TestArrhenius holds the coefficient to the law it stands for: rate goes with
// exp(-E/RT), S. Arrhenius 1889, R = 8.314 J/(mol K) (CODATA). With E such that
// 25 C is twice as fast as 15 C, the two agree within 2% over the range of the
// default processes.
func TestArrhenius(t *testing.T) {
	const R, zero = 8.314462618, 273.15
	E := R * math.Ln2 / (1/(15+zero) - 1/(25+zero))
	p := tenMinutes(2)
	for c := 16.0; c <= 26; c += 0.5 {
		want := math.Exp(E / R * (1/(c+zero) - 1/(20+zero)))
		got, err := p.timeFactor(c)
		if err != nil || math.Abs(got/want-1) > 0.02 {
			t.Errorf("at %v C: factor %.4f, Arrhenius %.4f, %v", c, got, want, err)
		}
	}
}

// TestTemperatureTable. The rows are those of a common time and temperature
// chart, from memory: 10 min at 20 C are about 13 at 17 C and 7 at 24 C.
func TestTemperatureTable(t *testing.T) {
	p := tenMinutes(0, Warmth{17, 1.3}, Warmth{20, 1}, Warmth{24, 0.7})
	p.Temperature.Lowest, p.Temperature.Highest = 17, 24
	for c, want := range map[float64]float64{17: 1.3, 20: 1, 24: 0.7, 22: math.Sqrt(0.7), 18.5: math.Sqrt(1.3)} {
		if got, err := p.timeFactor(c); err != nil || math.Abs(got-want) > 1e-12 {
			t.Errorf("at %v C: %v, %v; want %v", c, got, err, want)
		}
	}
}

func TestOutsideTheRange(t *testing.T) {
	p, err := load(t, nil).Process("three-trays")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []float64{15.9, 26.1, -5, 68, math.NaN(), math.Inf(1)} {
		if _, err := p.At(c, session.FB); err == nil || !strings.Contains(err.Error(), `outside the range of process "three-trays", 16 C to 26 C`) {
			t.Errorf("%v C: %v", c, err)
		}
	}
	two, err := load(t, nil).Process("two-bath-fix")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := two.At(20, session.RC); err == nil || !strings.Contains(err.Error(), "is not for RC paper") {
		t.Error(err)
	}
}

// TestWashByBase: FB washes longer than RC, and the shortened wash is shorter.
func TestWashByBase(t *testing.T) {
	p, err := load(t, nil).Process("three-trays-clear")
	if err != nil {
		t.Fatal(err)
	}
	wash := map[session.Base]session.Step{}
	for _, b := range []session.Base{session.FB, session.RC} {
		sp, err := p.At(20, b)
		if err != nil {
			t.Fatal(err)
		}
		wash[b] = sp.Steps[len(sp.Steps)-1]
		if w := wash[b]; w.Stage != session.Wash || !w.Batch || w.ShortAfter <= 0 || w.ShortAfter >= w.AtLeast {
			t.Errorf("%s: %+v", b, w)
		}
	}
	if wash[session.FB].AtLeast <= wash[session.RC].AtLeast || wash[session.FB].ShortAfter <= wash[session.RC].ShortAfter {
		t.Errorf("%+v", wash)
	}
}

func TestExhausted(t *testing.T) {
	p := tenMinutes(2)
	sp, err := p.At(0, session.FB)
	if err != nil {
		t.Fatal(err)
	}
	for share, want := range map[float64]time.Duration{0: 10 * time.Minute, 0.5: 11*time.Minute + 30*time.Second, 1: 13 * time.Minute, 7: 13 * time.Minute, -1: 10 * time.Minute} {
		got, rule := p.exhausted(sp, "developer", share)
		if got.Steps[0].AtMost != want || got.Steps[0].AtLeast != want/2 || got.Steps[1] != sp.Steps[1] {
			t.Errorf("share %v: %+v, want at most %v", share, got.Steps[0], want)
		}
		if (rule == "") != (want == 10*time.Minute) {
			t.Errorf("share %v: the rule says %q", share, rule)
		}
	}
	if sp.Steps[0].AtMost != 10*time.Minute {
		t.Error("the process given was changed")
	}
	if _, rule := p.exhausted(sp, "developer", 0.5); rule != "developer 50% used: 15% longer" {
		t.Error(rule)
	}
	for _, bath := range []string{"fixer", "no such bath"} {
		if got, rule := p.exhausted(sp, bath, 1); rule != "" || got.Steps[0] != sp.Steps[0] {
			t.Errorf("%s: %q", bath, rule)
		}
	}
}

// TestWarmerIsNeverSlower, and what comes out always runs.
func TestWarmerIsNeverSlower(t *testing.T) {
	all := load(t, nil).Processes()
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SampledFrom(all).Draw(t, "process")
		in := rapid.Float64Range(float64(p.Temperature.Lowest), float64(p.Temperature.Highest))
		cold, warm := in.Draw(t, "a"), in.Draw(t, "b")
		if cold > warm {
			cold, warm = warm, cold
		}
		a, err := p.At(cold, session.FB)
		if err != nil {
			t.Fatal(err)
		}
		b, err := p.At(warm, session.FB)
		if err != nil {
			t.Fatal(err)
		}
		for i := range a.Steps {
			for _, s := range []session.Step{a.Steps[i], b.Steps[i]} {
				if err := s.Check(); err != nil {
					t.Fatal(err)
				}
			}
			if a.Steps[i].AtMost < b.Steps[i].AtMost || a.Steps[i].AtLeast < b.Steps[i].AtLeast {
				t.Fatalf("%v at %v C is shorter than %v at %v C", a.Steps[i], cold, b.Steps[i], warm)
			}
		}
	})
}
