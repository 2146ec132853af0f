package exposure_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"wetside/session/exposure"
)

func schwarzschild() exposure.Reciprocity {
	return must(exposure.Schwarzschild(exposure.SchwarzschildsP, 1))
}

func ask(ev, n, iso float64, r exposure.Reciprocity) exposure.Ask {
	return exposure.Ask{Light: exposure.Light{EV: ev, PlusMinus: 0.3, From: "a test"}, FNumber: n, ISO: iso, Reciprocity: r}
}

func TestMetersLaw(t *testing.T) {
	// ISO 2720: EV 15 is f/16 at 1/128 s at ISO 100.
	near(t, "EV 15", exposure.MeteredSeconds(15, 16, 100), 1./128, 1e-12)
	near(t, "ISO 400", exposure.MeteredSeconds(15, 16, 400), 1./512, 1e-12)
	// EV 0 is f/1 at 1 s.
	near(t, "EV 0", exposure.MeteredSeconds(0, 1, 100), 1, 1e-12)
}

func TestSchwarzschildsLaw(t *testing.T) {
	// K. Schwarzschild, ApJ 11 (1900): i t^p is what counts, p = 0.86. A light
	// 1024 times weaker needs 1024^(1/0.86) times the time.
	r := schwarzschild()
	a, _ := r.Correct(1)
	b, _ := r.Correct(1024)
	near(t, "ratio", b/a, math.Pow(1024, 1/0.86), 1e-6)
	// i t^p is the same before and after.
	near(t, "i t^p", math.Pow(b, 0.86)/1024, 1, 1e-12)
	c, beyond := r.Correct(0.25)
	if c != 0.25 || beyond {
		t.Errorf("below where failure begins: %g %v", c, beyond)
	}
}

// f/150, ISO 3, slightly overcast: about 4 min, which lies between EV 12 and EV
// 13 once reciprocity is in. Common practice, no source.
func TestFourMinutesSlightlyOvercast(t *testing.T) {
	dim := must(exposure.Reckon(ask(12, 150, 3, schwarzschild()))).Seconds
	bright := must(exposure.Reckon(ask(13, 150, 3, schwarzschild()))).Seconds
	if !(bright < 240 && 240 < dim) {
		t.Errorf("240 s is not between %.0f s at EV 13 and %.0f s at EV 12", bright, dim)
	}
	a := ask(0, 150, 3, schwarzschild())
	a.Light = must(exposure.ParseLight("slightly overcast"))
	got := must(exposure.Reckon(a)).Seconds
	if off := 0.86 * math.Log2(got/240); math.Abs(off) > 1./2 {
		t.Errorf("slightly overcast gives %.0f s, %+.2f stop from 4 min", got, off)
	}
}

func TestReciprocityTable(t *testing.T) {
	r := must(exposure.FromTable([]exposure.Pair{{100, 400}, {1, 1}, {10, 20}})) // out of order on purpose
	for _, c := range []struct {
		in, want float64
		beyond   bool
	}{
		{1, 1, false}, {10, 20, false}, {100, 400, false},
		{math.Sqrt(10), math.Sqrt(20), false},               // halfway in log-log
		{math.Sqrt(1000), math.Sqrt(20 * 400), false},       // and in the second piece
		{1000, 400 * 20, true},                              // on along the last slope
		{0.5, 0.5, true},                                    // with the first line's loss
		{100.0001, 400 * math.Pow(1.000001, 1.30103), true}, // just past the end
		{99.9999, 400 * math.Pow(0.999999, 1.30103), false}, // just before it
		{9.9999, 20 * math.Pow(0.99999, math.Log10(20)), false},
	} {
		got, beyond := r.Correct(c.in)
		near(t, fmt.Sprint(c.in, " s"), got/c.want, 1, 1e-9)
		if beyond != c.beyond {
			t.Errorf("%g s: extrapolated %v", c.in, beyond)
		}
	}
	for _, bad := range [][]exposure.Pair{
		nil, {{1, 1}}, {{1, 1}, {1, 2}}, {{10, 5}, {100, 300}}, {{1, 10}, {2, 10}}, {{0, 1}, {2, 3}}, {{math.NaN(), 1}, {2, 3}}, {{1, math.Inf(1)}, {2, 3}}, {{-1, 1}, {2, 3}},
	} {
		_, err := exposure.FromTable(bad)
		sentence(t, fmt.Sprint(bad), err)
	}
}

