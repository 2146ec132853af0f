package words

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// PlainSigns turns the signs of typesetting into those of a keyboard: "½" into
// " 1/2", a true minus into a hyphen.
var PlainSigns = strings.NewReplacer(
	"½", " 1/2", "⅓", " 1/3", "⅔", " 2/3", "¼", " 1/4", "¾", " 3/4",
	"⅛", " 1/8", "⅜", " 3/8", "⅝", " 5/8", "⅞", " 7/8",
	"−", "-", "–", "-",
)

// ReadNumber reads "12", "12.5", "12,5", "1/3", "12 1/3", "12-1/3", "12⅓" and
// "-1/3". It takes no exponent, "inf", "nan" or hexadecimal.
func ReadNumber(s string) (float64, bool) {
	s = strings.TrimSpace(PlainSigns.Replace(s))
	sign := 1.0
	switch {
	case strings.HasPrefix(s, "-"):
		sign, s = -1, strings.TrimSpace(s[1:])
	case strings.HasPrefix(s, "+"):
		s = strings.TrimSpace(s[1:])
	}
	if strings.Contains(s, "/") {
		s = strings.Replace(s, "-", " ", 1) // 2-7/8, as some rules have it
	}
	f := strings.Fields(s)
	if len(f) == 0 || len(f) > 2 {
		return 0, false
	}
	whole, ok := readRatio(f[0])
	if !ok {
		return 0, false
	}
	if len(f) == 2 {
		if strings.ContainsAny(f[0], "/.,") || !strings.Contains(f[1], "/") {
			return 0, false
		}
		part, ok := readRatio(f[1])
		if !ok {
			return 0, false
		}
		whole += part
	}
	return sign*whole + 0, true // and no -0
}

// readRatio reads an unsigned "2", "2.5", "2,5" or "1/125".
func readRatio(s string) (float64, bool) {
	a, b, found := strings.Cut(s, "/")
	x, ok := ReadDecimal(a)
	if !ok || !found {
		return x, ok
	}
	y, ok := ReadDecimal(b)
	if !ok || y == 0 {
		return 0, false
	}
	return x / y, true
}

// ReadDecimal reads unsigned digits with at most one point or comma. It is
// narrower than strconv: no sign, exponent, "inf", "nan" or hexadecimal.
func ReadDecimal(s string) (float64, bool) {
	s = strings.Replace(s, ",", ".", 1)
	for _, c := range s {
		if c != '.' && (c < '0' || c > '9') {
			return 0, false
		}
	}
	v, err := strconv.ParseFloat(s, 64)
	return v, err == nil && !math.IsInf(v, 0)
}

// Thousands reports whether the comma of a number may part thousands as well as
// decimals: "1,500". Guessing is wrong by a thousand.
func Thousands(s string) bool { return thousands.MatchString(s) }

var thousands = regexp.MustCompile(`^[1-9]\d{0,2},\d{3}$`)

// A Unit is what a measure may be written in, and its size in the base unit of
// its kind. The first name is the one to write.
type Unit struct {
	Names []string
	Size  float64
}

// Lengths are in millimetres. The inch is 25.4 mm and the foot 12 inches: NIST
// Special Publication 811, appendix B.8.
var Lengths = []Unit{
	{[]string{"nm", "nanometre", "nanometres", "nanometer", "nanometers"}, 1e-6},
	{[]string{"um", "µm", "μm", "micron", "microns"}, 1e-3},
	{[]string{"mm", "millimetre", "millimetres", "millimeter", "millimeters"}, 1},
	{[]string{"cm", "centimetre", "centimetres", "centimeter", "centimeters"}, 10},
	{[]string{"m", "metre", "metres", "meter", "meters"}, 1000},
	{[]string{"in", "inch", "inches", `"`, "″", "”"}, 25.4},
	{[]string{"ft", "foot", "feet", "'", "′", "’"}, 304.8},
}

