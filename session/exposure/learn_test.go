package exposure_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/mat"

	"wetside/session/exposure"
)

var (
	cameras = []string{"tea caddy", "hat box", "biscuit tin"}
	papers  = []string{"direct positive", "paper negative"}
	dayOne  = time.Date(2026, 5, 1, 10, 0, 0, 0, time.UTC)
)

// caddy is the tea caddy on direct positive for that time, in a light of its own.
func caddy(seconds float64) exposure.Subject {
	return exposure.Subject{Camera: cameras[0], Paper: papers[0], Seconds: seconds, At: dayOne, Doubt: 0.5}
}

func judgedOf(s exposure.Subject, wanted float64) exposure.Judged {
	return exposure.Judged{Camera: s.Camera, Hole: s.Hole, Paper: s.Paper, Box: s.Box, Reading: s.Reading, At: s.At, Seconds: s.Seconds, Doubt: s.Doubt, Wanted: wanted}
}

// anySheets are sheets of all cameras and papers, over two months.
func anySheets(rng *rand.Rand, n int) []exposure.Judged {
	var out []exposure.Judged
	for i := range n {
		out = append(out, exposure.Judged{ID: fmt.Sprint("sheet ", i+1), Camera: cameras[rng.IntN(3)], Hole: 1 + rng.IntN(2), Paper: papers[rng.IntN(2)], Box: 1 + rng.IntN(2),
			Reading: fmt.Sprint(rng.IntN(n)), At: dayOne.Add(time.Duration(rng.IntN(1500)) * time.Hour), Seconds: math.Exp2(2 + 9*rng.Float64()),
			Wanted: rng.NormFloat64(), Stops: float64(rng.IntN(5)-2) / 2, Doubt: []float64{0, 1. / 3, 0.5, 1}[rng.IntN(4)]})
	}
	return out
}

// The prediction is that of a normal distribution conditioned on what was seen,
// from the covariance as written down in the description of the model, by an LU
// inverse and not by Cholesky's.
func TestAgainstConditioningByHand(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	cov := func(a, b exposure.Judged, same bool) float64 {
		v := 0.4 * 0.4 * math.Exp(-math.Abs(a.At.Sub(b.At).Hours())/24/30)
		if a.Camera == b.Camera && a.Hole == b.Hole {
			v += 0.25
		}
		if a.Paper == b.Paper && a.Box == b.Box {
			v += 1 + 0.15*0.15*math.Log2(a.Seconds/120)*math.Log2(b.Seconds/120)
		}
		if a.Reading == b.Reading || same {
			v += a.Doubt * b.Doubt
		}
		return v
	}
	for range 20 {
		sheets := anySheets(rng, 12)
		next := anySheets(rng, 1)[0]
		n := len(sheets)
		k, y, x := mat.NewDense(n, n, nil), mat.NewVecDense(n, nil), mat.NewVecDense(n, nil)
		for i, a := range sheets {
			for j, b := range sheets {
				k.Set(i, j, cov(a, b, i == j))
			}
			sd := 0.35 + 0.15*math.Abs(a.Stops)
			k.Set(i, i, k.At(i, i)+sd*sd)
			y.SetVec(i, a.Wanted)
			x.SetVec(i, cov(a, next, false))
		}
		var inv mat.Dense
		if err := inv.Inverse(k); err != nil {
			t.Fatal(err)
		}
		c := must(must(exposure.Learn(sheets)).Predict(exposure.Subject{Camera: next.Camera, Hole: next.Hole, Paper: next.Paper, Box: next.Box,
			Reading: next.Reading, At: next.At, Seconds: next.Seconds, Doubt: next.Doubt}))
		near(t, "stops", c.Stops, mat.Inner(x, &inv, y), 1e-9)
		near(t, "sd", c.SD, math.Sqrt(cov(next, next, true)-mat.Inner(x, &inv, x)), 1e-9)
	}
}

// Of a camera and a paper that were never judged it knows what the prior says:
// by hand, the root of the sum of the squares, today's light with it.
func TestAnUnknownCameraIsAsUncertainAsThePrior(t *testing.T) {
	m := must(exposure.Learn(nil))
	near(t, "at two minutes", must(m.Predict(caddy(120))).SD, math.Sqrt(0.25+1+0.4*0.4+0.25), 1e-12)
	near(t, "three octaves on", must(m.Predict(caddy(960))).SD, math.Sqrt(0.25+1+0.4*0.4+0.25+0.15*0.15*9), 1e-12)
}