func TestParseReciprocity(t *testing.T) {
	for _, in := range []string{"none", "p 0.86 from 1 s", "p 0.9 from 2.5 s", "1:1 10:15 100:250"} {
		r, err := exposure.ParseReciprocity(in)
		if err != nil || r.String() != in {
			t.Errorf("%q: %v, %v", in, r, err)
		}
	}
	for in, want := range map[string]string{"p=0.86": "p 0.86 from 1 s", "P 0.86 from 2": "p 0.86 from 2 s", "100:250 1s:1s": "1:1 100:250"} {
		r, err := exposure.ParseReciprocity(in)
		if err != nil || r.String() != want {
			t.Errorf("%q: %v, %v, want %s", in, r, err, want)
		}
	}
	for _, in := range []string{"", "p", "p 0", "p 1.2", "p 0.86 from 0", "p x from y", "1:1", "1:", "10:15 100", "bad", "p NaN", "2:1 3:2", "-1:1 2:2"} {
		_, err := exposure.ParseReciprocity(in)
		sentence(t, in, err)
	}
	if (exposure.Reciprocity{}).String() != "none" || (exposure.Reciprocity{}).Check() != nil {
		t.Error("the zero value is not none")
	}
	sentence(t, "model", exposure.Reciprocity{Model: "guess"}.Check())
	sentence(t, "empty table", exposure.Reciprocity{Model: exposure.ByTable}.Check())
	sentence(t, "no exponent", exposure.Reciprocity{Model: exposure.ByExponent}.Check())
}

func anyReciprocity(t *rapid.T) exposure.Reciprocity {
	switch rapid.IntRange(0, 2).Draw(t, "model") {
	case 1:
		return must(exposure.Schwarzschild(rapid.Float64Range(0.6, 1).Draw(t, "p"), rapid.Float64Range(0.1, 10).Draw(t, "from")))
	case 2:
		m, loss := 0.5, 1.0
		var pairs []exposure.Pair
		for range rapid.IntRange(2, 6).Draw(t, "lines") {
			m *= rapid.Float64Range(1.5, 10).Draw(t, "ratio")
			loss *= rapid.Float64Range(1, 2).Draw(t, "loss")
			if m > exposure.MaxSeconds {
				break
			}
			pairs = append(pairs, exposure.Pair{Measured: m, Corrected: m * loss})
		}
		return must(exposure.FromTable(pairs))
	}
	return exposure.Reciprocity{}
}

func TestReciprocityThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := anyReciprocity(t)
		x := math.Exp2(rapid.Float64Range(-4, 14).Draw(t, "octave"))
		c, _ := r.Correct(x)
		back := r.Metered(c)
		if math.Abs(back/x-1) > 1e-9 {
			t.Fatalf("%s: %g s becomes %g s and back %g s", r, x, c, back)
		}
		if more, _ := r.Correct(x * 1.01); !(more > c) {
			t.Fatalf("%s: %g s does not rise", r, x)
		}
		if c < x*(1-1e-12) {
			t.Fatalf("%s shortens %g s to %g s", r, x, c)
		}
	})
}

func TestReckonIsMonotonousAndInverts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := ask(rapid.Float64Range(8, 16).Draw(t, "EV"), rapid.Float64Range(50, 300).Draw(t, "f"), rapid.Float64Range(1, 100).Draw(t, "ISO"), anyReciprocity(t))
		a.Filter = rapid.Float64Range(0, 2).Draw(t, "filter")
		a.Warm = rapid.Float64Range(0, 2).Draw(t, "warm")
		a.Preflash = rapid.Float64Range(0, 1).Draw(t, "flash")
		a.Learned = &exposure.Correction{Stops: rapid.Float64Range(-2, 2).Draw(t, "learned"), SD: 0.3, Low: -0.4, High: 0.4, N: 1}
		r, err := exposure.Reckon(a)
		if err != nil {
			if !strings.Contains(err.Error(), "more than a day") {
				t.Fatal(err)
			}
			t.Skip("more than a day")
		}
		// Backwards: from the time, by the meter's law N^2/t = 2^EV at ISO 100.
		metered := a.Reciprocity.Metered(r.Seconds)
		if ev := math.Log2(a.FNumber*a.FNumber*100/(a.ISO*metered)) + r.Stops; math.Abs(ev-a.Light.EV) > 1e-9 {
			t.Fatalf("EV %g gives %g s, which gives EV %g", a.Light.EV, r.Seconds, ev)
		}
		for i, less := range []func(*exposure.Ask){
			func(a *exposure.Ask) { a.Light.EV += 0.1 },
			func(a *exposure.Ask) { a.FNumber /= 1.05 },
			func(a *exposure.Ask) { a.ISO *= 1.05 },
			func(a *exposure.Ask) { a.Filter -= a.Filter / 2; a.Light.EV += 1e-6 },
			func(a *exposure.Ask) { a.Preflash += 0.1 },
		} {
			b := a
			less(&b)
			if s := must(exposure.Reckon(b)).Seconds; !(s < r.Seconds) {
				t.Fatalf("change %d: %g s is not less than %g s", i, s, r.Seconds)
			}
		}
		for i := 1; i < len(r.Bracket); i++ {
			if !(r.Bracket[i].Seconds > r.Bracket[i-1].Seconds) {
				t.Fatalf("bracket %v", r.Bracket)
			}
		}
		if len(r.Working()) < 3 || r.Sentence() == "" {
			t.Fatal("no working")
		}
	})
}

