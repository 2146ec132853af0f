package profiles

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"wetside/session/words"
)

func TestDurations(t *testing.T) {
	for s, want := range map[string]time.Duration{
		"4:30": 4*time.Minute + 30*time.Second, "90:00": 90 * time.Minute, "1:04:30": time.Hour + 4*time.Minute + 30*time.Second,
		"90s": 90 * time.Second, "90 s": 90 * time.Second, "1m30s": 90 * time.Second, "1 min 30 s": 90 * time.Second,
		"1 MIN 30 SEC": 90 * time.Second, "1.5 min": 90 * time.Second, " 2 hours ": 2 * time.Hour, "1h20m": 80 * time.Minute,
		"0s": 0, "1 d 6 h": 30 * time.Hour, "0.25s": 250 * time.Millisecond, "500ms": 500 * time.Millisecond, ".5 h": 30 * time.Minute,
	} {
		if got, err := ParseDuration(s); err != nil || got != want {
			t.Errorf("%q: %v, %v", s, got, err)
		}
	}
	for s, want := range map[string]string{
		"":                             "is empty",
		"-5s":                          "is negative",
		"−5s":                          "is negative",
		"90":                           `write "90s" for seconds or "90m" for minutes`,
		"1m30":                         `write "30s"`,
		"1:75":                         "is no time of a clock",
		"1:60:00":                      "is no time of a clock",
		"1:3":                          "is no time of a clock",
		"30s 1m":                       "out of order or twice",
		"1s 1s":                        "out of order or twice",
		"5 fortnite":                   `"fortnite" is not a unit of time`,
		"five min":                     "is not a time",
		"1..5 s":                       "is not a time",
		"1e3 s":                        `"e" is not a unit`,
		"NaN s":                        "is not a time",
		"367 d":                        "longer than a year",
		"99999999999999999999999999 h": "is not a time",
		"1m and 30s":                   "is not a time",
	} {
		if got, err := ParseDuration(s); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, %v; want an error with %q", s, got, err, want)
		}
	}
}

func TestADurationIsWrittenAsTyped(t *testing.T) {
	for want, d := range map[string]time.Duration{
		"0s": 0, "1m30s": 90 * time.Second, "30m": 30 * time.Minute, "8h": 8 * time.Hour, "1h5s": time.Hour + 5*time.Second, "1.5s": 1500 * time.Millisecond,
	} {
		if got := Duration(d).String(); got != want {
			t.Errorf("%v: %q, want %q", d, got, want)
		}
	}
}

// TestDurationsThereAndBack: what is written is what is read, to the nanosecond.
func TestDurationsThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := time.Duration(rapid.Int64Range(0, int64(longest)).Draw(t, "d"))
		if got, err := ParseDuration(Duration(d).String()); err != nil || got != d {
			t.Fatalf("%v wrote %q, read %v, %v", d, Duration(d), got, err)
		}
	})
}

// TestDurationsAsSpoken: any way of writing h, min and s together gives their
// sum; and the library's own durations read the same.
func TestDurationsAsSpoken(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := rapid.IntRange(0, 99).Draw(t, "h")
		m := rapid.IntRange(0, 99).Draw(t, "m")
		s := rapid.IntRange(0, 99).Draw(t, "s")
		pick := func(name string, w ...string) string { return rapid.SampledFrom(w).Draw(t, name) }
		gap := func(n string) string { return pick(n, "", " ", "  ") }
		text := fmt.Sprintf("%d%s%s%s%d%s%s%s%d%s%s", h, gap("a"), pick("hu", "h", "hours", "H"), gap("b"),
			m, gap("c"), pick("mu", "m", "min", "minutes"), gap("d"), s, gap("e"), pick("su", "s", "sec", "seconds"))
		want := time.Duration(h)*time.Hour + time.Duration(m)*time.Minute + time.Duration(s)*time.Second
		if got, err := ParseDuration(text); err != nil || got != want {
			t.Fatalf("%q: %v, %v; want %v", text, got, err, want)
		}
		if got, err := ParseDuration(want.String()); err != nil || got != want {
			t.Fatalf("%q: %v, %v", want, got, err)
		}
	})
}

// TestNeverNegative: whatever is typed, a time that is taken is 0 or more and at
// most a year.
func TestNeverNegative(t *testing.T) {
	text := rapid.StringMatching(`[-+.0-9hmsdMin ]{0,12}`)
	rapid.Check(t, func(t *rapid.T) {
		s := text.Draw(t, "s")
		if d, err := ParseDuration(s); err == nil && (d < 0 || d > longest) {
			t.Fatalf("%q: %v", s, d)
		}
	})
}