// A camera that is a stop and a half out: sheet after sheet exposed as last
// learned, by [Model.For], settles where the sheets are right and stays.
func TestLearningDoesNotChaseItself(t *testing.T) {
	a := ask(12, 150, 3, schwarzschild())
	var judged []exposure.Judged
	var said float64
	for i := range 30 {
		s := caddy(0)
		s.At, s.Reading = dayOne.AddDate(0, 0, i), fmt.Sprint(i)
		c := must(must(exposure.Learn(judged)).For(a, s))
		a.Learned = &c
		r := must(exposure.Reckon(a))
		a.Learned = nil
		bare := must(exposure.Reckon(a))
		said = 1.5 - math.Log2(r.Metered/bare.Metered)
		secs, wanted, err := a.Wanted([]exposure.Spell{{EV: 12, Seconds: r.Seconds}}, said)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "wanted", wanted, 1.5, 1e-9)
		j := judgedOf(s, wanted)
		j.Seconds, j.Stops = secs, said
		judged = append(judged, j)
	}
	if math.Abs(said) > 0.1 {
		t.Errorf("after 30 sheets each is still judged %+.2f stop", said)
	}
}

// What was given in two lights counts for the light at the opening: half of the
// whole in each is the whole, whatever reciprocity makes of each.
func TestWantedFollowsTheLight(t *testing.T) {
	a := ask(12, 150, 3, schwarzschild())
	full := func(ev float64) float64 { return must(exposure.Reckon(ask(ev, 150, 3, schwarzschild()))).Seconds }
	secs, wanted, err := a.Wanted([]exposure.Spell{{EV: 12, Seconds: full(12) / 2}, {EV: 13, Seconds: full(13) / 2}}, 0.5)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "time", secs, full(12), 1e-6)
	near(t, "wanted", wanted, 0.5, 1e-9)
	// A filter of a stop that was in the reckoning is no error of the camera's.
	a.Filter = 1
	if _, wanted, _ = a.Wanted([]exposure.Spell{{EV: 12, Seconds: full(11)}}, 0); math.Abs(wanted) > 1e-9 {
		t.Errorf("a filter is taken for an error of %+.2f", wanted)
	}
	// Nor is any of the three, half the time in one light and half in another: what
	// was given as reckoned, and judged right, wants nothing.
	a.Filter, a.Warm, a.Preflash = 1, 1./3, 0.5
	full = func(ev float64) float64 { b := a; b.Light.EV = ev; return must(exposure.Reckon(b)).Seconds }
	secs, wanted, err = a.Wanted([]exposure.Spell{{EV: 12, Seconds: full(12) / 2}, {EV: 13, Seconds: full(13) / 2}}, 0)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "time, with a filter, warm light and a flash", secs, full(12), 1e-6)
	near(t, "wanted, with a filter, warm light and a flash", wanted, 0, 1e-9)
	// Nonsense is refused, and teaches nothing.
	for what, f := range map[string]func(a exposure.Ask) error{
		"f/0": func(a exposure.Ask) error { a.FNumber = 0; _, _, err := a.Wanted(nil, 0); return err },
		"EV 50": func(a exposure.Ask) error {
			_, _, err := a.Wanted([]exposure.Spell{{EV: 50, Seconds: 60}}, 0)
			return err
		},
		"no time":    func(a exposure.Ask) error { _, _, err := a.Wanted(nil, 0); return err },
		"for at f/0": func(a exposure.Ask) error { a.FNumber = 0; _, err := exposure.Model{}.For(a, caddy(0)); return err },
		"doubt of -1": func(exposure.Ask) error {
			s := caddy(60)
			s.Doubt = -1
			_, err := exposure.Model{}.Predict(s)
			return err
		},
	} {
		sentence(t, what, f(a))
	}
}

