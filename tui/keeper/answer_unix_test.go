//go:build unix

package keeper

import "testing"

// Whatever pieces a terminal's answers come in, and whatever is typed around them, the
// keys are what was typed, and no byte of an answer.
func TestAnAnswerIsNoKey(t *testing.T) {
	const palette, device, bell = "\x1b]4;196;rgb:ffff/0000/0000\x1b\\", "\x1b[?64;1;2;6;22c", "\x1b]4;196;rgba:ff/00/00/ff\x07"
	for _, c := range []struct {
		sent, keys   string
		palette, end bool
	}{
		{palette + device, "", true, true},
		{bell + device, "", true, true},
		{"j" + palette + " y" + device + "\x1b[Aq", "j y\x1b[Aq", true, true},
		{device, "", false, true},
		{"\x1b\x1bx]4;196;rgb:", "\x1b\x1bx]4;196;rgb:", false, false},
		{"\x1b]5;1;2", "\x1b]5;1;2", false, false},
		{"\x1bOA\x1b[1;5C\x1b[200~paste\x1b[201~", "\x1bOA\x1b[1;5C\x1b[200~paste\x1b[201~", false, false},
	} {
		for i := range len(c.sent) + 1 {
			for j := i; j <= len(c.sent); j++ {
				var a answers
				keys := ""
				for _, part := range []string{c.sent[:i], c.sent[i:j], c.sent[j:]} {
					keys += string(a.take([]byte(part)))
				}
				if keys+string(a.held) != c.keys || a.palette != c.palette || a.end != c.end {
					t.Fatalf("%q cut at %d and %d: keys %q, held %q, %v, %v", c.sent, i, j, keys, a.held, a.palette, a.end)
				}
			}
		}
	}
}
