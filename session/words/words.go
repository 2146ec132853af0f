// Package words writes times, stops, numbers, lists and foreign text for
// people, and reads the numbers and measures they write. Every face uses it, so that a figure reads the same on the screen, in
// the shell, in the record and by ear. It imports nothing of the project, and
// does no input or output.
//
// What programs read (JSON, TOML) is not written here: it keeps every digit.
package words

import (
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Num writes a number with at most three decimals and no needless zeros; far
// from 1 with three digits and a power of ten. It never writes "-0".
func Num(v float64) string {
	if a := math.Abs(v); a != 0 && (a >= 1e6 || a < 1e-4) {
		return strconv.FormatFloat(v, 'g', 3, 64)
	}
	return Decimals(v, 3)
}

// Decimals writes a number with at most n decimals (-1: all there are) and no
// needless zeros. It never writes "-0".
func Decimals(v float64, n int) string {
	s := strconv.FormatFloat(v, 'f', n, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		return "0"
	}
	return s
}

// Exact writes a number with every digit it has and no power of ten, as it can be
// read back.
func Exact(v float64) string { return Decimals(v, -1) }

// Signed is Decimals with a plus sign where v is more than nothing.
func Signed(v float64, n int) string {
	if s := Decimals(v, n); s == "0" || strings.HasPrefix(s, "-") {
		return s
	} else {
		return "+" + s
	}
}

// Sig writes a number with n significant digits and no power of ten.
func Sig(v float64, n int) string {
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return Decimals(v, 0)
	}
	return Decimals(v, max(0, n-1-int(math.Floor(math.Log10(math.Abs(v))))))
}

// Percent writes a share, 1 for all: "62%". Short of all is never "100%", unless
// by less than two thousandths of a percent, which is what a clock's grain makes.
func Percent(share float64) string {
	p := math.Round(100 * share)
	if p >= 100 && share < 1-2e-5 {
		p = 99
	}
	return Decimals(p, 0) + "%"
}

// Part writes a share as one part of so many: "1/1000"; three digits.
func Part(share float64) string {
	n := 1 / share
	if n >= 10 {
		mag := math.Pow(10, math.Floor(math.Log10(n))-2)
		n = math.Round(n/mag) * mag
	}
	return "1/" + Decimals(n, 1)
}

// Measurable is a volume in ml as one measures it: to three digits, no finer than a
// hundredth.
func Measurable(v float64) float64 {
	per := 100.0
	switch {
	case v >= 100:
		per = 1
	case v >= 10:
		per = 10
	}
	return math.Round(v*per) / per
}

// Millilitres writes a volume as one measures it, without its unit.
func Millilitres(v float64) string { return Decimals(Measurable(v), 2) }

// Count writes a number of things: "1 sheet", "2 sheets". The plural takes an s.
func Count(n int, one string) string {
	if n == 1 || n == -1 {
		return strconv.Itoa(n) + " " + one
	}
	return strconv.Itoa(n) + " " + one + "s"
}

// List joins with commas and "and": "a, b and c".
func List(of []string) string { return join(of, " and ") }

// Or joins with commas and "or": "a, b or c".
func Or(of []string) string { return join(of, " or ") }

func join(of []string, last string) string {
	n := len(of) - 1
	if n < 1 {
		return strings.Join(of, "")
	}
	return strings.Join(of[:n], ", ") + last + of[n]
}

// Sentence is a text with a capital letter, to begin a sentence.
func Sentence(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[n:]
}
