package exposure

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"

	"wetside/session/words"
)

// A Judged sheet is one that was looked at when dry.
type Judged struct {
	ID     string // how the user knows it: "sheet 12"
	Camera string
	Paper  string
	// Seconds is the whole exposure as reckoned without any learned
	// correction ([Result.Base]). It places the sheet on the time axis, so
	// that a prediction does not depend on itself.
	Seconds float64
	// Given is how many stops more than Seconds the sheet really got: the
	// learned correction in use that day and the share of exposure it ended
	// with (see [GivenStops]). 0 when it was exposed as reckoned.
	Given float64
	// Stops is the judgement: positive when it should have had more.
	Stops float64
	// Left out by the user: spoiled, light leak.
	Left bool
}

// Wanted is what the sheet says about its camera and paper: how many stops more
// than Seconds would have been right.
func (j Judged) Wanted() float64 { return j.Given + j.Stops }

// GivenStops is [Judged.Given] from the learned correction that was in the
// planned time and the share of the planned exposure's light that was given (1 is
// all; see [Reciprocity.LightShare]).
func GivenStops(learned, share float64) float64 {
	if !(share > 0) {
		return learned
	}
	return learned + math.Log2(share)
}

// A Prior is what is believed before any sheet is judged: standard deviations
// in stops, all around zero.
type Prior struct {
	Camera float64 // of a camera's offset
	Paper  float64 // of a paper's offset
	Slope  float64 // of a paper's slope, stops for each doubling of time
	Noise  float64 // of one judgement
	About  float64 // s: the time at which the slope has no say
}

// WeakPrior lets a camera and a paper be a stop out each, and the reciprocity
// model wrong by 0.15 stop for every doubling of time; a judgement is good to a
// third of a stop.
var WeakPrior = Prior{Camera: 1, Paper: 1, Slope: 0.15, Noise: 1.0 / 3, About: 120}

func (p Prior) check() error {
	for _, s := range []struct {
		what string
		v    float64
	}{{"the prior of a camera", p.Camera}, {"the prior of a paper", p.Paper}, {"the prior of a slope", p.Slope}, {"the noise of a judgement", p.Noise}} {
		if err := check(s.what, s.v, 0.01, 100, "stops"); err != nil {
			return err
		}
	}
	return check("the prior's middle time", p.About, 0.01, MaxSeconds, "s")
}

// A Model is what all judged sheets say: for each camera an offset, for each
// paper an offset and a slope over log2 of time, all in stops, as one normal
// distribution (Bayesian linear regression with known noise, in closed form).
type Model struct {
	prior  Prior
	cols   map[string]int // "camera NAME", "paper NAME", "slope PAPER"
	mean   *mat.VecDense  // nil: nothing learned
	cov    *mat.SymDense
	judged []Judged // those taken in
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

// Learn reckons the model. Sheets that are Left are not taken in, and neither are
// those with a figure that cannot be: [Model.Amiss] names them, for one sheet
// must not end what the others teach.
func Learn(sheets []Judged, prior Prior) (Model, error) {
	if err := prior.check(); err != nil {
		return Model{}, err
	}
	m := Model{prior: prior, cols: map[string]int{}}
	col := func(k string) {
		if _, ok := m.cols[k]; !ok {
			m.cols[k] = len(m.cols)
		}
	}
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
		col("camera " + j.Camera)
		col("paper " + j.Paper)
		col("slope " + j.Paper)
	}
	n, k := len(m.judged), len(m.cols)
	if n == 0 {
		return m, nil
	}
	// Posterior precision P = X'X/s^2 + diag(1/prior^2); mean = P^-1 X'y/s^2.
	x := mat.NewDense(n, k, nil)
	y := mat.NewVecDense(n, nil)
	for i, j := range m.judged {
		for c, v := range m.row(j.Camera, j.Paper, j.Seconds) {
			x.Set(i, c, v)
		}
		y.SetVec(i, j.Wanted())
	}
	w := 1 / (prior.Noise * prior.Noise)
	p := mat.NewSymDense(k, nil)
	p.SymOuterK(w, x.T())
	for key, c := range m.cols {
		sd := prior.of(key)
		p.SetSym(c, c, p.At(c, c)+1/(sd*sd))
	}
	var chol mat.Cholesky
	if !chol.Factorize(p) {
		return Model{}, fmt.Errorf("the judged sheets cannot be reckoned together: leave out the sheet with the strangest time or judgement")
	}
	m.cov = mat.NewSymDense(k, nil)
	if err := chol.InverseTo(m.cov); err != nil {
		return Model{}, fmt.Errorf("the judged sheets cannot be reckoned together: leave out the sheet with the strangest time or judgement")
	}
	var xty mat.VecDense
	xty.MulVec(x.T(), y)
	xty.ScaleVec(w, &xty)
	m.mean = mat.NewVecDense(k, nil)
	m.mean.MulVec(m.cov, &xty)
	return m, nil
}

