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
// dropped. A window without cells gives an empty string.
func Paint(view string, width, height int, level Level) string {
	if width <= 0 || height <= 0 {
		return ""
	}
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
		clean = cleanLine(clean[:0], line, level, parser)
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
func cleanLine(b []byte, line string, level Level, parser *ansi.Parser) []byte {
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
			if red := p.red(level); int(red) != shown {
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
