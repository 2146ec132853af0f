package exposure

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"wetside/session/words"
)

// Bounds of an exposure in seconds. Beyond a day nobody stands by.
const (
	MaxSeconds = 24 * 3600.0
	minSeconds = 1e-4
)

// A ReciprocityModel names how a paper loses speed over long exposures.
type ReciprocityModel string

const (
	NoFailure  ReciprocityModel = "none"
	ByExponent ReciprocityModel = "schwarzschild"
	ByTable    ReciprocityModel = "table"
)

// SchwarzschildsP is the exponent K. Schwarzschild measured for his plates, ApJ
// 11 (1900). Papers differ; it is a start where nothing is known.
const SchwarzschildsP = 0.86

// A Pair is a metered time and the time that must be given instead, in seconds.
type Pair struct {
	Measured, Corrected float64
}

// Reciprocity is a paper's reciprocity failure. The zero value is none.
type Reciprocity struct {
	Model ReciprocityModel
	P     float64 // exponent: corrected = From (measured/From)^(1/P)
	From  float64 // s: nothing is lost below this
	Table []Pair  // in order of Measured
}

// Schwarzschild is reciprocity failure by Schwarzschild's exponent p: the effect
// of light goes with intensity times t^p, so that beyond from seconds a metered
// time t becomes from (t/from)^(1/p). ApJ 11 (1900).
func Schwarzschild(p, from float64) (Reciprocity, error) {
	if err := check("Schwarzschild's exponent", p, 0.5, 1, ""); err != nil {
		return Reciprocity{}, err
	}
	if err := check("the time from which reciprocity fails", from, 0.001, 3600, "s"); err != nil {
		return Reciprocity{}, err
	}
	return Reciprocity{Model: ByExponent, P: p, From: from}, nil
}

// FromTable is reciprocity failure by a paper's own table of metered against
// corrected times, straight lines between the points in log-log.
func FromTable(points []Pair) (Reciprocity, error) {
	if len(points) < 2 {
		return Reciprocity{}, fmt.Errorf("a reciprocity table needs at least two lines of metered and corrected time, such as 10:15 100:250")
	}
	t := slices.Clone(points)
	slices.SortStableFunc(t, func(a, b Pair) int { return cmp.Compare(a.Measured, b.Measured) })
	for i, p := range t {
		if err := cmp.Or(check("a time in a reciprocity table", p.Measured, 1e-3, MaxSeconds, "s"),
			check("a time in a reciprocity table", p.Corrected, 1e-3, 100*MaxSeconds, "s")); err != nil {
			return Reciprocity{}, err
		}
		if p.Corrected < p.Measured {
			return Reciprocity{}, fmt.Errorf("a reciprocity table cannot shorten %s s to %s s: write the metered time first and the corrected time second", words.Num(p.Measured), words.Num(p.Corrected))
		}
		if i > 0 && (p.Measured <= t[i-1].Measured || p.Corrected <= t[i-1].Corrected) {
			return Reciprocity{}, fmt.Errorf("a reciprocity table must rise from line to line: check %s s and %s s", words.Num(t[i-1].Measured), words.Num(p.Measured))
		}
	}
	return Reciprocity{Model: ByTable, Table: t}, nil
}

// ParseReciprocity reads "none", "p 0.86", "p 0.86 from 2 s", or a table such
// as "1:1 10:15 100:250" of metered and corrected seconds.
func ParseReciprocity(s string) (Reciprocity, error) {
	bad := func() (Reciprocity, error) {
		return Reciprocity{}, fmt.Errorf("cannot read %q as reciprocity: type none, p 0.86, p 0.86 from 1 s, or a table such as 1:1 10:15 100:250", words.Clip(s))
	}
	t := strings.Join(strings.Fields(strings.ToLower(s)), " ")
	if t == "none" {
		return Reciprocity{Model: NoFailure}, nil
	}
	if rest, ok := strings.CutPrefix(t, "p"); ok {
		rest = strings.TrimLeft(rest, " =")
		ps, fs, has := strings.Cut(rest, "from")
		p, ok := words.ReadDecimal(strings.TrimSpace(ps))
		if !ok {
			return bad()
		}
		from := 1.0
		if has {
			if from, ok = words.ReadDecimal(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(fs), "s"))); !ok {
				return bad()
			}
		}
		return Schwarzschild(p, from)
	}
	var pairs []Pair
	for _, f := range strings.Fields(t) {
		a, b, ok := strings.Cut(f, ":")
		m, ok1 := words.ReadDecimal(strings.TrimSuffix(a, "s"))
		c, ok2 := words.ReadDecimal(strings.TrimSuffix(b, "s"))
		if !ok || !ok1 || !ok2 {
			return bad()
		}
		pairs = append(pairs, Pair{m, c})
	}
	if len(pairs) == 0 {
		return bad()
	}
	return FromTable(pairs)
}

