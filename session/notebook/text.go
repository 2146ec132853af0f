package notebook

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// CleanText makes text safe to show on one line anywhere: control characters
// (C0, C1, DEL), the marks that turn the direction of text round and invalid
// UTF-8 cannot pass; line ends and tabs become spaces. Joiners stay, for
// scripts and names need them.
func CleanText(s string) string {
	ok := true
	for _, r := range s {
		if bad(r) || r == utf8.RuneError {
			ok = false
			break
		}
	}
	if ok {
		return s
	}
	var b strings.Builder
	for _, r := range s {
		switch {
		case r == '\n' || r == '\r' || r == '\t' || r == '\u2028' || r == '\u2029' || r == '\u0085':
			b.WriteByte(' ')
		case bad(r):
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

func bad(r rune) bool {
	if r < 0x7f {
		return r < 0x20
	}
	return r < 0xa0 || r == '\u2028' || r == '\u2029' || r == '\ufeff' ||
		unicode.Is(unicode.Bidi_Control, r) ||
		(r >= 0xe0000 && r <= 0xe007f) || // tags: invisible text
		(r >= 0xfff0 && r <= 0xfffb)
}

// CellText makes text safe for a spreadsheet: clean, and with an apostrophe
// before anything that a spreadsheet would take for the begin of a formula,
// however many blanks stand before it. Only for text: our own numbers may be
// negative.
//
// The list of signs is that of OWASP's "CSV Injection" page, with their
// full-width forms.
func CellText(s string) string {
	danger := s != "" && (s[0] == '\t' || s[0] == '\r' || s[0] == '\n')
	c := CleanText(s)
	if danger {
		return "'" + c
	}
	for _, r := range c {
		if unicode.IsSpace(r) {
			continue
		}
		switch r {
		case '=', '+', '-', '@', '＝', '＋', '－', '＠':
			return "'" + c
		}
		break
	}
	return c
}
