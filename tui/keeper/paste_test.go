package keeper

import (
	"math/rand/v2"
	"strings"
	"testing"
	"time"
)

// feed lets in through in pieces, which come one after the other with a pause.
func feed(f *pastes, in string, size func() int, pause time.Duration) string {
	now := time.Now()
	var out strings.Builder
	for len(in) > 0 {
		n := min(max(1, size()), len(in))
		now = now.Add(pause)
		got := f.pass([]byte(in[:n]), false, now)
		if len(got) > n+pasteRoom {
			panic("there is no room for so much")
		}
		out.Write(got)
		in = in[n:]
	}
	return out.String()
}

// However the marks are cut, what is pasted stands between two whole ones, and
// no byte of it is a key.
func TestAPasteIsWholeHoweverItComes(t *testing.T) {
	const text = "signal box \x1b[A x\r\n \x1b[20 \x1b\x1b["
	in := "a" + pasteBegins + text + pasteEnds + "b\x1b[A" + pasteBegins + pasteEnds + "c"
	whole := func() int { return len(in) }
	if got := feed(&pastes{}, in, whole, 0); got != in {
		t.Errorf("in one piece: %q", got)
	}
	r := rand.New(rand.NewPCG(1, 2))
	for range 2000 {
		got := feed(&pastes{}, in, func() int { return 1 + r.IntN(9) }, time.Millisecond)
		// An escape that came alone was let through, for it may be a key: the mark
		// comes whole after it.
		got = strings.NewReplacer("\x1b\x1b[200~", "\x1b[200~", "\x1b[\x1b[200~", "\x1b[200~").Replace(got)
		if got != in {
			t.Fatalf("in pieces: %q", got)
		}
		keys, now := "", time.Now()
		for f, rest := (&pastes{}), in; len(rest) > 0; {
			n := min(1+r.IntN(9), len(rest))
			now = now.Add(time.Millisecond)
			keys, rest = keys+string(f.keys([]byte(rest[:n]), false, now)), rest[n:]
		}
		if k := strings.NewReplacer("\x1b[A", "", "\x1b[", "", "\x1b", "").Replace(keys); k != "abc" {
			t.Fatalf("its keys: %q", keys)
		}
	}
}

// Keys are keys at once, an escape too.
func TestKeysAreNotKeptBack(t *testing.T) {
	for _, in := range []string{"x", " ", "\x1b", "\x1b[", "\x1b[A", "\x1b[3~", "\x1bOP", "\x1b[200", "4m\r", "overcast\r", strings.Repeat("m", 60), strings.Repeat("\x1b[B", 30)} {
		want := in
		if in == "\x1b[200" {
			want = "" // no key begins so
		}
		if got := feed(&pastes{}, in, func() int { return len(in) }, 0); got != want {
			t.Errorf("%q came as %q", in, got)
		}
	}
	// esc, [ and 2, typed by hand.
	if got := feed(&pastes{}, "\x1b[2", func() int { return 1 }, 200*time.Millisecond); got != "\x1b[2" {
		t.Errorf("typed by hand: %q", got)
	}
}

// A megabyte costs no more than is kept of it, and the keys after it are keys.
func TestAMegabyteIsCut(t *testing.T) {
	in := pasteBegins + strings.Repeat("x \r", 350_000) + pasteEnds + "q"
	got := feed(&pastes{}, in, func() int { return 238 }, 0)
	if len(got) != len(pasteBegins)+pasteKept+len(pasteEnds)+1 || !strings.HasSuffix(got, pasteEnds+"q") {
		t.Errorf("%d bytes came, ending with %q", len(got), got[max(0, len(got)-20):])
	}
}

// A terminal that breaks off in the middle does not leave the keyboard dead.
func TestAPasteThatNeverEnds(t *testing.T) {
	var f pastes
	now := time.Now()
	f.pass([]byte(pasteBegins+"half of it"), false, now)
	if got := string(f.pass([]byte(" "), false, now.Add(time.Second))); got != " " || !f.in {
		t.Errorf("a second later it came as %q", got)
	}
	if got := string(f.pass([]byte("x"), false, now.Add(5*time.Second))); got != pasteEnds+"x" {
		t.Errorf("later, x came as %q", got)
	}
}

// Where the terminal marks nothing, what comes at once is pasted, to its end.
func TestUnmarkedPastes(t *testing.T) {
	var f pastes
	now := time.Now()
	text := "tin 3 x x x, from the signal box\r "
	if got := string(f.pass([]byte(text), false, now)); got != pasteBegins+text+pasteEnds {
		t.Errorf("it came as %q", got)
	}
	if got := string(f.pass([]byte(" "), false, now.Add(20*time.Millisecond))); got != pasteBegins+" "+pasteEnds {
		t.Errorf("its end came as %q", got)
	}
	if got := string(f.pass([]byte(" "), false, now.Add(time.Second))); got != " " {
		t.Errorf("space, later, came as %q", got)
	}
	// The program was busy between two reads.
	f.pass([]byte(text), true, now.Add(2*time.Second))
	if got := string(f.pass([]byte("x"), false, now.Add(4*time.Second))); got != pasteBegins+"x"+pasteEnds {
		t.Errorf("the rest of a full read came as %q", got)
	}
}
