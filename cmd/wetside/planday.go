package main

import (
	_ "embed"
	"errors"
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/charmbracelet/x/ansi"
	"github.com/google/uuid"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/bench"
	"wetside/session/exposure"
	"wetside/session/words"
)

// What a day is reckoned with beside the profiles. Common practice, no source.
const (
	setUp  = 2 * time.Minute // hands at one camera, until the next can be opened
	margin = 1.25            // of a bath, over what the sheets use
)

// A dayPlan is a day at the cameras and in the darkroom, to be read.
type dayPlan struct {
	Title, Light          string
	Cameras, Trays, Baths [][]string
	Sun                   [][]string
	Notes                 []string
}

//go:embed planday.html
var dayPage string

var dayTemplate = template.Must(template.New("day").Funcs(template.FuncMap{"head": func(x [][]string) []string { return x[0] }, "rest": func(x [][]string) [][]string { return x[1:] }}).Parse(dayPage))

// day plans one and prints it.
func (c *PlanCmd) day(h *host) error {
	if err := slips(slip{c.JSON || c.Start != "", "--json and --start are of an evening: a day has --hours"},
		slip{len(c.Process) > 1, "a day has one process"},
		slip{c.Light == "" || c.Hours == "", "say --hours 10:00-16:00 and --light overcast: a day is planned in a light"}); err != nil {
		return err
	}
	if len(c.Process) == 0 {
		c.Process = []string{"three-trays"}
	}
	plan, done, err := h.reckoner()
	if err != nil {
		return err
	}
	defer done()
	x, err := c.planDay(h, plan)
	if err != nil {
		return err
	}
	if c.Output == "" {
		return x.text(h)
	}
	return h.output(c.Output, func(w io.Writer) error { return dayTemplate.Execute(w, x) }, c.Output)
}

// hours are the begin and the end of the day.
func (c *PlanCmd) hours(h *host) (from, to time.Time, err error) {
	a, b, ok := strings.Cut(c.Hours, "-")
	if !ok {
		return from, to, usage("--hours is from when to when, like 10:00-16:00, not %q", c.Hours)
	}
	day := ""
	if c.Day != "" {
		if strings.EqualFold(c.Day, "tomorrow") {
			day = h.now().AddDate(0, 0, 1).Format(time.DateOnly)
		} else if day, err = h.parseDay(c.Day); err != nil {
			return from, to, err
		}
		day += " "
	}
	if from, err = h.parseTime(day + strings.TrimSpace(a)); err != nil {
		return from, to, err
	}
	if to, err = h.parseTime(day + strings.TrimSpace(b)); err != nil {
		return from, to, err
	}
	if !to.After(from) || to.Sub(from) > 24*time.Hour {
		return from, to, usage("--hours ends before it begins: write 10:00-16:00")
	}
	return from, to, nil
}

// A sky is the light over a day: the word is taken to hold for the highest sun of the
// hours, and where the place is known it falls with the sun.
type sky struct {
	light exposure.Light
	place *exposure.Place
	high  float64 // degrees, the highest sun of the hours
}

// stops is how much darker (negative) it is at an instant than with the highest sun.
// After "Recommended Practice for the Calculation of Daylight Availability", Journal of
// the IES 13 (1984): under an overcast sky 0.3 + 21 sin h klx; of the direct sun
// 127.5 exp(-0.21 / sin h), and of the clear sky beside it 0.8 + 15.5 sqrt(sin h). The
// figures are from memory.
func (s sky) stops(at time.Time) (stops, altitude float64) {
	if s.place == nil {
		return 0, 0
	}
	sun, err := exposure.SunAt(*s.place, at)
	if err != nil {
		return 0, 0
	}
	of := func(alt float64) float64 {
		sin := math.Sin(max(alt, 0.5) * math.Pi / 180)
		if s.light.Sun {
			return 127.5*math.Exp(-0.21/sin) + 0.8 + 15.5*math.Sqrt(sin)
		}
		return 0.3 + 21*sin
	}
	return math.Log2(of(sun) / of(s.high)), sun
}

