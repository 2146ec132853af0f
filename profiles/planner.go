package profiles

import (
	"errors"
	"io/fs"
	"math"
	"strings"
	"time"

	"wetside/session"
	"wetside/session/exposure"
	"wetside/session/words"
)

// A Form is what somebody asks of a sheet: keys of profiles, and what was typed.
type Form struct {
	Paper, Process, Camera string // keys
	Celsius                string
	Name, Maker            string
	Light                  string // "EV 13", "overcast", or a time: "4m"
}

// A Reckoned form is the sheet's spec, and its exposure if the light was given.
type Reckoned struct {
	Spec     session.SheetSpec
	Exposure time.Duration // 0: no light was given
	ByHand   bool          // a time was given, and no light
	Sentence string        // what the user is told
	Working  []string      // the sum behind it
	Notes    []string      // what else the user should know, a sentence each
}

// A Planner makes forms good: profiles, light and judged sheets in, a sheet's
// spec and its exposure out.
type Planner struct {
	Set    *Set
	Judged func() []exposure.Judged // from the notebook; nil: none
	// Used is the share of its capacity that a tray's bath has given; nil: not known.
	Used func(tray string) float64
	// Stale says why a paper's fog test stands no longer; empty while it does.
	Stale func(Paper) string
	// Write puts a file into the user's own profiles, which it returns.
	Write func(name string, data []byte) (fs.FS, error)
	// Rehearsal marks every sheet as blank.
	Rehearsal bool

	model *exposure.Model
}

// Forget has the judged sheets read anew.
func (p *Planner) Forget() { p.model = nil }

// learned returns what the judged sheets say, or nil when there is none for
// this camera and paper; and what the user should know of it, a sentence each.
func (p *Planner) learned(camera, paper string, seconds float64) (*exposure.Correction, []string) {
	if p.Judged == nil {
		return nil, nil
	}
	if p.model == nil {
		m, err := exposure.Learn(p.Judged(), exposure.WeakPrior)
		if err != nil {
			return nil, []string{"nothing that was learned is in this time: " + err.Error()}
		}
		p.model = &m
	}
	var notes []string
	for _, a := range p.model.Amiss() {
		if a.Sheet.Camera == camera || a.Sheet.Paper == paper {
			notes = append(notes, a.Sentence())
		}
	}
	c, err := p.model.Predict(camera, paper, seconds)
	if err != nil || c.N == 0 {
		return nil, notes
	}
	return &c, notes
}

// Plan makes a form good, or says in one sentence what is wrong with it.
func (p *Planner) Plan(f Form) (Reckoned, error) {
	paper, err := p.Set.Paper(f.Paper)
	if err != nil {
		return Reckoned{}, err
	}
	proc, err := p.Set.Process(f.Process)
	if err != nil {
		return Reckoned{}, err
	}
	var celsius Celsius
	if f.Celsius != "" {
		text := f.Celsius
		if strings.Trim(text, "0123456789.,-") == "" {
			text += " C"
		}
		if err := celsius.UnmarshalText([]byte(text)); err != nil {
			return Reckoned{}, err
		}
	}
	sp, err := proc.At(float64(celsius), paper.Base)
	if err != nil {
		return Reckoned{}, err
	}
	spec := session.SheetSpec{Name: f.Name, Maker: f.Maker, Camera: f.Camera, Paper: paper.Session(), Process: sp,
		Celsius: float64(celsius), Rehearsal: p.Rehearsal}
	plan := Reckoned{Spec: spec}
	if p.Used != nil {
		for _, b := range proc.Baths {
			lengthened, rule := proc.Exhausted(plan.Spec.Process, b.Name, p.Used(b.Name))
			if rule != "" {
				plan.Spec.Process = lengthened
				plan.Notes = append(plan.Notes, rule)
			}
		}
	}
	if p.Stale != nil && paper.Safelight.IsTested() {
		if stale := p.Stale(paper); stale != "" {
			plan.Notes = append(plan.Notes, stale)
		}
	}
	if f.Light == "" {
		return plan, nil
	}
	if err := p.expose(&plan, f, paper); err != nil {
		return Reckoned{}, err
	}
	plan.Spec.Light, plan.Spec.Exposure = f.Light, plan.Exposure
	plan.Spec.Working = strings.Join(plan.Working, "\n")
	return plan, nil
}

