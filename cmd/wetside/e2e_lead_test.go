//go:build unix

package main

import (
	"cmp"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/notebook"
	"wetside/session/say"
	"wetside/sound"
	"wetside/sound/voice"
)

// stands waits until the sheets of the session are where they should be: what each
// is in, in their order.
func (x *piped) stands(want string, of ...string) {
	x.Helper()
	var asked time.Time
	until(x.T, want, func() bool {
		if time.Since(asked) < 150*time.Millisecond {
			return false // to ask is a program of its own
		}
		asked = time.Now()
		var now []struct{ Phase, Stage string }
		if json.Unmarshal([]byte(x.wetside(x.T, append([]string{"where", "--json"}, of...)...)), &now) != nil {
			return false
		}
		var in []string
		for _, s := range now {
			in = append(in, cmp.Or(s.Stage, s.Phase))
		}
		return strings.Join(in, ", ") == want
	})
}

// out presses, as slowly as no double tap is, until the last bath is left too.
func (x *piped) out(want string, of ...string) {
	x.Helper()
	for range strings.Count(want, "finished") {
		next := time.Now().Add(3 * time.Second) // the wash lasts so long
		until(x.T, "the next press", func() bool { return time.Now().After(next) })
		x.press(" ")
	}
	x.stands(want, of...)
}

// records are those of n sheets in the notebook, the first first.
func (x *piped) records(n int) (out []notebook.Record) {
	x.Helper()
	var rows []struct{ ID string }
	if err := json.Unmarshal([]byte(x.wetside(x.T, "sheets", "--json", "--rehearsals")), &rows); err != nil {
		x.Fatal(err)
	}
	if len(rows) != n {
		x.Fatalf("%d sheets are in the notebook, not %d", len(rows), n)
	}
	for _, row := range rows {
		var r notebook.Record
		if err := json.Unmarshal([]byte(x.wetside(x.T, "sheet", row.ID, "--json")), &r); err != nil {
			x.Fatal(err)
		}
		out = append([]notebook.Record{r}, out...)
	}
	return out
}

// went is how a sheet came out of each bath.
func went(r notebook.Record) string {
	var out []string
	for _, s := range r.Stages {
		how := s.Stage
		if s.Led {
			how += " led"
		}
		out = append(out, how)
	}
	return strings.Join(out, ", ")
}

// A pair of sheets, by one press each: every other move is led, and written down on
// the plan.
func TestAPairIsLedByOnePressEach(t *testing.T) {
	t.Parallel()
	h := newHome(t)
	ownProcess(t, h, "short-baths", shortBaths...)
	x := pipe(t, h, "rehearse", "--lead", "--pace", "20", "--process", "short-baths", "--sheets", "2")
	x.stands("fresh, fresh", "--rehearsal")
	x.press(" ")
	soon := time.Now().Add(1500 * time.Millisecond) // half a minute of the rehearsal
	until(t, "the second may go in", func() bool { return time.Now().After(soon) })
	x.press("2 ")
	x.stands("wash, wash", "--rehearsal")
	x.out("finished, finished", "--rehearsal")
	for _, r := range x.records(2) {
		if got := went(r); got != "develop led, stop led, fix led, hypo-clear led, wash" {
			t.Errorf("sheet %d went %s", r.Num, got)
		}
		for _, s := range r.Stages[:4] {
			if late := (s.Actual - s.AtMost).D(); late.Abs() > time.Second {
				t.Errorf("sheet %d left the %s %v after the plan", r.Num, s.Stage, late)
			}
		}
	}
}

