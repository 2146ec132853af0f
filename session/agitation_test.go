package session_test

import (
	"slices"
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
			a.For = min(a.Every-time.Second, sec(1, 60, "for")) // else it never rests
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

// A tray in which several sheets lie is rocked when one of them is to be, and rests when
// none is: who only hears the calls does right by every sheet. Each sheet is to be rocked
// by the process's own words: all the time; for the first so long; and from then on at
// each so many seconds for so many. While it is rocked a tick comes every three seconds,
// counted by the sheet whose spell it is.
func TestATrayIsRockedForAllOfItsSheets(t *testing.T) {
	// What is said of a stage comes before the word to rock it.
	const lag = 3 * time.Second
	rapid.Check(t, func(t *rapid.T) {
		sec := func(lo, hi int, what string) time.Duration {
			return time.Duration(rapid.IntRange(lo, hi).Draw(t, what)) * time.Second
		}
		at := storyDay
		m := session.New()
		do := func(e session.Event) {
			e.At = at
			if err := m.Apply(e); err != nil {
				t.Fatal(e.Kind, err)
			}
		}
		do(session.Event{Kind: session.Opened})
		type bath struct {
			session.Step
			in time.Duration // from storyDay
		}
		var baths []bath
		var ids []string
		for i, n := 0, rapid.IntRange(1, 3).Draw(t, "sheets"); i < n; i++ {
			var a session.Agitation
			switch rapid.IntRange(0, 4).Draw(t, "kind") {
			case 0:
				a.Continuous = true
			case 1:
				a.First = sec(5, 90, "first")
			default:
				a.First = sec(0, 12, "first") * 5
				a.Every = sec(15, 60, "every")
				a.For = sec(3, int(a.Every/time.Second)-5, "for")
			}
			st := session.Step{Stage: session.Fix, Bath: "fixer", AtMost: sec(100, 240, "step"), Drain: sec(0, 30, "drain"), Agitation: a}
			st.AtLeast = st.AtMost
			id := string(rune('a' + i))
			do(session.Event{Kind: session.SheetAdded, Sheet: id, Spec: &session.SheetSpec{Process: session.Process{Steps: []session.Step{st}}}})
			baths, ids = append(baths, bath{Step: st}), append(ids, id)
		}
		for i, id := range ids {
			at = at.Add(sec(0, 60, "apart"))
			do(session.Event{Kind: session.Moved, Sheet: id})
			baths[i].in = at.Sub(storyDay)
		}
		wants := func(b bath, t time.Duration) bool {
			if t < b.in || t >= b.in+b.AtMost-b.Drain {
				return false
			}
			a, t := b.Agitation, t-b.in
			if a.Continuous || t < a.First {
				return true
			}
			if a.Every == 0 || t < a.Every {
				return false
			}
			begin := t / a.Every * a.Every // the spells begin at once, twice, ... so many seconds
			return begin > a.First && t < begin+a.For
		}
		// They all come out of their trays later than this.
		end := at.Add(100 * time.Second).Sub(storyDay)
		for i, b := range baths {
			if out := b.in + b.AtMost; out < end && i >= 0 {
				end = out
			}
		}
		cues := m.Own(storyDay, storyDay.Add(end))
		rocked, k := false, 0
		var ticked time.Duration
		for x := time.Duration(0); x < end; x += 500 * time.Millisecond {
			for ; k < len(cues) && cues[k].At.Sub(storyDay) <= x; k++ {
				c := cues[k]
				switch at := c.At.Sub(storyDay); c.Kind {
				case session.CueRockOn:
					rocked, ticked = true, at
				case session.CueRockOff:
					rocked = false
				case session.CueDrain, session.CueMove:
					// Only this sheet is lifted: the tray is rocked on for the others.
					rocked = slices.ContainsFunc(baths, func(b bath) bool { return wants(b, at) })
				case session.CueRock:
					if !rocked {
						t.Fatalf("at %v a tick, and the tray rests", x)
					}
					ticked = at
				}
			}
			want := slices.ContainsFunc(baths, func(b bath) bool { return wants(b, x) })
			// A sheet that has just gone in is called with its stage's name first.
			fresh := slices.ContainsFunc(baths, func(b bath) bool { return x >= b.in && x < b.in+lag })
			if want != rocked && !(want && fresh) {
				t.Fatalf("at %v rocked %v, wanted %v: %+v", x, rocked, want, baths)
			}
			if rocked && x-ticked > 6500*time.Millisecond {
				t.Fatalf("at %v no tick since %v: %+v", x, ticked, baths)
			}
		}
	})
}

// The cues of the next seconds are asked for on every tick: late in a long wash of eight
// sheets, rocked each half minute, they cost no more than at its begin.
func TestTheCuesOfALongWashAreFoundAtOnce(t *testing.T) {
	m, _, do := sheets(t)
	for i := range 8 {
		id := string(rune('a' + i))
		do(session.Event{Kind: session.SheetAdded, Sheet: id, Spec: &session.SheetSpec{Process: session.Process{Steps: []session.Step{{Stage: session.Wash, Bath: "wash", AtLeast: time.Hour, AtMost: time.Hour,
			Agitation: session.Agitation{First: 30 * time.Second, For: 10 * time.Second, Every: 30 * time.Second}}}}}})
		do(session.Event{Kind: session.Moved, Sheet: id})
	}
	cost := func(at time.Duration) float64 {
		return testing.AllocsPerRun(5, func() { m.Cues(storyDay.Add(at), storyDay.Add(at+20*time.Second)) })
	}
	early, late := cost(2*time.Minute), cost(50*time.Minute)
	t.Logf("%.0f allocations in the second minute, %.0f in the fiftieth", early, late)
	if late > 1.5*early {
		t.Errorf("%.0f allocations in the second minute, %.0f in the fiftieth", early, late)
	}
}
