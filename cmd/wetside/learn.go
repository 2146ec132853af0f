package main

import (
	"cmp"
	"math"
	"slices"

	"wetside/session/desk"
	"wetside/session/exposure"
	"wetside/session/notebook"
	"wetside/session/words"
)

// LearnCmd says what the judged sheets have taught.
type LearnCmd struct {
	Camera string `help:"Only this camera." placeholder:"KEY"`
	Paper  string `help:"Only this paper." placeholder:"KEY"`
	JSON   bool   `help:"As JSON." name:"json"`
}

// Help shows how it is used.
func (LearnCmd) Help() string {
	return `Examples:

  wetside learn
  wetside learn --camera tea-caddy --paper direct-positive-fb --json

What sheets exposed from a reckoned light and judged since (wetside judge) say
of the next exposure, how sure that is, and which sheet would teach most next.
Rehearsals, spoiled sheets, times given by hand, and sheets you leave out (wetside
judge 4 "left out" "light leak") teach nothing.`
}

type taught struct {
	Camera string  `json:"camera"`
	Paper  string  `json:"paper"`
	At     float64 `json:"at_s"`
	*learnedReport
}

// Run says it.
func (c *LearnCmd) Run(h *host) error {
	b, err := h.written()
	if err != nil {
		return err
	}
	var sheets []exposure.Judged
	if b != nil {
		defer b.Close()
		sheets = desk.JudgedIn(b, h.known().Law)()
	}
	model, err := exposure.Learn(sheets, exposure.WeakPrior)
	if err != nil {
		return err
	}
	var amiss []string
	for _, a := range model.Amiss() {
		amiss = append(amiss, a.Sentence())
	}
	subjects := subjectsOf(model.Sheets(), c.Camera, c.Paper)
	list := []taught{}
	for _, s := range subjects {
		got, err := model.Predict(s.Camera, s.Paper, s.Seconds)
		if err != nil {
			return err
		}
		list = append(list, taught{s.Camera, s.Paper, s.Seconds, learnedOf(&got)})
	}
	var next *exposure.Lesson
	if len(subjects) > 0 {
		l, err := model.TeachesMost(around(subjects))
		if err != nil {
			return err
		}
		next = &l
	}
	if c.JSON {
		return h.json(learnReport(len(sheets), model.Left(), amiss, list, next))
	}
	for _, a := range amiss {
		h.say("%s", words.Clean(a))
	}
	if len(subjects) == 0 {
		if n := len(model.Sheets()); n > 0 {
			h.say("no judged sheet of this camera and paper; %d of others", n)
			return nil
		}
		h.say("nothing is learned yet: expose a sheet from a light, judge it when dry, and say so with wetside judge")
		return nil
	}
	for _, t := range list {
		h.say("%s on %s, at about %s: %s", t.Camera, t.Paper, words.Long(exposure.Round(t.At)), t.Sentence)
	}
	if n := model.Left(); n > 0 {
		h.say("%s left out by you", words.Count(n, "sheet"))
	}
	h.say("%s", next.Sentence())
	return nil
}

// learnReport is the answer as JSON.
func learnReport(sheets, left int, amiss []string, list []taught, next *exposure.Lesson) any {
	type lesson struct {
		Camera   string  `json:"camera"`
		Paper    string  `json:"paper"`
		Seconds  float64 `json:"seconds"`
		Before   float64 `json:"sd_before_stops"`
		After    float64 `json:"sd_after_stops"`
		Sentence string  `json:"sentence"`
	}
	var n *lesson
	if next != nil {
		n = &lesson{next.Subject.Camera, next.Subject.Paper, next.Subject.Seconds, next.Before, next.After, next.Sentence()}
	}
	return struct {
		Sheets  int      `json:"judged_sheets"`
		Left    int      `json:"left_out"`
		Amiss   []string `json:"amiss,omitempty"`
		Learned []taught `json:"learned"`
		Next    *lesson  `json:"teaches_most,omitempty"`
	}{sheets, left, amiss, list, n}
}

// subjectsOf are the cameras and papers that sheets were judged of, each at the
// middle of its times.
func subjectsOf(sheets []exposure.Judged, camera, paper string) []exposure.Subject {
	times := map[exposure.Subject][]float64{}
	for _, s := range sheets {
		if !s.Left && (camera == "" || s.Camera == camera) && (paper == "" || s.Paper == paper) {
			k := exposure.Subject{Camera: s.Camera, Paper: s.Paper}
			times[k] = append(times[k], s.Seconds)
		}
	}
	var out []exposure.Subject
	for k, v := range times {
		slices.Sort(v)
		k.Seconds = v[len(v)/2]
		out = append(out, k)
	}
	slices.SortFunc(out, func(a, b exposure.Subject) int {
		return cmp.Or(cmp.Compare(a.Camera, b.Camera), cmp.Compare(a.Paper, b.Paper))
	})
	return out
}

// around asks each subject at a quarter of its time and at four times it too: a
// slope over time is learned from the ends.
func around(subjects []exposure.Subject) []exposure.Subject {
	var out []exposure.Subject
	for _, s := range subjects {
		for _, f := range []float64{1, 0.25, 4} {
			out = append(out, exposure.Subject{Camera: s.Camera, Paper: s.Paper, Seconds: s.Seconds * f})
		}
	}
	return out
}

// plotOf draws what the judged sheets of a camera and a paper say, for the
// page: those asked for, else the pair with the most sheets. Nil when there is
// nothing to draw.
func plotOf(sheets []exposure.Judged, camera, paper string) (*notebook.Plot, error) {
	m, err := exposure.Learn(sheets, exposure.WeakPrior)
	if err != nil {
		return nil, err
	}
	most := map[exposure.Subject]int{}
	var best exposure.Subject
	for _, s := range m.Sheets() {
		if (camera == "" || s.Camera == camera) && (paper == "" || s.Paper == paper) {
			k := exposure.Subject{Camera: s.Camera, Paper: s.Paper}
			most[k]++
			if n := most[k]; n > most[best] || n == most[best] && (k.Camera+k.Paper < best.Camera+best.Paper) {
				best = k
			}
		}
	}
	if len(most) == 0 {
		return nil, nil
	}
	p, err := m.Scatter(best.Camera, best.Paper, 60)
	if err != nil {
		return nil, err
	}
	out := &notebook.Plot{Title: best.Camera + " on " + best.Paper + ": stops more than reckoned, against the time reckoned"}
	for _, q := range p.Points {
		out.Points = append(out.Points, notebook.PlotPoint{X: seconds(math.Exp2(q.X)), Y: q.Y, Label: q.ID})
	}
	for _, l := range p.Line {
		out.Line = append(out.Line, notebook.PlotPoint{X: seconds(math.Exp2(l.X)), Y: l.Y})
		out.Band = append(out.Band, notebook.PlotBand{X: seconds(math.Exp2(l.X)), Lo: l.Low, Hi: l.High})
	}
	return out, nil
}
