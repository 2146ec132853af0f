package words

import (
	"math"
	"strconv"
)

// Stops writes a signed number of stops: halves and thirds as fractions,
// anything else with one decimal: "+1 1/3", "-1/2", "+0.4", "0".
func Stops(v float64) string {
	s := stops(math.Abs(v))
	switch {
	case s == "0" || math.IsNaN(v):
		return s
	case v < 0:
		return "-" + s
	}
	return "+" + s
}

// StopsOf writes how many stops there are, with the word and without a sign:
// "1/2 stop", "1 stop", "1 1/3 stops", "0 stops".
func StopsOf(v float64) string {
	s := stops(math.Abs(v))
	if a := math.Abs(v); s != "0" && a < 1.05 {
		return s + " stop"
	}
	return s + " stops"
}

// StopsNumber is StopsOf without the word, for a row of them: "1/2", "1 1/3".
func StopsNumber(v float64) string { return stops(math.Abs(v)) }

// stops writes a number of stops that is not below 0.
func stops(a float64) string {
	if math.IsNaN(a) || math.IsInf(a, 0) {
		return "unknown"
	}
	// A hundredth of a stop is less than anybody sees.
	for _, part := range []float64{2, 3} {
		n := math.Round(a * part)
		if math.Abs(a-n/part) >= 0.01 || a > 1e6 {
			continue
		}
		whole, rest := int(n)/int(part), int(n)%int(part)
		fraction := strconv.Itoa(rest) + "/" + strconv.Itoa(int(part))
		switch {
		case rest == 0:
			return strconv.Itoa(whole)
		case whole == 0:
			return fraction
		}
		return strconv.Itoa(whole) + " " + fraction
	}
	return Decimals(a, 1)
}

// StopsBy is StopsOf with its sign: "+1/2 stop", "-1 1/3 stops".
func StopsBy(v float64) string {
	if s := Stops(v); s[0] == '+' || s[0] == '-' {
		return s[:1] + StopsOf(v)
	}
	return StopsOf(v)
}
