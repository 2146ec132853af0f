package profiles

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"wetside/session/words"
)

// A Duration is a time as people write it: "1m30s", "90 s", "1 min 30 s",
// "1.5 h". It is never negative, and every number carries its unit.
type Duration time.Duration

// longest keeps sums of times far from overflow; a year outlasts any exposure.
const longest = 366 * 24 * time.Hour

var timeUnits = []struct {
	names []string
	size  time.Duration
}{
	{[]string{"d", "day", "days"}, 24 * time.Hour},
	{[]string{"h", "hour", "hours"}, time.Hour},
	{[]string{"m", "min", "mins", "minute", "minutes"}, time.Minute},
	{[]string{"s", "sec", "secs", "second", "seconds"}, time.Second},
	{[]string{"ms"}, time.Millisecond},
}

// clockRE is a length of time as a clock prints it: minutes and seconds, or hours
// before them.
var clockRE = regexp.MustCompile(`^(?:(\d{1,3}):([0-5]?\d)|(\d{1,3})):([0-5]\d)$`)

// ParseDuration reads a time, with units or as a clock prints it (4:30). Units go from the larger to the smaller, each at
// most once: days, h, min (or m), s, ms. The error says what to write instead.
func ParseDuration(s string) (time.Duration, error) {
	const write = `write a time like "90s", "1m30s" or "8 h"`
	rest := strings.TrimSpace(s)
	switch {
	case rest == "":
		return 0, errors.New("the time is empty: " + write)
	case strings.HasPrefix(rest, "-"), strings.HasPrefix(rest, "−"):
		return 0, fmt.Errorf("%q is negative, and no time is: %s", s, write)
	case strings.Contains(rest, ":"):
		m := clockRE.FindStringSubmatch(rest)
		if m == nil {
			return 0, fmt.Errorf("%q is no time of a clock, like 4:30 or 1:04:30: %s", s, write)
		}
		h, _ := strconv.Atoi(m[1])
		min, _ := strconv.Atoi(m[2] + m[3])
		sec, _ := strconv.Atoi(m[4])
		return time.Duration(h)*time.Hour + time.Duration(min)*time.Minute + time.Duration(sec)*time.Second, nil
	}
	var sum time.Duration
	last := -1
	for rest != "" {
		n, unit, after, ok := leadingNumber(rest)
		if !ok {
			return 0, fmt.Errorf("%q is not a time: %s", s, write)
		}
		at := timeUnit(unit)
		switch {
		case unit == "":
			return 0, fmt.Errorf(`%q has no unit: write "%ss" for seconds or "%sm" for minutes`, s, words.Exact(n), words.Exact(n))
		case at < 0:
			return 0, fmt.Errorf("%q is not a unit of time (h, min, s are): %s", unit, write)
		case at <= last:
			return 0, fmt.Errorf("%q has its units out of order or twice: larger first, as in \"1h 20m\"", s)
		}
		last = at
		part := math.Round(n * float64(timeUnits[at].size))
		if part > float64(longest) || sum+time.Duration(part) > longest {
			return 0, fmt.Errorf("%q is longer than a year", s)
		}
		sum += time.Duration(part)
		rest = strings.TrimSpace(after)
	}
	return sum, nil
}

// timeUnit is the place of a unit in timeUnits; -1: it is none.
func timeUnit(name string) int {
	for i, u := range timeUnits {
		if slices.Contains(u.names, strings.ToLower(name)) {
			return i
		}
	}
	return -1
}

// leadingNumber splits "1.5 min 30 s" into 1.5, "min" and " 30 s".
func leadingNumber(s string) (n float64, unit, rest string, ok bool) {
	behind := strings.TrimLeft(s, "0123456789.,")
	number := s[:len(s)-len(behind)]
	n, ok = words.ReadDecimal(number)
	if !ok || len(number) > 20 || words.Thousands(number) {
		return 0, "", "", false
	}
	behind = strings.TrimLeftFunc(behind, unicode.IsSpace)
	rest = strings.TrimLeftFunc(behind, unicode.IsLetter)
	return n, behind[:len(behind)-len(rest)], rest, true
}

