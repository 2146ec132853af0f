package exposure

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"gonum.org/v1/gonum/mat"

	"wetside/session/words"
)

// A Judged sheet is one that was looked at when dry, as today's profiles read it
// (see [Ask.Wanted]).
type Judged struct {
	ID      string // how the user knows it: "sheet 12"
	Camera  string
	Hole    int // which hole the camera had: another hole, another error
	Paper   string
	Box     int    // which box of it
	Reading string // which reading of the light it was exposed by; one reading has one error
	At      time.Time
	// Seconds is the time it was given, in the light at the opening.
	Seconds float64
	// Wanted is how many stops more than the bare reckoning would have been
	// right; Stops is the part of it that was judged. Positive is more.
	Wanted, Stops float64
	Doubt         float64 // of its light, a standard deviation in stops
	Left          bool    // left out by the user: spoiled, light leak
	// As the profiles were that day; empty where that is not known. For the
	// record, and to see that a profile was changed since.
	FNumber float64
	Speed   string // [Speed]
}

// Speed says a paper's speed and reciprocity, so that two of them can be told apart.
func Speed(iso float64, law Reciprocity) string {
	return "ISO " + words.Num(iso) + ", " + law.String()
}

// Reading is the identity of a reading of the light: the day and what was typed.
func Reading(day time.Time, as string) string { return day.Format(time.DateOnly) + " " + as }

// A Spell is a stretch of time for which the pinhole was open in one light.
type Spell struct {
	EV      float64 // at ISO 100
	Seconds float64
}

// Wanted reads a judged sheet by today's profiles: the time it was given, in the
// light at the opening (s), and the stops that a right exposure would have had
// over the bare reckoning. The f-number, speed and exponent of the day it was
// made cancel: what was given was a time, whatever it was reckoned from.
func (a Ask) Wanted(spells []Spell, said float64) (seconds, wanted float64, err error) {
	if err := a.check(); err != nil {
		return 0, 0, err
	}
	bare := func(ev float64) float64 { return MeteredSeconds(ev, a.FNumber, a.ISO) }
	own := a.Filter + a.Warm - a.Preflash
	full := func(ev float64) float64 { t, _ := a.Reciprocity.Correct(bare(ev) * math.Exp2(own)); return t }
	share := 0.0
	for _, s := range spells {
		if err := checkEV(s.EV); err != nil {
			return 0, 0, err
		}
		share += s.Seconds / full(s.EV)
	}
	seconds = share * full(a.Light.EV)
	if err := check("the time given", seconds, minSeconds, 100*MaxSeconds, "s"); err != nil {
		return 0, 0, err
	}
	metered := a.Reciprocity.Metered(seconds)
	return seconds, math.Log2(metered/bare(a.Light.EV)) - own + said, nil
}

// A Subject is an exposure that might be made.
type Subject struct {
	Camera  string
	Hole    int
	Paper   string
	Box     int
	Reading string // of the light; empty: one of its own
	At      time.Time
	Seconds float64 // the time it would be given
	Doubt   float64 // of its light, stops
}

// The doubts of the model: standard deviations in stops. Chosen by simulating
// photographers of 22 kinds, each sheet exposed by the model's own advice; the
// test's photographers are others.
const (
	cameraDoubt  = 0.5  // of a camera with its hole
	paperDoubt   = 1.0  // of a paper's speed
	slopeDoubt   = 0.15 // of a paper's reciprocity, for each doubling of time
	driftDoubt   = 0.4  // of chemistry and keeping, fading over driftDays
	driftDays    = 30.0
	judgeDoubt   = 0.35 // of a judgement, and judgeShare for each stop judged
	judgeShare   = 0.15
	slopeSeconds = 120.0 // the time at which a slope has no say
	// newest is how many sheets are taken in: one Cholesky takes a few ms.
	newest = 200
)

// A Model is what the newest judged sheets say of the next exposure: a Gaussian
// process over sheets (Rasmussen and Williams, Gaussian Processes for Machine
// Learning, 2006, algorithm 2.1). Sheets agree as far as they share camera,
// paper, days and the reading of the light.
type Model struct {
	judged []Judged // those taken in, in order of their dates
	chol   *mat.Cholesky
	alpha  *mat.VecDense // K^-1 (what was wanted)
	left   int
	amiss  []Amiss
}

// Amiss is a judged sheet with a figure that cannot be.
type Amiss struct {
	Sheet Judged
	Why   error
}

// Sentence names the sheet and says why it teaches nothing.
func (a Amiss) Sentence() string {
	return fmt.Sprintf("%s is left out of what is learned: %v", named(a.Sheet), a.Why)
}

func (j Judged) subject() Subject {
	return Subject{j.Camera, j.Hole, j.Paper, j.Box, j.Reading, j.At, j.Seconds, j.Doubt}
}

