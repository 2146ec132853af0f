package exposure_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"wetside/session/exposure"
)

func TestParseLight(t *testing.T) {
	for in, want := range map[string]float64{
		"EV 12.5": 12.5, "ev12.5": 12.5, "12.5": 12.5, "12,5": 12.5, "EV 12 1/3": 12 + 1./3, "EV 12⅓": 12 + 1./3, "EV -2": -2,
		"EV 14 at ISO 400": 12, "ev 14 iso 400": 12,
		// ISO 2720: EV 15 is f/16 at 1/128 s at ISO 100.
		"f/16 1/128": 15, "f16 1/128": 15, "F/16 at 1/128 s": 15, "f/16, 1/128": 15, "f/16 1/128 iso 100": 15,
		"f/16 1/128 iso 400": 13, "f/16 1/125": math.Log2(256 * 125), "f/8 2": 5, "f/8 0.5s": 7, "1/128 f/16": 15, "1/128 s at f/16": 15, "f/16 1/128 ISO400": 13, "iso 400 f/16 1/128": 13, "f/16 at ISO 400, 1/128 sec": 13, "EV14 ISO400": 12, "f/5,6 1/60": math.Log2(5.6 * 5.6 * 60), "f/5.6 1/60 at ISO 200": math.Log2(5.6*5.6*60) - 1,
		// C = 250: EV 0 is 2.5 lux (ISO 2720 with a flat receptor).
		"2.5 lux": 0, "2500 lux": math.Log2(1000), "2,5 lux": 0, "80 klx": math.Log2(32000), "81920 lx": 15,
		// ANSI PH2.7 daylight table.
		"snow": 16, "sun on sand": 16, "sun, distinct shadows": 15, "Sunny": 15, "hazy sun": 14, "soft shadows": 14,
		"cloudy bright, no shadows": 13, "no shadows": 13, "heavy overcast": 12, "overcast": 12, "open shade": 12, "shade": 12,
		"slightly overcast": 13, "sunset": 12,
		"sun side lit": 14, "sun, back lit": 13, "hazy backlit": 12, "backlit": 13,
		"open shade back lit": 12, // no direct sun, no side
	} {
		l, err := exposure.ParseLight(in)
		if err != nil {
			t.Errorf("%q: %v", in, err)
			continue
		}
		near(t, in, l.EV, want, 1e-9)
		if l.From == "" || !(l.PlusMinus > 0) {
			t.Errorf("%q: does not say what it is from and how sure: %+v", in, l)
		}
	}
	for _, in := range []string{
		"", "  ", "EV", "EV twelve", "EV -20", "EV 99", "EV NaN", "EV inf", "ev 1e2", "f/16", "f/16 fast", "f/0 1/125", "f/16 1/0", "f/16 0",
		"f/16 1/125 iso", "f/16 1/125 iso 0", "f/16 1/125 iso x", "lux", "-5 lux", "0 lux", "99999999999 lux", "moonish", "bright", "sun and 5", "12 13", "5/0",
		"f/16 1/125 iso 100 iso 200", "f/16,1/125", "f/16 f/8 1/125", "f/0 1/125", "iso 400", "f 1/125 iso", "EV f/16 1/125", "EV", "f/16 iso 400", "EV 12\nEV 13", "f/f/16 1/125x", strings.Repeat("9", 400), strings.Repeat("sun ", 400), "\xff\xfe", "\x1b[31m",
	} {
		_, err := exposure.ParseLight(in)
		sentence(t, fmt.Sprintf("%.30q", in), err)
	}
}

// What was typed is said back, with how far it may be off: the guide's rule for the side
// is rough (ANSI PH2.7).
func TestALightSaysWhatItIsFrom(t *testing.T) {
	for in, want := range map[string]exposure.Light{
		"EV 12":               {From: "EV 12", PlusMinus: 1. / 3},
		"EV 14 at ISO 400":    {From: "EV 14 at ISO 400", PlusMinus: 1. / 3},
		"f/16 1/128":          {From: "f/16 and 1/128 s at ISO 100", PlusMinus: 1. / 3},
		"f/8 0.5s":            {From: "f/8 and 0.5 s at ISO 100", PlusMinus: 1. / 3},
		"sun":                 {Row: "sun, distinct shadows", PlusMinus: 0.5},
		"sun side lit":        {Row: "sun, distinct shadows, side lit", PlusMinus: 0.75},
		"open shade side lit": {Row: "open shade", PlusMinus: 0.5},
	} {
		l := must(exposure.ParseLight(in))
		if want.From != "" && l.From != want.From || l.Row != want.Row || l.PlusMinus != want.PlusMinus {
			t.Errorf("%q is from %q, row %q, give or take %g; want %+v", in, l.From, l.Row, l.PlusMinus, want)
		}
		if want.Row != "" && strings.Contains(l.From, ", side lit -1 (") != strings.HasSuffix(want.Row, "side lit") {
			t.Errorf("%q is from %q", in, l.From)
		}
	}
}