func TestAStopIsAStopOfLight(t *testing.T) {
	// A filter of a stop is the same as a light of one EV less.
	a, b := ask(13, 150, 3, schwarzschild()), ask(12, 150, 3, schwarzschild())
	a.Filter = 1
	near(t, "filter", must(exposure.Reckon(a)).Seconds, must(exposure.Reckon(b)).Seconds, 1e-9)
	// Pre-flash and warm light the other way and the same way.
	a.Preflash, a.Warm = 0.5, 0.5
	near(t, "flash and warm", must(exposure.Reckon(a)).Seconds, must(exposure.Reckon(b)).Seconds, 1e-9)
	// A learned correction leaves the base alone.
	a.Learned = &exposure.Correction{Stops: 1, SD: 0.1}
	r := must(exposure.Reckon(a))
	near(t, "base", r.Base, must(exposure.Reckon(b)).Seconds, 1e-9)
	near(t, "learned", r.Seconds, must(exposure.Reckon(ask(11, 150, 3, schwarzschild()))).Seconds, 1e-9)
}

func TestTheWholeAnswer(t *testing.T) {
	a := ask(0, 150, 3, schwarzschild())
	a.Light = must(exposure.ParseLight("f/16 1/30"))
	a.Warm = 1. / 3
	r := must(exposure.Reckon(a))
	// By hand: 256 x 30 = 7680 = 2^12.907; 22500 / (7680 x 0.03) = 97.66 s; x
	// 1.26 = 123.0 s; to the power 1.163 = 269 s; a stop is 2^1.163 = 2.24.
	want := "EV 12.9 at f/150 on ISO 3: expose 4 min 30 s (bracket 2 min to 10 min)"
	if got := r.Sentence(); got != want {
		t.Errorf("says %q, want %q", got, want)
	}
	wantWorking := []string{
		"light: EV 12.9 at ISO 100, from f/16 and 1/30 s at ISO 100, give or take 1/3 stop",
		"metered: t = N^2 / (2^EV x S/100) = 150^2 / (2^12.907 x 3/100) = 97.7 s",
		"warm light (judgement): +1/3 stop",
		"together +1/3 stop: 97.7 s x 2^0.333 = 123 s",
		"reciprocity: 1 x (123/1)^(1/0.86) = 269 s",
		"rounded to what a person can do: 4 min 30 s",
		"bracket -1 stop: 2 min",
		"bracket +1 stop: 10 min",
	}
	if got := r.Working(); !slices.Equal(got, wantWorking) {
		t.Errorf("working:\n%s\nwant:\n%s", strings.Join(got, "\n"), strings.Join(wantWorking, "\n"))
	}
}

func TestPlainRefusals(t *testing.T) {
	for name, a := range map[string]exposure.Ask{
		"EV of -20":      ask(-20, 150, 3, schwarzschild()),
		"f/0":            ask(12, 0, 3, schwarzschild()),
		"ISO 0":          ask(12, 150, 0, schwarzschild()),
		"more than days": ask(-6, 300, 0.5, schwarzschild()),
		"at once":        ask(20, 1, 100000, exposure.Reciprocity{}),
		"bad table":      ask(12, 150, 3, exposure.Reciprocity{Model: exposure.ByTable}),
	} {
		_, err := exposure.Reckon(a)
		sentence(t, name, err)
	}
	for _, v := range odd {
		for i, set := range []func(*exposure.Ask){
			func(a *exposure.Ask) { a.Light.EV = v * 100 },
			func(a *exposure.Ask) { a.FNumber = v },
			func(a *exposure.Ask) { a.ISO = v },
			func(a *exposure.Ask) { a.Filter = v },
			func(a *exposure.Ask) { a.Preflash = v },
			func(a *exposure.Ask) { a.Warm = v },
			func(a *exposure.Ask) { a.Spread = v },
			func(a *exposure.Ask) { a.Learned = &exposure.Correction{Stops: v * 100} },
			func(a *exposure.Ask) { a.Learned = &exposure.Correction{SD: v} },
		} {
			a := ask(12, 150, 3, schwarzschild())
			set(&a)
			_, err := exposure.Reckon(a)
			sentence(t, fmt.Sprint(v, " in field ", i), err)
		}
		if v != -1 {
			_, err := exposure.Shift(time.Minute, v, exposure.Reciprocity{})
			sentence(t, fmt.Sprint("shift ", v), err)
		}
	}
}