// Volumes are in millilitres. A pint, a quart, a gallon and a fluid ounce are
// those of the United States unless "imp" or "uk" stands before them. US: NIST
// Handbook 44, appendix C (gallon of 231 cubic inches); imperial: the UK's Units
// of Measurement Regulations 1995 (gallon of 4.54609 l).
var Volumes = []Unit{
	{[]string{"ml", "millilitre", "millilitres", "milliliter", "milliliters", "cc"}, 1},
	{[]string{"cl"}, 10},
	{[]string{"dl"}, 100},
	{[]string{"l", "litre", "litres", "liter", "liters"}, 1000},
	{[]string{"fl oz", "floz", "us fl oz", "fluid ounce", "fluid ounces"}, 3785.411784 / 128},
	{[]string{"pt", "us pt", "pint", "pints"}, 3785.411784 / 8},
	{[]string{"qt", "us qt", "quart", "quarts"}, 3785.411784 / 4},
	{[]string{"gal", "us gal", "gallon", "gallons"}, 3785.411784},
	{[]string{"imp fl oz", "uk fl oz"}, 4546.09 / 160},
	{[]string{"imp pt", "uk pt", "imp pint", "imp pints"}, 4546.09 / 8},
	{[]string{"imp qt", "uk qt", "imp quart", "imp quarts"}, 4546.09 / 4},
	{[]string{"imp gal", "uk gal", "imp gallon", "imp gallons"}, 4546.09},
}

// unitIn finds a unit by one of its names, whatever its dots, spaces and case.
func unitIn(units []Unit, name string) (Unit, bool) {
	for _, u := range units {
		if slices.Contains(u.Names, name) {
			return u, true
		}
	}
	return Unit{}, false
}

// What ReadMeasure may find wrong.
var (
	ErrNoNumber = errors.New("no number")
	ErrNegative = errors.New("a negative number")
	ErrNoUnit   = errors.New("no unit")
)

// A CommaError is a number whose comma can be read two ways.
type CommaError struct{ Number string }

func (e *CommaError) Error() string {
	return fmt.Sprintf("the comma in %q may part thousands or decimals: write %s or %s", e.Number,
		strings.Replace(e.Number, ",", "", 1), strings.Replace(e.Number, ",", ".", 1))
}

// An UnknownUnitError is a word where a unit should stand.
type UnknownUnitError struct {
	Word  string
	Known []Unit
}

func (e *UnknownUnitError) Error() string {
	var names []string
	for _, u := range e.Known {
		names = append(names, u.Names[0])
	}
	return fmt.Sprintf("%q is not a unit here (%s are)", Clip(e.Word), strings.Join(names, ", "))
}

// ReadMeasure reads a number with its unit, "2 7/8 in" or "0,5 l", or several
// that add up, "5 ft 3 in". It returns the measure in the base unit, and the
// first name of the unit of the last part. A number alone is an ErrNoUnit and
// comes with its value.
func ReadMeasure(s string, units []Unit) (value float64, unit string, err error) {
	rest := strings.ToLower(strings.TrimSpace(PlainSigns.Replace(s)))
	if strings.HasPrefix(rest, "-") {
		return 0, "", ErrNegative
	}
	for size := math.Inf(1); ; {
		i := strings.IndexFunc(rest, func(r rune) bool { return !strings.ContainsRune("0123456789.,/- ", r) })
		number := rest
		if i >= 0 {
			number = rest[:i]
		}
		if number = strings.TrimSpace(number); Thousands(number) {
			return 0, "", &CommaError{number}
		}
		n, ok := ReadNumber(number)
		if !ok || n < 0 {
			return 0, "", ErrNoNumber
		}
		if i < 0 {
			return n, "", ErrNoUnit
		}
		rest = rest[i:]
		end := strings.IndexFunc(rest, unicode.IsDigit)
		if end < 0 {
			end = len(rest)
		}
		word := strings.Join(strings.Fields(strings.ReplaceAll(rest[:end], ".", " ")), " ")
		u, ok := unitIn(units, word)
		if !ok {
			return 0, "", &UnknownUnitError{word, units}
		}
		if u.Size >= size {
			return 0, "", ErrNoNumber // larger first, each once
		}
		size, unit = u.Size, u.Names[0]
		value += n * u.Size
		if rest = rest[end:]; rest == "" {
			return value, unit, nil
		}
	}
}

// WhichVolume says of a volume that names a pint, a quart, a gallon or a fluid
// ounce without a country whose it was taken for; else it is empty.
func WhichVolume(s string) string {
	_, unit, err := ReadMeasure(s, Volumes)
	t := strings.ToLower(s)
	if err != nil || strings.Contains(t, "us") || strings.Contains(t, "imp") || strings.Contains(t, "uk") {
		return ""
	}
	imperial, ok := unitIn(Volumes, "imp "+unit)
	if !ok {
		return ""
	}
	us, _ := unitIn(Volumes, unit)
	return fmt.Sprintf("%s is the US one, %s ml; write imp %s for the imperial one, %s ml", unit, Sig(us.Size, 4), unit, Sig(imperial.Size, 4))
}
