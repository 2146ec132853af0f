//go:build unix

package main

import (
	"cmp"
	"encoding/json"
	"io"
	"strings"
	"testing"
	"time"

	"wetside/session/notebook"
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
