package ember

import "strings"

// A Size is how large figures are drawn, in dots; a dot is as wide as a cell and
// half as high, which is nearly square.
type Size struct {
	Stroke int // the width of a stroke; 0: the text as it is, in one row
	High   int // the height in strokes: 9, 7 or 5
}

// Rows is the height in cells.
func (s Size) Rows() int { return max(1, (s.Stroke*s.High+1)/2) }

// sizes are those there are, the largest first.
var sizes = func() (all []Size) {
	for stroke := 8; stroke > 0; stroke-- {
		all = append(all, Size{stroke, 9}, Size{stroke, 7})
	}
	return append(all, Size{1, 5}, Size{})
}()

// Widest is the text of the same length that lights the most.
func Widest(text string) string {
	return strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' {
			return '8'
		}
		return r
	}, text)
}

// Fit gives the largest size in which text, and any other of its length, stays
// within so many cells, of which no more than lit are lit wholly: so the size does
// not change from one second to the next.
func Fit(text string, width, height int, lit float64) Size {
	text = Widest(text)
	for _, s := range sizes {
		if s.Stroke == 0 || s.Rows() <= height && width >= s.width(text) && Ink(Figure(text, s)) <= lit {
			return s
		}
	}
	return Size{}
}

func (s Size) width(text string) int {
	n := -s.Stroke
	for _, r := range text {
		n += (units(r) + 1) * s.Stroke
	}
	return n
}

// units is the width of a figure in strokes. All digits have the same, so that
// nothing jumps.
func units(r rune) int {
	switch r {
	case ':', '.':
		return 1
	case '+', '-', ' ':
		return 3
	}
	return 5
}

// Ink is how many cells' worth of dots are lit in a drawing of half blocks.
func Ink(drawn []string) (cells float64) {
	for _, l := range drawn {
		cells += float64(strings.Count(l, "█")) + float64(strings.Count(l, "▀")+strings.Count(l, "▄"))/2
	}
	return cells
}

// The strokes of a digit, as on a seven-segment display: top, upper right,
// lower right, bottom, lower left, upper left, middle.
const (
	top = 1 << iota
	upRight
	lowRight
	bottom
	lowLeft
	upLeft
	middle
)

var strokes = map[rune]int{
	'0': top | upRight | lowRight | bottom | lowLeft | upLeft,
	'2': top | upRight | middle | lowLeft | bottom,
	'3': top | upRight | middle | lowRight | bottom,
	'4': upLeft | middle | upRight | lowRight,
	'5': top | upLeft | middle | lowRight | bottom,
	'6': top | upLeft | middle | lowLeft | lowRight | bottom,
	'7': top | upRight | lowRight,
	'8': top | upRight | lowRight | bottom | lowLeft | upLeft | middle,
	'9': top | upRight | upLeft | middle | lowRight | bottom,
}

// Figure draws digits, ':', '.', '+', '-' and spaces with solid strokes. It gives
// as many lines as the size has rows, all of the same width.
func Figure(text string, size Size) []string {
	if size.Stroke == 0 {
		return []string{text}
	}
	s := size.Stroke
	d := newDots(size.width(text), s*size.High)
	x, half := 0, size.High/2*s // where the middle stroke begins
	for _, r := range text {
		switch r {
		case '1':
			d.fill(x+2*s, 0, s, s*size.High)
		case ':':
			d.fill(x, half-s*(size.High/4), s, s)
			d.fill(x, half+s*(size.High/4), s, s)
		case '.':
			d.fill(x, s*(size.High-1), s, s)
		case '-', '+':
			d.fill(x, half, 3*s, s)
			if r == '+' {
				d.fill(x+s, half-s, s, 3*s)
			}
		}
		marks := strokes[r]
		for _, m := range []struct{ mark, x, y, w, h int }{
			{top, 0, 0, 5 * s, s}, {middle, 0, half, 5 * s, s}, {bottom, 0, 2 * half, 5 * s, s},
			{upLeft, 0, 0, s, half + s}, {upRight, 4 * s, 0, s, half + s},
			{lowLeft, 0, half, s, half + s}, {lowRight, 4 * s, half, s, half + s},
		} {
			if marks&m.mark != 0 {
				d.fill(x+m.x, m.y, m.w, m.h)
			}
		}
		x += (units(r) + 1) * s
	}
	return d.rows()
}

