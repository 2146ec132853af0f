package ember

import (
	"strconv"

	"github.com/charmbracelet/x/ansi"
)

// pen is the part of the graphic rendition (SGR) that matters to light. What
// comes in may be any colour; what goes out is one red on black.
type pen struct {
	fg      int16 // red channel asked for, 0 to 255, or -1 for the default
	litBg   uint8 // brightest channel of the background asked for; 0 is black
	bold    bool
	faint   bool
	reverse bool
	conceal bool
}

var freshPen = pen{fg: -1}

// red resolves the pen to the red channel to draw with.
//
// Attributes become brightness: bold may be drawn by a terminal as another,
// brighter entry of its palette, italic as reverse video by a multiplexer,
// underline in cyan by the Linux console. So none of them is passed on.
func (p pen) red(level Level) uint8 {
	if level <= Dark || level > Torch || p.conceal {
		return 0
	}
	fg := level.Red(Normal)
	if p.fg >= 0 {
		fg = uint8(p.fg)
	}
	bg := p.litBg
	if p.reverse {
		fg, bg = bg, fg
	}
	// Dark letters on a lit ground turn into lit letters on black; black on
	// black was meant to be unseen, and stays so.
	if fg == 0 {
		if bg == 0 {
			return 0
		}
		fg = level.Red(Normal)
	}
	if p.bold {
		fg = max(fg, level.Red(Strong))
	}
	if p.faint {
		fg = min(fg, level.Red(Faint))
	}
	return min(fg, level.Red(Strong))
}

// basicReds stand for the sixteen colours whose looks a terminal's owner has
// chosen: black, seven colours, grey, seven bright ones.
func basicRed(n int) uint8 {
	switch {
	case n == 0:
		return 0
	case n < 8:
		return reds[Ember][Normal]
	case n == 8:
		return reds[Ember][Faint]
	default:
		return reds[Ember][Strong]
	}
}

// indexed gives the brightest channel of an entry of the 256-colour table.
func indexed(n int) uint8 {
	switch {
	case n < 0 || n > 255:
		return reds[Ember][Normal]
	case n < 16:
		return basicRed(n)
	case n < 232:
		n -= 16
		return cube[max(n/36, n/6%6, n%6)]
	default:
		return uint8(8 + 10*(n-232))
	}
}

// sgr is what the parameters of SGR set that stand alone.
var sgr = func() map[int]func(*pen) {
	all := map[int]func(*pen){
		0:  func(p *pen) { *p = freshPen },
		1:  func(p *pen) { p.bold = true },
		2:  func(p *pen) { p.faint = true },
		7:  func(p *pen) { p.reverse = true },
		8:  func(p *pen) { p.conceal = true },
		22: func(p *pen) { p.bold, p.faint = false, false },
		27: func(p *pen) { p.reverse = false },
		28: func(p *pen) { p.conceal = false },
		39: func(p *pen) { p.fg = -1 },
		49: func(p *pen) { p.litBg = 0 },
	}
	for n := range 16 {
		at := 30 + n
		if n >= 8 {
			at = 90 + n - 8
		}
		all[at] = func(p *pen) { p.fg = int16(basicRed(n)) }
		all[at+10] = func(p *pen) { p.litBg = basicRed(n) }
	}
	return all
}()

// apply takes in one SGR sequence (ECMA-48 8.3.117; colour after
// ISO/IEC 8613-6, with semicolons as well, as most programs write it).
func (p *pen) apply(params ansi.Params) {
	if len(params) == 0 {
		*p = freshPen
		return
	}
	for i := 0; i < len(params); {
		v, more, _ := params.Param(i, 0)
		// Sub-parameters (colons) belong to the parameter that opens them.
		end := i + 1
		for ; more && end < len(params); end++ {
			more = params[end].HasMore()
		}
		if v == 38 || v == 48 || v == 58 {
			c, next, ok := extended(params, i, end)
			end = next
			if ok && v == 38 {
				p.fg = int16(c)
			}
			if ok && v == 48 {
				p.litBg = c
			}
		} else if set := sgr[v]; set != nil {
			set(p)
		}
		i = end
	}
}

// extended reads the colour after 38, 48 or 58 at i, whose sub-parameters end
// at end. It gives the brightest channel and where the next parameter stands.
func extended(params ansi.Params, i, end int) (c uint8, next int, ok bool) {
	at := func(k int) int { v, _, _ := params.Param(k, 0); return v }
	brightest := func(vs ...int) uint8 {
		m := 0
		for _, v := range vs {
			m = max(m, min(v, 255))
		}
		return uint8(m)
	}
	if end > i+1 { // 38:5:n, 38:2::r:g:b, 38:2:r:g:b
		switch n := end - i; {
		case at(i+1) == 5 && n >= 3:
			return indexed(at(i + 2)), end, true
		case at(i+1) == 2 && n >= 6:
			return brightest(at(i+3), at(i+4), at(i+5)), end, true
		case at(i+1) == 2 && n == 5:
			return brightest(at(i+2), at(i+3), at(i+4)), end, true
		}
		return 0, end, false
	}
	switch at(i + 1) { // 38;5;n, 38;2;r;g;b
	case 5:
		if i+2 < len(params) {
			return indexed(at(i + 2)), i + 3, true
		}
	case 2:
		if i+4 < len(params) {
			return brightest(at(i+2), at(i+3), at(i+4)), i + 5, true
		}
	}
	return 0, len(params), false
}

// appendSGR writes the sequence that sets red on black and nothing else.
func appendSGR(b []byte, profile Profile, red uint8) []byte {
	b = append(b, "\x1b[0;"...)
	switch profile {
	case ANSI256:
		b = append(b, "38;5;"...)
		b = strconv.AppendInt(b, int64(16+36*cubeStep(red)), 10)
		b = append(b, ";48;5;16m"...)
	case LinuxConsole:
		b = append(b, '3', byte('0'+cubeStep(red)))
		b = append(b, ";40m"...)
	default:
		b = append(b, "38;2;"...)
		b = strconv.AppendInt(b, int64(red), 10)
		b = append(b, ";0;0;48;2;0;0;0m"...)
	}
	return b
}