func (j Judged) check() error {
	return cmp.Or(
		check("a time", j.Seconds, minSeconds, 100*MaxSeconds, "s"),
		// As far as a judgement may go, and a day's exposure cut short at once.
		check("a judgement", j.Stops, -20, 20, "stops"),
		check("an exposure", j.Given, -60, 60, "stops"))
}

func named(j Judged) string {
	if j.ID == "" {
		return "a sheet"
	}
	return words.Clip(j.ID)
}

func (p Prior) of(key string) float64 {
	switch {
	case strings.HasPrefix(key, "camera "):
		return p.Camera
	case strings.HasPrefix(key, "paper "):
		return p.Paper
	}
	return p.Slope
}

func (m Model) octaves(seconds float64) float64 { return math.Log2(seconds / m.prior.About) }

// row is the design row, by column, of what the model knows; a column it has
// never seen is not in it.
func (m Model) row(camera, paper string, seconds float64) map[int]float64 {
	r := map[int]float64{}
	if c, ok := m.cols["camera "+camera]; ok {
		r[c] = 1
	}
	if c, ok := m.cols["paper "+paper]; ok {
		r[c] = 1
		r[m.cols["slope "+paper]] = m.octaves(seconds)
	}
	return r
}

// covariance of what two subjects need, prior and posterior together.
func (m Model) covariance(a, b Subject) float64 {
	v := 0.0
	if m.cov != nil {
		rb := m.row(b.Camera, b.Paper, b.Seconds)
		for i, x := range m.row(a.Camera, a.Paper, a.Seconds) {
			for j, y := range rb {
				v += x * y * m.cov.At(i, j)
			}
		}
	}
	if _, known := m.cols["camera "+a.Camera]; !known && a.Camera == b.Camera {
		v += m.prior.Camera * m.prior.Camera
	}
	if _, known := m.cols["paper "+a.Paper]; !known && a.Paper == b.Paper {
		v += m.prior.Paper * m.prior.Paper
		v += m.prior.Slope * m.prior.Slope * m.octaves(a.Seconds) * m.octaves(b.Seconds)
	}
	return v
}

// z80 is the half-width of a normal's 80% interval in standard deviations.
const z80 = 1.2815515655446004

// A Correction is what to add to the reckoned exposure, and how sure that is.
// It is about what is right, not about how the next judgement will fall: that
// has its own noise on top.
type Correction struct {
	Stops     float64 // positive: more exposure
	SD        float64 // standard deviation, stops
	Low, High float64 // the truth lies between with 80%
	From      []string
	N         int // judged sheets of this camera or this paper
	SameBoth  int // of which with both
	camera    string
	paper     string
}

// Spread is half the bracket worth making, in stops: the 80% interval, but no
// less than a sixth of a stop, under which two sheets look the same.
func (c Correction) Spread() float64 { return max(1.0/6, (c.High-c.Low)/2) }