// UnmarshalText reads a time; see ParseDuration.
func (d *Duration) UnmarshalText(b []byte) error {
	v, err := ParseDuration(string(b))
	*d = Duration(v)
	return err
}

// MarshalText writes the time as String does.
func (d Duration) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// String writes the time with units, as a profile would: "1m30s", "30m", "8h".
func (d Duration) String() string { return words.Units(time.Duration(d)) }

// A Length is in millimetres: "75 mm", "7.5 cm", "2 7/8 in", "450 nm".
type Length float64

func justNumber(s string) bool {
	_, ok := words.ReadNumber(strings.TrimSpace(words.PlainSigns.Replace(s)))
	return ok
}

// readMeasure reads a measure that carries its unit.
func readMeasure[T ~float64](to *T, s, kind, example string, units []words.Unit) error {
	value, _, err := words.ReadMeasure(s, units)
	*to = T(value)
	var which *words.UnknownUnitError
	var comma *words.CommaError
	switch {
	case err == nil && value > 1e9:
		err = fmt.Errorf("%q is too large", s)
	case err == nil:
		*to = T(tidy(value))
	case err == words.ErrNegative:
		err = fmt.Errorf("%q is negative: write %s like %q", s, kind, example)
	case err == words.ErrNoUnit && justNumber(s):
		err = fmt.Errorf("%q has no unit: write %s like %q", s, kind, strings.TrimSpace(s)+strings.TrimLeft(example, "0123456789"))
	case errors.As(err, &which):
		err = fmt.Errorf("%w: write %s like %q", err, kind, example)
	case !errors.As(err, &comma):
		err = fmt.Errorf("%q is not %s: write one like %q", s, kind, example)
	}
	return err
}

// tidy takes off the noise that a change of unit leaves behind.
func tidy(f float64) float64 {
	if f == 0 {
		return 0
	}
	scale := math.Pow(10, 12-math.Ceil(math.Log10(math.Abs(f))))
	if math.IsInf(scale, 0) || scale == 0 {
		return f
	}
	return math.Round(f*scale) / scale
}

// UnmarshalText reads a length.
func (l *Length) UnmarshalText(b []byte) error {
	return readMeasure(l, string(b), "a length", "75 mm", words.Lengths)
}

// MarshalText writes the length as String does.
func (l Length) MarshalText() ([]byte, error) { return []byte(l.String()), nil }

// String writes the length in mm, or in nm where it is a wavelength.
func (l Length) String() string {
	if l != 0 && l < 0.001 {
		return words.Exact(tidy(float64(l)*1e6)) + " nm"
	}
	return words.Exact(float64(l)) + " mm"
}

// MM is the length in millimetres.
func (l Length) MM() float64 { return float64(l) }

// NM is the length in nanometres.
func (l Length) NM() float64 { return tidy(float64(l) * 1e6) }

// A Size is that of a sheet, width first: "9x12 cm", "5x7 in", "2 1/4 x 3 1/4 in",
// "90 x 120 mm". In a curved camera the width lies along the arc.
type Size struct {
	W, H Length
	unit string // as it was written, so that inches come back as inches
}

// UnmarshalText reads a size.
func (z *Size) UnmarshalText(b []byte) error {
	const example = `write a size like "9x12 cm" or "5x7 in"`
	s := strings.TrimSpace(string(b))
	w, h, ok := strings.Cut(strings.ToLower(strings.ReplaceAll(s, "×", "x")), "x")
	if !ok {
		return fmt.Errorf("%q is not a size: %s", s, example)
	}
	high, name, err := words.ReadMeasure(h, words.Lengths)
	if err == words.ErrNoUnit {
		return fmt.Errorf("%q has no unit: %s", s, example)
	}
	if _, ok := words.ReadNumber(w); ok {
		w += " " + name
	}
	wide, _, werr := words.ReadMeasure(w, words.Lengths)
	if err != nil || werr != nil {
		return fmt.Errorf("%q is not a size: %s", s, example)
	}
	out := Size{Length(tidy(wide)), Length(tidy(high)), name}
	if out.W <= 0 || out.H <= 0 {
		return fmt.Errorf("%q has a side of nothing: %s", s, example)
	}
	if out.W > 5000 || out.H > 5000 {
		return fmt.Errorf("%q is larger than 5 m: %s", s, example)
	}
	*z = out
	return nil
}