// Check says what is wrong with the model, or nil.
func (r Reciprocity) Check() error {
	var err error
	switch r.Model {
	case "", NoFailure:
	case ByExponent:
		_, err = Schwarzschild(r.P, r.From)
	case ByTable:
		_, err = FromTable(r.Table)
	default:
		err = fmt.Errorf("%q is no reciprocity model: choose %s, %s or %s", words.Clip(string(r.Model)), NoFailure, ByExponent, ByTable)
	}
	return err
}

// String says the model as [ParseReciprocity] reads it.
func (r Reciprocity) String() string {
	switch r.Model {
	case ByExponent:
		return fmt.Sprintf("p %s from %s s", words.Exact(r.P), words.Exact(r.From))
	case ByTable:
		b := words.Each(r.Table, func(p Pair) string { return words.Exact(p.Measured) + ":" + words.Exact(p.Corrected) })
		return strings.Join(b, " ")
	}
	return string(NoFailure)
}

// Correct is the time to give in place of a metered one. beyond says that the
// answer lies outside the paper's table and is extrapolated: past the last line
// along its last slope, before the first with the first line's loss.
func (r Reciprocity) Correct(measured float64) (corrected float64, beyond bool) {
	switch r.Model {
	case ByExponent:
		if measured <= r.From {
			return measured, false
		}
		return r.From * math.Pow(measured/r.From, 1/r.P), false
	case ByTable:
		return along(r.Table, measured, func(p Pair) (float64, float64) { return p.Measured, p.Corrected })
	}
	return measured, false
}

// Metered is the inverse of Correct: the metered time for which this one is given.
func (r Reciprocity) Metered(corrected float64) float64 {
	switch r.Model {
	case ByExponent:
		if corrected <= r.From {
			return corrected
		}
		return r.From * math.Pow(corrected/r.From, r.P)
	case ByTable:
		measured, _ := along(r.Table, corrected, func(p Pair) (float64, float64) { return p.Corrected, p.Measured })
		return measured
	}
	return corrected
}

// along interpolates a table in log-log.
func along(t []Pair, x float64, axes func(Pair) (x, y float64)) (float64, bool) {
	x0, y0 := axes(t[0])
	if x < x0 {
		return x * y0 / x0, true
	}
	i := 1
	for ; i < len(t)-1; i++ {
		if to, _ := axes(t[i]); x <= to {
			break
		}
	}
	ax, ay := axes(t[i-1])
	bx, by := axes(t[i])
	slope := math.Log(by/ay) / math.Log(bx/ax)
	return ay * math.Pow(x/ax, slope), x > bx
}

// MeteredSeconds is N^2/t = 2^EV S/100 solved for t, in seconds, before any
// correction. ISO 2720.
func MeteredSeconds(ev, fnumber, iso float64) float64 {
	return fnumber * fnumber / (math.Exp2(ev) * iso / 100)
}

// An Ask is all that an exposure is reckoned from.
type Ask struct {
	Light       Light
	FNumber     float64
	ISO         float64 // of the paper
	Reciprocity Reciprocity

	Filter   float64 // stops a filter takes: positive, 1 for a factor of 2
	Preflash float64 // stops the pre-flash saves: positive shortens
	Warm     float64 // stops added for warm light, see [LowSunAllowance]
	// Learned is the correction from judged sheets; nil when there is none.
	Learned *Correction
	// Spread is half the bracket in stops; 0: the 80% interval of Learned,
	// or 1 stop when nothing is learned.
	Spread float64
}

// A Result is an exposure reckoned.
type Result struct {
	Seconds float64 // exact
	Rounded float64 // seconds a person can do
	Metered float64 // seconds by the meter's law alone, all stops in, before reciprocity
	Base    float64 // seconds without the learned correction: what Judged.Seconds wants
	Stops   float64 // all corrections together; positive is more exposure
	Learned float64 // of which learned
	Bracket []Bracketed
	Beyond  bool     // the reciprocity table was extrapolated
	Notes   []string // what the user should know, one sentence each
	ask     Ask
}

// A Bracketed exposure is one of a bracket.
type Bracketed struct {
	Stops   float64 // from the middle one
	Seconds float64
	Rounded float64
}