func TestOrderDoesNotMatter(t *testing.T) {
	judged := anySheets(rand.New(rand.NewPCG(7, 7)), 20)
	a := must(must(exposure.Learn(judged)).Predict(caddy(100)))
	slices.Reverse(judged)
	b := must(must(exposure.Learn(judged)).Predict(caddy(100)))
	near(t, "stops", a.Stops, b.Stops, 1e-9)
	near(t, "sd", a.SD, b.SD, 1e-9)
	// The newest come first, of each camera or paper.
	s := caddy(100)
	var many []exposure.Judged
	for i := range 9 {
		s.At = dayOne.AddDate(0, 0, i)
		j := judgedOf(s, 0)
		j.ID = fmt.Sprint("sheet ", i+1)
		many = append(many, j)
	}
	rand.New(rand.NewPCG(1, 1)).Shuffle(9, func(i, j int) { many[i], many[j] = many[j], many[i] })
	got := must(must(exposure.Learn(many)).Predict(s)).Sentence()
	if want := "learned from 9 sheets: sheet 9, sheet 8, sheet 7, sheet 6, sheet 5, sheet 4 and 3 before"; !strings.Contains(got, want) {
		t.Errorf("%q, not %q", got, want)
	}
}

func TestLeftOut(t *testing.T) {
	good := []exposure.Judged{judgedOf(caddy(200), 0.5), judgedOf(caddy(300), 0.7)}
	leak := judgedOf(caddy(250), -5)
	leak.Left = true
	with := must(exposure.Learn(append(slices.Clone(good), leak)))
	a := must(with.Predict(caddy(240)))
	b := must(must(exposure.Learn(good)).Predict(caddy(240)))
	if a.Stops != b.Stops || a.N != 2 || with.Left() != 1 || len(with.Sheets()) != 2 {
		t.Errorf("with the leak left out %+v, without it %+v", a, b)
	}
	// A sheet left out may be as broken as it likes.
	leak.Seconds, leak.Stops = math.NaN(), math.Inf(1)
	if m, err := exposure.Learn([]exposure.Judged{leak}); err != nil || len(m.Amiss()) != 0 {
		t.Error(err, m.Amiss())
	}
}

// Another hole is another camera, another box another paper; what they share is
// still believed.
func TestAnotherHoleIsLearnedAnew(t *testing.T) {
	s := caddy(120)
	m := must(exposure.Learn([]exposure.Judged{judgedOf(s, 2), judgedOf(s, 2), judgedOf(s, 2)}))
	same := must(m.Predict(s))
	s.Hole = 2
	hole := must(m.Predict(s))
	s.Box = 2
	both := must(m.Predict(s))
	if !(same.SD < hole.SD && hole.SD < both.SD && same.Stops > hole.Stops && hole.Stops > both.Stops) || same.N != 3 || hole.N != 3 || both.N != 0 {
		t.Errorf("the same %+v, another hole %+v, another box too %+v", same, hole, both)
	}
}

