//go:build unix

package main

import (
	"database/sql"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"wetside/session"
	"wetside/session/sessiontest"
	"wetside/sound"
	"wetside/sound/voice"
)

// A hearer presses keys and listens to what is said, each announcement to its end.
type hearer struct {
	*testing.T
	*booth
	to int // of what was said, this was listened to
}

// hears listens for so long, and is told these, in this order.
func (a *hearer) hears(keys string, d time.Duration, want ...string) {
	a.Helper()
	a.press(keys)
	time.Sleep(d)
	got := a.whole()
	rest := got
	for _, w := range want {
		i := slices.IndexFunc(rest, func(s string) bool { return strings.Contains(s, w) })
		if i < 0 {
			a.Errorf("%q: %q is not heard in %q", keys, w, got)
			return
		}
		rest = rest[i+1:]
	}
}

// whole is what was said to its end since it was asked last; what nothing urgent cut
// off is an error.
func (a *hearer) whole() (out []string) {
	a.mu.Lock()
	defer a.mu.Unlock()
	for _, s := range a.said[a.to:] {
		words := voice.Words(s.Cue, sound.Normal)
		switch by := (session.Cue{Kind: s.By}); {
		case !s.Cut:
			out = append(out, words)
		case !by.Urgent() && !by.Fact():
			a.Errorf("cut off by %q: %q", s.By, words)
		}
	}
	a.to = len(a.said)
	return out
}

// quit leaves, and tells all that was said if anything was amiss.
func (a *hearer) quit() {
	a.press("q")
	time.Sleep(12 * time.Second)
	a.press("y")
	a.mu.Lock()
	defer a.mu.Unlock()
	for _, s := range a.said {
		if a.Failed() {
			a.Logf("%6.2f %5.2f %t %s: %s", (s.at.Sub(a.start) - s.Lasts).Seconds(), s.Lasts.Seconds(), s.Cut, s.By, voice.Words(s.Cue, sound.Normal))
		}
	}
}

