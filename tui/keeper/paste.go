package keeper

import (
	"bytes"
	"os"
	"time"
)

// A Keyboard reads the keys of a terminal. What is pasted comes between the
// marks of bracketed paste, however the terminal hands it over, and cut to what
// a line of text may need: so a megabyte of it costs no more than reading it.
//
// It is a file in the sense of charmbracelet/x/term and of muesli/cancelreader,
// which wait on its descriptor: nothing is kept back that only another Read
// would bring.
type Keyboard struct {
	*os.File
	pastes  pastes
	answers answers // that come when nobody waits for them any more
}

// NewKeyboard makes one of a terminal.
func NewKeyboard(f *os.File) *Keyboard { return &Keyboard{File: f} }

// Read reads keys. It may return none at all and no error.
func (k *Keyboard) Read(p []byte) (int, error) {
	if len(p) <= pasteRoom+answerMost {
		return k.File.Read(p) // nobody reads so little
	}
	raw := make([]byte, len(p)-pasteRoom-len(k.answers.held))
	n, err := k.File.Read(raw)
	if n == 0 && notOurs(k.File, err) {
		time.Sleep(behindPause) // they are the shell's, until it gives the terminal back
		return 0, nil
	}
	return copy(p, k.pastes.pass(k.answers.late(raw[:n]), n == len(raw), time.Now())), err
}

// behindPause is how long nobody reads, when keys are somebody else's.
const behindPause = 100 * time.Millisecond

const (
	pasteBegins = "\x1b[200~"
	pasteEnds   = "\x1b[201~"
	// pasteRoom is how much longer what passes may be than what came: the marks
	// around it, and what was kept back of one before it.
	pasteRoom = 3 * len(pasteBegins)
	// answerMost is how much of what may be an answer is kept back.
	answerMost = 80
	// pasteKept is how much of a paste is kept, in bytes.
	pasteKept = 2048
	// pastePause is how long a paste may pause. A terminal that breaks off in the
	// middle of one must not leave the keyboard dead.
	pastePause = 2 * time.Second
	// markPause is how long an escape is the begin of a mark, and not a key.
	markPause = 50 * time.Millisecond
	// burstLeast is how many signs at once no hand types: a terminal that does not
	// mark what is pasted (the Linux console) brings it so. burstPause is how soon
	// after them more belongs to them.
	burstLeast = 16
	burstPause = 100 * time.Millisecond
)

// pastes is the state of reading marks that may come in pieces.
type pastes struct {
	in     bool      // within a paste
	kept   int       // of it
	match  int       // bytes of the next mark that have come
	passed int       // of those, bytes that were let through: they may be the key esc
	came   time.Time // the last read
	burst  time.Time // the last read that was one
	more   bool      // and it was full
	mute   bool      // keys is within a paste
}

// pass gives what of src is for the program. full says that there may be more
// where it came from.
func (f *pastes) pass(src []byte, full bool, now time.Time) []byte {
	dst := make([]byte, 0, len(src)+pasteRoom)
	pause := now.Sub(f.came)
	f.came = now
	switch {
	case f.in && pause > pastePause:
		f.in, f.match = false, 0
		dst = append(dst, pasteEnds...)
	case !f.in && (pause > pastePause || f.match <= 2 && pause > markPause):
		dst = f.text(dst, pasteBegins[f.passed:f.match])
		f.match, f.passed = 0, 0
	}
	if !f.in && f.match == 0 && f.isBurst(src, now) {
		f.burst, f.more = now, full
		dst = append(dst, pasteBegins...)
		dst = append(dst, src...)
		return append(dst, pasteEnds...)
	}
	f.more = false
	for _, c := range src {
		dst = f.one(dst, c)
	}
	// An escape at the end may be a key, and must not wait for the next one.
	if !f.in && f.match <= 2 {
		dst = f.text(dst, pasteBegins[f.passed:f.match])
		f.passed = f.match
	}
	return dst
}

// one takes a byte, which may be the next of a mark.
func (f *pastes) one(dst []byte, c byte) []byte {
	mark := markOf(f.in)
	if c != mark[f.match] {
		dst = f.text(dst, mark[f.passed:f.match])
		f.match, f.passed = 0, 0
		if c != mark[0] {
			return f.text(dst, string([]byte{c}))
		}
	}
	if f.match++; f.match == len(mark) {
		dst = append(dst, mark...)
		f.in, f.kept, f.match, f.passed = !f.in, 0, 0, 0
	}
	return dst
}

// markOf is the mark that comes next, within a paste or outside of one.
func markOf(in bool) string {
	if in {
		return pasteEnds
	}
	return pasteBegins
}

// keys is pass without what was pasted.
func (f *pastes) keys(src []byte, full bool, now time.Time) (out []byte) {
	for rest := f.pass(src, full, now); len(rest) > 0; {
		before, after, found := bytes.Cut(rest, []byte(markOf(f.mute))) // pass gives marks whole
		if !f.mute {
			out = append(out, before...)
		}
		f.mute, rest = f.mute != found, after
	}
	return out
}

// text lets s through, of a paste as much as is kept.
func (f *pastes) text(dst []byte, s string) []byte {
	if f.in {
		s = s[:min(len(s), pasteKept-f.kept)]
		f.kept += len(s)
	}
	return append(dst, s...)
}

// isBurst reports whether src was pasted though nothing says so. Keys that were
// typed ahead are fewer, and one that is held down is always the same.
func (f *pastes) isBurst(src []byte, now time.Time) bool {
	if len(src) == 0 || bytes.IndexByte(src, pasteBegins[0]) >= 0 {
		return false
	}
	if f.more || now.Sub(f.burst) < burstPause {
		return true
	}
	signs, alike := 0, true
	for _, c := range src {
		if c >= ' ' && c != 0x7f {
			signs++
		}
		alike = alike && c == src[0]
	}
	return signs >= burstLeast && !alike
}