// MarshalText writes the size as String does.
func (z Size) MarshalText() ([]byte, error) { return []byte(z.String()), nil }

// String writes the size in the unit it was given in, or in cm.
func (z Size) String() string {
	name, size := "cm", 10.0
	for _, u := range words.Lengths {
		if u.Names[0] == z.unit {
			name, size = z.unit, u.Size
		}
	}
	return words.Exact(tidy(float64(z.W)/size)) + "x" + words.Exact(tidy(float64(z.H)/size)) + " " + name
}

// AreaCM2 is one side of the sheet in square centimetres.
func (z Size) AreaCM2() float64 { return tidy(float64(z.W) * float64(z.H) / 100) }

// A Volume is in millilitres: "500 ml", "1 l", "1 qt", "16 fl oz".
type Volume float64

// UnmarshalText reads a volume.
func (v *Volume) UnmarshalText(b []byte) error {
	return readMeasure(v, string(b), "a volume", "500 ml", words.Volumes)
}

// MarshalText writes the volume as String does.
func (v Volume) MarshalText() ([]byte, error) { return []byte(v.String()), nil }

// String writes the volume in ml.
func (v Volume) String() string { return words.Exact(float64(v)) + " ml" }

// A Capacity is what a litre of bath can do, in square centimetres of paper:
// "8000 cm2/l", "0.8 m2/l", or as data sheets put it, "40 sheets of 8x10 in/l" or
// "120 sheets of 8x10 in per gallon".
type Capacity float64

// areas are in square centimetres.
var areas = []words.Unit{
	{Names: []string{"cm sq", "sq cm"}, Size: 1},
	{Names: []string{"m sq", "sq m"}, Size: 1e4},
	{Names: []string{"in sq", "sq in"}, Size: 2.54 * 2.54},
	{Names: []string{"ft sq", "sq ft"}, Size: 30.48 * 30.48},
}

// UnmarshalText reads a capacity.
func (c *Capacity) UnmarshalText(b []byte) error {
	const example = `write a capacity like "8000 cm2/l" or "40 sheets of 8x10 in/l"`
	s := strings.TrimSpace(string(b))
	head, litres, ok := cutPer(s)
	if !ok {
		return fmt.Errorf("%q does not say for how much solution: %s", s, example)
	}
	if n, size, ok := cutSheets(head); ok {
		var z Size
		if err := z.UnmarshalText([]byte(size)); err != nil {
			return err
		}
		f, ok := words.ReadDecimal(n)
		if !ok || !(f > 0) || f > 1e6 {
			return fmt.Errorf("%q is not a number of sheets: %s", n, example)
		}
		*c = Capacity(tidy(f * z.AreaCM2() / litres))
		return nil
	}
	for _, two := range []string{"2", "²"} {
		if a, ok := strings.CutSuffix(head, two); ok {
			head = a + " sq"
			break
		}
	}
	err := readMeasure(c, head, "a capacity", "8000 cm2/l", areas)
	*c = Capacity(tidy(float64(*c) / litres))
	return err
}

// cutPer takes off for how many litres a capacity is said: "/l", "per gallon", "a
// litre".
func cutPer(s string) (head string, litres float64, ok bool) {
	t := strings.ToLower(s)
	for _, between := range []string{"/", " per ", " a "} {
		i := strings.LastIndex(t, between)
		if i < 0 {
			continue
		}
		volume := strings.TrimSpace(t[i+len(between):])
		if !strings.ContainsAny(volume[:min(1, len(volume))], "0123456789") {
			volume = "1 " + volume
		}
		if ml, _, err := words.ReadMeasure(volume, words.Volumes); err == nil && ml > 0 {
			return strings.TrimSpace(t[:i]), ml / 1000, true
		}
	}
	return s, 0, false
}

func cutUnit(s string, tails ...string) (string, bool) {
	for _, t := range tails {
		if h, ok := strings.CutSuffix(strings.ToLower(s), t); ok {
			return strings.TrimSpace(h), true
		}
	}
	return s, false
}

