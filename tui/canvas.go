package tui

import (
	"fmt"
	"slices"
	"strings"

	"github.com/charmbracelet/lipgloss"
	"github.com/charmbracelet/x/ansi"

	"wetside/tui/ember"
)

// A canvas is a picture of so many cells, drawn by place: what stands beside
// something else does not depend on how long that is.
type canvas struct {
	w, h  int
	cells []cell
	clash string // the first text that was drawn over another
}

type cell struct {
	text string // empty: blank; the right half of a wide sign holds "\x00"
	role ember.Role
}

func newCanvas(w, h int) *canvas {
	return &canvas{w: max(0, w), h: max(0, h), cells: make([]cell, max(0, w)*max(0, h))}
}

// put draws text from a cell on, as far as there is room, and returns the column
// behind it.
func (c *canvas) put(x, y int, role ember.Role, text string) int {
	if y < 0 || y >= c.h || x < 0 {
		return x
	}
	text = ansi.Truncate(ember.SafeText(text), max(0, c.w-x), "~")
	for _, r := range text {
		w := ansi.StringWidth(string(r))
		if w == 0 || x+w > c.w {
			continue
		}
		if at := &c.cells[y*c.w+x]; r != ' ' {
			if at.text != "" && c.clash == "" {
				c.clash = fmt.Sprintf("%q over %q in row %d", text, at.text, y)
			}
			*at = cell{string(r), role}
			if w == 2 {
				c.cells[y*c.w+x+1] = cell{"\x00", role}
			}
		}
		x += w
	}
	return x
}

// over is put for what may cover a line: a word in a rule.
func (c *canvas) over(x, y int, role ember.Role, text string) {
	for i := range ansi.StringWidth(text) {
		if x+i >= 0 && x+i < c.w && y >= 0 && y < c.h {
			c.cells[y*c.w+x+i] = cell{}
		}
	}
	c.put(x, y, role, text)
}

func (c *canvas) block(x, y int, role ember.Role, rows []string) {
	for i, l := range rows {
		c.put(x, y+i, role, l)
	}
}

// para draws text wrapped to a width in at most so many rows, and returns the
// row below it.
func (c *canvas) para(x, y, width, rows int, role ember.Role, text string) int {
	for i, l := range strings.Split(wrap(ember.SafeText(text), max(1, width)), "\n") {
		if i >= rows {
			break
		}
		c.put(x, y, role, ansiCut(l, width))
		y++
	}
	return y
}

// render gives the lines, each run of one brightness in its style.
func (c *canvas) render(st ember.Styles) string {
	styles := [...]lipgloss.Style{ember.Border: st.Border, ember.Large: st.Large, ember.Faint: st.Faint, ember.Normal: st.Normal, ember.Strong: st.Strong}
	var out strings.Builder
	for y := range c.h {
		if y > 0 {
			out.WriteByte('\n')
		}
		row := c.cells[y*c.w : (y+1)*c.w]
		for end := len(row); end > 0 && row[end-1].text == ""; end-- {
			row = row[:end-1]
		}
		for i := 0; i < len(row); {
			j := i
			var run strings.Builder
			for ; j < len(row) && (row[j].text == "" || row[j].role == row[i].role); j++ {
				switch row[j].text {
				case "":
					run.WriteByte(' ')
				case "\x00":
				default:
					run.WriteString(row[j].text)
				}
			}
			out.WriteString(styles[row[i].role].Render(run.String()))
			i = j
		}
	}
	return out.String()
}

// A textRow is text by place, of a page that may be longer than the window.
type textRow struct {
	parts []part
	on    bool // the line that is chosen
}

type part struct {
	x    int
	role ember.Role
	text string
}

// margin is the room at the left, where the mark of the chosen line stands.
func (m *Model) margin() int {
	if m.width >= 60 {
		return 3
	}
	return 2
}

// paraRows are the rows of a text between the margins.
func (m *Model) paraRows(role ember.Role, text string) (rows []textRow) {
	margin := m.margin()
	for l := range strings.SplitSeq(wrap(ember.SafeText(text), m.width-2*margin), "\n") {
		rows = append(rows, textRow{parts: []part{{margin, role, l}}})
	}
	return rows
}

// drawRows draws a page. Where not all of it fits, it moves under the chosen row.
func drawRows(m *Model, rows []textRow, h int) string {
	first := 0
	if i := slices.IndexFunc(rows, func(r textRow) bool { return r.on }); len(rows) > h {
		first = max(0, min(i-h/2, len(rows)-h))
	}
	c := newCanvas(m.width, h)
	for y, r := range rows[first:min(len(rows), first+h)] {
		for _, p := range r.parts {
			c.put(p.x, y, p.role, p.text)
		}
	}
	return c.render(m.styles)
}