func (c *PlanCmd) sky(from, to time.Time) (sky, error) {
	light, err := exposure.ParseLight(plainMinus(c.Light))
	if err != nil {
		return sky{}, usageError{err}
	}
	s := sky{light: light}
	if c.Place == "" {
		return s, nil
	}
	place, err := placeOf(c.Place)
	if err != nil {
		return s, err
	}
	s.place, s.high = &place, -90
	for t := from; !t.After(to); t = t.Add(10 * time.Minute) {
		sun, err := exposure.SunAt(place, t)
		if err != nil {
			return s, usageError{err}
		}
		s.high = max(s.high, sun)
	}
	if s.high < 0 {
		return s, usage("the sun is down in those hours")
	}
	return s, nil
}

// An outing is one exposure of the day.
type outing struct {
	camera     string
	open, shut time.Time
}

// outings are as many exposures as there are sheets, one after another by one pair of
// hands, each camera opened again when it was reloaded.
func (c *PlanCmd) outings(n int, from time.Time, reload time.Duration, lasts func(camera string, at time.Time) (time.Duration, error)) ([]outing, error) {
	free := map[string]time.Time{}
	for _, cam := range c.Cameras {
		free[cam] = from // all are loaded before
	}
	hands := from
	var out []outing
	for range n {
		cam := slices.MinFunc(c.Cameras, func(a, b string) int { return free[a].Compare(free[b]) })
		at := free[cam]
		if hands.After(at) {
			at = hands
		}
		d, err := lasts(cam, at)
		if err != nil {
			return out, err
		}
		out = append(out, outing{cam, at, at.Add(d)})
		hands, free[cam] = at.Add(setUp), at.Add(d+reload)
	}
	return out, nil
}

func (c *PlanCmd) planDay(h *host, plan *profiles.Planner) (x dayPlan, err error) {
	if n := c.Sheets; n < 1 || n > mostPlanned {
		return x, usage("--sheets is how many, from 1 to %d, not %d", mostPlanned, n)
	}
	from, to, err := c.hours(h)
	if err != nil {
		return x, err
	}
	light, err := c.sky(from, to)
	if err != nil {
		return x, err
	}
	reload, err := profiles.ParseDuration(c.Reload)
	if err != nil || reload < 0 {
		return x, usage("--reload is a time like 10m, not %q", c.Reload)
	}
	move, err := c.move(h)
	if err != nil {
		return x, err
	}
	lasts := func(camera string, at time.Time) (time.Duration, error) {
		ask, _, _, _ := plan.Set.Today(camera, c.Paper)
		ask.Light = light.light
		stops, _ := light.stops(at)
		ask.Light.EV += stops
		r, _, err := plan.Reckon(ask, camera, c.Paper)
		return time.Duration(r.Rounded * float64(time.Second)), err
	}
	for _, cam := range c.Cameras {
		if _, err := plan.Set.Camera(cam); err != nil {
			return x, usageError{err}
		}
		if _, err := lasts(cam, from); err != nil {
			return x, usageError{err}
		}
	}
	d, err := c.fits(plan, from, to, reload, move, lasts)
	if err != nil {
		return x, err
	}
	clock := func(t time.Time) string { return t.Format("15:04") }
	x.Title = fmt.Sprintf("%s, %s to %s: %s", from.Format(time.DateOnly), clock(from), clock(to), words.Count(len(d.out), "sheet"))
	x.Light = light.light.From
	x.Cameras = [][]string{{"sheet", "camera", "open at", "for", "cover at"}}
	for i, o := range d.out {
		x.Cameras = append(x.Cameras, []string{strconv.Itoa(i + 1), o.camera, clock(o.open), words.Long(o.shut.Sub(o.open).Seconds()), clock(o.shut)})
	}
	x.Trays = planRows(d.sch, d.jobs, func(t time.Duration) string { return d.dark.Add(t).Format(time.TimeOnly) })
	if n := len(d.out); n < c.Sheets {
		x.Notes = append(x.Notes, fmt.Sprintf("Of %d sheets %d are in the wash by %s.", c.Sheets, n, clock(to)))
	}
	x.Notes = append(x.Notes, fmt.Sprintf("The darkroom begins at %s; all is in the wash by %s, and done at %s.", clock(d.dark), clock(to), clock(d.dark.Add(d.sch.Done))),
		fmt.Sprintf("All cameras are loaded before %s. Reloading is reckoned with %s, a camera at a time with %s.", clock(from), words.Long(reload.Seconds()), words.Long(setUp.Seconds())))
	c.baths(&x, plan, d.m, d.sch)
	c.sunny(&x, light, from, to, lasts)
	x.Notes = append(x.Notes, "Gloves, goggles and fresh air; each product's data sheet and local rules come before what is said here. Used fixer does not go down a drain by default.")
	return x, nil
}

