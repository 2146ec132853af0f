package ember

import (
	"bytes"
	"strings"

	"github.com/charmbracelet/x/ansi"
)

// Paint covers a window of width by height cells with a view: exactly height
// lines, each exactly width cells wide, every cell with an explicit black
// background and an explicit red foreground of the level. Text that does not
// fit is cut, at the edge of a cell; a wide character that would hang over the
// edge gives way to a blank. Everything in the view but text and colour is
// dropped. A window without cells gives an empty string. A view that would give
// more light than the level's budget is dimmed, the least important first.
func Paint(view string, width, height int, level Level) string {
	return PaintFor(ANSI256, view, width, height, level, 0)
}

// PaintFor is [Paint] for a profile, of a view whose large figures may light so many
// cells more in a second from now: what is dimmed does not change with each of them.
func PaintFor(profile Profile, view string, width, height int, level Level, more float64) string {
	if width <= 0 || height <= 0 {
		return ""
	}
	var lit light
	frame := paint(view, width, height, level, asItIs, &lit)
	lit[level.Red(Large)] += more
	if dimmed, over := lit.within(profile, level, float64(width*height)); over {
		frame = paint(view, width, height, level, dimmed, &light{})
	}
	return frame
}

// light is how many whole cells are lit in each red.
type light [256]float64

// budgets are the mean luminance of a frame, 1 for white, that a level may give.
// The project's own.
var budgets = [3]float64{Dark: 0, Ember: 0.003, Torch: 0.02}

// quieter is what gives way when a frame has too much light: the text before what
// is read now, and that before the large figures, which are dim already.
var quieter = [][2]Role{{Normal, Faint}, {Strong, Normal}, {Strong, Faint}, {Faint, Border}, {Normal, Border}, {Strong, Border}, {Large, Border}}

// asItIs changes no red.
var asItIs = func() (r reddening) {
	for i := range r {
		r[i] = uint8(i)
	}
	return
}()

// reddening says which red each is shown in.
type reddening [256]uint8

// within says how to show a frame of so many cells within its budget, and whether
// it is over it as it is. A red counts as what the profile makes of it.
func (l *light) within(profile Profile, level Level, cells float64) (how reddening, over bool) {
	how = asItIs
	for _, q := range quieter {
		mean := 0.0
		for red, n := range l {
			if n > 0 {
				shown := how[red]
				mean += n * 0.2126 * linear(max(shown, profile.nearest(shown))) / cells
			}
		}
		if mean <= budgets[level] {
			return how, over
		}
		how[level.Red(q[0])], over = level.Red(q[1]), true
	}
	return how, over
}

// coverage is the share of its cell that a sign lights, as the pixels of terminals
// show: measured by the pixel rigs in DejaVu Sans Mono (a letter is 1/7 there), and in
// X's own fixed font, whose letters are the fullest of those that are common.
func coverage(sign string) float64 {
	switch sign {
	case " ", "\t", "":
		return 0
	case "█":
		return 1
	case "▀", "▄", "▌", "▐", "▚", "▞":
		return 0.5
	case "━", "┃":
		return 1.0 / 8
	case "─", "╌", "│", "┼":
		return 1.0 / 13
	}
	if sign[0] < 0x80 {
		return 1.0 / 5.9
	}
	return 1.0 / 5 // letters with marks, and signs of other scripts: reckoned high
}

func paint(view string, width, height int, level Level, how reddening, lit *light) string {
	b := make([]byte, 0, len(view)+height*(width+32))
	parser := ansi.GetParser()
	defer ansi.PutParser(parser)
	blank := appendSGR(nil, TrueColor, freshPen.red(level))
	clean := make([]byte, 0, 4*width)
	for y := range height {
		line := ""
		if view != "" {
			line, view, _ = strings.Cut(view, "\n")
		}
		if y > 0 {
			b = append(b, '\n')
		}
		clean = cleanLine(clean[:0], line, level, parser, how, lit)
		cut := string(clean)
		if ansi.StringWidth(cut) > width {
			cut = ansi.Truncate(cut, width, "")
		}
		b = append(b, cut...)
		if pad := width - ansi.StringWidth(cut); pad > 0 {
			b = append(b, blank...)
			b = append(b, bytes.Repeat([]byte{' '}, pad)...)
		}
	}
	return string(b)
}

// cleanLine writes the text of one line with red and black renditions only.
// Each line stands on its own: it begins and ends with what it sets itself.
func cleanLine(b []byte, line string, level Level, parser *ansi.Parser, how reddening, lit *light) []byte {
	p, shown := freshPen, -1
	var state byte
	for len(line) > 0 {
		seq, width, n, next := ansi.DecodeSequence(line, state, parser)
		if n <= 0 {
			break
		}
		state, line = next, line[n:]
		switch {
		case width > 0 || seq == "\t":
			lit[p.red(level)] += coverage(seq) * float64(width)
			if red := how[p.red(level)]; int(red) != shown {
				b = appendSGR(b, TrueColor, red)
				shown = int(red)
			}
			if seq == "\t" {
				b = append(b, "    "...)
				continue
			}
			for _, r := range seq {
				b = appendRune(b, r)
			}
		case ansi.HasCsiPrefix(seq) && parser.Command() == 'm':
			p.apply(parser.Params())
		case len(seq) > 0 && seq[0] >= 0x80:
			// A mark that combines with what stands before it.
			for _, r := range seq {
				if shown >= 0 {
					b = appendRune(b, r)
				}
			}
		}
	}
	return b
}