func TestNeverWithoutSayingHowSure(t *testing.T) {
	m := must(exposure.Learn(nil))
	c := must(m.Predict(caddy(120)))
	// 1.2816 sqrt(0.25 + 1 + 0.16 + 0.25)
	if c.N != 0 || !strings.Contains(c.Sentence(), "nothing is learned yet of tea caddy") || !strings.Contains(c.Sentence(), "1.7 stops") {
		t.Errorf("%q", c.Sentence())
	}
	s := caddy(120)
	s.Reading = "today"
	j := judgedOf(s, 1)
	j.ID, j.Stops = "sheet 4", 1
	m = must(exposure.Learn([]exposure.Judged{j}))
	// In the same reading, by hand: v = 0.25 + 1 + 0.16 + 0.25 of v + 0.25 (a
	// judgement of a stop) is 0.869 of what was seen; sd sqrt(v - v^2/(v+0.25)).
	v := 0.25 + 1 + 0.4*0.4 + 0.25
	c = must(m.Predict(s))
	near(t, "stops", c.Stops, v/(v+0.25), 1e-9)
	near(t, "sd", c.SD, math.Sqrt(v-v*v/(v+0.25)), 1e-9)
	if want := "give 0.9 stop more (80% sure it lies between +0.3 and +1.5, the doubt of the light with it), learned from 1 sheet: sheet 4"; c.Sentence() != want {
		t.Errorf("%q, want %q", c.Sentence(), want)
	}
	if c.N != 1 {
		t.Errorf("learned from %d", c.N)
	}
	// Another paper in the same camera, and the other way round, teach too.
	for _, o := range []func(*exposure.Subject){
		func(s *exposure.Subject) { s.Paper = "another" }, func(s *exposure.Subject) { s.Camera = "another" },
		func(s *exposure.Subject) { s.Box++ }, func(s *exposure.Subject) { s.Hole++ },
	} {
		s := s
		o(&s)
		if c := must(m.Predict(s)); c.N != 1 {
			t.Errorf("%+v is learned from %d", s, c.N)
		}
	}
	less := j
	less.Wanted, less.Stops = -1, -1
	if got := must(must(exposure.Learn([]exposure.Judged{less})).Predict(s)).Sentence(); !strings.HasPrefix(got, "give 0.9 stop less (80% sure it lies between -1.5 and -0.3,") {
		t.Errorf("too much was given: %q", got)
	}
	right := j
	right.Wanted, right.Stops = 0, 0
	if got := must(must(exposure.Learn([]exposure.Judged{right})).Predict(s)); !strings.HasPrefix(got.Sentence(), "give it as reckoned (80% sure") || got.Advice() != "" {
		t.Errorf("it was right: %q, %q", got.Sentence(), got.Advice())
	}
	// Another day the light is in doubt again, and a test sheet would help.
	s.Reading, s.At = "tomorrow", dayOne.AddDate(0, 0, 1)
	next := must(m.Predict(s))
	if !(next.SD > c.SD+0.1) || !strings.HasPrefix(next.Advice(), "one test sheet in this light, judged, narrows it to ") || !(next.Test < next.SD) {
		t.Errorf("another day %+v: %q", next, next.Advice())
	}
	// What was foretold of the test sheet is what then happens.
	k := judgedOf(s, -1)
	near(t, "foretold", must(must(exposure.Learn([]exposure.Judged{j, k})).Predict(s)).SD, next.Test, 1e-9)
	// And a correction in a result always comes with its doubt.
	a := ask(12, 150, 3, schwarzschild())
	a.Learned = &c
	r := must(exposure.Reckon(a))
	if !slices.Contains(r.Notes, c.Sentence()) || !slices.Contains(r.Working(), "learned: "+c.Sentence()) {
		t.Errorf("not said: %q %q", r.Notes, r.Working())
	}
	near(t, "bracket", r.Bracket[2].Stops, c.Spread(), 1e-12)
}

// Four that were right and one said to want three stops more: it is asked about.
func TestTheOddOneIsAskedAbout(t *testing.T) {
	var judged []exposure.Judged
	for i := range 5 {
		s := caddy(240)
		s.At, s.Reading = dayOne.AddDate(0, 0, i), fmt.Sprint(i)
		j := judgedOf(s, 0)
		j.ID = fmt.Sprint("sheet ", i+1)
		judged = append(judged, j)
	}
	if odd := must(exposure.Learn(judged)).Odd(); len(odd) != 0 {
		t.Errorf("five that agree: %+v", odd)
	}
	judged[4].Wanted, judged[4].Stops = 3, 3
	if odd := must(exposure.Learn(judged)).Odd(); len(odd) != 1 || odd[0].ID != "sheet 5" {
		t.Errorf("one of five at +3: %+v", odd)
	}
	// Four stops are odd by themselves.
	if odd := must(exposure.Learn([]exposure.Judged{{ID: "a", Camera: "x", Paper: "y", Seconds: 10, Wanted: -4, Stops: -4}})).Odd(); len(odd) != 1 {
		t.Errorf("four stops: %+v", odd)
	}
}

