package ember

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/charmbracelet/x/ansi"

	"wetside/session/words"
)

// SafeText is [words.Clean] for a screen: pictures that fonts paint in colours of
// their own become plain signs.
func SafeText(s string) string {
	s = words.Clean(s)
	if !strings.ContainsFunc(s, pictured) {
		return s
	}
	b := make([]byte, 0, len(s))
	for _, r := range s {
		b = appendRune(b, r)
	}
	return string(b)
}

// appendRune adds r as it may be shown: nothing for what is unseen or has no
// business on a screen, a plain sign for a picture with colours of its own.
func appendRune(b []byte, r rune) []byte {
	switch {
	case r == utf8.RuneError || words.Unseen(r):
		return b
	case pictured(r):
		sign := byte('*')
		switch r {
		case '▶':
			sign = '>'
		case '◀':
			sign = '<'
		}
		b = append(b, sign)
		if ansi.StringWidth(string(r)) > 1 {
			b = append(b, sign)
		}
		return b
	}
	return utf8.AppendRune(b, r)
}

// pictured says whether fonts may hold a picture in colours of its own for r,
// whatever colour it is asked to be drawn in: the characters with the Emoji
// property (Unicode Technical Standard 51, emoji-data.txt), from memory and
// widened where in doubt.
func pictured(r rune) bool {
	if r >= 0x1f000 {
		return r <= 0x1faff
	}
	if r < 0x203c || r > 0x3299 {
		return false
	}
	return unicode.Is(bmpPictures, r)
}

var bmpPictures = &unicode.RangeTable{R16: []unicode.Range16{
	{0x203c, 0x203c, 1}, {0x2049, 0x2049, 1}, {0x20e3, 0x20e3, 1},
	{0x2122, 0x2122, 1}, {0x2139, 0x2139, 1}, {0x2194, 0x2199, 1},
	{0x21a9, 0x21aa, 1}, {0x231a, 0x231b, 1}, {0x2328, 0x2328, 1},
	{0x23cf, 0x23cf, 1}, {0x23e9, 0x23f3, 1}, {0x23f8, 0x23fa, 1},
	{0x24c2, 0x24c2, 1}, {0x25aa, 0x25ab, 1}, {0x25b6, 0x25b6, 1},
	{0x25c0, 0x25c0, 1}, {0x25fb, 0x25fe, 1}, {0x2600, 0x27bf, 1},
	{0x2934, 0x2935, 1}, {0x2b05, 0x2b07, 1}, {0x2b1b, 0x2b1c, 1},
	{0x2b50, 0x2b50, 1}, {0x2b55, 0x2b55, 1}, {0x3030, 0x3030, 1},
	{0x303d, 0x303d, 1}, {0x3297, 0x3297, 1}, {0x3299, 0x3299, 1},
}}
