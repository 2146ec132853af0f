package main

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/bench"
	"wetside/session/exposure"
	"wetside/session/notebook"
	"wetside/session/words"
	"wetside/tui"
)

// A planner makes forms good: profiles, light and judged sheets in, a sheet's
// spec and its exposure out.
type planner struct {
	set    *profiles.Set
	judged func() []exposure.Judged // from the notebook; nil: none
	model  *exposure.Model
	dirty  bool
	// used is the share of its capacity that a tray's bath has given; nil: not known.
	used func(tray string) float64
	// level and today are for whether a fog test still stands.
	level func() string
	today func() time.Time
	// rehearsal marks every sheet as blank.
	rehearsal bool
}

// learned returns what the judged sheets say, or nil when there is none for
// this camera and paper; and what the user should know of it, a sentence each.
func (p *planner) learned(camera, paper string, seconds float64) (*exposure.Correction, []string) {
	if p.judged == nil {
		return nil, nil
	}
	if p.model == nil || p.dirty {
		m, err := exposure.Learn(p.judged(), exposure.WeakPrior)
		if err != nil {
			return nil, []string{"nothing that was learned is in this time: " + err.Error()}
		}
		p.model, p.dirty = &m, false
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

func (p *planner) plan(f tui.Form) (tui.Plan, error) {
	paper, err := p.set.Paper(f.Paper)
	if err != nil {
		return tui.Plan{}, err
	}
	proc, err := p.set.Process(f.Process)
	if err != nil {
		return tui.Plan{}, err
	}
	var celsius profiles.Celsius
	if f.Celsius != "" {
		text := f.Celsius
		if strings.Trim(text, "0123456789.,-") == "" {
			text += " C"
		}
		if err := celsius.UnmarshalText([]byte(strings.Replace(text, ",", ".", 1))); err != nil {
			return tui.Plan{}, err
		}
	}
	sp, err := proc.At(float64(celsius), paper.Base)
	if err != nil {
		return tui.Plan{}, err
	}
	spec := session.SheetSpec{Name: f.Name, Maker: f.Maker, Camera: f.Camera, Paper: paper.Session(), Process: sp,
		Celsius: float64(celsius), Rehearsal: p.rehearsal}
	plan := tui.Plan{Spec: spec}
	if p.used != nil {
		for _, b := range proc.Baths {
			lengthened, rule := proc.Exhausted(plan.Spec.Process, b.Name, p.used(b.Name))
			if rule != "" {
				plan.Spec.Process = lengthened
				plan.Notes = append(plan.Notes, rule)
			}
		}
	}
	if p.level != nil && paper.Safelight.IsTested() {
		at := strings.TrimPrefix(paper.Safelight.Source, "fog test at ")
		if stale := bench.FogTestStale(spec.Paper, p.today(), at, p.level()); stale != "" {
			plan.Notes = append(plan.Notes, stale)
		}
	}
	if f.Light == "" {
		return plan, nil
	}
	if err := p.expose(&plan, f, paper); err != nil {
		return tui.Plan{}, err
	}
	plan.Spec.Light, plan.Spec.Exposure = f.Light, plan.Exposure
	plan.Spec.Working = strings.Join(plan.Working, "\n")
	return plan, nil
}

func (p *planner) expose(plan *tui.Plan, f tui.Form, paper profiles.Paper) error {
	if d, err := profiles.ParseDuration(f.Light); err == nil {
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
	cam, err := p.set.Camera(f.Camera)
	if err != nil {
		return err
	}
	rec := reciprocity(paper)
	r, _, err := p.reckon(exposure.Ask{Light: light, FNumber: cam.FNumber(), ISO: paper.ISO, Reciprocity: rec}, f.Camera, f.Paper)
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

// reckon adds the correction learned from judged sheets, if there is any.
func (p *planner) reckon(a exposure.Ask, camera, paper string) (exposure.Result, *exposure.Correction, error) {
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

func reciprocity(p profiles.Paper) exposure.Reciprocity {
	switch p.Reciprocity.Model {
	case profiles.Schwarzschild:
		from := time.Duration(p.Reciprocity.Reference).Seconds()
		if from <= 0 {
			from = 1
		}
		if r, err := exposure.Schwarzschild(p.Reciprocity.P, from); err == nil {
			return r
		}
	case profiles.Table:
		var pts []exposure.Pair
		for _, x := range p.Reciprocity.Points {
			pts = append(pts, exposure.Pair{Measured: time.Duration(x.Measured).Seconds(), Corrected: time.Duration(x.Corrected).Seconds()})
		}
		if r, err := exposure.FromTable(pts); err == nil {
			return r
		}
	}
	return exposure.Reciprocity{}
}

// shift is the full exposure after the light changed.
func (p *planner) shift(spec session.SheetSpec, full time.Duration, stops float64) time.Duration {
	d, err := exposure.Shift(full, stops, p.fails(spec))
	if err != nil {
		return full
	}
	return d
}

// brighter is by how many stops a light, as typed, is brighter than the one a
// sheet is being exposed in: by what was said of both, or, where a time was set
// by hand, by the whole exposures in them.
func (p *planner) brighter(s *session.Sheet, typed string, full time.Duration) float64 {
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
	rec := p.fails(s.Spec)
	before, _ := rec.Metered(s.Light.Full().Seconds())
	after, _ := rec.Metered(full.Seconds())
	return math.Log2(before / after)
}

// fails is the reciprocity failure of a sheet's paper.
func (p *planner) fails(spec session.SheetSpec) exposure.Reciprocity {
	paper, err := p.set.Paper(spec.Paper.Key)
	if err != nil {
		return exposure.Reciprocity{}
	}
	return reciprocity(paper)
}

func (p *planner) baths(process string) []session.Mix {
	proc, err := p.set.Process(process)
	if err != nil {
		return nil
	}
	var out []session.Mix
	for _, b := range proc.Baths {
		out = append(out, b.Mix(""))
	}
	return out
}

func (p *planner) choices() (papers, processes, cameras []tui.Choice) {
	for _, x := range p.set.Papers() {
		papers = append(papers, tui.Choice{Key: x.Key, Name: x.Name})
	}
	for _, x := range p.set.Processes() {
		processes = append(processes, tui.Choice{Key: x.Key, Name: x.Name})
	}
	for _, x := range p.set.Cameras() {
		cameras = append(cameras, tui.Choice{Key: x.Key, Name: x.Name})
	}
	return papers, processes, cameras
}

// judgedIn reads the judged sheets of a notebook, rehearsals and spoiled ones
// left out. set has the papers they are on.
func judgedIn(b *notebook.Book, set *profiles.Set) func() []exposure.Judged {
	return func() []exposure.Judged {
		rows, err := b.Sheets(notebook.Filter{Judged: notebook.Only, Rehearsals: notebook.None, Limit: 2000})
		if err != nil {
			return nil
		}
		var out []exposure.Judged
		for _, r := range rows {
			if r.Exposure == nil || r.Stops == nil || r.State == string(session.Ruined) || r.Camera == "" {
				continue
			}
			rec, err := b.Sheet(r.ID)
			// A time given by hand says nothing of the reckoning.
			if err != nil || rec.Exposure == nil || rec.Exposure.Share <= 0 || rec.Base <= 0 || rec.Exposure.ByHand() {
				continue
			}
			// A share is one of time, and what is learned is light.
			var fails exposure.Reciprocity
			if paper, err := set.Paper(r.Paper); err == nil {
				fails = reciprocity(paper)
			}
			share := fails.LightShare(rec.Exposure.Planned.D().Seconds(), rec.Exposure.Share)
			out = append(out, exposure.Judged{ID: fmt.Sprintf("sheet %d of %s", r.Num, r.Day), Camera: r.Camera, Paper: r.Paper, Seconds: rec.Base.D().Seconds(),
				Stops: *r.Stops, Given: exposure.GivenStops(rec.Learned, share),
				Left: notebook.JudgementRecord{Seen: r.Seen}.LeftOut()})
		}
		return out
	}
}