// Letters draws capital letters and digits three rows high; ok is false when
// there is none for a sign of the text.
func Letters(text string) (rows []string, ok bool) {
	var glyphs [][]string
	width := 0
	for _, r := range strings.ToUpper(text) {
		g := font[r]
		if g == "" {
			return nil, false
		}
		glyphs = append(glyphs, strings.Split(g, "/"))
		width += len(glyphs[len(glyphs)-1][0]) + 1
	}
	d := newDots(max(0, width-1), 5)
	x := 0
	for _, g := range glyphs {
		for y, row := range g {
			for i, c := range row {
				if c == '#' {
					d.fill(x+i, y, 1, 1)
				}
			}
		}
		x += len(g[0]) + 1
	}
	return d.rows(), true
}

// font has letters five dots high.
var font = map[rune]string{
	' ': "..", '-': "../../##/../..", '.': "././././#", '\'': "#/#/./././", '+': ".../.#./###/.#./...",
	'0': "###/#.#/#.#/#.#/###", '1': "##./.#./.#./.#./###", '2': "###/..#/###/#../###", '3': "###/..#/###/..#/###",
	'4': "#.#/#.#/###/..#/..#", '5': "###/#../###/..#/###", '6': "###/#../###/#.#/###", '7': "###/..#/..#/..#/..#",
	'8': "###/#.#/###/#.#/###", '9': "###/#.#/###/..#/###",
	'A': ".#./#.#/###/#.#/#.#", 'B': "##./#.#/##./#.#/##.", 'C': "###/#../#../#../###", 'D': "##./#.#/#.#/#.#/##.",
	'E': "###/#../##./#../###", 'F': "###/#../##./#../#..", 'G': "####/#.../#.##/#..#/####", 'H': "#.#/#.#/###/#.#/#.#",
	'I': "#/#/#/#/#", 'J': "..#/..#/..#/#.#/###", 'K': "#.#/#.#/##./#.#/#.#", 'L': "#../#../#../#../###",
	'M': "#...#/##.##/#.#.#/#...#/#...#", 'N': "#..#/##.#/#.##/#..#/#..#", 'O': "###/#.#/#.#/#.#/###", 'P': "###/#.#/###/#../#..",
	'Q': "###/#.#/#.#/###/..#", 'R': "##./#.#/##./#.#/#.#", 'S': "###/#../###/..#/###", 'T': "###/.#./.#./.#./.#.",
	'U': "#.#/#.#/#.#/#.#/###", 'V': "#.#/#.#/#.#/#.#/.#.", 'W': "#...#/#...#/#.#.#/##.##/#...#", 'X': "#.#/#.#/.#./#.#/#.#",
	'Y': "#.#/#.#/.#./.#./.#.", 'Z': "###/..#/.#./#../###",
}

// dots are two to a cell, one above the other.
type dots [][]bool

func newDots(w, h int) dots {
	d := make(dots, h+h%2)
	for y := range d {
		d[y] = make([]bool, w)
	}
	return d
}

func (d dots) fill(x, y, w, h int) {
	for _, row := range d[y : y+h] {
		for i := range w {
			row[x+i] = true
		}
	}
}

func (d dots) rows() (out []string) {
	for y := 0; y < len(d); y += 2 {
		var b strings.Builder
		for x := range d[y] {
			b.WriteString(map[[2]bool]string{{}: " ", {true}: "▀", {false, true}: "▄", {true, true}: "█"}[[2]bool{d[y][x], d[y+1][x]}])
		}
		out = append(out, b.String())
	}
	return out
}