func cutSheets(s string) (n, size string, ok bool) {
	for _, mid := range []string{"sheets of", "sheets", "sheet of"} {
		if n, size, ok := strings.Cut(s, mid); ok {
			return strings.TrimSpace(n), strings.TrimSpace(size), true
		}
	}
	return "", "", false
}

// MarshalText writes the capacity as String does.
func (c Capacity) MarshalText() ([]byte, error) { return []byte(c.String()), nil }

// String writes the capacity in cm2/l.
func (c Capacity) String() string { return words.Exact(float64(c)) + " cm2/l" }

// Celsius is a temperature: "20 C", "20.5 °C", "68 F".
type Celsius float64

// UnmarshalText reads a temperature.
func (c *Celsius) UnmarshalText(b []byte) error {
	s := strings.TrimSpace(string(b))
	t := strings.TrimSpace(strings.ReplaceAll(s, "°", ""))
	num, fahrenheit := t, false
	if h, ok := cutUnit(t, "c"); ok {
		num = h
	} else if h, ok := cutUnit(t, "f"); ok {
		num, fahrenheit = h, true
	} else if _, ok := words.ReadNumber(t); ok {
		return fmt.Errorf(`%q has no unit: write "%s C"`, s, t)
	} else {
		return fmt.Errorf(`%q is not a temperature: write one like "20 C"`, s)
	}
	f, ok := words.ReadNumber(num)
	if !ok {
		return fmt.Errorf(`%q is not a temperature: write one like "20 C"`, s)
	}
	if fahrenheit {
		f = tidy((f - 32) / 1.8)
	}
	if f < 0 || f > 100 {
		return fmt.Errorf(`%q is not the temperature of a bath: write one like "20 C"`, s)
	}
	*c = Celsius(f)
	return nil
}

// MarshalText writes the temperature as String does.
func (c Celsius) MarshalText() ([]byte, error) { return []byte(c.String()), nil }

// String writes the temperature in degrees Celsius.
func (c Celsius) String() string { return words.Exact(float64(c)) + " C" }

// Share is a part of a whole, "2 %", if it is Known.
type Share struct {
	Of    float64 // 1 is the whole
	Known bool
}

// UnmarshalText reads a percentage.
func (s *Share) UnmarshalText(b []byte) error {
	num, ok := strings.CutSuffix(strings.TrimSpace(string(b)), "%")
	f, is := words.ReadNumber(strings.TrimSpace(num))
	if !ok || !is || f < 0 || f > 100 {
		return fmt.Errorf(`%q is no part of a whole: write one like "2 %%"`, b)
	}
	*s = Share{f / 100, true}
	return nil
}

// MarshalText writes it as String does.
func (s Share) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// String writes it to a tenth of a percent; empty where it is not known.
func (s Share) String() string {
	if !s.Known {
		return ""
	}
	return words.Exact(math.Round(s.Of*1000)/10) + " %"
}

// A Dilution is the parts of a working solution, stock first: "1+9", "1+1+100".
// "stock" is the stock solution as it is, one part alone; "water" holds none.
type Dilution string

// parseDilution reads a dilution.
func parseDilution(s string) (Dilution, error) {
	const example = `write parts like "1+9", or "stock" for undiluted`
	t := strings.ToLower(strings.ReplaceAll(strings.TrimSpace(s), " ", ""))
	if t == "stock" || t == "water" {
		return Dilution(t), nil
	}
	if strings.Contains(t, ":") {
		return "", fmt.Errorf("%q can be read two ways (1:9 is one part in nine, or one and nine): %s", s, example)
	}
	parts := strings.Split(t, "+")
	if len(parts) < 2 {
		return "", fmt.Errorf("%q is not a dilution: %s", s, example)
	}
	for _, p := range parts {
		if f, ok := words.ReadDecimal(p); !ok || f <= 0 || f > 1e4 {
			return "", fmt.Errorf("%q is not a dilution: %s", s, example)
		}
	}
	return Dilution(strings.ReplaceAll(t, ",", ".")), nil
}

// UnmarshalText reads a dilution.
func (d *Dilution) UnmarshalText(b []byte) error {
	v, err := parseDilution(string(b))
	*d = v
	return err
}
