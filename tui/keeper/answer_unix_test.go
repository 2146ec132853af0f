//go:build unix

package keeper

import (
	"strings"
	"testing"
)

// Whatever pieces a terminal's answers come in, and whatever is typed around them, the
// keys are what was typed, and no byte of an answer.
func TestAnAnswerIsNoKey(t *testing.T) {
	const half, version = "\x1b]4;1;rgb:cdcd/0000/0000\x1b\x1b]11;rgb:0/0/0\x1b", "\x1bP>|XTerm(379)\x1b\\"
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
		{"j" + half + "k" + version + half + device, "jk", false, true},
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
				if keys+string(a.held) != c.keys || a.told.Wide() != c.palette || a.told.All != c.end {
					t.Fatalf("%q cut at %d and %d: keys %q, held %q, %v, %v", c.sent, i, j, keys, a.held, a.told.Wide(), a.told.All)
				}
			}
		}
	}
}

// An answer that comes late, in pieces or not, is none of the keys that are read; the key
// esc and what begins like an answer are keys at once.
func TestALateAnswerIsNoKey(t *testing.T) {
	const sent = "\x1b]4;196;rgb:ffff/0000/0000\x1b\\\x1b]11;rgb:0/0/0\x1b\x1bP>|XTerm(379)\x1b\\\x1b[?64;1c"
	for i := 3; i < len(sent)-3; i++ {
		var a answers
		keys := string(a.late([]byte("j"+sent[:i]))) + string(a.late([]byte(sent[i:]+"k")))
		if strings.Trim(keys, "\x1b]P[") != "jk" && sent[i-1] != 0x1b && sent[i-2] != 0x1b {
			t.Fatalf("cut at %d: keys %q", i, keys)
		}
	}
	var a answers
	for _, key := range []string{"\x1b", "\x1b[", "\x1b]", "\x1b[A", "\x1bOA", "\x1bP", "\x1b[?", "x"} {
		if got := string(a.late([]byte(key))); got != key && key != "\x1b[?" {
			t.Errorf("%q came as %q", key, got)
		}
		a = answers{}
	}
}
