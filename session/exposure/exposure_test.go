package exposure_test

import (
	"math"
	"regexp"
	"strings"
	"testing"

	"wetside/session/exposure"
)

// near fails unless got is within tol of want.
func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %.6g, want %.6g within %.2g", what, got, want, tol)
	}
}

// must unwraps a result that may not fail.
func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

var quoted = regexp.MustCompile(`"(\\.|[^"\\])*"`)

// sentence fails unless err is there and is one sentence fit to be read by a
// person: one line, no stop inside or at the end, no raw "strconv" or "NaN".
func sentence(t *testing.T, what string, err error) {
	t.Helper()
	if err == nil {
		t.Errorf("%s: no error", what)
		return
	}
	// What the user typed comes back quoted; it may be anything.
	s := quoted.ReplaceAllString(err.Error(), `"..."`)
	if s == "" || len(s) > 200 || strings.ContainsAny(s, "\n\r\t") || strings.Contains(s, ". ") || strings.HasSuffix(s, ".") ||
		strings.Contains(s, "strconv") || strings.Contains(s, "NaN") || strings.Contains(s, "+Inf") || strings.Contains(s, "%!") {
		t.Errorf("%s: not one plain sentence: %q", what, s)
	}
}

// odd are numbers no formula should meet.
var odd = []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e300, -1e300, -1}

func TestParseStops(t *testing.T) {
	for in, want := range map[string]float64{
		"1/3": 1. / 3, "+2/3": 2. / 3, "-1": -1, "1 1/3": 4. / 3, "0.5": .5, "0,5": .5, "−1⅓": -4. / 3,
		"½": .5, "+1 stop": 1, "-2 stops": -2, "0": 0, "1½ stops": 1.5,
	} {
		got, err := exposure.ParseStops(in)
		if err != nil {
			t.Errorf("%q: %v", in, err)
			continue
		}
		near(t, in, got, want, 1e-12)
	}
	for _, in := range []string{"", "more", "1/0", "1//3", "1 2", "1.5 1/3", "1/3 1/3", "NaN", "inf", "1e3", "0x1", "--1", "99", "+", "1\n2"} {
		_, err := exposure.ParseStops(in)
		sentence(t, in, err)
	}
}

// A number out of its range is told with its unit, where it has one, and with
// the range.
func TestANumberOutOfRangeIsToldWithItsUnit(t *testing.T) {
	_, err := exposure.Preflash(0.01, 1)
	if want := "a threshold of 0.01 s is out of range: give one between 0.1 and 3600 s"; err == nil || err.Error() != want {
		t.Errorf("%v, want %s", err, want)
	}
	_, err = exposure.Reckon(ask(12, 0.5, 3, exposure.Reciprocity{}))
	if err == nil || !strings.Contains(err.Error(), " of 0.5 is out of range: give one between ") || strings.HasSuffix(err.Error(), " ") {
		t.Errorf("%v", err)
	}
	for _, none := range []string{"0", "-0", "-0/3"} {
		if v, err := exposure.ParseStops(none); err != nil || math.Signbit(v) || v != 0 {
			t.Errorf("%s stops are %v, %v", none, v, err)
		}
	}
}
