package main

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"wetside/profiles"
	"wetside/session"
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

What sheets that were judged (wetside judge) say of the next exposure, how sure
that is in a new light, and which sheet would teach most next for the time it
takes. A time given by hand teaches as any other where the light is known too
("overcast 5m"). Rehearsals, spoiled sheets and sheets you leave out (wetside judge
4 "left out" "light leak") teach nothing.`
}

type taught struct {
	Camera string  `json:"camera"`
	Hole   int     `json:"hole"`
	Paper  string  `json:"paper"`
	Box    int     `json:"box"`
	At     float64 `json:"at_s"`
	*learnedReport
}

// Run says it.
func (c *LearnCmd) Run(h *host) error {
	plan, done, err := h.reckoner()
	if err != nil {
		return err
	}
	defer done()
	model, err := plan.Model()
	if err != nil {
		return err
	}
	amiss := words.Each(model.Amiss(), func(a exposure.Amiss) string { return a.Sentence() })
	subjects := subjectsOf(model.Sheets(), c.Camera, c.Paper, h.now())
	list := []taught{}
	for _, s := range subjects {
		got, err := model.Predict(s)
		if err != nil {
			return err
		}
		list = append(list, taught{s.Camera, s.Hole, s.Paper, s.Box, s.Seconds, learnedOf(&got)})
	}
	var next *exposure.Lesson
	if len(subjects) > 0 {
		l, err := model.TeachesMost(around(subjects), traysMinutes(plan.Set))
		if err != nil {
			return err
		}
		next = &l
	}
	sheets := len(model.Sheets()) + len(model.Amiss()) + model.Left()
	if c.JSON {
		return h.json(learnReport(sheets, model.Left(), amiss, list, next))
	}
	for _, a := range amiss {
		h.say("%s", words.Clean(a))
	}
	tellLearned(h, plan, model, subjects, list)
	if next != nil {
		h.say("%s", next.Sentence())
	}
	return nil
}

// tellLearned prints what was learned, and what stands against it.
func tellLearned(h *host, plan *profiles.Planner, model exposure.Model, subjects []exposure.Subject, list []taught) {
	if len(subjects) == 0 {
		if n := len(model.Sheets()); n > 0 {
			h.say("no judged sheet of this camera and paper; %d of others", n)
			return
		}
		h.say("nothing is learned yet: expose a sheet from a light, judge it when dry, and say so with wetside judge")
		return
	}
	for _, t := range list {
		h.say("%s on %s, at about %s: %s", numbered(t.Camera, "hole", t.Hole), numbered(t.Paper, "box", t.Box), words.Long(exposure.Round(t.At)), t.Sentence)
	}
	for _, j := range model.Odd() {
		h.say("%s does not agree with the others: was it something else than the exposure? Then leave it out: wetside judge ... \"left out\" and why", j.ID)
	}
	for _, q := range questions(plan, subjects) {
		h.say("%s", q)
	}
	if n := model.Left(); n > 0 {
		h.say("%s left out by you", words.Count(n, "sheet"))
	}
}

// learnReport is the answer as JSON.
func learnReport(sheets, left int, amiss []string, list []taught, next *exposure.Lesson) any {
	type lesson struct {
		Camera   string  `json:"camera"`
		Paper    string  `json:"paper"`
		Seconds  float64 `json:"seconds"`
		Minutes  float64 `json:"minutes"`
		Before   float64 `json:"sd_before_stops"`
		After    float64 `json:"sd_after_stops"`
		Sentence string  `json:"sentence"`
	}
	var n *lesson
	if next != nil {
		n = &lesson{next.Subject.Camera, next.Subject.Paper, next.Subject.Seconds, next.Minutes, next.Before, next.After, next.Sentence()}
	}
	return struct {
		Sheets  int      `json:"judged_sheets"`
		Left    int      `json:"left_out"`
		Amiss   []string `json:"amiss,omitempty"`
		Learned []taught `json:"learned"`
		Next    *lesson  `json:"teaches_most,omitempty"`
	}{sheets, left, amiss, list, n}
}

// numbered is a key, and which hole or box of it where it is not the first.
func numbered(key, what string, n int) string {
	if n <= 1 {
		return key
	}
	return fmt.Sprintf("%s, %s %d", key, what, n)
}

// questions are asked of profiles that were edited since their sheets.
func questions(plan *profiles.Planner, subjects []exposure.Subject) (out []string) {
	for _, s := range subjects {
		for _, q := range plan.Edited(s.Camera, s.Paper) {
			if !slices.Contains(out, q) {
				out = append(out, q)
			}
		}
	}
	return out
}

// traysMinutes is what a sheet costs beside its exposure: the baths of the first
// process there is, up to the wash, which needs nobody.
func traysMinutes(set *profiles.Set) (total float64) {
	ps := set.Processes()
	if len(ps) == 0 {
		return 0
	}
	p, err := ps[0].At(0, session.FB)
	if err != nil {
		p, _ = ps[0].At(0, session.RC)
	}
	for _, st := range p.Steps {
		if st.Stage != session.Wash {
			total += st.AtMost.Minutes()
		}
	}
	return total
}

// subjectsOf are the cameras and papers that sheets were judged of, each at the
// middle of its times, now, in a light as much in doubt as that of its last sheet.
func subjectsOf(sheets []exposure.Judged, camera, paper string, now time.Time) []exposure.Subject {
	times := map[exposure.Subject][]float64{}
	doubt := map[exposure.Subject]float64{}
	for _, s := range sheets {
		if asked(s, camera, paper) {
			k := exposure.Subject{Camera: s.Camera, Hole: s.Hole, Paper: s.Paper, Box: s.Box, At: now}
			times[k] = append(times[k], s.Seconds)
			doubt[k] = s.Doubt
		}
	}
	var out []exposure.Subject
	for k, v := range times {
		d := doubt[k]
		slices.Sort(v)
		k.Seconds, k.Doubt = v[len(v)/2], d
		out = append(out, k)
	}
	slices.SortFunc(out, func(a, b exposure.Subject) int {
		return cmp.Or(cmp.Compare(a.Camera, b.Camera), a.Hole-b.Hole, cmp.Compare(a.Paper, b.Paper), a.Box-b.Box)
	})
	return out
}

// around asks each subject at a quarter of its time and at four times it too: a
// slope over time is learned from the ends.
func around(subjects []exposure.Subject) []exposure.Subject {
	var out []exposure.Subject
	for _, s := range subjects {
		at := s.Seconds
		for _, f := range []float64{1, 0.25, 4} {
			s.Seconds = at * f
			out = append(out, s)
		}
	}
	return out
}

// plotOf draws what the judged sheets of a camera and a paper say, for the
// page: those asked for, else the pair with the most sheets. Nil when there is
// nothing to draw.
func plotOf(sheets []exposure.Judged, camera, paper string) (*notebook.Plot, error) {
	m, err := exposure.Learn(sheets)
	if err != nil {
		return nil, err
	}
	best, any := mostJudged(m.Sheets(), camera, paper)
	if !any {
		return nil, nil
	}
	p, err := m.Scatter(best, 60)
	if err != nil {
		return nil, err
	}
	out := &notebook.Plot{Title: numbered(best.Camera, "hole", best.Hole) + " on " + numbered(best.Paper, "box", best.Box) + ": stops more than reckoned, against the time given",
		Points: words.Each(p.Points, func(q exposure.Point) notebook.PlotPoint {
			return notebook.PlotPoint{X: seconds(math.Exp2(q.X)), Y: q.Y, Label: q.ID}
		})}
	for _, l := range p.Line {
		out.Line = append(out.Line, notebook.PlotPoint{X: seconds(math.Exp2(l.X)), Y: l.Y})
		out.Band = append(out.Band, notebook.PlotBand{X: seconds(math.Exp2(l.X)), Lo: l.Low, Hi: l.High})
	}
	return out, nil
}

// mostJudged is the pair with the most sheets, of those asked for, as of the last.
func mostJudged(sheets []exposure.Judged, camera, paper string) (best exposure.Subject, any bool) {
	most := map[exposure.Subject]int{}
	var last time.Time
	for _, s := range sheets {
		if !asked(s, camera, paper) {
			continue
		}
		k := exposure.Subject{Camera: s.Camera, Hole: s.Hole, Paper: s.Paper, Box: s.Box}
		most[k]++
		if n := most[k]; n > most[best] || n == most[best] && (k.Camera+k.Paper < best.Camera+best.Paper) {
			best = k
		}
		last = s.At
	}
	best.At = last
	return best, len(most) > 0
}

// asked reports whether a sheet is of the camera and the paper; empty: any is.
func asked(s exposure.Judged, camera, paper string) bool {
	return (camera == "" || s.Camera == camera) && (paper == "" || s.Paper == paper)
}
