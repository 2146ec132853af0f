package notebook

import (
	"cmp"
	"database/sql"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"wetside/session"
	"wetside/session/words"
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

// What the user typed goes through clean; the template escapes it where it stands.
var page = template.Must(template.New("page").Funcs(template.FuncMap{
	"clean":      words.Clean,
	"clock":      func(s Secs) string { return words.Finished(s.D()) },
	"number":     func(v float64) string { return words.Decimals(v, 3) },
	"percent":    words.Percent,
	"plan":       plan,
	"stops":      stopsWords,
	"said":       remarks,
	"drawing":    timeline,
	"spoiled":    func(r *Record) bool { return r.State == string(session.Ruined) },
	"afterwards": func(r *Record) bool { return r.Afterwards() != "" },
	"judged": func(r *Record) *JudgementRecord {
		if j, ok := r.Judged(); ok {
			return &j
		}
		return nil
	},
	"before": func(r *Record) string {
		if n := len(r.Judgements) - 1; n > 0 {
			return words.Count(n, "time")
		}
		return ""
	},
}).Parse(pageText))

func exportHTML(w io.Writer, rd *sql.DB, f Filter, waiting []*Record, o Options) error {
	o.Title = cmp.Or(o.Title, "Sheets")
	head := struct {
		Title, Which string
		Stats        Stats
		Plot         *plotted
	}{Title: o.Title, Which: f.words()}
	var err error
	if head.Stats, err = stats(rd, f, waiting); err != nil {
		return err
	}
	if o.Plot != nil {
		head.Plot = o.Plot.draw()
	}
	if err := page.ExecuteTemplate(w, "head", head); err != nil {
		return err
	}
	if err := eachRecord(rd, f, waiting, func(r *Record) error { return page.ExecuteTemplate(w, "card", r) }); err != nil {
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

func plan(least, most Secs) string {
	s := words.Finished(most.D())
	if least < most {
		s = words.Finished(least.D()) + "–" + s
	}
	return s
}

// stopsWords says a judgement in words.
func stopsWords(stops float64) string {
	switch {
	case stops > 0:
		return words.StopsOf(stops) + " more"
	case stops < 0:
		return words.StopsOf(stops) + " less"
	}
	return "right"
}

func label(s *StageRecord) string {
	if s.Label != "" {
		return s.Label
	}
	return s.Stage
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
	drawWidth = 820.0
)

// A drawing is what the template draws of a sheet's stages.
type drawing struct {
	Width, Height, Names, Figures float64
	Rows                          []drawn
}

type drawn struct {
	Name, Says string
	Base       float64 // of its text
	Bars       []drawnBar
}

type drawnBar struct{ Class, Path string }

// tenth rounds a place in a drawing.
func tenth(v float64) float64 { return math.Round(v*10) / 10 }

// timeline draws a sheet's stages; nil where it has none.
func timeline(r *Record) *drawing {
	d := &drawing{Width: drawWidth, Names: drawLeft - 8, Figures: drawLeft + drawMax + 8}
	if e := r.Exposure; e != nil {
		// The whole stretch, with the covers cut out; the plan is longer by them.
		var shut Secs
		for _, g := range e.Covered {
			shut += g.For
		}
		plan := e.Actual - e.over() + shut
		d.row(string(session.Exposure), plan, plan, e.Actual+shut, e.over(), e.Covered, e.Actual)
	}
	for i := range r.Stages {
		s := &r.Stages[i]
		d.row(label(s), s.AtLeast, s.AtMost, s.Actual, s.Over, nil, s.Actual)
		if s.Led {
			d.Rows[len(d.Rows)-1].Says += " led"
		}
	}
	if len(d.Rows) == 0 {
		return nil
	}
	d.Height = drawRow*float64(len(d.Rows)) + 4
	return d
}

// A plotted is what the template draws of a plot: stops up, time across on a
// log scale.
type plotted struct {
	Title         string
	Width, Height float64
	Band, Line    string // paths
	Grid          []string
	Texts         []plottedText
	Points        []plottedText
}

type plottedText struct {
	X, Y   float64
	Anchor string
	Text   string
}

func (p *Plot) draw() *plotted {
	const w, h, l, bt, top, rt = 760.0, 320.0, 56.0, 36.0, 12.0, 16.0
	x0, x1, y0, y1 := math.Inf(1), math.Inf(-1), -.5, .5
	see := func(d time.Duration, ys ...float64) bool {
		if d <= 0 {
			return false
		}
		if slices.ContainsFunc(ys, func(y float64) bool { return math.IsNaN(y) || math.IsInf(y, 0) }) {
			return false
		}
		v := math.Log10(d.Seconds())
		x0, x1 = min(x0, v), max(x1, v)
		y0, y1 = min(y0, slices.Min(ys)), max(y1, slices.Max(ys))
		return true
	}
	points := slices.DeleteFunc(slices.Clone(p.Points), func(q PlotPoint) bool { return !see(q.X, q.Y) })
	line := slices.DeleteFunc(slices.Clone(p.Line), func(q PlotPoint) bool { return !see(q.X, q.Y) })
	band := slices.DeleteFunc(slices.Clone(p.Band), func(q PlotBand) bool { return !see(q.X, q.Lo, q.Hi) })
	out := &plotted{Title: p.Title, Width: w, Height: h}
	if math.IsInf(x0, 0) {
		return out
	}
	x0, x1 = x0-.1, x1+.1
	y0, y1 = y0-.2, y1+.2
	px := func(d time.Duration) float64 { return tenth(l + (math.Log10(d.Seconds())-x0)/(x1-x0)*(w-l-rt)) }
	py := func(y float64) float64 { return tenth(top + (y1-y)/(y1-y0)*(h-top-bt)) }
	to := func(path *string, d time.Duration, y float64) {
		*path += fmt.Sprintf("%c%g %g", "ML"[min(len(*path), 1)], px(d), py(y))
	}
	if len(band) > 1 {
		for _, q := range band {
			to(&out.Band, q.X, q.Hi)
		}
		for _, q := range slices.Backward(band) {
			to(&out.Band, q.X, q.Lo)
		}
		out.Band += "Z"
	}
	if len(line) > 1 {
		for _, q := range line {
			to(&out.Line, q.X, q.Y)
		}
	}
	step := 1.0
	for (y1-y0)/step > 10 {
		step *= 2
	}
	for y := math.Ceil(y0/step) * step; y <= y1; y += step {
		out.Grid = append(out.Grid, fmt.Sprintf("M%g %gH%g", l, py(y), w-rt))
		out.Texts = append(out.Texts, plottedText{l - 6, py(y) + 4, "end", words.Signed(y, 2)})
	}
	for _, s := range []float64{1, 2, 5, 10, 15, 30, 60, 120, 240, 480, 900, 1800, 3600, 7200, 14400, 28800, 86400} {
		if v := math.Log10(s); v >= x0 && v <= x1 {
			d := time.Duration(s * 1e9)
			out.Grid = append(out.Grid, fmt.Sprintf("M%g %gV%g", px(d), top, h-bt))
			out.Texts = append(out.Texts, plottedText{px(d), h - bt + 16, "middle", words.Finished(d)})
		}
	}
	out.Texts = append(out.Texts, plottedText{(l + w - rt) / 2, h - 4, "middle", "exposure"}, plottedText{4, top + 8, "start", "stops"})
	for _, q := range points {
		out.Points = append(out.Points, plottedText{X: px(q.X), Y: py(q.Y), Text: q.Label})
	}
	return out
}

// row draws one stage: what was planned, and over it what was.
func (d *drawing) row(name string, least, most, actual, over Secs, gaps []SpanRecord, says Secs) {
	y := 2 + drawRow*float64(len(d.Rows))
	o := drawn{Name: name, Base: y + 13, Says: words.Finished(says.D())}
	switch {
	case over > 0:
		o.Says += " (+" + words.Finished(over.D()) + ")"
	case over < 0:
		o.Says += " (" + words.Finished(over.D()) + ")"
	}
	scale := 0.0
	switch {
	case most > 0:
		scale = drawPlan / float64(most)
	case actual > 0: // holding water: no plan
		scale = drawPlan / float64(actual)
	}
	bar := func(class string, x, w, dy, h float64) {
		x, w = min(x, drawMax), min(w, drawMax-min(x, drawMax))
		if w > 0 {
			o.Bars = append(o.Bars, drawnBar{class, fmt.Sprintf("M%g %gh%gv%gH%[1]gz", tenth(drawLeft+x), y+dy, tenth(max(w, .5)), h)})
		}
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
	d.Rows = append(d.Rows, o)
}
