package tui

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/charmbracelet/x/ansi"

	"wetside/session"
	"wetside/session/words"
	"wetside/tui/ember"
)

// A face is what the screens with a clock show: one thing is the largest, the time
// the hands wait for; then whose it is; then what the next press does. All else is
// small and dim, and every part has the same place on each of them.
type face struct {
	title string   // in letters three rows high: "2 fix"
	about []string // beside it: the sheet's name, what is next
	clock string   // "0:47"; empty: no clock
	deed  string   // what a press of the large key does
	also  []string // other keys and calls, dim
	line  timeline
	notes []note // accounts, and when all is done
	more  string // what was asked for: a sum, an answer
}

// A note is words with a short bar before them.
type note struct {
	text  string
	share float64 // of the bar; negative: none
}

// figureLight is the share of a white window's light that the figures may give, of
// 0.3 % for the whole at ember.
const figureLight = 0.0019

// A layout is a face being drawn: between its rows y and low there is room yet.
type layout struct {
	*canvas
	m      *Model
	face   face
	margin int
	y, low int
	wide   bool // the deed has room beside the clock
	roomy  bool // an empty row goes between the parts
	deed   int  // how wide the deed and what stands with it are
}

// drawFace lays a face out in a window of w by h cells. What stands below is laid
// out from the bottom, and the clock has the rest.
func (m *Model) drawFace(f face, w, h int) *canvas {
	l := layout{canvas: newCanvas(w, h), m: m, face: f, margin: 1, low: h, wide: w >= 60, roomy: h >= 17+len(f.line.rows)}
	if l.wide {
		l.margin = 3
	}
	if l.roomy {
		l.y = 1
	}
	for _, text := range append([]string{f.deed}, f.also...) {
		l.deed = max(l.deed, ansi.StringWidth(text))
	}
	l.deed = min(l.deed, max(24, w/3))
	l.answer()
	l.accounts()
	l.times()
	l.title()
	l.deeds(l.clock())
	return l.canvas
}

func (l *layout) inner() int { return l.w - 2*l.margin }

// answer is what was asked for, at the very bottom.
func (l *layout) answer() {
	if l.face.more == "" {
		return
	}
	l.low -= min(strings.Count(wrap(l.face.more, l.inner()), "\n")+2, max(0, l.h-8))
	l.para(l.margin, l.low+1, l.inner(), l.h-l.low-1, ember.Faint, l.face.more)
}

func (l *layout) accounts() {
	if len(l.face.notes) == 0 || l.h < 10 {
		return
	}
	l.low -= l.m.drawNotes(l.canvas, l.face.notes, l.margin, l.low, l.inner())
	if l.roomy {
		l.low--
	}
}

// times is the line of time, or a list of the sheets where there is no room for it.
func (l *layout) times() {
	line, small := l.face.line, l.w < 60 || l.h < 16
	rows := len(line.rows)
	if rows == 0 || l.h < 10 {
		return
	}
	switch n := min(rows, max(1, min(l.low-l.y-10, l.low/2))); {
	case !small:
		l.low -= n + 1
		line.draw(l.canvas, l.low, n)
	default:
		if n = min(rows, max(0, l.low-l.y-9)); n > 0 {
			l.low -= n
			line.list(l.canvas, l.low, n)
		}
	}
	if l.roomy {
		l.low--
	}
}

// title is the sheet and its stage, in large letters where they fit.
func (l *layout) title() {
	f := l.face
	big, ok := ember.Letters(f.title)
	if !ok || l.low-l.y < 9 || ansi.StringWidth(big[0]) > l.inner() || ember.Ink(big) > l.m.figureInk()/2 {
		x := l.put(l.margin, l.y, ember.Strong, ansiCut(ember.SafeText(f.title), l.inner()))
		if len(f.about) > 0 && l.w-x > 12 {
			l.put(x+2, l.y, ember.Border, ansiCut(f.about[0], l.w-x-l.margin-2))
		}
		l.y++
		return
	}
	l.block(l.margin, l.y, ember.Large, big)
	x := max(l.margin+ansi.StringWidth(big[0])+4, min(l.w-l.deed-l.margin, l.margin+27))
	if room := l.w - x - l.margin; room >= 8 {
		for i, text := range f.about[:min(2, len(f.about))] {
			l.put(x, l.y+1+i, []ember.Role{ember.Normal, ember.Border}[i], ansiCut(text, room))
		}
	}
	if l.y += 3; l.roomy {
		l.y++
	}
}