func TestTeachesMost(t *testing.T) {
	// The tea caddy is known, the hat box is not.
	var judged []exposure.Judged
	for range 6 {
		judged = append(judged, judgedOf(caddy(200), 0.3))
	}
	m := must(exposure.Learn(judged))
	hat, slow := caddy(200), caddy(4*3600)
	hat.Camera, slow.Camera = cameras[1], cameras[1]
	options := []exposure.Subject{caddy(200), hat, caddy(210)}
	l := must(m.TeachesMost(options, 15))
	if l.Subject.Camera != "hat box" || !(l.After < l.Before) || !strings.Contains(l.Sentence(), "hat box") {
		t.Errorf("%+v: %s", l, l.Sentence())
	}
	// The fall is what then happens, whatever is seen.
	after := must(exposure.Learn(append(judged, judgedOf(hat, -2))))
	sum := 0.0
	for _, o := range options {
		sum += must(after.Predict(o)).SD
	}
	near(t, "foretold", l.After, sum/3, 1e-9)
	// Four hours for a little more than three minutes teach is too dear.
	if l = must(m.TeachesMost([]exposure.Subject{slow, hat}, 15)); l.Subject.Seconds != 200 || math.Abs(l.Minutes-15-200./60) > 1e-9 {
		t.Errorf("%+v", l)
	}
	_, err := m.TeachesMost(nil, 15)
	sentence(t, "nothing", err)
	_, err = m.TeachesMost([]exposure.Subject{caddy(math.NaN())}, 15)
	sentence(t, "no time", err)
}

func TestLearnOddNumbers(t *testing.T) {
	for _, v := range odd {
		for i, set := range []func(*exposure.Judged){
			func(j *exposure.Judged) { j.Seconds = v },
			func(j *exposure.Judged) { j.Stops = v * 100 },
			func(j *exposure.Judged) { j.Wanted = v * 100 },
			func(j *exposure.Judged) { j.Doubt = -math.Abs(v) },
		} {
			j := judgedOf(caddy(100), 0)
			j.ID = "sheet\n7"
			set(&j)
			m, err := exposure.Learn([]exposure.Judged{j, judgedOf(caddy(100), 1)})
			if i == 3 && v == 0 {
				continue // no doubt at all is a lamp's
			}
			if err != nil || len(m.Sheets()) != 1 || len(m.Amiss()) != 1 {
				t.Errorf("%v in field %d: %v, taken in %+v, amiss %+v", v, i, err, m.Sheets(), m.Amiss())
				continue
			}
			sentence(t, fmt.Sprint(v, " in field ", i), errors.New(m.Amiss()[0].Sentence()))
			if !strings.HasPrefix(m.Amiss()[0].Sentence(), "sheet 7 is left out") {
				t.Errorf("does not name the sheet: %s", m.Amiss()[0].Sentence())
			}
		}
		_, err := must(exposure.Learn(nil)).Predict(caddy(v))
		sentence(t, fmt.Sprint("predict ", v), err)
	}
	// The zero model knows the prior. A thousand sheets of one kind are no trouble.
	if _, err := (exposure.Model{}).Predict(caddy(10)); err != nil {
		t.Error(err)
	}
	var many []exposure.Judged
	for range 1000 {
		many = append(many, judgedOf(caddy(100), 1))
	}
	m := must(exposure.Learn(many))
	near(t, "many", must(m.Predict(caddy(100))).Stops, 1, 0.01)
	if len(m.Sheets()) != 200 {
		t.Errorf("%d of a thousand sheets are reckoned with", len(m.Sheets()))
	}
}

// Whatever may be judged can be learned from: one sheet, mistyped or cut short at
// once, does not take away what all the others have taught.
func TestOneSheetFarOffDoesNotEndTheLearning(t *testing.T) {
	for name, far := range map[string]exposure.Judged{
		"16 for 1.6":         {Wanted: 16, Stops: 16},
		"as far as it goes":  {Wanted: -20, Stops: -20},
		"a day, cut short":   {Wanted: -27, Stops: 20},
		"left open all week": {Wanted: 30, Stops: -20},
	} {
		far.ID, far.Camera, far.Paper, far.Seconds = "sheet 2", "hat box", "paper negative", 60
		good := judgedOf(caddy(240), 1)
		m, err := exposure.Learn([]exposure.Judged{good, far, good, good, good})
		if err != nil || len(m.Amiss()) > 0 {
			t.Errorf("%s: %v %+v", name, err, m.Amiss())
			continue
		}
		if c, err := m.Predict(caddy(240)); err != nil || math.Abs(c.Stops-1) > 0.3 {
			t.Errorf("%s: %+v, %v", name, c, err)
		}
	}
}