// A fit is a day in the open and the evening after it.
type fit struct {
	out  []outing
	dark time.Time // when the darkroom begins
	m    *session.Machine
	jobs []bench.Job
	sch  bench.Schedule
}

// fits takes as many sheets as are in the wash by the end.
func (c *PlanCmd) fits(plan *profiles.Planner, from, to time.Time, reload time.Duration, move time.Duration, lasts func(string, time.Time) (time.Duration, error)) (d fit, err error) {
	for n := c.Sheets; n > 0; n-- {
		if d.out, err = c.outings(n, from, reload, lasts); err != nil || last(d.out).After(to) {
			continue
		}
		one := *c
		one.Sheets = n
		var shop bench.Shop
		if d.m, shop, err = one.evening(plan.Set, move); err != nil {
			return d, usageError{err}
		}
		d.jobs = jobsOf(d.m)
		d.sch = bench.Plan(shop, nil, d.jobs, 0)
		if d.dark = to.Add(-washed(d.sch, d.jobs)); !last(d.out).After(d.dark) {
			return d, nil
		}
	}
	return d, usageError{errors.Join(err, errors.New("not one sheet is in the wash by then: longer hours, or a brighter light"))}
}

func last(out []outing) (t time.Time) {
	for _, o := range out {
		if o.shut.After(t) {
			t = o.shut
		}
	}
	return t
}

// washed is when the last sheet goes into the wash; out of its last tray, where there is
// none.
func washed(sch bench.Schedule, jobs []bench.Job) (t time.Duration) {
	for _, p := range sch.Puts {
		in := p.End()
		if steps := stepsOf(p, jobs); len(steps) > 0 && len(p.Moves) >= len(steps) {
			in = p.Moves[len(steps)-1]
		}
		t = max(t, in)
	}
	return t
}

// baths reckons with the bench's own account what the sheets use of each bath.
func (c *PlanCmd) baths(x *dayPlan, plan *profiles.Planner, m *session.Machine, sch bench.Schedule) {
	for _, mix := range plan.Baths(c.Process[0]) {
		mix.ID = uuid.NewString()
		_ = m.Apply(session.Event{Kind: session.BathMixed, At: cribDay, Mix: &mix})
	}
	playThrough(m, sch)
	x.Baths = [][]string{{"bath", "in the tray", "used", "mix at least"}}
	for _, b := range bench.Account(m.Trays(), m.Sheets(), m.Now()) {
		least, used := b.Mix.ML, "not stated"
		if b.Share > 0 {
			least = max(least, math.Ceil(b.Mix.ML*b.Share*margin/50)*50)
		}
		if b.Mix.PerLitre > 0 {
			used = words.Percent(b.Share)
		}
		x.Baths = append(x.Baths, []string{b.Name, words.Num(b.Mix.ML) + " ml", used, words.Num(least) + " ml"})
		switch name := words.Sentence(b.Name); {
		case b.Spent():
			x.note("%s is spent after %s: fill it anew, or mix more.", name, words.Count(max(1, int(float64(len(sch.Puts))/b.Share)), "sheet"))
		case b.High():
			x.note("%s is nearly spent by the end.", name)
		}
		if b.Mix.Life > 0 && b.Mix.Life < sch.Done {
			x.note("%s keeps %s in the tray, less than the darkroom lasts.", words.Sentence(b.Name), words.Long(b.Mix.Life.Seconds()))
		}
	}
	for _, st := range m.Sheets()[0].Spec.Process.Steps {
		switch bath := words.Sentence(st.Bath); {
		case st.Stage != session.Wash:
		case st.Changes > 0:
			x.note("%s: %s of water, one every %s, counted from the last sheet in.", bath, words.Count(st.Changes, "change"), words.Long((st.AtMost / time.Duration(st.Changes)).Seconds()))
		default:
			x.note("%s: %s in running water, counted from the last sheet in.", bath, words.Long(st.AtMost.Seconds()))
		}
	}
}

