// Package exposure reckons the exposure of paper behind a pinhole: from the
// light to the time, and from the judged sheet to the next time.
//
// The way through it is short. [Pinhole] gives an f-number. [ParseLight], or a
// sky from [Skies], gives the light as an exposure value at ISO 100.
// [Reckon] puts the two together with the paper's speed and its reciprocity
// failure and answers with a time, a bracket, a sentence, and the sum behind
// it. While the pinhole is open and the light changes, [Shift] gives the new
// full time; the session keeps the share of exposure already given. Afterwards
// a sheet is judged in stops; [Learn] turns all judged sheets of a camera and a
// paper into the correction for the next one and says how sure it is.
//
// The package is arithmetic alone: it does no I/O, reads no clock, and imports
// nothing else of the project.
//
// Units, unless a comment says otherwise: lengths in millimetres, wavelengths in
// nanometres, times in seconds, light in EV at ISO 100, everything else in
// stops (a stop is a factor of two in light). A positive number of stops in a
// light is more light; a positive number of stops in a correction or a
// judgement is more exposure.
//
// Every error is one sentence that says what to type instead.
package exposure

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"wetside/session/words"
)

// check answers a number that is not a number, or out of its range, with a
// sentence. The bounds are included.
func check(what string, v, lo, hi float64, unit string) error {
	if unit != "" {
		unit = " " + unit
	}
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return fmt.Errorf("%s is not a number: give one between %s and %s%s", what, words.Num(lo), words.Num(hi), unit)
	}
	if v < lo || v > hi {
		return fmt.Errorf("%s of %s%s is out of range: give one between %s and %s%s", what, words.Num(v), unit, words.Num(lo), words.Num(hi), unit)
	}
	return nil
}

// fractions are the ways people write parts of a stop.
var fractions = strings.NewReplacer(
	"½", " 1/2", "⅓", " 1/3", "⅔", " 2/3", "¼", " 1/4", "¾", " 3/4",
	"−", "-", "–", "-",
)

// parseMixed reads "12", "12.5", "12,5", "1/3", "12 1/3", "12⅓" and "-1/3".
func parseMixed(s string) (float64, bool) {
	s = strings.TrimSpace(fractions.Replace(s))
	sign := 1.0
	switch {
	case strings.HasPrefix(s, "-"):
		sign, s = -1, strings.TrimSpace(s[1:])
	case strings.HasPrefix(s, "+"):
		s = strings.TrimSpace(s[1:])
	}
	f := strings.Fields(s)
	if len(f) == 0 || len(f) > 2 {
		return 0, false
	}
	whole, ok := parseRatio(f[0])
	if !ok {
		return 0, false
	}
	if len(f) == 2 {
		if strings.ContainsAny(f[0], "/.,") || !strings.Contains(f[1], "/") {
			return 0, false
		}
		part, ok := parseRatio(f[1])
		if !ok {
			return 0, false
		}
		whole += part
	}
	return sign*whole + 0, true // and no -0
}

// parseRatio reads an unsigned "2", "2.5", "2,5" or "1/125".
func parseRatio(s string) (float64, bool) {
	a, b, found := strings.Cut(s, "/")
	x, ok := parsePlain(a)
	if !ok || !found {
		return x, ok
	}
	y, ok := parsePlain(b)
	if !ok || y == 0 {
		return 0, false
	}
	return x / y, true
}

// parsePlain reads unsigned digits with at most one point or comma. It is
// narrower than strconv: no sign, exponent, "inf", "nan" or hexadecimal.
func parsePlain(s string) (float64, bool) {
	s = strings.Replace(s, ",", ".", 1)
	for _, c := range s {
		if c != '.' && (c < '0' || c > '9') {
			return 0, false
		}
	}
	v, err := strconv.ParseFloat(s, 64)
	return v, err == nil && !math.IsInf(v, 0)
}

// ParseStops reads a number of stops: "1/3", "+2/3", "-1", "1 1/3", "0.5",
// with or without the word "stop" or "stops" behind it.
func ParseStops(s string) (float64, error) {
	t := strings.ToLower(strings.TrimSpace(s))
	t = strings.TrimSuffix(strings.TrimSuffix(t, "s"), "stop")
	v, ok := parseMixed(t)
	if !ok {
		return 0, fmt.Errorf("%q is not a number of stops: type one such as 1/3, -1 or 1.5", words.Clip(s))
	}
	return v, check("a change", v, -20, 20, "stops")
}