// The time that is found has the correction that holds for that very time, and
// stays findable where a learned slope fights the paper's reciprocity.
func TestForSolvesForItsOwnTime(t *testing.T) {
	var judged []exposure.Judged
	for i := range 40 {
		s := caddy(30 * math.Exp2(float64(i%8)))
		j := judgedOf(s, 0.45*math.Log2(s.Seconds/120)) // wild: its slope eats half of p
		j.Reading = fmt.Sprint(i)
		judged = append(judged, j)
	}
	m := must(exposure.Learn(judged))
	// A doubling of time is worth at least half a stop of what was learned at the time
	// that is reckoned without it.
	worth := func(a exposure.Ask, r exposure.Result) {
		t.Helper()
		a.Learned = nil
		start := must(exposure.Reckon(a)).Seconds
		want := must(m.Predict(caddy(start))).Stops
		if got := math.Abs(math.Log2(r.Seconds / start)); got > 2*math.Abs(want)+1e-6 {
			t.Errorf("EV %g: %g s became %g s, %.2f doublings for %+.2f stops", a.Light.EV, start, r.Seconds, got, want)
		}
	}
	last := 0.0
	for ev := 15.0; ev > 6; ev -= 0.25 {
		a := ask(ev, 150, 3, schwarzschild())
		s := caddy(0)
		c := must(m.For(a, s))
		a.Learned = &c
		r, err := exposure.Reckon(a)
		if err != nil {
			break // more than a day
		}
		if r.Seconds <= last {
			t.Errorf("EV %g takes %g s, no more than a brighter light", ev, r.Seconds)
		}
		worth(a, r)
		near(t, fmt.Sprintf("the middle of what is likely at EV %g", ev), (c.Low+c.High)/2, c.Stops, 1e-9)
		last = r.Seconds
	}
	// A paper that fails so much that the learned slope would eat all of it: a dimmer
	// light still takes longer.
	steep := must(exposure.FromTable([]exposure.Pair{{Measured: 1, Corrected: 1}, {Measured: 10, Corrected: 720}}))
	last = 0
	for _, ev := range []float64{19.5, 19, 18.5, 18} {
		a := ask(ev, 150, 3, steep)
		c := must(m.For(a, caddy(0)))
		a.Learned = &c
		r := must(exposure.Reckon(a))
		if r.Seconds <= last {
			t.Errorf("by the table, EV %g takes %g s, no more than a brighter light", ev, r.Seconds)
		}
		worth(a, r)
		last = r.Seconds
	}
	// A mild slope is followed exactly, whatever else is in the reckoning.
	for i := range judged {
		judged[i].Wanted /= 5
	}
	m = must(exposure.Learn(judged))
	for _, own := range []struct{ filter, warm, flash float64 }{{}, {filter: 2}, {warm: 1. / 3}, {flash: 0.5}} {
		a, s := ask(11, 150, 3, schwarzschild()), caddy(0)
		a.Filter, a.Warm, a.Preflash = own.filter, own.warm, own.flash
		c := must(m.For(a, s))
		a.Learned = &c
		s.Seconds = must(exposure.Reckon(a)).Seconds
		p := must(m.Predict(s))
		near(t, fmt.Sprintf("at its own time, %+v", own), p.Stops, c.Stops, 1e-6)
		near(t, fmt.Sprintf("its lower end, %+v", own), p.Low, c.Low, 1e-6)
		near(t, fmt.Sprintf("its upper end, %+v", own), p.High, c.High, 1e-6)
	}
}

func TestWhichWayIsMore(t *testing.T) {
	for _, c := range []struct {
		r        exposure.Response
		tooLight bool
		want     float64
	}{
		// A direct positive gets lighter with more exposure.
		{exposure.PositiveLightens, true, -1}, {exposure.PositiveLightens, false, 1},
		// A negative gets denser.
		{exposure.NegativeDensens, true, 1}, {exposure.NegativeDensens, false, -1},
	} {
		for _, s := range []float64{1, -1} {
			if got := exposure.StopsFromJudgement(c.r, c.tooLight, s); got != c.want {
				t.Errorf("%s, too light %v: %g, want %g", c.r, c.tooLight, got, c.want)
			}
		}
	}
}

