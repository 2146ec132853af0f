package exposure

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	"wetside/session/words"
)

// Bounds of the light taken: from the full moon to beyond sun on snow.
const (
	minEV = -6.0
	maxEV = 20.0
)

// incidentC is the incident-light constant C of ISO 2720 (E t S = C N^2) in
// lux seconds: 250, the usual value for a flat receptor held square to the
// light; the standard allows 240 to 400 for a flat one and 320 to 540 for a
// dome, whose makers use 320 to 340. A dome's reading in lux taken with 250
// comes out about 0.4 stop too bright.
const incidentC = 250.0

// A Light is what falls on the subject, as an exposure value at ISO 100, with
// how far it may be off and what it was taken from.
type Light struct {
	EV        float64 // at ISO 100
	PlusMinus float64 // stops; what such a reading is usually good to
	From      string  // for the working and the record: "f/16 and 1/125 s at ISO 100"
	// Row is the row of the daylight table it was taken from, for the answer; empty
	// where it was read otherwise.
	Row string
	// As is the light as typed, in small letters and without what makes no
	// difference: what was typed alike on one day is one reading.
	As string
	// Sun: the value is for a subject in direct sun, so that it holds only
	// while the sun is high (see [SunHolds]).
	Sun bool
}

// How far each way of reading the light may be off, in stops. Judgement.
const (
	meterDoubt = 1.0 / 3
	skyDoubt   = 0.5
)

// String gives the light as "EV 12.5".
func (l Light) String() string { return "EV " + evText(l.EV) }

func evText(ev float64) string {
	if math.Abs(ev) >= 1000 {
		return words.Num(ev)
	}
	return words.Decimals(ev, 1)
}

// Check says what is wrong with the light, or nil.
func (l Light) Check() error { return checkEV(l.EV) }

func checkEV(ev float64) error {
	if math.IsNaN(ev) || math.IsInf(ev, 0) {
		return fmt.Errorf("the light is not a number: give an EV between %s and %s", words.Num(minEV), words.Num(maxEV))
	}
	if ev < minEV {
		return fmt.Errorf("EV %s is darker than a landscape under the full moon, too dark for paper: give an EV between %s and %s at ISO 100", evText(ev), words.Num(minEV), words.Num(maxEV))
	}
	if ev > maxEV {
		return fmt.Errorf("EV %s is brighter than sun on snow: give an EV between %s and %s at ISO 100", evText(ev), words.Num(minEV), words.Num(maxEV))
	}
	return nil
}

// FromEV is an exposure value read at a meter set to iso. Value + log2(100/iso)
// is the same light at ISO 100.
func FromEV(ev, iso float64) (Light, error) {
	if math.IsNaN(ev) || math.IsInf(ev, 0) {
		return Light{}, checkEV(ev)
	}
	if err := checkISO(iso); err != nil {
		return Light{}, err
	}
	from := "EV " + evText(ev)
	if iso != 100 {
		from += " at ISO " + words.Num(iso)
	}
	l := Light{EV: ev - math.Log2(iso/100), PlusMinus: meterDoubt, From: from}
	return l, l.Check()
}

// FromMeter is a meter's pair of f-number and seconds at a film speed: EV at
// ISO 100 is log2(N^2/t) - log2(iso/100). ISO 2720.
func FromMeter(fnumber, seconds, iso float64) (Light, error) {
	if err := check("the meter's f-number", fnumber, 0.5, maxF, ""); err != nil {
		return Light{}, err
	}
	if err := check("the meter's time", seconds, 1e-5, 1e5, "s"); err != nil {
		return Light{}, err
	}
	if err := checkISO(iso); err != nil {
		return Light{}, err
	}
	l := Light{
		EV:        math.Log2(fnumber*fnumber/seconds) - math.Log2(iso/100),
		PlusMinus: meterDoubt,
		From:      fmt.Sprintf("f/%s and %s at ISO %s", words.Num(fnumber), shutter(seconds), words.Num(iso)),
	}
	return l, l.Check()
}

func shutter(s float64) string {
	if s < 0.4 {
		return "1/" + words.Sig(1/s, 3) + " s"
	}
	return words.Num(s) + " s"
}

// FromLux is an incident reading: EV at ISO 100 is log2(100 E / [IncidentC]).
func FromLux(lux float64) (Light, error) {
	if err := check("an incident reading", lux, 0.01, 1e6, "lux"); err != nil {
		return Light{}, err
	}
	l := Light{EV: math.Log2(lux * 100 / incidentC), PlusMinus: meterDoubt, From: words.Num(lux) + " lux"}
	return l, l.Check()
}

func checkISO(iso float64) error {
	if iso == 0 {
		return fmt.Errorf("ISO 0 never darkens: give the speed, such as ISO 3 for paper or 100 for a meter")
	}
	return check("a speed in ISO", iso, 0.01, 100000, "")
}

