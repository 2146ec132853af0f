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
	"strconv"
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

var page = template.Must(template.New("page").Parse(pageText))

func exportHTML(w io.Writer, rd *sql.DB, f Filter, waiting []*Record, o Options) error {
	if o.Title == "" {
		o.Title = "Sheets"
	}
	head := struct {
		Title string
		Stats Stats
		Plot  template.HTML
		Above string // the plot
		Which string
	}{Title: words.Clean(o.Title), Which: words.Clean(f.words())}
	var err error
	if head.Stats, err = stats(rd, f, waiting); err != nil {
		return err
	}
	if o.Plot != nil {
		head.Plot, head.Above = o.Plot.svg(), words.Clean(o.Plot.Title)
	}
	if err := page.ExecuteTemplate(w, "head", head); err != nil {
		return err
	}
	var c card
	if err := eachRecord(rd, f, waiting, func(r *Record) error {
		_, err := w.Write(c.of(r))
		return err
	}); err != nil {
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

func plan(least, most Secs) string { return string(appendPlan(make([]byte, 0, 24), least, most)) }

func appendPlan(b []byte, least, most Secs) []byte {
	if least < most {
		b = append(words.AppendFinished(b, least.D()), "–"...)
	}
	return words.AppendFinished(b, most.D())
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

// A card is the piece of the page that belongs to one sheet. It is written by
// hand and not by a template, which took four fifths of the time of an export.
// What a user typed goes through text alone, and only ever stands between
// tags, never in one.
type card struct{ b []byte }

// of returns the card of a sheet, good until it is called again.
func (c *card) of(r *Record) []byte {
	c.b = c.b[:0]
	c.raw("<article>\n<h2>Sheet ")
	c.b = strconv.AppendInt(c.b, int64(r.Num), 10)
	if name := words.Clean(r.Name); name != "" {
		c.raw(": ")
		c.text(name)
	}
	if r.Rehearsal {
		c.raw(`<span class="tag rehearsal">rehearsal`)
		if r.Pace != 0 {
			c.raw(" at ")
			c.number(r.Pace)
			c.raw("×")
		}
		c.raw("</span>")
	}
	if r.State == string(session.Ruined) {
		c.raw(`<span class="tag spoiled">spoiled</span>`)
	}
	c.raw("</h2>\n")
	c.facts(r)
	if r.Spoiled != "" {
		c.line("spoiled", "Spoiled: ", r.Spoiled)
	}
	c.timeline(r)
	c.raw("\n")
	c.figures(r)
	c.baths(r)
	if r.Exposure != nil && r.Exposure.Working != "" {
		c.line("facts work", "", r.Exposure.Working)
	}
	c.list(r)
	c.judgement(r)
	if r.Scan != "" {
		c.line("facts", "scan: ", r.Scan)
	}
	c.line("id", "", r.ID)
	c.raw("</article>\n")
	return c.b
}

// raw adds markup, or our own words that hold no sign that markup has.
func (c *card) raw(s string) { c.b = append(c.b, s...) }

// text adds what may hold anything.
func (c *card) text(s string) {
	for i := range len(s) {
		switch x := s[i]; {
		case x < 0x20, x >= 0x7f, x == '<', x == '>', x == '&', x == '"', x == '\'':
			c.raw(template.HTMLEscapeString(words.Clean(s)))
			return
		}
	}
	c.raw(s)
}

func (c *card) clock(s Secs)      { c.b = words.AppendFinished(c.b, s.D()) }
func (c *card) number(f float64)  { c.raw(words.Decimals(f, 3)) }
func (c *card) percent(f float64) { c.raw(words.Percent(f)) }

func (c *card) open(class string) {
	c.raw(`<p class="`)
	c.raw(class)
	c.raw(`">`)
}

func (c *card) shut() { c.raw("</p>\n") }

func (c *card) line(class, ours, theirs string) {
	c.open(class)
	c.raw(ours)
	c.text(theirs)
	c.shut()
}

// next adds what stands between two things of one line.
func (c *card) next() { c.raw(" · ") }

func (c *card) facts(r *Record) {
	c.open("facts")
	c.b = r.Begun.AppendFormat(c.b, "2006-01-02 15:04:05 -07:00")
	put := func(s string) {
		if s != "" {
			c.next()
			c.text(s)
		}
	}
	put(r.Maker)
	put(cmp.Or(r.Paper.Name, r.Paper.Key))
	put(r.Camera)
	put(cmp.Or(r.ProcessIs, r.Process))
	if r.Celsius != 0 {
		c.next()
		c.number(r.Celsius)
		c.raw(" °C")
	}
	put(r.Light)
	c.shut()
}

func (c *card) figures(r *Record) {
	c.open("figures")
	if e := r.Exposure; e != nil {
		c.raw("expose ")
		c.clock(e.Actual)
		c.raw(" of ")
		c.clock(e.Planned)
		if n := len(e.Covered); n > 0 {
			c.raw(", covered ")
			c.b = strconv.AppendInt(c.b, int64(n), 10)
			c.raw("×")
		}
		for _, x := range e.Readings {
			c.raw(", ")
			c.text(x.Words())
		}
		if len(e.Readings) > 0 {
			c.raw(", ")
			c.percent(e.Share)
			c.raw(" given")
		}
		c.next()
	}
	for i := range r.Stages {
		s := &r.Stages[i]
		c.text(label(s))
		c.raw(" ")
		c.clock(s.Actual)
		if s.AtMost > 0 {
			c.raw(" (")
			c.b = appendPlan(c.b, s.AtLeast, s.AtMost)
			c.raw(")")
		}
		c.next()
	}
	if r.Emerged > 0 {
		c.raw("image after ")
		c.clock(r.Emerged)
		c.next()
	}
	c.raw("safelight ")
	c.clock(r.Safelight)
	if r.SafeFor > 0 || r.SafeTest {
		c.raw(" of ")
		c.clock(r.SafeFor)
	}
	c.shut()
}

func (c *card) baths(r *Record) {
	some := false
	for i := range r.Stages {
		s := &r.Stages[i]
		u := s.Use
		if u == nil {
			continue
		}
		if some {
			c.next()
		} else {
			c.open("baths")
			some = true
		}
		c.text(s.Bath)
		if u.What != "" {
			c.raw(": ")
			c.text(u.What)
			c.raw(" ")
			c.text(u.Dilution)
		}
		c.raw(", ")
		c.clock(u.Age)
		c.raw(" old")
		if u.Share > 0 {
			c.raw(", ")
			c.percent(u.Share)
			c.raw(" used")
		}
	}
	if some {
		c.shut()
	}
}

// list has what was noted, and the moves that were taken back.
func (c *card) list(r *Record) {
	said := remarks(r)
	if len(said)+len(r.Undone) == 0 {
		return
	}
	c.raw("<ul>")
	for _, w := range said {
		c.raw("<li>")
		c.text(w)
		c.raw("</li>")
	}
	for i := range r.Undone {
		u := &r.Undone[i]
		c.raw("<li>")
		c.text(cmp.Or(u.Stage, "the end"))
		c.raw(" taken back after ")
		c.clock(u.After)
		c.raw("</li>")
	}
	c.raw("</ul>\n")
}

func (c *card) judgement(r *Record) {
	j, ok := r.Judged()
	if !ok {
		return
	}
	c.open("judged")
	if j.LeftOut() {
		c.raw("Not learned from: ")
		c.text(j.Seen)
	} else {
		c.raw("Should have had: ")
		c.raw(stopsWords(j.Stops))
		if j.Seen != "" {
			c.raw(" (")
			c.text(j.Seen)
			c.raw(")")
		}
	}
	if n := len(r.Judgements) - 1; n > 0 {
		c.b = fmt.Appendf(c.b, "; judged %s before", words.Count(n, "time"))
	}
	c.shut()
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

func (c *card) timeline(r *Record) {
	n := len(r.Stages)
	if r.Exposure != nil {
		n++
	}
	if n == 0 {
		return
	}
	str := c.raw
	num := func(f float64) { // to a tenth
		n := int64(math.Round(f * 10))
		c.b = strconv.AppendInt(c.b, n/10, 10) // nothing here is negative
		if n%10 != 0 {
			c.b = append(c.b, '.', byte('0'+n%10))
		}
	}
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
		c.text(name)
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
		c.clock(says)
		if over != 0 {
			str(` (`)
			if over > 0 {
				str(`+`)
			}
			c.clock(over)
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
		fmt.Fprintf(&b, `<path class="grid" d="M%g %.1fH%g"/><text x="%g" y="%.1f" text-anchor="end">%s</text>`, l, py(y), w-rt, l-6, py(y)+4, words.Signed(y, 2))
	}
	for _, s := range []float64{1, 2, 5, 10, 15, 30, 60, 120, 240, 480, 900, 1800, 3600, 7200, 14400, 28800, 86400} {
		if v := math.Log10(s); v >= x0 && v <= x1 {
			d := time.Duration(s * 1e9)
			fmt.Fprintf(&b, `<path class="grid" d="M%.1f %gV%g"/><text x="%.1f" y="%g" text-anchor="middle">%s</text>`, px(d), top, h-bt, px(d), h-bt+16, words.Finished(d))
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
		fmt.Fprintf(&b, `<circle cx="%.1f" cy="%.1f" r="4"><title>%s</title></circle>`, px(q.X), py(q.Y), template.HTMLEscapeString(words.Clean(q.Label)))
	}
	fmt.Fprintf(&b, `<text x="%g" y="%g" text-anchor="middle">exposure</text><text x="%g" y="%g">stops</text></svg>`, (l+w-rt)/2, h-4, 4.0, top+8)
	return template.HTML(b.String())
}