// Sentence says the correction, how sure it is, and what it was learned from.
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
	return fmt.Sprintf("%s (80%% sure it lies between %s and %s), learned from %s: %s", s, words.Stops(c.Low), words.Stops(c.High), words.Count(c.N, "sheet"), list(c.From))
}

func word(s, or string) string {
	if s == "" {
		return or
	}
	return s
}

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
		return fmt.Sprintf("%s and %d before", strings.Join(named[len(named)-most:], ", "), len(named)-most)
	}
	return strings.Join(named, ", ")
}

// Predict gives the correction for an exposure of this camera on this paper
// whose time, without a learned correction, is seconds.
func (m Model) Predict(camera, paper string, seconds float64) (Correction, error) {
	if err := m.prior.check(); err != nil {
		return Correction{}, err
	}
	if err := check("an exposure", seconds, minSeconds, 100*MaxSeconds, "s"); err != nil {
		return Correction{}, err
	}
	c := Correction{camera: camera, paper: paper}
	if m.mean != nil {
		for i, x := range m.row(camera, paper, seconds) {
			c.Stops += x * m.mean.AtVec(i)
		}
	}
	s := Subject{camera, paper, seconds}
	c.SD = math.Sqrt(max(0, m.covariance(s, s)))
	c.Low, c.High = c.Stops-z80*c.SD, c.Stops+z80*c.SD
	for _, j := range m.judged {
		if j.Camera == camera || j.Paper == paper {
			c.N++
			c.From = append(c.From, j.ID)
			if j.Camera == camera && j.Paper == paper {
				c.SameBoth++
			}
		}
	}
	return c, nil
}

// Sheets are the judged sheets taken in; Left is how many were left out.
func (m Model) Sheets() []Judged { return slices.Clone(m.judged) }

// Amiss are the judged sheets left out for a figure that cannot be.
func (m Model) Amiss() []Amiss { return slices.Clone(m.amiss) }

// Left is how many judged sheets the user has left out.
func (m Model) Left() int { return m.left }

// A Subject is an exposure that might be made.
type Subject struct {
	Camera, Paper string
	Seconds       float64 // without a learned correction
}

// A Lesson is how much judging one more sheet would teach.
type Lesson struct {
	Subject Subject
	// Before and After are the mean standard deviation, in stops, over all
	// subjects asked about.
	Before, After float64
}

// Sentence says which sheet to make next and what for.
func (l Lesson) Sentence() string {
	return fmt.Sprintf("%s on %s at about %s would teach most: the doubt over all these falls from %s to %s stop", l.Subject.Camera, l.Subject.Paper, words.Long(Round(l.Subject.Seconds)), words.Decimals(l.Before, 2), words.Decimals(l.After, 2))
}

// TeachesMost answers which of the subjects, exposed next and judged, would make
// the corrections for all of them surest: the largest expected fall in their
// variance. With a normal model that fall is known before the sheet is made.
func (m Model) TeachesMost(subjects []Subject) (Lesson, error) {
	if err := m.prior.check(); err != nil {
		return Lesson{}, err
	}
	if len(subjects) == 0 {
		return Lesson{}, fmt.Errorf("there is nothing to choose from: name at least one camera, paper and time")
	}
	for _, s := range subjects {
		if err := check("an exposure", s.Seconds, minSeconds, 100*MaxSeconds, "s"); err != nil {
			return Lesson{}, err
		}
	}
	best, gain := -1, math.Inf(-1)
	var lesson Lesson
	for i, s := range subjects {
		noisy := m.covariance(s, s) + m.prior.Noise*m.prior.Noise
		sum, before, after := 0.0, 0.0, 0.0
		for _, t := range subjects {
			c := m.covariance(s, t)
			v := m.covariance(t, t)
			sum += c * c / noisy
			before += math.Sqrt(max(0, v))
			after += math.Sqrt(max(0, v-c*c/noisy))
		}
		if sum > gain+1e-12 {
			best, gain = i, sum
			n := float64(len(subjects))
			lesson = Lesson{Subject: subjects[best], Before: before / n, After: after / n}
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
