package ember

import "strings"

// Size is how large figures are drawn.
type Size int

// The sizes. A figure is read at a distance of about two hundred times its
// height (common practice, no source); with cells 4 to 5 mm high, Medium is
// for the bench, Large for two metres, Huge for across the room.
const (
	// Small is one row of plain text.
	Small Size = iota
	// Medium is three rows high.
	Medium
	// Large is five rows high.
	Large
	// Huge is seven rows high.
	Huge
)

// Height is the number of rows.
func (s Size) Height() int { return [...]int{1, 3, 5, 7}[clampSize(s)] }

func (s Size) digitWidth() int { return [...]int{1, 3, 4, 5}[clampSize(s)] }

func clampSize(s Size) Size { return max(Small, min(s, Huge)) }

// The arms of a cell that a thin line may fill.
const (
	north = 1 << iota
	east
	south
	west
)

var boxGlyphs = [16]rune{
	0: ' ', north: '╵', east: '╶', south: '╷', west: '╴',
	north | south: '│', east | west: '─',
	east | south: '┌', south | west: '┐', north | east: '└', north | west: '┘',
	north | east | south: '├', north | south | west: '┤',
	east | south | west: '┬', north | east | west: '┴',
	north | east | south | west: '┼',
}

// asciiGlyphs keep to what any font has. Corners stay unlit where the lines
// that meet there are enough to see them.
var asciiGlyphs = [16]rune{
	0: ' ', north: '|', east: '-', south: '|', west: '-',
	north | south: '|', east | west: '-',
	east | south: '.', south | west: '.', north | east: '\'', north | west: '\'',
	north | east | south: '|', north | south | west: '|',
	east | south | west: '-', north | east | west: '-',
	north | east | south | west: '+',
}

// The strokes of a figure, as on a seven-segment display: top, upper right,
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
	'1': upRight | lowRight,
	'2': top | upRight | middle | lowLeft | bottom,
	'3': top | upRight | middle | lowRight | bottom,
	'4': upLeft | middle | upRight | lowRight,
	'5': top | upLeft | middle | lowRight | bottom,
	'6': top | upLeft | middle | lowLeft | lowRight | bottom,
	'7': top | upRight | lowRight,
	'8': top | upRight | lowRight | bottom | lowLeft | upLeft | middle,
	'9': top | upRight | upLeft | middle | lowRight | bottom,
}

// Figure draws digits, ':', '.', '+', '-' and spaces with thin lines, as few
// lit cells as will do. It gives as many lines as the size is high, all of the
// same width. Any other character is put on the middle line as it is.
func Figure(text string, size Size) []string { return figure(text, size, &boxGlyphs, '•') }

// FigureASCII is [Figure] with ASCII characters only, for fonts without
// box-drawing.
func FigureASCII(text string, size Size) []string { return figure(text, size, &asciiGlyphs, 'o') }

// Fit gives the largest size in which text stays within width and height.
func Fit(text string, width, height int) Size {
	for s := Huge; s > Small; s-- {
		if s.Height() <= height && figureWidth(text, s) <= width {
			return s
		}
	}
	return Small
}

func figureWidth(text string, size Size) int {
	return len([]rune(Figure(text, size)[0]))
}

func figure(text string, size Size, glyphs *[16]rune, dot rune) []string {
	size = clampSize(size)
	if size == Small {
		return []string{text}
	}
	h, mid := size.Height(), size.Height()/2
	rows := make([][]rune, h)
	first := true
	for _, r := range text {
		cells := glyph(r, size, glyphs, dot)
		for y := range rows {
			if !first {
				rows[y] = append(rows[y], ' ')
			}
			if cells == nil {
				cell := ' '
				if y == mid {
					cell = r
				}
				rows[y] = append(rows[y], cell)
				continue
			}
			rows[y] = append(rows[y], cells[y]...)
		}
		first = false
	}
	out := make([]string, h)
	for y, row := range rows {
		out[y] = string(row)
	}
	return out
}

// glyph gives the cells of one character, or nil if it has no figure.
func glyph(r rune, size Size, glyphs *[16]rune, dot rune) [][]rune {
	h, w := size.Height(), size.digitWidth()
	mid := h / 2
	marks := strokes[r]
	switch r {
	case '1', ':', '.':
		w = 1
	case '+', '-':
		w = 3
	}
	arms := make([][]int, h)
	cells := make([][]rune, h)
	for y := range arms {
		arms[y] = make([]int, w)
		cells[y] = []rune(strings.Repeat(" ", w))
	}
	across := func(y, x0, x1 int) {
		for x := x0; x < x1; x++ {
			arms[y][x] |= east
			arms[y][x+1] |= west
		}
	}
	down := func(x, y0, y1 int) {
		for y := y0; y < y1; y++ {
			arms[y][x] |= south
			arms[y+1][x] |= north
		}
	}
	switch {
	case r == ' ':
		return cells
	case r == '.':
		cells[h-1][0] = dot
		return cells
	case r == ':':
		cells[mid-h/4][0] = dot
		cells[mid+max(1, h/4)][0] = dot
		return cells
	case r == '-':
		across(mid, 0, w-1)
	case r == '+':
		across(mid, 0, w-1)
		down(1, mid-1, mid+1)
	case marks == 0:
		return nil
	default:
		for _, s := range []struct {
			mark int
			draw func()
		}{
			{top, func() { across(0, 0, w-1) }},
			{middle, func() { across(mid, 0, w-1) }},
			{bottom, func() { across(h-1, 0, w-1) }},
			{upLeft, func() { down(0, 0, mid) }},
			{lowLeft, func() { down(0, mid, h-1) }},
			{upRight, func() { down(w-1, 0, mid) }},
			{lowRight, func() { down(w-1, mid, h-1) }},
		} {
			if marks&s.mark != 0 {
				s.draw()
			}
		}
	}
	for y := range arms {
		for x, a := range arms[y] {
			cells[y][x] = glyphs[a]
		}
	}
	return cells
}
