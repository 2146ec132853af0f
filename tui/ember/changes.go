package ember

import (
	"bytes"
	"strconv"
	"strings"

	"github.com/charmbracelet/x/ansi"
)

// Changes draws frames through a [Guard] and sends only what has changed, cell by
// cell: the second that a clock moves on by is a few strokes of one figure.
//
// It is the file that a framework draws on as well, which believes that it draws:
// its own frames, known by the cursor's way home, are dropped, and all else passes.
type Changes struct {
	*Guard
	lines []string // as drawn last
	rows  [][]cell
	level Level
	buf   []byte
	red   int // as last asked for; -1: not known
}

// A cell is one sign in one red; the second half of a wide sign has no text.
type cell struct {
	text string
	red  uint8
}

// NewChanges makes one before a guard.
func NewChanges(g *Guard) *Changes { return &Changes{Guard: g, red: -1} }

const home = "\x1b[H"

// Write passes on what is no frame.
func (s *Changes) Write(p []byte) (int, error) {
	if bytes.HasPrefix(p, []byte(home)) {
		return len(p), nil
	}
	return s.Guard.Write(p)
}

// Forget has the next frame drawn whole: what the window shows is not known.
func (s *Changes) Forget() { s.lines = nil }

// Draw draws a frame that [Paint] painted.
func (s *Changes) Draw(frame string) error {
	lines := strings.Split(frame, "\n")
	level := s.Level()
	whole := len(lines) != len(s.lines) || level != s.level
	if whole {
		s.rows = make([][]cell, len(lines))
	}
	s.level, s.red, s.buf = level, -1, s.buf[:0]
	at := place{-1, -1}
	for y, l := range lines {
		if !whole && l == s.lines[y] {
			continue
		}
		row := cellsOf(l, level)
		if len(row) != len(s.rows[y]) {
			whole = true
		}
		if !whole {
			at = s.change(at, y, s.rows[y], row)
		}
		s.rows[y] = row
	}
	s.lines = lines
	if whole {
		s.buf = append(append(s.buf[:0], home...), strings.ReplaceAll(frame, "\n", "\r\n")...)
	}
	if len(s.buf) == 0 {
		return nil
	}
	_, err := s.Guard.Write(s.buf)
	if err != nil {
		s.Forget()
	}
	return err
}

// cellsOf reads a line as it will be seen.
func cellsOf(line string, level Level) (row []cell) {
	parser := ansi.GetParser()
	defer ansi.PutParser(parser)
	p := freshPen
	var state byte
	for len(line) > 0 {
		seq, width, n, next := ansi.DecodeSequence(line, state, parser)
		if n <= 0 {
			break
		}
		state, line = next, line[n:]
		switch {
		case width > 0:
			row = append(row, cell{seq, p.red(level)})
			for range width - 1 {
				row = append(row, cell{})
			}
		case ansi.HasCsiPrefix(seq) && parser.Command() == 'm':
			p.apply(parser.Params())
		}
	}
	for i := range row {
		if row[i].text == " " {
			row[i].red = 0 // black is black
		}
	}
	return row
}

// place is a cell by its row and column, from 0.
type place struct{ y, x int }

// hop is how many unchanged cells are written once more rather than skipped: about
// what it takes to say so.
const hop = 3

// change writes the cells of a row that are not as they were, and returns where the
// cursor is then.
func (s *Changes) change(at place, y int, was, is []cell) place {
	for x := 0; x < len(is); x++ {
		if was[x] == is[x] {
			continue
		}
		from, end := changed(x, was, is)
		s.move(at, place{y, from})
		for _, c := range is[from:end] {
			if red := int(c.red); c.text != " " && c.text != "" && red != s.red {
				s.buf = appendSGR(s.buf, TrueColor, c.red)
				s.red = red
			}
			s.buf = append(s.buf, c.text...)
		}
		at = place{y, end}
		if end == len(is) {
			at = place{-1, -1} // a terminal may stand on the last cell, or behind it
		}
		x = end - 1
	}
	return at
}

// changed is which cells are written, from one to before another, where the one at x is
// not as it was.
func changed(x int, was, is []cell) (from, end int) {
	for x > 0 && (is[x].text == "" || was[x].text == "") {
		x-- // a wide sign, whole
	}
	end = x + 1
	for n := end; n < len(is) && n-end <= hop; n++ {
		if was[n] != is[n] || is[n].text == "" {
			end = n + 1
		}
	}
	for end < len(is) && is[end].text == "" {
		end++
	}
	// A drawn block may have its last column of dots in the cell behind it.
	if last := was[end-1].text; end < len(is) && is[end].text == " " && last != "" && last[0] >= 0x80 {
		end++
	}
	return x, end
}

// move brings the cursor to a cell in as few bytes as it takes.
func (s *Changes) move(from, to place) {
	far := append([]byte("\x1b["), strconv.Itoa(to.y+1)...)
	far = append(far, ';')
	far = append(strconv.AppendInt(far, int64(to.x+1), 10), 'H')
	if from.y >= 0 && to.y >= from.y {
		var near []byte
		step := func(n int, final byte) {
			if near = append(near, "\x1b["...); n > 1 {
				near = strconv.AppendInt(near, int64(n), 10)
			}
			near = append(near, final)
		}
		if n := to.y - from.y; n > 0 {
			step(n, 'B')
		}
		switch n := to.x - from.x; {
		case n > 0:
			step(n, 'C')
		case n < -3:
			step(-n, 'D')
		case n < 0:
			near = append(near, "\b\b\b"[:-n]...)
		}
		if len(near) < len(far) {
			far = near
		}
	}
	s.buf = append(s.buf, far...)
}
