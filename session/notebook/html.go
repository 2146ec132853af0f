package notebook

import (
	"database/sql"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"wetside/session"
)

// Plot is what the judged sheets say of the exposure: stops against the log of
// the time. The host reckons it; the page draws it.
type Plot struct {
	Title  string
	Points []PlotPoint
	Line   []PlotPoint // in the order of X
	Band   []PlotBand  // in the order of X
}

// PlotPoint is a sheet, or a place on the line.
type PlotPoint struct {
	X     time.Duration // exposure
	Y     float64       // stops
	Label string
}

// PlotBand is how sure the line is at X.
type PlotBand struct {
	X      time.Duration
	Lo, Hi float64
}

//go:embed page.html
var pageText string

var page = template.Must(template.New("page").Parse(pageText))

type card struct {
	*Record
	Title    string
	Judgment string
	Facts    string
	Figures  string
	Strip    template.HTML
	Words    []string
	Back     []string
	Baths    string
}

func exportHTML(w io.Writer, rd *sql.DB, f Filter, waiting []*Record, o Options) error {
	if o.Title == "" {
		o.Title = "Sheets"
	}
	head := struct {
		Title string
		Stats Stats
		Plot  template.HTML
		Which string
	}{Title: CleanText(o.Title), Which: CleanText(f.words())}
	if rd != nil {
		var err error
		if head.Stats, err = stats(rd, f); err != nil {
			return err
		}
	}
	if o.Plot != nil {
		head.Plot = o.Plot.svg()
	}
	if err := page.ExecuteTemplate(w, "head", head); err != nil {
		return err
	}
	t := page.Lookup("card")
	if err := eachRecord(rd, f, waiting, func(r *Record) error { return t.Execute(w, cardOf(r)) }); err != nil {
		return err
	}
	return page.ExecuteTemplate(w, "foot", nil)
}

// words says what a filter chose.
func (f *Filter) words() string {
	var s []string
	for _, x := range []struct{ is, val string }{{"paper", f.Paper}, {"camera", f.Camera}, {"process", f.Process}, {"maker", f.Maker}, {"day", f.Day}} {
		if x.val != "" {
			s = append(s, x.is+" "+x.val)
		}
	}
	switch f.Rehearsals {
	case Only:
		s = append(s, "rehearsals only")
	case None:
		s = append(s, "no rehearsals")
	}
	switch f.Judged {
	case Only:
		s = append(s, "judged only")
	case None:
		s = append(s, "not yet judged")
	}
	return strings.Join(s, ", ")
}

// clock writes a length of time as 4:30 or 1:02:03, with tenths where it has them.
func clock(s Secs) string {
	d := s.D().Round(100 * time.Millisecond)
	b := make([]byte, 0, 16)
	if d < 0 {
		b, d = append(b, "−"...), -d
	}
	two := func(n time.Duration) { b = append(b, ':', byte('0'+n/10), byte('0'+n%10)) }
	if h := d / time.Hour; h > 0 {
		b = strconv.AppendInt(b, int64(h), 10)
		two(d / time.Minute % 60)
	} else {
		b = strconv.AppendInt(b, int64(d/time.Minute), 10)
	}
	two(d / time.Second % 60)
	if t := d % time.Second / (100 * time.Millisecond); t > 0 {
		b = append(b, '.', byte('0'+t))
	}
	return string(b)
}

func plan(least, most Secs) string {
	if least < most {
		return clock(least) + "–" + clock(most)
	}
	return clock(most)
}

// stopsWords says a judgement in words.
func stopsWords(stops float64) string {
	switch {
	case stops > 0:
		return number(stops) + " stops more"
	case stops < 0:
		return number(-stops) + " stops less"
	}
	return "right"
}

func label(s *StageRecord) string {
	if s.Label != "" {
		return s.Label
	}
	return s.Stage
}