// A Sky is a row of the daylight table.
type Sky struct {
	Words     string  // what the user sees; also what they may type
	EV        float64 // at ISO 100, front lighting
	PlusMinus float64
	Sun       bool     // the subject stands in direct sun
	Also      []string // other words taken for the same
	Near      []string // words of the trade for what lies between two rows; this one is taken
	Source    string
}

const ph27 = "ANSI PH2.7 daylight table"

// Skies is the daylight table of the ANSI exposure guide PH2.7 (1973 and 1986),
// brightest first, for a typical subject lit from the front, from two hours
// after sunrise to two hours before sunset: its rows, and nothing between them.
// What experience gives besides belongs to the paper, its speed and reciprocity.
var Skies = []Sky{
	{"sun on snow or sand", 16, skyDoubt, true, []string{"snow", "sand", "beach", "sun on snow", "sun on sand", "light sand"}, nil, ph27},
	{"sun, distinct shadows", 15, skyDoubt, true, []string{"sun", "sunny", "full sun", "bright sun", "distinct shadows", "clear", "clear sky"}, nil, ph27},
	{"hazy sun, soft shadows", 14, skyDoubt, true, []string{"hazy", "haze", "hazy sun", "weak sun", "soft shadows"}, nil, ph27},
	{"cloudy bright, no shadows", 13, skyDoubt, false, []string{"cloudy", "cloudy bright", "bright cloud", "no shadows"}, []string{"slightly overcast", "light overcast", "thin overcast"}, ph27},
	{"heavy overcast", 12, skyDoubt, false, []string{"overcast", "dark cloud", "heavy cloud", "dull"}, nil, ph27},
	{"open shade", 12, skyDoubt, false, []string{"shade", "open shade, clear sky"}, nil, ph27},
	{"sunset", 12, 1, false, []string{"at sunset", "sunset sky"}, nil, ph27 + ", sunsets and skylines"},
	{"just after sunset", 10, 1, false, []string{"after sunset", "dusk"}, nil, ph27 + ", sunsets and skylines: 9 to 11"},
}

// A Side is where the sun stands to a subject in direct sun.
type Side string

const (
	frontLit Side = "front lit"
	sideLit  Side = "side lit"
	backLit  Side = "back lit"
)

// stops is what the guide takes off the table's value: 1 for side lighting, 2
// for back lighting, of a subject in direct sun. ANSI PH2.7, as a rough rule.
func (s Side) stops() float64 {
	switch s {
	case sideLit:
		return -1
	case backLit:
		return -2
	}
	return 0
}

// light is the sky's light on a subject lit from that side. Without direct sun
// the side makes no difference.
func (s Sky) light(side Side) Light {
	l := Light{EV: s.EV, PlusMinus: s.PlusMinus, From: s.Words + " (" + s.Source + ")", Sun: s.Sun, Row: s.Words}
	if off := side.stops(); off != 0 && s.Sun {
		l.EV += off
		l.PlusMinus += 0.25
		l.Row += ", " + string(side)
		l.From = fmt.Sprintf("%s, %s %s (%s)", s.Words, side, words.Stops(off), s.Source)
	}
	return l
}

// fromSky finds a row of the daylight table by its words.
func fromSky(typed string, side Side) (Light, error) {
	w := squeeze(typed)
	for _, s := range Skies {
		if squeeze(s.Words) == w {
			return s.light(side), nil
		}
		for _, a := range s.Also {
			if squeeze(a) == w {
				return s.light(side), nil
			}
		}
		for _, a := range s.Near {
			if squeeze(a) == w {
				l := s.light(side)
				l.Row, l.From = a+", taken as "+l.Row, a+", taken as "+l.From
				return l, nil
			}
		}
	}
	return Light{}, fmt.Errorf("no such sky as %q: type sun, hazy, cloudy, overcast, open shade or sunset", words.Clip(typed))
}

func squeeze(s string) string {
	return strings.Join(strings.Fields(strings.ReplaceAll(strings.ToLower(s), ",", " ")), " ")
}

// sides are the words for a Side, longest first where one holds another.
var sides = []struct {
	words string
	side  Side
}{
	{"back lit", backLit}, {"backlit", backLit}, {"backlight", backLit}, {"back light", backLit},
	{"side lit", sideLit}, {"sidelit", sideLit}, {"sidelight", sideLit}, {"side light", sideLit},
	{"front lit", frontLit}, {"frontlit", frontLit},
}

// ParseLight reads the light as people say it:
//
//	EV 12.5          or 12.5, EV 12 1/3, EV 14 at ISO 400
//	f/16 1/125       a meter's pair, at ISO 100 unless "iso 400" follows
//	2500 lux         or 230 foot-candles, 230 fc
//	overcast         a sky of [Skies], with "side lit" or "back lit" behind it
func ParseLight(s string) (Light, error) {
	l, err := parseLight(s)
	l.As = strings.Join(strings.Fields(strings.ToLower(s)), " ")
	return l, err
}

