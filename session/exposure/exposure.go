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

// ParseStops reads a number of stops: "1/3", "+2/3", "-1", "1 1/3", "0.5",
// with or without the word "stop" or "stops" behind it.
func ParseStops(s string) (float64, error) {
	t := strings.ToLower(strings.TrimSpace(s))
	t = strings.TrimSuffix(strings.TrimSuffix(t, "s"), "stop")
	v, ok := words.ReadNumber(t)
	if !ok {
		return 0, fmt.Errorf("%q is not a number of stops: type one such as 1/3, -1 or 1.5", words.Clip(s))
	}
	return v, check("a change", v, -20, 20, "stops")
}