// clock draws the clock in the middle of its room, and returns the column at which
// the deed begins: beside it, or at the margin below.
func (l *layout) clock() int {
	f, m := l.face, l.m
	if f.clock == "" {
		return l.margin
	}
	room, width := l.low-l.y, l.inner()
	if l.wide {
		width -= l.deed + 3
	} else {
		room -= 2
	}
	size := ember.Fit(f.clock, width, max(1, room), m.figureInk())
	fig := ember.Figure(f.clock, size)
	m.spare = ember.Ink(ember.Figure(ember.Widest(f.clock), size)) - ember.Ink(fig)
	if m.cfg.Profile == ember.LinuxConsole {
		for i := range fig {
			fig[i] = strings.NewReplacer("█", "#", "▀", "\"", "▄", "_").Replace(fig[i])
		}
	}
	role := ember.Large
	if size.Stroke == 0 {
		role = ember.Strong
	}
	top := l.y + max(0, (room-len(fig))/2)
	l.block(l.margin, top, role, fig)
	if !l.wide {
		l.y = top + len(fig)
		return l.margin
	}
	l.y = top + max(0, (len(fig)-len(f.also)-3)/2)
	x := l.margin + ansi.StringWidth(fig[0])
	return max(x+4, min(l.w-l.deed-l.margin, x+12))
}

// deeds is what the next press does, at column x, and the other keys under it.
func (l *layout) deeds(x int) {
	f, key := l.face, l.m.keyFor("move")
	if f.deed != "" {
		if l.wide && l.y < l.low-1 {
			l.put(x, l.y, ember.Faint, key)
			l.y = l.para(x, l.y+1, l.w-x-1, max(1, l.low-l.y-1), ember.Strong, f.deed)
		} else {
			l.y = l.para(l.margin, l.y, l.inner(), max(0, l.low-l.y), ember.Strong, key+": "+f.deed)
		}
		l.y++
	}
	for _, text := range f.also {
		if l.y >= l.low {
			break
		}
		l.y = l.para(x, l.y, l.w-x-1, max(0, l.low-l.y), ember.Border, text)
	}
}

// figureInk is how many cells may be lit by the clock.
func (m *Model) figureInk() float64 {
	return figureLight * float64(m.width*m.height) / ember.Luminance(m.styles.Level, ember.Large, m.cfg.Profile)
}

// drawNotes draws the accounts above row low, as many to a row as fit, and
// returns how many rows they take.
func (m *Model) drawNotes(c *canvas, notes []note, x0, low, width int) int {
	type placed struct{ x, row int }
	at := make([]placed, len(notes))
	x, row, shown := 0, 0, 0
	most := 1 + c.h/30 // rows: the clock needs them more
	for i, n := range notes {
		w := ansi.StringWidth(n.text)
		if n.share >= 0 {
			w += barCells + 1
		}
		if x > 0 && x+w > width {
			if x = 0; row == most-1 {
				break
			}
			row++
		}
		shown++
		at[i] = placed{x, row}
		x += w + 3
	}
	for i, n := range notes[:shown] {
		x, y := x0+at[i].x, low-row-1+at[i].row
		if n.share >= 0 {
			full := int(min(1, n.share)*barCells + 0.5)
			x = c.put(x, y, ember.Faint, strings.Repeat("━", full))
			x = c.put(x, y, ember.Border, strings.Repeat("╌", barCells-full)) + 1
		}
		c.put(x, y, ember.Border, ansiCut(n.text, c.w-x))
	}
	return row + 1
}

const barCells = 3

// A timeline shows the evening: what was, what runs, what is planned.
type timeline struct {
	now   time.Duration
	clock func(time.Duration) time.Time // of an instant of session time
	rows  []timeRow
}

// A timeRow is one sheet's line.
type timeRow struct {
	label, right string
	role         ember.Role
	spans        []timeSpan
	ticks        []time.Duration // where hands are needed
}

// A timeSpan is a stretch of a row.
type timeSpan struct {
	from, to time.Duration
	label    string
}

// perCell are the seconds a cell may stand for, and perLabel those between two
// times of day.
var (
	perCell  = []int{2, 5, 10, 15, 20, 30, 60, 120, 300, 600, 1200, 3600}
	perLabel = []int{60, 120, 300, 600, 900, 1200, 1800, 3600, 7200, 14400, 6 * 3600, 12 * 3600}
)

// A scale lays session time out over cells.
type scale struct {
	x, width int
	from     time.Duration
	cell     time.Duration
}

func (s scale) at(t time.Duration) int {
	return s.x + int((t-s.from+s.cell/2)/s.cell)
}

// scale fits the line into so many cells: a fifth of it for what was.
func (l timeline) scale(x, width int) scale {
	first, last := l.now, l.now+time.Minute
	for _, r := range l.rows {
		for _, sp := range r.spans {
			first, last = min(first, sp.from), max(last, sp.to)
		}
	}
	first = max(first, l.now-max(5*time.Minute, (last-l.now)/3))
	s := scale{x: x, width: width}
	for _, sec := range perCell {
		s.cell = time.Duration(sec) * time.Second
		if last-first <= s.cell*time.Duration(width-1) {
			break
		}
	}
	// It stands still for a while, so that only the mark of now moves.
	step := 5 * s.cell
	s.from = first.Truncate(step)
	if first < 0 {
		s.from -= step
	}
	return s
}