func (a Ask) check() error {
	number := check("an f-number", a.FNumber, minF, maxF, "")
	if a.FNumber == 0 {
		number = fmt.Errorf("f/0 is no f-number: give one such as f/150")
	}
	return cmp.Or(a.Light.Check(), number, checkISO(a.ISO), a.Reciprocity.Check(),
		check("a filter", a.Filter, 0, 15, "stops"), check("a pre-flash", a.Preflash, 0, 15, "stops"),
		check("an allowance for warm light", a.Warm, 0, 15, "stops"), check("a bracket", a.Spread, 0, 15, "stops"), a.Learned.check())
}

func (c *Correction) check() error {
	if c == nil {
		return nil
	}
	if v := c.Stops; math.Abs(v) > 10 && !math.IsInf(v, 0) && c.N > 0 {
		return fmt.Errorf("a learned correction of %s stops cannot be right: judge the sheet that is far off again, of %s", words.Num(v), list(c.From))
	}
	return cmp.Or(check("a learned correction", c.Stops, -10, 10, "stops"), check("a learned correction's doubt", c.SD, 0, 10, "stops"))
}

// Reckon answers an Ask. Stops of every kind change the metered time, then
// reciprocity lengthens it: what matters to the paper is how dim its light is.
func Reckon(a Ask) (Result, error) {
	if err := a.check(); err != nil {
		return Result{}, err
	}
	r := Result{ask: a}
	own := a.Filter + a.Warm - a.Preflash
	if a.Learned != nil {
		r.Learned = a.Learned.Stops
	}
	r.Stops = own + r.Learned
	bare := MeteredSeconds(a.Light.EV, a.FNumber, a.ISO)
	r.Base, _ = a.Reciprocity.Correct(bare * math.Exp2(own))
	r.Metered = bare * math.Exp2(r.Stops)
	r.Seconds, r.Beyond = a.Reciprocity.Correct(r.Metered)
	if r.Seconds > MaxSeconds {
		return Result{}, fmt.Errorf("that would take %s, more than a day: use a larger hole, a faster paper, or wait for more light", words.Long(r.Seconds))
	}
	if r.Seconds < minSeconds {
		return Result{}, fmt.Errorf("that would take less than a ten-thousandth of a second: use a smaller hole or a slower paper")
	}
	r.Rounded = Round(r.Seconds)

	spread := a.spread()
	for _, s := range []float64{-spread, 0, spread} {
		t, _ := a.Reciprocity.Correct(r.Metered * math.Exp2(s))
		if t <= MaxSeconds {
			r.Bracket = append(r.Bracket, Bracketed{s, t, Round(t)})
		}
	}
	r.note()
	return r, nil
}

// spread is half the bracket.
func (a Ask) spread() float64 {
	switch {
	case a.Spread != 0:
		return a.Spread
	case a.Learned != nil:
		return a.Learned.Spread()
	}
	return 1
}

// note adds what the user should know.
func (r *Result) note() {
	a := r.ask
	if len(r.Bracket) < 3 {
		r.Notes = append(r.Notes, "the longest of the bracket would take more than a day and is left out")
	}
	if r.Beyond {
		where := "longer than the last line"
		if r.Metered < a.Reciprocity.Table[0].Measured {
			where = "shorter than the first line"
		}
		r.Notes = append(r.Notes, fmt.Sprintf("a metered time of %s is %s of your paper's reciprocity table: a guess, bracket more widely", words.Long(r.Metered), where))
	}
	if r.Seconds < 1 {
		r.Notes = append(r.Notes, fmt.Sprintf("a hand cannot time less than a second: a shutter can, or a filter of %s makes it more", words.Count(int(math.Ceil(-math.Log2(r.Seconds))), "stop")))
	}
	if a.Warm > 0 {
		r.Notes = append(r.Notes, "the allowance for warm light is a judgement, not a measurement")
	}
	if a.Learned != nil {
		r.Notes = append(r.Notes, a.Learned.Sentence())
	}
}

// Sentence is the result in one line.
func (r Result) Sentence() string {
	s := ""
	if row := r.ask.Light.Row; row != "" {
		s = row + ": "
	}
	s += fmt.Sprintf("%s at f/%s on ISO %s: expose %s", r.ask.Light, words.Sig(r.ask.FNumber, 3), words.Num(r.ask.ISO), words.Long(r.Rounded))
	if len(r.Bracket) > 1 && r.Bracket[0].Rounded < r.Bracket[len(r.Bracket)-1].Rounded {
		s += fmt.Sprintf(" (bracket %s to %s)", words.Long(r.Bracket[0].Rounded), words.Long(r.Bracket[len(r.Bracket)-1].Rounded))
	}
	if r.Beyond {
		s += "; beyond your table: a guess, bracket more widely"
	}
	return s
}