func TestSkiesAreTheDaylightTable(t *testing.T) {
	// ANSI PH2.7: 16 snow or sand in sun, 15 distinct shadows, 14 soft
	// shadows, 13 no shadows, 12 heavy overcast or open shade.
	want := map[string]float64{
		"sun on snow or sand": 16, "sun, distinct shadows": 15, "hazy sun, soft shadows": 14,
		"cloudy bright, no shadows": 13, "heavy overcast": 12, "open shade": 12,
	}
	seen := map[string]string{}
	for i, s := range exposure.Skies {
		if ev, ok := want[s.Words]; ok && ev != s.EV {
			t.Errorf("%s: EV %g, want %g", s.Words, s.EV, ev)
		}
		delete(want, s.Words)
		if i > 0 && s.EV > exposure.Skies[i-1].EV {
			t.Errorf("%s is brighter than the row above", s.Words)
		}
		if s.Source == "" {
			t.Errorf("%s has no source", s.Words)
		}
		for _, w := range append([]string{s.Words}, s.Also...) {
			key := strings.Join(strings.Fields(strings.ReplaceAll(w, ",", " ")), " ")
			if by, dup := seen[key]; dup && by != s.Words {
				t.Errorf("%q means both %s and %s", w, by, s.Words)
			}
			seen[key] = s.Words
			if l, err := exposure.ParseLight(w); err != nil || l.EV != s.EV {
				t.Errorf("%q reads as %v, %v", w, l, err)
			}
		}
	}
	// A word for what lies between two rows says which it took.
	l := must(exposure.ParseLight("slightly overcast"))
	if l.EV != 13 || l.Row != "slightly overcast, taken as cloudy bright, no shadows" || !strings.Contains(l.From, "ANSI PH2.7") {
		t.Errorf("%+v", l)
	}
	if len(want) > 0 {
		t.Errorf("missing rows: %v", want)
	}
}

func TestLightOddNumbers(t *testing.T) {
	for _, v := range append([]float64{0}, odd...) {
		if v != 0 && v != -1 {
			_, err := exposure.FromEV(v, 100)
			sentence(t, fmt.Sprint("EV ", v), err)
		}
		_, err := exposure.FromEV(12, v)
		sentence(t, fmt.Sprint("EV at ISO ", v), err)
		_, err = exposure.FromMeter(v, 1, 100)
		sentence(t, fmt.Sprint("f/", v), err)
		_, err = exposure.FromMeter(16, v, 100)
		sentence(t, fmt.Sprint("seconds ", v), err)
		_, err = exposure.FromMeter(16, 1, v)
		sentence(t, fmt.Sprint("meter at ISO ", v), err)
		_, err = exposure.FromLux(v)
		sentence(t, fmt.Sprint("lux ", v), err)
	}
	_, err := exposure.FromEV(-20, 100)
	sentence(t, "EV -20", err)
	if !strings.Contains(err.Error(), "EV -20") {
		t.Errorf("EV -20 is answered without naming it: %v", err)
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"EV 12.5", "f/16 1/125 iso 400", "2500 lux", "sun, back lit", "12⅓", "p 0.86 from 2 s", "1:1 10:15 100:250", "0.3 mm", "-1 1/3 stops", "f/150"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if l, err := exposure.ParseLight(s); err != nil {
			sentence(t, s, err)
		} else if l.Check() != nil || l.From == "" || strings.ContainsAny(l.From, "\n\x1b") {
			t.Errorf("%q was let through as %+v", s, l)
		}
		if r, err := exposure.ParseReciprocity(s); err != nil {
			sentence(t, s, err)
		} else if err := r.Check(); err != nil {
			t.Errorf("%q was let through: %v", s, err)
		}
		if v, err := exposure.ParseStops(s); err != nil {
			sentence(t, s, err)
		} else if math.IsNaN(v) || math.Abs(v) > 20 {
			t.Errorf("%q is %v stops", s, v)
		}
		if v, err := exposure.ParseFNumber(s); err != nil {
			sentence(t, s, err)
		} else if !(v >= 1) {
			t.Errorf("%q is f/%v", s, v)
		}
		if v, err := exposure.ParseLength(s); err != nil {
			sentence(t, s, err)
		} else if !(v > 0) {
			t.Errorf("%q is %v mm", s, v)
		}
	})
}
