package session_test

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"wetside/session"
)

// The spells of an agitation are the seconds in which the view says to rock, and
// they are in order.
func TestSpellsAreWhenTheViewSaysRock(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sec := func(lo, hi int, what string) time.Duration {
			return time.Duration(rapid.IntRange(lo, hi).Draw(t, what)) * time.Second
		}
		var a session.Agitation
		switch rapid.IntRange(0, 3).Draw(t, "kind") {
		case 0:
			a.Continuous = true
		case 1:
			a.First = sec(1, 200, "first")
		case 2:
			a.First = sec(0, 90, "first")
			a.Every = sec(2, 60, "every")
			a.For = min(a.Every, sec(1, 60, "for"))
		}
		st := session.Step{Stage: session.Fix, Bath: "fixer", AtLeast: 2 * time.Minute, AtMost: 2 * time.Minute, Drain: sec(0, 30, "drain"), Agitation: a}
		if a.First > st.AtMost {
			a.First = st.AtMost
			st.Agitation = a
		}
		m := session.New()
		for _, e := range []session.Event{{Kind: session.Opened}, {Kind: session.SheetAdded, Sheet: "a", Spec: &session.SheetSpec{Process: session.Process{Steps: []session.Step{st}}}}, {Kind: session.Moved, Sheet: "a"}} {
			e.At = storyDay
			if err := m.Apply(e); err != nil {
				t.Fatal(err)
			}
		}
		until := st.AtMost - st.Drain
		spells := a.Spells(until)
		for i, x := range spells {
			if x.From >= x.To || x.To > until || i > 0 && x.From < spells[i-1].To {
				t.Fatalf("%+v: %v", a, spells)
			}
		}
		for at := time.Duration(0); at < until; at += time.Second {
			in := false
			for _, x := range spells {
				in = in || x.From <= at && at < x.To
			}
			if doing := m.View(storyDay.Add(at)).Sheets[0].Doing; in != (doing == session.Rock) {
				t.Fatalf("%+v: at %v the view says %q, the spells are %v", a, at, doing, spells)
			}
		}
	})
}