func TestScatter(t *testing.T) {
	judged := []exposure.Judged{
		{ID: "sheet 1", Camera: "tea caddy", Paper: papers[0], Seconds: 240, Wanted: 1.5, Stops: 0.5},
		{ID: "sheet 2", Camera: "hat box", Paper: papers[0], Seconds: 5000, Wanted: -2.5, Stops: -2.5},
		{ID: "sheet 3", Camera: "tea caddy", Paper: papers[1], Seconds: 60, Wanted: 1, Stops: 1},
	}
	m := must(exposure.Learn(judged))
	of := exposure.Subject{Camera: "tea caddy", Paper: papers[0]}
	p := must(m.Scatter(of, 40))
	if len(p.Points) != 2 || len(p.Line) != 41 {
		t.Fatalf("%d points, %d in the line", len(p.Points), len(p.Line))
	}
	near(t, "x", p.Points[0].X, math.Log2(240), 1e-12)
	near(t, "y", p.Points[0].Y, 1.5, 1e-12)
	for _, q := range p.Points {
		if q.X < p.Line[0].X-1e-9 || q.X > p.Line[40].X+1e-9 || q.Y < p.YLow || q.Y > p.YHigh {
			t.Errorf("%s is off the plot", q.ID)
		}
	}
	for i, b := range p.Line {
		of.Seconds = math.Exp2(b.X)
		c := must(m.Predict(of))
		near(t, fmt.Sprint("line ", i), b.Y, c.Stops, 1e-9)
		if b.Low < p.YLow || b.High > p.YHigh || b.Low > b.Y || b.Y > b.High {
			t.Errorf("band %+v leaves the plot", b)
		}
	}
	if len(p.Ticks) < 5 || p.Ticks[0].Label != "10 s" {
		t.Errorf("ticks %v", p.Ticks)
	}
	if p := must(must(exposure.Learn(nil)).Scatter(of, 0)); len(p.Line) != 2 || len(p.Points) != 0 {
		t.Errorf("nothing learned: %+v", p)
	}
}

// Odd is a sheet that lies more than 2.5 standard deviations from what the others alone
// predict of it, the judge's own doubt (0.35 stops and 0.15 for each stop judged) with
// theirs: reckoned the slow way here, with each sheet left out in its turn, as Rasmussen
// and Williams define it (section 5.4.2).
func TestOddIsWhatTheOthersDoNotExpect(t *testing.T) {
	day := time.Date(2026, 5, 2, 14, 0, 0, 0, time.UTC)
	rnd := rand.New(rand.NewPCG(3, 4))
	near, odd := math.Inf(1), 0
	for range 300 {
		var all []exposure.Judged
		for i := range 2 + rnd.IntN(7) {
			all = append(all, exposure.Judged{ID: fmt.Sprint(i), Camera: "tin", Hole: 1, Paper: []string{"p", "q"}[rnd.IntN(2)], Box: 1,
				At: day.AddDate(0, 0, rnd.IntN(60)), Reading: fmt.Sprint("r", rnd.IntN(4)), Doubt: 0.3, Seconds: 60 + 600*rnd.Float64(),
				Wanted: 3 * rnd.NormFloat64(), Stops: float64(rnd.IntN(9)-4) / 3})
		}
		said := map[string]bool{}
		for _, j := range must(exposure.Learn(all)).Odd() {
			said[j.ID] = true
		}
		for i, j := range all {
			rest := append(slices.Clone(all[:i]), all[i+1:]...)
			c, err := must(exposure.Learn(rest)).Predict(exposure.Subject{Camera: j.Camera, Hole: j.Hole, Paper: j.Paper, Box: j.Box, Reading: j.Reading, At: j.At, Seconds: j.Seconds, Doubt: j.Doubt})
			if err != nil {
				t.Fatal(err)
			}
			z := math.Abs(j.Wanted-c.Stops) / math.Hypot(c.SD, 0.35+0.15*math.Abs(j.Stops))
			if near = min(near, math.Abs(z-2.5)); math.Abs(z-2.5) < 1e-6 {
				continue // on the line
			}
			if want := len(all) >= 3 && z > 2.5; said[j.ID] != want {
				t.Fatalf("%d sheets: %.3f standard deviations, odd is %v", len(all), z, said[j.ID])
			} else if want {
				odd++
			}
		}
	}
	if odd < 20 || near > 0.05 {
		t.Errorf("%d odd sheets, the nearest to the line by %.3f: that tries little", odd, near)
	}
}