func cardOf(r *Record) *card {
	c := &card{Record: r, Title: CleanText(r.Name)}
	join := func(p ...string) string {
		return strings.Join(slices.DeleteFunc(p, func(s string) bool { return s == "" }), " · ")
	}
	paper := r.Paper.Name
	if paper == "" {
		paper = r.Paper.Key
	}
	process := r.ProcessIs
	if process == "" {
		process = r.Process
	}
	temp := ""
	if r.Celsius != 0 {
		temp = number(r.Celsius) + " °C"
	}
	c.Facts = CleanText(join(r.Begun.Format("2006-01-02 15:04:05 -07:00"), r.Maker, paper, r.Camera, process, temp, r.Light))
	if j, ok := r.Judged(); ok {
		c.Judgment = "Should have had: " + stopsWords(j.Stops)
		if j.Seen != "" {
			c.Judgment += " (" + CleanText(j.Seen) + ")"
		}
		if n := len(r.Judgements) - 1; n > 0 {
			c.Judgment += fmt.Sprintf("; judged %d times before", n)
		}
	}
	var fig []string
	if e := r.Exposure; e != nil {
		s := "expose " + clock(e.Actual) + " of " + clock(e.Planned)
		if n := len(e.Covered); n > 0 {
			s += fmt.Sprintf(", covered %d×", n)
		}
		for _, x := range e.Readings {
			s += fmt.Sprintf(", light %+.1f stops", x.Stops)
		}
		if len(e.Readings) > 0 {
			s += fmt.Sprintf(", %.0f %% given", 100*e.Share)
		}
		fig = append(fig, s)
	}
	var baths []string
	for i := range r.Stages {
		s := &r.Stages[i]
		x := label(s) + " " + clock(s.Actual)
		if s.AtMost > 0 {
			x += " (" + plan(s.AtLeast, s.AtMost) + ")"
		}
		fig = append(fig, x)
		if u := s.Use; u != nil {
			b := s.Bath
			if u.What != "" {
				b += ": " + join(u.What+" "+u.Dilution)
			}
			b += ", " + clock(u.Age) + " old"
			if u.Share > 0 {
				b += fmt.Sprintf(", %.0f %% used", 100*u.Share)
			}
			baths = append(baths, b)
		}
	}
	if r.Emerged > 0 {
		fig = append(fig, "image after "+clock(r.Emerged))
	}
	safe := "safelight " + clock(r.Safelight)
	if r.SafeFor > 0 {
		safe += " of " + clock(r.SafeFor)
	}
	fig = append(fig, safe)
	c.Figures = CleanText(strings.Join(fig, " · "))
	c.Baths = CleanText(strings.Join(baths, " · "))
	for _, w := range words(r) {
		c.Words = append(c.Words, CleanText(w))
	}
	for _, u := range r.Undone {
		st := u.Stage
		if st == "" {
			st = "the end"
		}
		c.Back = append(c.Back, CleanText(st)+" taken back after "+clock(u.After))
	}
	c.Strip = timeline(r)
	return c
}

// The drawing: one line a stage, each on its own scale, so that ten seconds of
// stop can be read beside half an hour of wash. The pale bar is what was
// planned (its darker part the window to judge in), the line in it what was
// done, in another colour where it went past the plan or was cut short. The
// plan's end is at the same place on every line.
const (
	drawLeft  = 92.0  // where the bars begin
	drawPlan  = 380.0 // length of the plan's at-most
	drawMax   = 560.0 // where a bar is cut off
	drawRow   = 20.0
	drawWidth = 760.0
)

func timeline(r *Record) template.HTML {
	n := len(r.Stages)
	if r.Exposure != nil {
		n++
	}
	if n == 0 {
		return ""
	}
	b := make([]byte, 0, 400+330*n)
	num := func(f float64) { // to a tenth
		n := int64(math.Round(f * 10))
		b = strconv.AppendInt(b, n/10, 10) // nothing here is negative
		if n%10 != 0 {
			b = append(b, '.', byte('0'+n%10))
		}
	}
	str := func(s string) { b = append(b, s...) }
	str(`<svg class="t" viewBox="0 0 `)
	num(drawWidth)
	str(` `)
	num(drawRow*float64(n) + 4)
	str(`" role="img" aria-label="planned against actual">`)
	y := 2.0
	row := func(name string, least, most, actual, over Secs, gaps []SpanRecord, says Secs) {
		scale := 0.0
		switch {
		case most > 0:
			scale = drawPlan / float64(most)
		case actual > 0: // holding water: no plan
			scale = drawPlan / float64(actual)
		}
		str(`<text x="`)
		num(drawLeft - 8)
		str(`" y="`)
		num(y + 13)
		str(`" text-anchor="end">`)
		str(template.HTMLEscapeString(CleanText(name)))
		str(`</text>`)
		bar := func(class string, x, w, dy, h float64) {
			x, w = min(x, drawMax), min(w, drawMax-min(x, drawMax))
			if w <= 0 {
				return
			}
			str(`<rect class="`)
			str(class)
			str(`" x="`)
			num(drawLeft + x)
			str(`" y="`)
			num(y + dy)
			str(`" width="`)
			num(max(w, .5))
			str(`" height="`)
			num(h)
			str(`"/>`)
		}
		if most > 0 {
			bar("p", 0, float64(most)*scale, 2, 14)
			if least < most {
				bar("w", float64(least)*scale, float64(most-least)*scale, 2, 14)
			}
		}
		class, long := "a", float64(actual)*scale
		if over < 0 {
			class = "short"
		}
		if end := float64(most) * scale; over > 0 && most > 0 {
			bar(class, 0, end, 6, 6)
			bar("over", end, long-end, 6, 6)
		} else {
			bar(class, 0, long, 6, 6)
		}
		for _, g := range gaps {
			bar("g", float64(g.From)*scale, float64(g.For)*scale, 6, 6)
		}
		str(`<text x="`)
		num(drawLeft + drawMax + 8)
		str(`" y="`)
		num(y + 13)
		str(`">`)
		str(clock(says))
		if over != 0 {
			str(` (`)
			if over > 0 {
				str(`+`)
			}
			str(clock(over))
			str(`)`)
		}
		str(`</text>`)
		y += drawRow
	}
	if e := r.Exposure; e != nil {
		// The whole stretch, with the covers cut out; the plan is longer by them.
		var shut Secs
		for _, g := range e.Covered {
			shut += g.For
		}
		plan := e.Actual - e.over() + shut
		row(string(session.Exposure), plan, plan, e.Actual+shut, e.over(), e.Covered, e.Actual)
	}
	for i := range r.Stages {
		s := &r.Stages[i]
		row(label(s), s.AtLeast, s.AtMost, s.Actual, s.Over, nil, s.Actual)
	}
	str(`</svg>`)
	return template.HTML(b)
}