// book is the session in the notebook.
func (h home) book(t testing.TB) *session.Machine {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(h.data(), "notebook.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	return replayAll(t, db)
}

// Whoever sees nothing is told which bath has which number, what is to be done with
// it and what a fresh one is mixed of; and in the notebook the second fixer has the
// place of the first, and a fresh one that of the second.
func TestBathsAreChangedByEar(t *testing.T) {
	t.Parallel()
	const sec, done = time.Second, ". is that done?. y, yes. n, no"
	h := newHome(t)
	inBooth(t, h, []string{"rehearse", "--blind", "--process", "two-bath-fix"}, 0, func(t *testing.T, b *booth) {
		a := &hearer{T: t, booth: b}
		a.hears("", 8*sec, "sheet 1 goes in next")
		list := "1, developer. 2, stop. 3, fixer 1. 4, fixer 2. 5, rinse. 6, hypo-clear. 7, wash tray. type the number of the bath that is replaced. enter, done. ?, say it again. esc, leave it"
		a.hears("b", 25*sec, list)
		a.hears("?", 25*sec, list)
		a.hears("9", 2*sec, "9")
		a.hears("\r", 4*sec, "that was not understood")
		a.hears("\x7f", 2*sec, "backspace")
		a.hears("3", 2*sec, "3")
		a.hears("\r", 9*sec, "wait until no sheet is in either fixer"+done)
		a.hears("\r", 9*sec, "wait until no sheet is in either fixer"+done)
		a.hears(" ", 3*sec, "yes or no")
		a.hears("y", 9*sec, "empty fixer 1 into the jar for used fixer"+done)
		a.hears("y", 9*sec, "put the second fixer in the place of the first"+done)
		a.hears("y", 14*sec, "mix a fresh second fixer. 100 millilitres of stock. 400 millilitres of water"+done)
		a.hears("y", 18*sec, "used fixer holds silver. Keep it in a marked jar, shut, and hand it in as your local rules and its data sheet say"+done)
		a.hears("y", 3*sec, "done")
		a.hears("b", 25*sec, "3, fixer 1") // no longer the third
		a.hears("\x1b", 3*sec, "left as it was")
		a.hears("b", 25*sec)
		a.hears("1", 2*sec, "1")
		a.hears("\r", 9*sec, "pour developer away, and fill the tray again"+done)
		a.hears("n", 4*sec, "left as it was")
		a.quit()
	})
	standing := map[string]int{}
	var at []string
	for i, tr := range h.book(t).Trays() {
		if !tr.Retired {
			standing[tr.Name] = i
			at = append(at, tr.Name)
		}
	}
	slices.Sort(at)
	if want := "developer, fixer 1, fixer 2, hypo-clear, rinse, stop, wash tray"; strings.Join(at, ", ") != want {
		t.Errorf("in the trays stand %s, not %s", strings.Join(at, ", "), want)
	}
	// The fourth that was mixed was the second fixer, and the fresh one is the last.
	if standing["fixer 1"] != 3 || standing["fixer 2"] != 7 {
		t.Errorf("the first fixer is number %d of those mixed, the second number %d", standing["fixer 1"]+1, standing["fixer 2"]+1)
	}
}

// A fog test is done by ear: its question, the count, each step of the card, how long
// it lies already, and its answer. That its two strips lie for sixteen minutes each is a
// matter of
//
//	WETSIDE_SOAK=1 go test ./cmd/wetside -run FogTestIsDoneByEar
func TestAFogTestIsDoneByEar(t *testing.T) {
	t.Parallel()
	const sec, min = time.Second, time.Minute
	begin := func(a *hearer) {
		a.hears("", 8*sec, "sheet 1 goes in next")
		a.hears("\t", 4*sec, "screen, notebook")
		a.hears("\t", 4*sec, "screen, room")
	}
	strip := func(a *hearer, flashed string) {
		a.hears("f", 20*sec, "Was the strip flashed beforehand?. y, yes: light after it. n, no: light before it")
		a.hears(flashed, 11*sec, "0:10, then uncover the strip, all but its first step", "3", "2", "1")
		a.hears("", 4*sec, "now, uncover the strip")
		a.hears("\r", 4*sec, "so far")
		a.hears("", 57*sec, "move the card. Cover the next step, 1:00")
	}
	t.Run("broken off", func(t *testing.T) {
		inBooth(t, newHome(t), []string{"rehearse", "--blind"}, 0, func(t *testing.T, b *booth) {
			a := &hearer{T: t, booth: b}
			begin(a)
			strip(a, "y")
			a.hears("\x1b", 4*sec, "the fog test was broken off")
			a.quit()
		})
	})
	t.Run("both strips", func(t *testing.T) {
		if os.Getenv("WETSIDE_SOAK") == "" {
			sessiontest.Leave(t, "each strip lies for sixteen minutes", "set WETSIDE_SOAK=1")
		}
		h := newHome(t)
		inBooth(t, h, []string{"rehearse", "--blind"}, 0, func(t *testing.T, b *booth) {
			a := &hearer{T: t, booth: b}
			begin(a)
			for i, flashed := range []string{"y", "n"} {
				strip(a, flashed)
				a.hears("", min, "Cover the next step, 2:00")
				a.hears("", 2*min, "Cover the next step, 4:00")
				a.hears("", 4*min, "Cover the next step, 8:00")
				a.hears("", 8*min, []string{"cover the strip. Develop it, then give the answer", "cover the strip. Expose it, develop it, then give the answer"}[i])
				a.hears("f", 20*sec, "type the minutes of the longest step that looks like the covered one. Zero if the first shows, and a dash throws the test away")
				a.hears("7", 2*sec, "7")
				a.hears("\r", 4*sec, "that was not understood")
				a.hears("\x7f", 2*sec, "backspace")
				a.hears("8", 2*sec, "8")
				a.hears("\r", 9*sec, []string{"kept. Safe for 8:00 under this light. the other half of the test is missing", "kept. Safe for 8:00 under this light"}[i])
			}
			a.quit()
		})
		if out := h.wetside(t, "profiles", "show", "direct-positive-fb"); strings.Count(out, `"8m`) < 2 {
			t.Errorf("two halves of eight minutes are in the profile as\n%s", out)
		}
	})
}