// Every line of the sum that the whole answer above has not.
func TestWorkingNamesWhatWasReckonedWith(t *testing.T) {
	for _, c := range []struct {
		set   func(*exposure.Ask)
		lines []string // in the working
		notes []string
	}{
		{func(a *exposure.Ask) { a.Light.From, a.Reciprocity = "", exposure.Reciprocity{} },
			[]string{"light: EV 12 at ISO 100, from as given, give or take 0.3 stop", "reciprocity: none taken into account"}, nil},
		{func(a *exposure.Ask) { a.Filter, a.Preflash = 2, 0.5 },
			[]string{"filter: +2 stops", "pre-flash: -1/2 stop", "together +1 1/2 stops: 183 s x 2^1.5 = 518 s"}, nil},
		// At EV 20 it is 0.72 s: below the second from which the paper fails.
		{func(a *exposure.Ask) { a.Light.EV = 20 }, []string{"reciprocity: none below 1 s"},
			[]string{"a hand cannot time less than a second: a shutter can, or a filter of 1 stop makes it more"}},
		{func(a *exposure.Ask) { a.Warm = 1 }, nil, []string{"the allowance for warm light is a judgement, not a measurement"}},
		// 183 s x 2^7 is 6.5 h, with reciprocity 51 h: let one stop less be the most.
		{func(a *exposure.Ask) { a.Light.EV, a.Spread = 6.5, 2 }, nil, []string{"the longest of the bracket would take more than a day and is left out"}},
	} {
		a := ask(12, 150, 3, schwarzschild())
		c.set(&a)
		r := must(exposure.Reckon(a))
		w := r.Working()
		for _, l := range c.lines {
			if !slices.Contains(w, l) {
				t.Errorf("%q is not in the working:\n%s", l, strings.Join(w, "\n"))
			}
		}
		if !slices.Equal(r.Notes, c.notes) {
			t.Errorf("noted %q, want %q", r.Notes, c.notes)
		}
	}
	// With nothing added there is nothing to sum up.
	if w := must(exposure.Reckon(ask(12, 150, 3, schwarzschild()))).Working(); slices.ContainsFunc(w, func(l string) bool { return strings.HasPrefix(l, "together") || strings.HasPrefix(l, "filter") }) {
		t.Errorf("%q", w)
	}
}

func TestRound(t *testing.T) {
	for in, want := range map[float64]float64{0.2: 0.2, 0.77: 0.77, 1.04: 1, 3.32: 3.3, 4.97: 5, 12.4: 12, 59.7: 60, 61: 60, 63: 65, 299: 300, 304: 300, 500: 495, 4000: 4020, 20000: 20100} {
		near(t, fmt.Sprint(in), exposure.Round(in), want, 1e-12)
	}
	last := 0.0
	for s := 0.01; s < exposure.MaxSeconds; s *= 1.001 {
		r := exposure.Round(s)
		if r < last {
			t.Fatalf("%g s rounds to %g s, below the one before", s, r)
		}
		if off := math.Abs(math.Log2(r / s)); off > 1.0/12 {
			t.Fatalf("%g s rounds to %g s, %.2f stop away", s, r, off)
		}
		last = r
	}
}

func TestExtrapolationIsSaid(t *testing.T) {
	table := must(exposure.FromTable([]exposure.Pair{{1, 1}, {10, 15}, {100, 250}}))
	inside := must(exposure.Reckon(ask(14, 150, 3, table)))
	outside := must(exposure.Reckon(ask(11, 150, 3, table)))
	if inside.Beyond || !outside.Beyond {
		t.Errorf("beyond: %v inside, %v outside", inside.Beyond, outside.Beyond)
	}
	if !strings.Contains(outside.Sentence(), "beyond your table: a guess") || !strings.Contains(strings.Join(outside.Working(), "\n"), "EXTRAPOLATED") || len(outside.Notes) == 0 {
		t.Errorf("not said: %q %q %q", outside.Sentence(), outside.Working(), outside.Notes)
	}
	// 150^2 / (2^11 x 0.03) is 366 s, and a 512th of it 0.715 s.
	for ev, want := range map[float64]string{11: "a metered time of 6 min 6 s is longer than the last line of ", 20: "a metered time of 0.72 s is shorter than the first line of "} {
		if r := must(exposure.Reckon(ask(ev, 150, 3, table))); !strings.HasPrefix(r.Notes[0], want) {
			t.Errorf("EV %g: %q, want %q", ev, r.Notes[0], want)
		}
	}
	// Its lines may be in any order.
	back := must(exposure.FromTable([]exposure.Pair{{100, 250}, {1, 1}, {10, 15}}))
	near(t, "the lines turned round", must(exposure.Reckon(ask(14, 150, 3, back))).Seconds, inside.Seconds, 1e-9)
}