// draw draws the axis in row y and n rows below it.
func (l timeline) draw(c *canvas, y, n int) {
	labels, rights := 0, 0
	for _, r := range l.rows {
		labels, rights = max(labels, ansi.StringWidth(r.label)), max(rights, ansi.StringWidth(r.right))
	}
	labels = min(labels, max(12, c.w/5))
	left := 1
	if rights > 0 {
		rights = min(rights, 24) + 1
	}
	x := left + labels + 2
	s := l.scale(x, c.w-x-rights-1)
	l.hours(c, s, y)
	if at := s.at(l.now); at < s.x+s.width {
		c.over(at, y, ember.Normal, "▼")
	}
	for i, r := range l.rows[:n] {
		row := y + 1 + i
		if i == n-1 && n < len(l.rows) {
			c.put(left, row, ember.Border, fmt.Sprintf("and %d more", len(l.rows)-n+1))
			break
		}
		c.put(left, row, r.role, ansiCut(r.label, labels))
		for _, sp := range r.spans {
			l.span(c, s, row, r.role, sp)
		}
		s.ticks(c, row, r.ticks)
		if rights > 0 {
			c.put(c.w-rights, row, r.role, ansiCut(r.right, rights))
		}
	}
}

// hours draws times of day, at round minutes and ten cells apart.
func (l timeline) hours(c *canvas, s scale, y int) {
	begin, now := l.clock(s.from), s.at(l.now)
	i := slices.IndexFunc(perLabel, func(sec int) bool { return time.Duration(sec)*time.Second >= 10*s.cell })
	if i < 0 {
		return
	}
	step := time.Duration(perLabel[i]) * time.Second
	_, off := begin.Zone()
	local := time.Duration(begin.Unix()+int64(off))*time.Second + time.Duration(begin.Nanosecond())
	for t := s.from + (step-local%step)%step; s.at(t)+5 <= s.x+s.width; t += step {
		if at := s.at(t); now < at || now >= at+5 {
			c.put(at, y, ember.Border, l.clock(t).Format("15:04"))
		}
	}
}

// ticks marks the moves of a row, those that do not touch the one before.
func (s scale) ticks(c *canvas, y int, moves []time.Duration) {
	last := -2
	for _, t := range moves {
		if at := s.at(t); at >= s.x && at < s.x+s.width && at > last+1 {
			c.over(at, y, ember.Border, "┼")
			last = at
		}
	}
}

// span draws a stretch: what was thin and dim, what runs thick, what is planned
// dotted; its name in it where there is room.
func (l timeline) span(c *canvas, s scale, y int, role ember.Role, sp timeSpan) {
	from, to, now := max(s.x, s.at(sp.from)), min(s.x+s.width, s.at(sp.to)), s.at(l.now)
	runs := sp.from <= l.now && l.now < sp.to
	for x := from; x < to; x++ {
		switch {
		case runs && x <= now:
			c.over(x, y, role, "━")
		case x < now:
			c.over(x, y, ember.Border, "─")
		default:
			c.over(x, y, ember.Border, "╌")
		}
	}
	label := sp.label
	if to-from < ansi.StringWidth(label)+2 {
		label = ansi.Truncate(label, 3, "")
	}
	if w := ansi.StringWidth(label); w > 0 && to-from >= w+1 {
		if !runs {
			role = ember.Border
		}
		if to-from >= w+4 {
			label = " " + label + " "
			w += 2
		}
		c.over(from+1+(min(to-from, 14)-1-w)/2, y, role, label)
	}
}

// list is the rows without a line, where there is no room for one.
func (l timeline) list(c *canvas, y, n int) {
	for i, r := range l.rows[:n] {
		if i == n-1 && n < len(l.rows) {
			c.put(1, y+i, ember.Border, fmt.Sprintf("and %d more", len(l.rows)-n+1))
			return
		}
		right := r.right
		for _, sp := range r.spans {
			if right == "" && sp.from <= l.now && l.now < sp.to {
				right = sp.label + " to " + l.clock(sp.to).Format("15:04:05")
			}
		}
		if right == "" && len(r.spans) > 0 && r.spans[0].from > l.now {
			right = "goes in " + l.clock(r.spans[0].from).Format("15:04:05")
		}
		c.put(1, y+i, r.role, ansiCut(r.label, max(8, c.w-ansi.StringWidth(right)-4)))
		c.put(c.w-ansi.StringWidth(right)-1, y+i, r.role, right)
	}
}

// clockOf is a sheet's time as its clock shows it.
func clockOf(s session.SheetView) string {
	switch {
	case s.Over > 0:
		return "+" + words.CountUp(s.Over)
	case s.Stage == session.Hold:
		return words.CountUp(s.Elapsed)
	}
	return words.Countdown(s.Left)
}