// Working is the sum behind the result, line by line.
func (r Result) Working() []string {
	a := r.ask
	bare := MeteredSeconds(a.Light.EV, a.FNumber, a.ISO)
	from := cmp.Or(a.Light.From, "as given")
	w := []string{
		fmt.Sprintf("light: EV %s at ISO 100, from %s, give or take %s", evText(a.Light.EV), from, words.StopsOf(a.Light.PlusMinus)),
		fmt.Sprintf("metered: t = N^2 / (2^EV x S/100) = %s^2 / (2^%s x %s/100) = %s s", words.Num(a.FNumber), words.Num(a.Light.EV), words.Num(a.ISO), words.Sig(bare, 3)),
	}
	add := func(what string, v float64) {
		if v != 0 {
			w = append(w, fmt.Sprintf("%s: %s", what, words.StopsBy(v)))
		}
	}
	add("filter", a.Filter)
	add("warm light (judgement)", a.Warm)
	add("pre-flash", -a.Preflash)
	if a.Learned != nil {
		w = append(w, "learned: "+a.Learned.Sentence())
	}
	if r.Stops != 0 {
		w = append(w, fmt.Sprintf("together %s: %s s x 2^%s = %s s", words.StopsBy(r.Stops), words.Sig(bare, 3), words.Num(r.Stops), words.Sig(r.Metered, 3)))
	}
	switch a.Reciprocity.Model {
	case ByExponent:
		if r.Metered > a.Reciprocity.From {
			w = append(w, fmt.Sprintf("reciprocity: %s x (%s/%s)^(1/%s) = %s s", words.Num(a.Reciprocity.From), words.Sig(r.Metered, 3), words.Num(a.Reciprocity.From), words.Num(a.Reciprocity.P), words.Sig(r.Seconds, 3)))
		} else {
			w = append(w, fmt.Sprintf("reciprocity: none below %s s", words.Num(a.Reciprocity.From)))
		}
	case ByTable:
		how := "interpolated in"
		if r.Beyond {
			how = "EXTRAPOLATED from"
		}
		w = append(w, fmt.Sprintf("reciprocity: %s s becomes %s s, %s the table %s", words.Sig(r.Metered, 3), words.Sig(r.Seconds, 3), how, a.Reciprocity))
	default:
		w = append(w, "reciprocity: none taken into account")
	}
	w = append(w, fmt.Sprintf("rounded to what a person can do: %s", words.Long(r.Rounded)))
	for _, b := range r.Bracket {
		if b.Stops != 0 {
			w = append(w, fmt.Sprintf("bracket %s: %s", words.StopsBy(b.Stops), words.Long(b.Rounded)))
		}
	}
	return w
}

// Round makes a time one that a person with a hand over a hole can do: tenths to
// 5 s, half seconds to 10 s, seconds to 1 min, 5 s to 5 min, 15 s to 20 min, 30 s
// to 1 h, minutes to 4 h, then 5 minutes. It never changes the exposure by more
// than a twelfth of a stop. Below a second the time is left alone.
func Round(seconds float64) float64 {
	if !(seconds >= 1) || math.IsInf(seconds, 0) {
		return seconds
	}
	for _, s := range []struct{ below, step float64 }{
		{5, 0.1}, {10, 0.5}, {60, 1}, {300, 5}, {1200, 15}, {3600, 30}, {4 * 3600, 60}, {math.Inf(1), 300},
	} {
		if seconds < s.below {
			return math.Round(seconds/s.step) * s.step
		}
	}
	return seconds
}

// Shift is the full time in a light that has changed by so many stops (positive:
// brighter) from the one for which planned was the full time, through the
// paper's reciprocity.
func Shift(planned time.Duration, stops float64, rec Reciprocity) (time.Duration, error) {
	if planned <= 0 {
		return 0, fmt.Errorf("there is no planned time to change: begin the exposure with one")
	}
	if err := check("a change of light", stops, -20, 20, "stops"); err != nil {
		return 0, err
	}
	if err := rec.Check(); err != nil {
		return 0, err
	}
	m := rec.Metered(planned.Seconds())
	t, _ := rec.Correct(m * math.Exp2(-stops))
	if t > MaxSeconds {
		return 0, fmt.Errorf("in this light the whole exposure would take %s, more than a day: cover the pinhole and wait for more light", words.Long(t))
	}
	if t < 1e-3 {
		return 0, fmt.Errorf("in this light the exposure is over at once: cover the pinhole")
	}
	return time.Duration(math.Round(t * float64(time.Second))), nil
}