func octaves(seconds float64) float64 { return math.Log2(seconds / slopeSeconds) }

// covariance is of what two exposures want, in stops squared.
func covariance(a, b Subject) float64 {
	v := driftDoubt * driftDoubt * math.Exp(-math.Abs(a.At.Sub(b.At).Hours())/24/driftDays)
	if a.Camera == b.Camera && a.Hole == b.Hole {
		v += cameraDoubt * cameraDoubt
	}
	if a.Paper == b.Paper && a.Box == b.Box {
		v += paperDoubt*paperDoubt + slopeDoubt*slopeDoubt*octaves(a.Seconds)*octaves(b.Seconds)
	}
	if a.Reading == b.Reading && a.Reading != "" {
		v += a.Doubt * b.Doubt
	}
	return v
}

// own is the variance of one exposure with itself. A light without a reading's
// name is in doubt all the same.
func own(s Subject) float64 {
	v := covariance(s, s)
	if s.Reading == "" {
		v += s.Doubt * s.Doubt
	}
	return v
}

// judging is the variance of a judgement.
func judging(said float64) float64 {
	sd := judgeDoubt + judgeShare*math.Abs(said)
	return sd * sd
}

// Learn reckons the model. Sheets that are Left are not taken in, and neither are
// those with a figure that cannot be: [Model.Amiss] names them, for one sheet
// must not end what the others teach. Of the rest the newest 200 count.
func Learn(sheets []Judged) (Model, error) {
	var m Model
	for _, j := range sheets {
		if j.Left {
			m.left++
			continue
		}
		if err := j.check(); err != nil {
			m.amiss = append(m.amiss, Amiss{j, err})
			continue
		}
		m.judged = append(m.judged, j)
	}
	slices.SortStableFunc(m.judged, func(a, b Judged) int { return a.At.Compare(b.At) })
	m.judged = m.judged[max(0, len(m.judged)-newest):]
	n := len(m.judged)
	if n == 0 {
		return m, nil
	}
	k, y := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	for i, a := range m.judged {
		for j, b := range m.judged[:i] {
			k.SetSym(i, j, covariance(a.subject(), b.subject()))
		}
		k.SetSym(i, i, own(a.subject())+judging(a.Stops))
		y.SetVec(i, a.Wanted)
	}
	m.chol, m.alpha = new(mat.Cholesky), new(mat.VecDense)
	if !m.chol.Factorize(k) || m.chol.SolveVecTo(m.alpha, y) != nil {
		return Model{}, fmt.Errorf("the judged sheets cannot be reckoned together: leave out the sheet with the strangest time or judgement")
	}
	return m, nil
}

func (j Judged) check() error {
	return cmp.Or(
		// As far as a judgement may go, and a day's exposure cut short at once.
		check("a judgement", j.Stops, -20, 20, "stops"),
		check("a time", j.Seconds, minSeconds, 100*MaxSeconds, "s"),
		check("what it wanted", j.Wanted, -80, 80, "stops"),
		check("the doubt of a light", j.Doubt, 0, 10, "stops"))
}

func named(j Judged) string {
	if j.ID == "" {
		return "a sheet"
	}
	return words.Clip(j.ID)
}

// with are the covariances of an exposure with every judged sheet.
func (m Model) with(s Subject) *mat.VecDense {
	v := mat.NewVecDense(len(m.judged), nil)
	for i, j := range m.judged {
		v.SetVec(i, covariance(s, j.subject()))
	}
	return v
}

// known is how much the judged sheets say of both a and b together: what the
// covariance of the two has lost by them.
func (m Model) known(a, b Subject) float64 {
	if m.chol == nil {
		return 0
	}
	var x mat.VecDense
	if m.chol.SolveVecTo(&x, m.with(b)) != nil {
		return 0
	}
	return mat.Dot(m.with(a), &x)
}

// z80 is the half-width of a normal's 80% interval in standard deviations.
const z80 = 1.2815515655446004

// A Correction is what to add to the reckoned exposure, and how sure the next
// exposure is with it, today's light included. It is about what is right, not
// about how the next judgement will fall: that has its own noise on top.
type Correction struct {
	Stops     float64  // positive: more exposure
	SD        float64  // standard deviation, stops
	Low, High float64  // the truth lies between with 80%
	From      []string // newest first
	N         int      // judged sheets of this camera or this paper
	// Test is the standard deviation that is left when one test sheet in this
	// light was judged.
	Test          float64
	camera, paper string
}