func parseLight(s string) (Light, error) {
	t := squeeze(words.PlainSigns.Replace(s))
	// A decimal comma was turned into a space by squeeze; read numbers from
	// the text that still has it.
	raw := strings.Join(strings.Fields(strings.ToLower(words.PlainSigns.Replace(s))), " ")
	if t == "" {
		return Light{}, fmt.Errorf("no light given: type EV 12.5, f/16 1/125, 2500 lux, or a sky such as overcast")
	}
	if strings.ContainsAny(t, "0123456789") || strings.HasPrefix(t, "ev") {
		return parseReading(s, raw)
	}
	side := frontLit
	for _, x := range sides {
		if rest, ok := strings.CutSuffix(t, x.words); ok {
			t, side = strings.TrimSpace(rest), x.side
			break
		}
	}
	if t == "" {
		t = "sun" // "backlit" alone can only mean a subject against the sun
	}
	return fromSky(t, side)
}

// footCandle is a lumen on a square foot, in lux: NIST Special Publication 811,
// appendix B.8.
const footCandle = 10.76391

func parseReading(given, t string) (Light, error) {
	for _, u := range []struct {
		suffix string
		scale  float64
	}{{"klux", 1000}, {"klx", 1000}, {"lux", 1}, {"lx", 1},
		{"foot-candles", footCandle}, {"foot-candle", footCandle}, {"foot candles", footCandle}, {"foot candle", footCandle},
		{"footcandles", footCandle}, {"footcandle", footCandle}, {"ftc", footCandle}, {"fc", footCandle}} {
		if rest, ok := strings.CutSuffix(t, u.suffix); ok {
			// A meter's thousands to some, a decimal to others: ten stops apart.
			if n := strings.TrimSpace(rest); words.Thousands(n) {
				return Light{}, fmt.Errorf("the comma in %q may part thousands or decimals: type %s %s or %s %s", words.Clip(given),
					strings.Replace(n, ",", "", 1), u.suffix, strings.Replace(n, ",", ".", 1), u.suffix)
			}
			v, ok := words.ReadNumber(rest)
			if !ok {
				return unread(given)
			}
			return FromLux(v * u.scale)
		}
	}
	iso, t, ok := take(isoWords, t, 100)
	if !ok {
		return unread(given)
	}
	if !strings.HasPrefix(t, "ev") && strings.Contains(t, "f") {
		return parsePair(given, t, iso)
	}
	v, ok := words.ReadNumber(strings.TrimPrefix(t, "ev"))
	if !ok || t == "ev" {
		return unread(given)
	}
	return FromEV(v, iso)
}

func unread(given string) (Light, error) {
	return Light{}, fmt.Errorf("cannot read %q as light: type EV 12.5, f/16 1/125, 2500 lux, or a sky such as overcast", words.Clip(given))
}

// parsePair reads a meter's pair: "f/16 1/125", "1/125 s at f16", "f 16, 0.5".
func parsePair(given, t string, iso float64) (Light, error) {
	f, rest, ok := take(fWords, t, 0)
	if !ok || f == 0 {
		return unread(given)
	}
	// A meter writes 125 and means 1/125: fourteen stops apart.
	if n, err := strconv.Atoi(strings.TrimSpace(rest)); err == nil && n >= 30 {
		return Light{}, fmt.Errorf("the time in %q may be 1/%d s or %d s: type 1/%d or %ds", words.Clip(given), n, n, n, n)
	}
	rest = strings.TrimSpace(strings.TrimSuffix(strings.TrimSuffix(rest, "sec"), "s"))
	if rest == "" {
		return Light{}, fmt.Errorf("%q has no time: type the meter's pair, such as f/16 1/125", words.Clip(given))
	}
	sec, ok := words.ReadNumber(rest)
	if !ok {
		return unread(given)
	}
	return FromMeter(f, sec, iso)
}

var (
	isoWords = regexp.MustCompile(`[ ,]*(?:\bat )?iso ?(\d+(?:[.,]\d+)?)\b`)
	fWords   = regexp.MustCompile(`(?:\bat )?\bf ?/? ?(\d+(?:[.,]\d+)?)\b,?(?: at\b)?`)
)

// take reads the one number that what finds in t, and gives the rest of t
// without it. When the words are not there the number is otherwise. It is not ok
// when they are there twice.
func take(what *regexp.Regexp, t string, otherwise float64) (float64, string, bool) {
	found := what.FindAllStringSubmatchIndex(t, -1)
	switch len(found) {
	case 0:
		return otherwise, t, true
	case 1:
		m := found[0]
		v, ok := words.ReadDecimal(t[m[2]:m[3]])
		rest := strings.Trim(strings.TrimSpace(t[:m[0]])+" "+strings.TrimSpace(t[m[1]:]), ", ")
		return v, rest, ok
	}
	return 0, t, false
}