// svg draws the plot: stops up, time across on a log scale.
func (p *Plot) svg() template.HTML {
	const w, h, l, bt, top, rt = 760.0, 320.0, 56.0, 36.0, 12.0, 16.0
	x0, x1, y0, y1 := math.Inf(1), math.Inf(-1), -.5, .5
	see := func(d time.Duration, ys ...float64) bool {
		if d <= 0 {
			return false
		}
		for _, y := range ys {
			if math.IsNaN(y) || math.IsInf(y, 0) {
				return false
			}
		}
		v := math.Log10(d.Seconds())
		x0, x1 = min(x0, v), max(x1, v)
		for _, y := range ys {
			y0, y1 = min(y0, y), max(y1, y)
		}
		return true
	}
	points := slices.Clone(p.Points)
	points = slices.DeleteFunc(points, func(q PlotPoint) bool { return !see(q.X, q.Y) })
	line := slices.DeleteFunc(slices.Clone(p.Line), func(q PlotPoint) bool { return !see(q.X, q.Y) })
	band := slices.DeleteFunc(slices.Clone(p.Band), func(q PlotBand) bool { return !see(q.X, q.Lo, q.Hi) })
	if math.IsInf(x0, 0) {
		return ""
	}
	x0, x1 = x0-.1, x1+.1
	y0, y1 = y0-.2, y1+.2
	px := func(d time.Duration) float64 { return l + (math.Log10(d.Seconds())-x0)/(x1-x0)*(w-l-rt) }
	py := func(y float64) float64 { return top + (y1-y)/(y1-y0)*(h-top-bt) }
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="plot" viewBox="0 0 %g %g" role="img" aria-label="stops against exposure time">`, w, h)
	if len(band) > 1 {
		b.WriteString(`<path class="band" d="`)
		for i, q := range band {
			fmt.Fprintf(&b, "%c%.1f %.1f", "ML"[min(i, 1)], px(q.X), py(q.Hi))
		}
		for _, q := range slices.Backward(band) {
			fmt.Fprintf(&b, "L%.1f %.1f", px(q.X), py(q.Lo))
		}
		b.WriteString(`Z"/>`)
	}
	step := 1.0
	for (y1-y0)/step > 10 {
		step *= 2
	}
	for y := math.Ceil(y0/step) * step; y <= y1; y += step {
		fmt.Fprintf(&b, `<path class="grid" d="M%g %.1fH%g"/><text x="%g" y="%.1f" text-anchor="end">%+g</text>`, l, py(y), w-rt, l-6, py(y)+4, y)
	}
	for _, s := range []float64{1, 2, 5, 10, 15, 30, 60, 120, 240, 480, 900, 1800, 3600, 7200, 14400, 28800, 86400} {
		if v := math.Log10(s); v >= x0 && v <= x1 {
			d := time.Duration(s * 1e9)
			fmt.Fprintf(&b, `<path class="grid" d="M%.1f %gV%g"/><text x="%.1f" y="%g" text-anchor="middle">%s</text>`, px(d), top, h-bt, px(d), h-bt+16, clock(Secs(d)))
		}
	}
	if len(line) > 1 {
		b.WriteString(`<path class="line" d="`)
		for i, q := range line {
			fmt.Fprintf(&b, "%c%.1f %.1f", "ML"[min(i, 1)], px(q.X), py(q.Y))
		}
		b.WriteString(`"/>`)
	}
	for _, q := range points {
		fmt.Fprintf(&b, `<circle cx="%.1f" cy="%.1f" r="4"><title>%s</title></circle>`, px(q.X), py(q.Y), template.HTMLEscapeString(CleanText(q.Label)))
	}
	fmt.Fprintf(&b, `<text x="%g" y="%g" text-anchor="middle">exposure</text><text x="%g" y="%g">stops</text></svg>`, (l+w-rt)/2, h-4, 4.0, top+8)
	return template.HTML(b.String())
}