func (x *dayPlan) note(format string, a ...any) { x.Notes = append(x.Notes, fmt.Sprintf(format, a...)) }

// playThrough makes every move of an evening as it is planned.
func playThrough(m *session.Machine, sch bench.Schedule) {
	type put struct {
		at time.Duration
		id string
	}
	var puts []put
	for _, p := range sch.Puts {
		for _, t := range p.Moves {
			puts = append(puts, put{t, p.ID})
		}
	}
	slices.SortStableFunc(puts, func(a, b put) int { return int(a.at - b.at) })
	for _, p := range puts {
		e := session.Event{Kind: session.Moved, At: cribDay.Add(p.at), Sheet: p.id}
		if v := m.Sheet(p.id).Visit(); v != nil {
			e.From = v.Serial
		}
		_ = m.Apply(e) // a clock may have moved it
	}
}

// sunny is how the time changes with the sun.
func (c *PlanCmd) sunny(x *dayPlan, light sky, from, to time.Time, lasts func(string, time.Time) (time.Duration, error)) {
	if light.place == nil {
		x.note("The light is taken to stay as it is: --place LAT,LON says what the sun's height does to it.")
		return
	}
	x.Sun = [][]string{{"at", "sun", "light", c.Cameras[0]}}
	const endless = time.Duration(math.MaxInt64)
	best := endless
	var times []time.Duration // every ten minutes
	for t := from; !t.After(to); t = t.Add(10 * time.Minute) {
		d, err := lasts(c.Cameras[0], t)
		if err != nil {
			d = endless
		}
		times, best = append(times, d), min(best, d)
	}
	var doubled []string
	was := false
	for i, d := range times {
		t := from.Add(time.Duration(i) * 10 * time.Minute)
		twice := d == endless || d >= 2*best
		if twice != was {
			word := map[bool]string{true: "double from %s on", false: "are short again from %s on"}[twice]
			doubled = append(doubled, fmt.Sprintf(word, t.Format("15:04")))
		}
		was = twice
		if t.Sub(from)%time.Hour == 0 {
			stops, alt := light.stops(t)
			text := "more than a day"
			if d != endless {
				text = words.Long(d.Seconds())
			}
			x.Sun = append(x.Sun, []string{t.Format("15:04"), words.Decimals(alt, 0) + " deg", words.Stops(math.Round(stops*3) / 3), text})
		}
	}
	if len(doubled) > 0 {
		x.note("Times %s, against the best light of these hours.", strings.Join(doubled, ", "))
	}
	x.note("How the light falls with the sun is a mean, after the IES practice of 1984 (from memory); a meter knows better.")
}

// text prints it for a terminal.
func (x dayPlan) text(h *host) error {
	h.say("%s", x.Title)
	h.say("light: %s", x.Light)
	for _, t := range [][][]string{x.Cameras, x.Trays, x.Baths, x.Sun} {
		if len(t) == 0 {
			continue
		}
		h.say("")
		if err := h.table(t, 0, 1); err != nil {
			return err
		}
	}
	h.say("")
	for _, n := range x.Notes {
		for l := range strings.SplitSeq(ansi.Wordwrap(n, screen, " "), "\n") {
			h.say("%s", l)
		}
	}
	return nil
}