// Led in earnest, and killed: nothing was led while nobody was there, and whoever
// starts wetside lead again goes on being led from the next press on.
func TestALeadThatIsKilledGoesOnByAPress(t *testing.T) {
	t.Parallel()
	h := newHome(t)
	x := pipe(t, h, "time", "develop 3s, stop 20s, fix 3s, rinse 3s, wash 3s")
	x.stands("fresh")
	x.press("l")
	x.press(" ")
	x.stands("stop")
	x.kill()
	x = pipe(t, h, "lead")
	over := time.Now().Add(21 * time.Second)
	until(t, "the stop bath's time is over", func() bool { return time.Now().After(over) })
	x.stands("stop")
	io.WriteString(x.keys, "y") // it is still in there
	x.press(" ")
	x.stands("wash")
	x.out("finished")
	if got := went(x.records(1)[0]); got != "develop led, stop, fix led, rinse led, wash" {
		t.Errorf("it went %s", got)
	}
	if out := x.wetside(t, "sheet", "1"); !strings.Contains(out, ", led") {
		t.Errorf("the page of the sheet does not say what was led:\n%s", out)
	}
}

// onPlan checks that each move that was led, and so many were, is written down within a
// second of the plan.
func onPlan(t *testing.T, m *session.Machine, moves int) {
	t.Helper()
	n := 0
	for _, s := range m.Sheets() {
		for _, v := range s.Visits {
			if !v.LedOut {
				continue
			}
			n++
			if late := v.Out - v.In - v.AtMost; late.Abs() > time.Second {
				t.Errorf("sheet %d left the %s %v after the plan", s.Num, v.Stage, late)
			}
		}
	}
	if n != moves {
		t.Errorf("%d moves were led, not %d", n, moves)
	}
}

// ledAloud checks that each move that was led, and was no press, was counted in and said
// whole, its words within 0.6 s of its instant.
func ledAloud(t *testing.T, h home, b *booth, moves int) {
	t.Helper()
	begins := func(words string, from, to time.Time) bool {
		for _, s := range b.said {
			if at := s.at.Add(-s.Lasts); !s.Cut && voice.Words(s.Cue, sound.Normal) == words && !at.Before(from) && at.Before(to) {
				return true
			}
		}
		return false
	}
	m := h.book(t)
	onPlan(t, m, moves)
	for _, s := range m.Sheets() {
		to := ""
		if len(m.Sheets()) > 1 {
			to = fmt.Sprintf("sheet %d: ", s.Num)
		}
		for i, v := range s.Visits {
			if !v.LedOut || i+1 == len(s.Visits) {
				continue
			}
			const block = 60 * time.Millisecond // and a block is mixed at its end
			at := v.OutAt.Wall.Add(-block)
			for k, words := range []string{"", "1", "2", "3"} {
				if k > 0 && !begins(words, at.Add(-time.Duration(k)*time.Second), at.Add(-time.Duration(k)*time.Second+600*time.Millisecond+block)) {
					t.Errorf("sheet %d, %s: %s is not counted", s.Num, v.Stage, words)
				}
			}
			if now := to + say.MoveNow.Of(say.Into(s.Visits[i+1].Stage)).String(); !begins(now, at, at.Add(600*time.Millisecond+block)) {
				t.Errorf("sheet %d, %s: %q is not said when it is led", s.Num, v.Stage, now)
			}
		}
	}
}

// By ear alone: one sheet is led, its steps made longer and shorter, a move set right,
// one taken back and made by hand, and held in water; each key answers, and what is led
// from then on is counted in as before.
func TestALedSheetObeysItsKeysByEar(t *testing.T) {
	t.Parallel()
	const sec = time.Second
	h := newHome(t)
	ownProcess(t, h, "short-baths", shortBaths...)
	b := inBooth(t, h, []string{"rehearse", "--lead", "--blind", "--process", "short-baths"}, 0, func(t *testing.T, b *booth) {
		a := &hearer{T: t, booth: b}
		a.hears("", 8*sec, "sheet 1 goes in next")
		a.hears(" ", 47*sec, "in the developer")
		a.hears("", 6*sec, "stop bath now")
		a.hears(" ", 8*sec, "the time is corrected, sheet 1") // in the stop bath three seconds later
		a.hears("", 15*sec, "fixer now", "in the fixer, 0:25")
		a.hears("\x1b[A", 4*sec, "in the fixer, 0:35 in all")
		a.hears("\x1b[B", 5*sec, "in the fixer, 0:25 in all")
		a.hears("", 12*sec, "hypo clear now")
		a.hears("\x7f", 6*sec, "the last move is taken back, in the fixer")
		a.hears(" ", 6*sec, "in the hypo clear") // by hand: it is not led again
		a.hears("h", 9*sec, "in the holding water")
		a.hears(" ", 9*sec, "in the wash")
		a.hears("", 33*sec, "take it out now")
		a.hears(" ", 4*sec, "finished")
		a.quit()
	})
	ledAloud(t, h, b, 1)
	if got := went((&piped{T: t, home: h}).records(1)[0]); got != "develop, stop led, fix, hypo-clear, hold, wash" {
		t.Errorf("it went %s", got)
	}
}