// TestQuantities. Outside: the inch is 25.4 mm exactly (ISO 31-1 and the
// international yard and pound agreement of 1959), the foot 12 of them, the US
// gallon 231 cubic inches (NIST Handbook 44), the imperial 4.54609 l, of 128 and
// 160 fluid ounces, and C = (F - 32)/1.8.
func TestQuantities(t *testing.T) {
	lengths := map[string]float64{"75 mm": 75, "7.5 cm": 75, "7.5cm": 75, "0.5 mm": 0.5, "3 in": 76.2, "450 nm": 0.00045, "300 um": 0.3, "1 m": 1000,
		"7,5 cm": 75, "2 7/8 in": 73.025, "2-7/8in": 73.025, "2⅞ in": 73.025, `3"`: 76.2, "6 ft": 1828.8, "5 ft 3 in": 1600.2, `5'3"`: 1600.2, "1/4 in.": 6.35}
	for s, want := range lengths {
		var l Length
		if err := l.UnmarshalText([]byte(s)); err != nil || l.MM() != want {
			t.Errorf("%q: %v, %v", s, l.MM(), err)
		}
	}
	if l := Length(0.00045); l.String() != "450 nm" || l.NM() != 450 {
		t.Errorf("%v %v", l, l.NM())
	}
	sizes := map[string]struct {
		w, h, area float64
		back       string
	}{
		"9x12 cm": {90, 120, 108, "9x12 cm"}, "9 x 12 cm": {90, 120, 108, "9x12 cm"}, "5x7 in": {127, 177.8, 225.806, "5x7 in"},
		"2 1/4 x 3 1/4 in": {57.15, 82.55, 47.177325, "2.25x3.25 in"}, "9,5x12 cm": {95, 120, 114, "9.5x12 cm"}, `8"x10"`: {203.2, 254, 516.128, "8x10 in"}, "1x2 ft": {304.8, 609.6, 1858.06080, "1x2 ft"},
		"90×120 mm": {90, 120, 108, "90x120 mm"}, "9 cm x 12 cm": {90, 120, 108, "9x12 cm"}, "8X10 IN": {203.2, 254, 516.128, "8x10 in"},
	}
	for s, want := range sizes {
		var z Size
		if err := z.UnmarshalText([]byte(s)); err != nil || z.W.MM() != want.w || z.H.MM() != want.h || z.AreaCM2() != want.area || z.String() != want.back {
			t.Errorf("%q: %v %v %v %q, %v", s, z.W.MM(), z.H.MM(), z.AreaCM2(), z, err)
		}
	}
	volumes := map[string]float64{"500 ml": 500, "1 l": 1000, "1.5L": 1500, "50 cl": 500,
		"1,5 l": 1500, "1 gal": 3785.411784, "1 US gal": 3785.411784, "1 imp gal": 4546.09, "2 qt": 1892.705892, "1/2 gallon": 1892.705892,
		"16 fl oz": 473.176473, "16 fl. oz.": 473.176473, "20 imp fl oz": 568.26125, "1 pt": 473.176473, "1 qt 4 fl oz": 1064.64706425}
	for s, want := range volumes {
		var v Volume
		if err := v.UnmarshalText([]byte(s)); err != nil || float64(v) != want {
			t.Errorf("%q: %v, %v", s, v, err)
		}
	}
	// 40 sheets of 8x10 in are 40 x 516.128 cm2.
	capacities := map[string]float64{"8000 cm2/l": 8000, "0.8 m2/l": 8000, "8000 cm² / l": 8000, "40 sheets of 8x10 in/l": 20645.12, "40 sheets 8x10 in per litre": 20645.12,
		// 80 square inches of one sheet; 231 cubic inches a gallon.
		"120 sheets of 8x10 in per gallon": 16361.591165, "80 in2/gal": 136.346593, "1 sq ft/qt": 981.695470}
	for s, want := range capacities {
		var c Capacity
		if err := c.UnmarshalText([]byte(s)); err != nil || math.Abs(float64(c)-want) > 1e-5 {
			t.Errorf("%q: %v, %v", s, c, err)
		}
	}
	temperatures := map[string]float64{"20 C": 20, "20.5 °C": 20.5, "20c": 20, "68 F": 20, "20,5 C": 20.5, "68°F": 20, "75,2 F": 24, "0 C": 0, "32 F": 0, "212 F": 100}
	for s, want := range temperatures {
		var c Celsius
		if err := c.UnmarshalText([]byte(s)); err != nil || float64(c) != want {
			t.Errorf("%q: %v, %v", s, c, err)
		}
	}
	dilutions := map[string]Dilution{"1+9": "1+9", "1 + 9": "1+9", "1+1+100": "1+1+100", "stock": "stock", "Stock": "stock", "water": "water", "1+0.5": "1+0.5", "1+0,5": "1+0.5"}
	for s, want := range dilutions {
		if got, err := parseDilution(s); err != nil || got != want {
			t.Errorf("%q: %v, %v", s, got, err)
		}
	}
}