// Predict gives the correction for an exposure of a certain time. The time with
// the correction in it is [Ask]'s to find.
func (m Model) Predict(s Subject) (Correction, error) {
	if err := check("an exposure", s.Seconds, minSeconds, 100*MaxSeconds, "s"); err != nil {
		return Correction{}, err
	}
	if err := check("the doubt of a light", s.Doubt, 0, 10, "stops"); err != nil {
		return Correction{}, err
	}
	c := Correction{camera: s.Camera, paper: s.Paper}
	c.Stops, c.SD = m.mean(s), math.Sqrt(m.variance(s))
	c.Low, c.High = c.Stops-z80*c.SD, c.Stops+z80*c.SD
	c.Test = m.AfterTest(s)
	for _, j := range slices.Backward(m.judged) {
		if j.Camera == s.Camera && j.Hole == s.Hole || j.Paper == s.Paper && j.Box == s.Box {
			c.N++
			c.From = append(c.From, j.ID)
		}
	}
	return c, nil
}

// Odd are the sheets that disagree with all the others together: better asked
// about than weighted down. From the third sheet on, at more than 2.5 standard
// deviations, each sheet left out of the reckoning in its turn (Rasmussen and
// Williams, section 5.4.2); and every judgement of four stops or more.
func (m Model) Odd() []Judged {
	var out []Judged
	var inv mat.SymDense
	if m.chol == nil || m.chol.InverseTo(&inv) != nil {
		return nil
	}
	for i, j := range m.judged {
		z := m.alpha.AtVec(i) / math.Sqrt(inv.At(i, i))
		if len(m.judged) >= 3 && math.Abs(z) > 2.5 || math.Abs(j.Stops) >= 4 {
			out = append(out, j)
		}
	}
	return out
}

// leastRise keeps the time from running away where a learned slope fights the
// paper's reciprocity: a doubling of time is worth at least half a stop.
const leastRise = 0.5

// For is the correction of an exposure whose time is yet to be found: the time at
// which what is given is what is wanted. The correction depends on the time, the
// time on the correction. s.Seconds is not looked at.
func (m Model) For(a Ask, s Subject) (Correction, error) {
	if err := a.check(); err != nil {
		return Correction{}, err
	}
	asked := math.Log2(MeteredSeconds(a.Light.EV, a.FNumber, a.ISO)) + a.Filter + a.Warm - a.Preflash
	start, _ := a.Reciprocity.Correct(math.Exp2(asked))
	lo, hi := math.Log2(minSeconds), math.Log2(100*MaxSeconds)
	x0 := min(max(math.Log2(start), lo), hi)
	at := func(x float64) float64 { s.Seconds = math.Exp2(x); return m.mean(s) }
	c0 := at(x0)
	slope := min(at(x0+1)-c0, a.Reciprocity.leastSlope()-leastRise) // exact: the mean is a line over log time
	learned := func(x float64) float64 { return c0 + slope*(x-x0) }
	for range 60 {
		x := (lo + hi) / 2
		if metered := a.Reciprocity.Metered(math.Exp2(x)); math.Log2(metered) < asked+learned(x) {
			lo = x
		} else {
			hi = x
		}
	}
	s.Seconds = math.Exp2(lo)
	c, err := m.Predict(s)
	if err == nil {
		half := z80 * c.SD
		c.Stops = learned(lo)
		c.Low, c.High = c.Stops-half, c.Stops+half
	}
	return c, err
}

// mean is what the judged sheets say an exposure wants, in stops.
func (m Model) mean(s Subject) float64 {
	if m.chol == nil {
		return 0
	}
	return mat.Dot(m.with(s), m.alpha)
}

// leastSlope is the least that a doubling of time is worth anywhere, in stops.
func (r Reciprocity) leastSlope() float64 {
	least := 1.0
	if r.Model == ByExponent {
		least = r.P
	}
	for i := 1; r.Model == ByTable && i < len(r.Table); i++ {
		a, b := r.Table[i-1], r.Table[i]
		least = min(least, math.Log(b.Measured/a.Measured)/math.Log(b.Corrected/a.Corrected))
	}
	return least
}

// AfterTest is the doubt (a standard deviation, stops) that is left of an
// exposure when one test sheet of the same camera, paper and reading was judged
// right.
func (m Model) AfterTest(s Subject) float64 {
	s.Reading = cmp.Or(s.Reading, "the light of now")
	return math.Sqrt(m.variance(s) - m.gain(s, s))
}

func (m Model) variance(s Subject) float64 { return max(0, own(s)-m.known(s, s)) }

// gain is by how much the variance of t falls when s is exposed and judged.
// With a normal model that is known before the sheet is made.
func (m Model) gain(s, t Subject) float64 {
	c := covariance(s, t) - m.known(s, t)
	return c * c / (m.variance(s) + judging(0))
}

// Spread is half the bracket worth making, in stops: the 80% interval, but no
// less than a sixth of a stop, under which two sheets look the same.
func (c Correction) Spread() float64 { return max(1.0/6, (c.High-c.Low)/2) }