func (p *Planner) expose(plan *Reckoned, f Form, paper Paper) error {
	if d, err := ParseDuration(f.Light); err == nil {
		if d <= 0 {
			return errors.New("an exposure takes more than nothing: write a time like 4m, or the light")
		}
		plan.Exposure, plan.ByHand = d, true
		plan.Sentence = "Expose for " + words.Long(d.Seconds()) + ", as you said."
		plan.Working = []string{"time given by hand: " + f.Light}
		return nil
	}
	light, err := exposure.ParseLight(f.Light)
	if err != nil {
		return err
	}
	if f.Camera == "" {
		return errors.New("a light gives a time only behind a pinhole: choose the camera, or write the time itself, like 4m")
	}
	cam, err := p.Set.Camera(f.Camera)
	if err != nil {
		return err
	}
	rec := paper.Reciprocity.Law()
	r, _, err := p.Reckon(exposure.Ask{Light: light, FNumber: cam.FNumber(), ISO: paper.ISO, Reciprocity: rec}, f.Camera, f.Paper)
	if err != nil {
		return err
	}
	if p.model != nil {
		for _, a := range p.model.Amiss() {
			plan.Notes = append(plan.Notes, a.Sentence())
		}
	}
	plan.Exposure = time.Duration(r.Rounded * float64(time.Second))
	plan.Sentence = r.Sentence()
	plan.Working = r.Working()
	plan.Spec.Base = time.Duration(r.Base * float64(time.Second))
	// The time is rounded to what a person can do, and that too was given. In
	// stops of light: twice the time is less, where reciprocity fails.
	given, _ := rec.Metered(r.Rounded)
	base, _ := rec.Metered(r.Base)
	plan.Spec.Learned = math.Log2(given / base)
	return nil
}

// Reckon adds the correction learned from judged sheets, if there is any.
func (p *Planner) Reckon(a exposure.Ask, camera, paper string) (exposure.Result, *exposure.Correction, error) {
	r, err := exposure.Reckon(a)
	if err != nil {
		return r, nil, err
	}
	c, notes := p.learned(camera, paper, r.Base)
	if c != nil {
		a.Learned = c
		r, err = exposure.Reckon(a)
	}
	r.Notes = append(r.Notes, notes...)
	return r, c, err
}

// Shift is the full exposure after the light changed.
func (p *Planner) Shift(spec session.SheetSpec, full time.Duration, stops float64) time.Duration {
	d, err := exposure.Shift(full, stops, p.Set.Law(spec.Paper.Key))
	if err != nil {
		return full
	}
	return d
}

// Brighter is by how many stops a light, as typed, is brighter than the one a
// sheet is being exposed in: by what was said of both, or, where a time was set
// by hand, by the whole exposures in them.
func (p *Planner) Brighter(s *session.Sheet, typed string, full time.Duration) float64 {
	is, err := exposure.ParseLight(typed)
	was, known := exposure.ParseLight(s.Spec.Light)
	for _, r := range s.Light.Readings {
		switch l, err := exposure.ParseLight(r.Light); {
		case r.Open > 0: // the light was as before
		case r.Light != "" && err == nil:
			was, known = l, nil
		default:
			was.EV += r.Stops
		}
	}
	if err == nil && known == nil {
		return is.EV - was.EV
	}
	rec := p.Set.Law(s.Spec.Paper.Key)
	before, _ := rec.Metered(s.Light.Full().Seconds())
	after, _ := rec.Metered(full.Seconds())
	return math.Log2(before / after)
}

// Baths are the mixes that a process fills its trays with.
func (p *Planner) Baths(process string) []session.Mix {
	proc, err := p.Set.Process(process)
	if err != nil {
		return nil
	}
	var out []session.Mix
	for _, b := range proc.Baths {
		out = append(out, b.Mix(""))
	}
	return out
}

// Law is the reciprocity failure of a paper, none where it is not known.
func (s *Set) Law(paper string) exposure.Reciprocity {
	p, err := s.Paper(paper)
	if err != nil {
		return exposure.Reciprocity{}
	}
	return p.Reciprocity.Law()
}
