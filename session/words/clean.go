package words

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/charmbracelet/x/ansi"
)

// Clean makes text that somebody typed, or that came out of a file or an error,
// safe to show on one line anywhere: escape sequences go whole; control
// characters, the marks that turn the direction of text round, what is unseen
// and invalid UTF-8 vanish; line ends and tabs become spaces. Joiners stay, for
// scripts and names need them.
func Clean(s string) string {
	if clean(s) {
		return s
	}
	var b strings.Builder
	b.Grow(len(s))
	for _, r := range ansi.Strip(s) {
		switch {
		case r == '\n' || r == '\r' || r == '\t' || r == '\u2028' || r == '\u2029' || r == '\u0085':
			b.WriteByte(' ')
		case r == utf8.RuneError || Unseen(r):
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

func clean(s string) bool {
	return !strings.ContainsFunc(s, func(r rune) bool { return r == utf8.RuneError || Unseen(r) })
}

// Unseen reports whether a character shows nothing itself, or moves what stands
// beside it: controls, direction marks and overrides, soft hyphens, variation
// selectors (U+FE0F asks for a coloured picture), tags, line separators,
// noncharacters, private use. The two joiners are no such characters.
func Unseen(r rune) bool {
	switch {
	case r < 0x7f:
		return r < 0x20
	case r < 0xa0 || r == 0xad:
		return true
	case r < 0x300 || r == 0x200c || r == 0x200d:
		return false
	case r >= 0xfe00 && r <= 0xfe0f, r >= 0xe0000 && r <= 0xe0fff, r >= 0xfff0 && r <= 0xfffb,
		r == 0x2028, r == 0x2029, r&0xfffe == 0xfffe, r >= 0xfdd0 && r <= 0xfdef:
		return true
	}
	return unicode.In(r, unicode.Cf, unicode.Cs, unicode.Co, unicode.Bidi_Control)
}

// Cell makes text safe for a spreadsheet: clean, and with an apostrophe before
// anything that a spreadsheet would take for the begin of a formula, however
// many blanks stand before it. Only for text: our own numbers may be negative.
//
// The list of signs is that of OWASP's "CSV Injection" page, with their
// full-width forms.
func Cell(s string) string {
	c := Clean(s)
	if s != "" && strings.ContainsRune("\t\r\n", rune(s[0])) {
		return "'" + c
	}
	if t := strings.TrimLeftFunc(c, unicode.IsSpace); t != "" {
		if r, _ := utf8.DecodeRuneInString(t); strings.ContainsRune("=+-@＝＋－＠", r) {
			return "'" + c
		}
	}
	return c
}

// Clip keeps an echo of the user's words short and on one line.
func Clip(s string) string {
	s = strings.Join(strings.Fields(Clean(s)), " ")
	if r := []rune(s); len(r) > 40 {
		return string(r[:37]) + "..."
	}
	return s
}