// Sheets are the judged sheets taken in; Left is how many were left out.
func (m Model) Sheets() []Judged { return slices.Clone(m.judged) }

// Amiss are the judged sheets left out for a figure that cannot be.
func (m Model) Amiss() []Amiss { return slices.Clone(m.amiss) }

// Left is how many judged sheets the user has left out.
func (m Model) Left() int { return m.left }

// Sentence says the correction, how sure the next exposure is with it, and what
// it was learned from.
func (c Correction) Sentence() string {
	if c.N == 0 {
		return fmt.Sprintf("nothing is learned yet of %s on %s: the exposure may be out by %s either way", word(c.camera, "this camera"), word(c.paper, "this paper"), words.StopsOf(z80*c.SD))
	}
	s := "give it as reckoned"
	if math.Abs(c.Stops) >= 0.05 {
		way := "more"
		if c.Stops < 0 {
			way = "less"
		}
		s = fmt.Sprintf("give %s %s", words.StopsOf(c.Stops), way)
	}
	return fmt.Sprintf("%s (80%% sure it lies between %s and %s, the doubt of the light with it), learned from %s: %s", s, words.Stops(c.Low), words.Stops(c.High), words.Count(c.N, "sheet"), list(c.From))
}

// Advice is what would help: one test sheet, judged, and then the picture in the
// same light. It is empty where that would change little.
func (c Correction) Advice() string {
	if c.SD-c.Test < 0.1 {
		return ""
	}
	return fmt.Sprintf("one test sheet in this light, judged, narrows it to %s either way (from %s)", words.StopsOf(z80*c.Test), words.StopsOf(z80*c.SD))
}

func word(s, or string) string {
	return cmp.Or(s, or)
}

// list names the newest few; ids are in that order.
func list(ids []string) string {
	const most = 6
	var named []string
	for _, id := range ids {
		if id != "" {
			named = append(named, id)
		}
	}
	switch {
	case len(named) == 0:
		return "unnamed"
	case len(named) > most:
		return fmt.Sprintf("%s and %d before", strings.Join(named[:most], ", "), len(named)-most)
	}
	return strings.Join(named, ", ")
}

// A Lesson is how much judging one more sheet would teach.
type Lesson struct {
	Subject Subject
	// Before and After are the mean standard deviation, in stops, over all
	// subjects asked about; Minutes is what the sheet costs.
	Before, After, Minutes float64
}

// Sentence says which sheet to make next and what for.
func (l Lesson) Sentence() string {
	return fmt.Sprintf("%s on %s at about %s teaches most for its time (about %s with the trays): the doubt over all these falls from %s to %s stop",
		l.Subject.Camera, l.Subject.Paper, words.Long(Round(l.Subject.Seconds)), words.Long(60*math.Round(l.Minutes)), words.Decimals(l.Before, 2), words.Decimals(l.After, 2))
}

// TeachesMost answers which of the subjects, exposed next and judged, would make
// all of them surest for each minute that it costs: the time of its exposure, and
// minutes on top for the trays. With a normal model the fall of the doubt is
// known before the sheet is made. Every subject is asked in a light of its own.
func (m Model) TeachesMost(subjects []Subject, minutes float64) (Lesson, error) {
	if len(subjects) == 0 {
		return Lesson{}, fmt.Errorf("there is nothing to choose from: name at least one camera, paper and time")
	}
	for _, s := range subjects {
		if err := check("an exposure", s.Seconds, minSeconds, 100*MaxSeconds, "s"); err != nil {
			return Lesson{}, err
		}
	}
	best := math.Inf(-1)
	var lesson Lesson
	for _, s := range subjects {
		sum, before, after := 0.0, 0.0, 0.0
		for _, t := range subjects {
			g, v := m.gain(s, t), m.variance(t)
			sum += g
			before += math.Sqrt(v)
			after += math.Sqrt(max(0, v-g))
		}
		n, cost := float64(len(subjects)), minutes+s.Seconds/60
		if sum/cost > best+1e-15 {
			best, lesson = sum/cost, Lesson{Subject: s, Before: before / n, After: after / n, Minutes: cost}
		}
	}
	return lesson, nil
}

// A Response says which way a picture goes when it gets more light.
type Response string

const (
	PositiveLightens Response = "lighter" // direct positive
	NegativeDensens  Response = "denser"  // paper negative
)

// StopsFromJudgement turns "too light by so many stops" (tooLight) or "too dark
// by so many" into the stops it should have had more (positive) or less. The
// sign of stops is ignored: the words say which way.
func StopsFromJudgement(r Response, tooLight bool, stops float64) float64 {
	stops = math.Abs(stops)
	if (r == PositiveLightens) == tooLight {
		return -stops
	}
	return stops
}