// By ear alone, of a pair that is led: the first sheet uses the fixer up, and before the
// second is counted into it the program leads no more, and says why; nothing is moved but
// by a press, and the spent bath is asked about. Once it is led again, what can be is.
func TestAPairIsNotLedIntoASpentBathByEar(t *testing.T) {
	t.Parallel()
	const sec = time.Second
	h := newHome(t)
	ownProcess(t, h, "short-baths", shortBaths...)
	file := filepath.Join(h.dir, ".config", "wetside", "profiles", "processes", "short-baths.toml")
	process, err := os.ReadFile(file)
	if err == nil {
		process, err = profiles.WithBathLimits(process, "fix tray", 100, time.Hour, "of the test's own")
	}
	if err == nil {
		err = os.WriteFile(file, process, 0o644)
	}
	if err != nil {
		t.Fatal(err)
	}
	inBooth(t, h, []string{"rehearse", "--lead", "--blind", "--process", "short-baths", "--sheets", "2"}, 0, func(t *testing.T, b *booth) {
		a := &hearer{T: t, booth: b}
		a.hears("", 8*sec, "sheet 1 goes in next")
		a.hears(" ", 32*sec, "sheet 1: in the developer")
		a.hears("2 ", 23*sec, "sheet 1: stop bath now")
		a.hears("", 18*sec, "sheet 1: fixer now", "fix tray is spent")
		a.hears("", 12*sec, "2", "1", "sheet 2: stop bath now")
		a.hears("", 12*sec, "sheet 1: hypo clear now", "the program leads no more. fix tray is spent")
		a.hears("", 15*sec, "sheet 2: fixer now")
		a.hears("2 ", 4600*time.Millisecond, "the fixer is spent. press again to do it all the same")
		a.hears(" ", 4*sec, "sheet 2: in the fixer")
		a.quit()
	})
	got := ""
	for _, s := range h.book(t).Sheets() {
		for _, v := range s.Visits {
			got += string(v.Stage)
			if v.LedOut {
				got += " led"
			}
			got += ", "
		}
	}
	if got != "develop led, stop led, fix, develop led, stop, fix, " {
		t.Errorf("they went %s", got)
	}
}

// Whoever is led, and presses nothing, is asked by ear; who does not answer is told that
// the program leads no more, and who does is led on.
func TestWhoIsLedIsAskedByEar(t *testing.T) {
	t.Parallel()
	const sec = time.Second
	h := newHome(t)
	ownProcess(t, h, "short-baths", shortBaths...)
	inBooth(t, h, []string{"rehearse", "--lead", "--blind", "--process", "short-baths", "--sheets", "2"}, 0, func(t *testing.T, b *booth) {
		a := &hearer{T: t, booth: b}
		a.hears("", 8*sec, "sheet 1 goes in next")
		a.hears(" ", 90*sec, "sheet 1: in the developer")
		a.hears("", 6*sec, "still with me? Press any key")
		a.hears("k", 9*sec, "the program leads now")
		a.hears("2 ", 49*sec, "sheet 2: in the developer", "sheet 1: take it out now")
		a.hears("1 ", 13*sec, "sheet 1: finished")
		a.hears("", 45*sec, "sheet 2: hypo clear now", "still with me? Press any key")
		a.hears("", 12*sec, "sheet 2: wash now", "the program leads no more")
		a.quit()
	})
	onPlan(t, h.book(t), 8)
}