func TestQuantitiesRefused(t *testing.T) {
	for _, c := range []struct {
		into interface{ UnmarshalText([]byte) error }
		text string
		want string
	}{
		{new(Length), "", "is not a length"},
		{new(Length), "75", `has no unit: write a length like "75 mm"`},
		{new(Length), "120 mm 0.3", "is not a length"},
		{new(Length), "75 furlong", `"furlong" is not a unit here`},
		{new(Length), "-1 mm", "is negative"},
		{new(Length), "NaN mm", "is not a length"},
		{new(Length), "9999999999999 m", "too large"},
		{new(Size), "9", "is not a size"},
		{new(Size), "9x12x3 cm", "is not a size"},
		{new(Size), "9x cm", "is not a size"},
		{new(Size), "-9x12 cm", "is not a size"},
		{new(Size), "9x12 m", "larger than 5 m"},
		{new(Volume), "1 cup", `"cup" is not a unit here`},
		{new(Volume), "1,500 ml", "may part thousands or decimals"},
		{new(Volume), "3 in 5 ft", `"in" is not a unit here`},
		{new(Length), "3 in 5 ft", "is not a length"},
		{new(Capacity), "8000 cm2", "for how much solution"},
		{new(Capacity), "some sheets of 8x10 in/l", "is not a number of sheets"},
		{new(Capacity), "40 sheets of 8x10/l", "has no unit"},
		{new(Celsius), "20", `write "20 C"`},
		{new(Celsius), "NaN C", "is not a temperature"},
		{new(Celsius), "-3 C", "not the temperature of a bath"},
		{new(Celsius), "293 K", "is not a temperature"},
		{new(Celsius), "120 C", "not the temperature of a bath"},
		{new(Dilution), "1:9", "two ways"},
		{new(Dilution), "9", "is not a dilution"},
		{new(Dilution), "1+0", "is not a dilution"},
		{new(Dilution), "1+-9", "is not a dilution"},
		{new(Dilution), "1+x", "is not a dilution"},
		{new(Dilution), "0x1+1e2", "is not a dilution"},
		{new(Agitation), "often", "does not say when to rock"},
		{new(Agitation), "first 0s", "a first spell of nothing"},
		{new(Agitation), "0s every 1m", "a spell of nothing"},
		{new(Agitation), "1m every 1m", `write "continuous"`},
		{new(Agitation), "1ms every 10ms", "faster than any hand"},
		{new(Agitation), "first 30s, 10 every 1m", "has no unit"},
	} {
		if err := c.into.UnmarshalText([]byte(c.text)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%T %q: %v; want an error with %q", c.into, c.text, err, c.want)
		}
	}
}

func TestAgitation(t *testing.T) {
	for s, want := range map[string]Agitation{
		"continuous":                    {Continuous: true},
		"none":                          {},
		"10s every 1m":                  {For: 10 * time.Second, Every: time.Minute},
		"First 30 s, then 10s every 1m": {First: 30 * time.Second, For: 10 * time.Second, Every: time.Minute},
		"first 30s, 10s every 1 min":    {First: 30 * time.Second, For: 10 * time.Second, Every: time.Minute},
		"first 30s":                     {First: 30 * time.Second},
	} {
		var a Agitation
		if err := a.UnmarshalText([]byte(s)); err != nil || a != want {
			t.Errorf("%q: %+v, %v", s, a, err)
			continue
		}
		var back Agitation
		if err := back.UnmarshalText([]byte(a.String())); err != nil || back != a {
			t.Errorf("%q wrote %q and read %+v, %v", s, a, back, err)
		}
	}
}

// TestQuantitiesThereAndBack: a quantity, once read, is written and read the same.
func TestQuantitiesThereAndBack(t *testing.T) {
	number := rapid.Float64Range(0.001, 5000)
	rapid.Check(t, func(t *rapid.T) {
		n := number.Draw(t, "n")
		unit := rapid.SampledFrom([]string{"mm", "cm", "in", "um", "nm", "m"}).Draw(t, "unit")
		var l, back Length
		text := words.Exact(math.Round(n*1000)/1000) + " " + unit
		if err := l.UnmarshalText([]byte(text)); err != nil {
			t.Fatal(err)
		}
		if err := back.UnmarshalText([]byte(l.String())); err != nil || back != l {
			t.Fatalf("%q: %v wrote %q and read %v, %v", text, float64(l), l, float64(back), err)
		}
		side := rapid.IntRange(1, 400)
		w, h := side.Draw(t, "w"), side.Draw(t, "h")
		unit = rapid.SampledFrom([]string{"mm", "cm", "in"}).Draw(t, "size unit")
		var z, zback Size
		text = fmt.Sprintf("%dx%d %s", w, h, unit)
		if err := z.UnmarshalText([]byte(text)); err != nil {
			if unit != "mm" && strings.Contains(err.Error(), "larger than 5 m") {
				return
			}
			t.Fatal(err)
		}
		if err := zback.UnmarshalText([]byte(z.String())); err != nil || zback != z || z.String() != text {
			t.Fatalf("%q: wrote %q, read %+v, %v", text, z, zback, err)
		}
	})
}
