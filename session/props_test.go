package session_test

import (
	"encoding/json"
	"fmt"
	"reflect"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"wetside/session"
)

// anyProcess draws a process that Check accepts.
func anyProcess(t *rapid.T) session.Process {
	sec := func(lo, hi int) time.Duration {
		return time.Duration(rapid.IntRange(lo*1000, hi*1000).Draw(t, "ms")) * time.Millisecond
	}
	p := session.Process{Key: "any", Name: "any"}
	n := rapid.IntRange(1, 5).Draw(t, "steps")
	for range n {
		st := session.Step{Stage: rapid.SampledFrom([]session.Stage{session.Develop, session.Stop, session.Fix, session.Rinse, session.Clear, session.Wash}).Draw(t, "stage")}
		st.Bath = string(st.Stage)
		st.AtMost = sec(1, 400)
		st.AtLeast = st.AtMost
		if rapid.Bool().Draw(t, "inspection") {
			st.AtLeast = st.AtMost / 2
		}
		if rapid.Bool().Draw(t, "drain") {
			st.Drain = st.AtMost / 4
		}
		switch rapid.IntRange(0, 2).Draw(t, "agitation") {
		case 1:
			st.Agitation.Continuous = true
		case 2:
			st.Agitation = session.Agitation{First: sec(0, 40), For: 5 * time.Second, Every: sec(6, 60)}
		}
		st.ByClock = rapid.IntRange(0, 4).Draw(t, "clock") == 0
		st.Batch = st.Stage == session.Wash
		if st.Stage == session.Develop {
			st.Factor = float64(rapid.IntRange(0, 20).Draw(t, "factor"))
		}
		p.Steps = append(p.Steps, st)
	}
	return p
}

// anyEvents draws a session: mostly sensible events, some not, on clocks that
// are stepped, put to sleep and booted anew.
func anyEvents(t *rapid.T, n int) []session.Event {
	at := storyDay
	var evs []session.Event
	evs = append(evs, session.Event{Kind: session.Opened, At: at})
	kinds := []session.Kind{session.SheetAdded, session.SheetAdded, session.SheetOut, session.SheetAway, session.ExposureBegun,
		session.PinholeCovered, session.PinholeUncovered, session.LightChanged, session.Retimed, session.ExposureEnded,
		session.Moved, session.Moved, session.Moved, session.Moved, session.Moved, session.Held, session.Undone, session.ImageSeen,
		session.Spoiled, session.Noted, session.Marked, session.MarkNamed, session.Judged, session.SafelightOn, session.SafelightOff,
		session.BathMixed, session.BathRetired, session.BathPromoted, session.WaterChanged, session.BathOverridden, session.Resumed, "no such kind"}
	m := session.New() // only to draw From numbers that mostly fit
	m.Apply(evs[0])
	boots := 1
	for range n {
		d := time.Duration(rapid.IntRange(0, 90_000).Draw(t, "gap")) * time.Millisecond
		at = at.Add(d)
		switch rapid.IntRange(0, 20).Draw(t, "clock") {
		case 0: // the wall clock is stepped
			at.Wall = at.Wall.Add(time.Duration(rapid.IntRange(-100_000, 100_000).Draw(t, "step")) * time.Second)
		case 1: // booted anew
			boots++
			at.BootID, at.Boot = fmt.Sprintf("boot-%d", boots), time.Duration(rapid.IntRange(0, 100).Draw(t, "up"))*time.Second
		case 2: // an event that comes late
			at = at.Add(-2 * time.Second)
		}
		e := session.Event{Kind: rapid.SampledFrom(kinds).Draw(t, "kind"), At: at,
			Sheet:   fmt.Sprintf("s%d", rapid.IntRange(1, 4).Draw(t, "sheet")),
			Planned: time.Duration(rapid.IntRange(-1, 900).Draw(t, "planned")) * time.Second,
			Stops:   float64(rapid.IntRange(-9, 9).Draw(t, "thirds")) / 3,
			N:       rapid.IntRange(0, 2).Draw(t, "n"),
			Bath:    rapid.SampledFrom([]string{"b1", "b2", string(session.Wash)}).Draw(t, "bath"), Into: "fix"}
		switch e.Kind {
		case session.SheetAdded:
			e.Spec = &session.SheetSpec{Name: e.Sheet, Paper: session.Paper{AreaCM2: 100, Safe: 6 * time.Minute, SafeExp: 4 * time.Minute}, Process: anyProcess(t)}
		case session.BathMixed:
			e.Mix = &session.Mix{ID: e.Bath, Name: "fix", ML: 500}
		case session.Moved, session.Held:
			if s := m.Sheet(e.Sheet); s != nil && s.Visit() != nil && rapid.IntRange(0, 9).Draw(t, "seen") > 0 {
				e.From = s.Visit().Serial
			}
		}
		if e = session.Proper(e); e.Kind == session.Undone {
			// As older programs wrote it, or as this one does.
			if e.Bath = ""; rapid.Bool().Draw(t, "what") {
				if d, ok := m.LastDeed(""); ok {
					e.Sheet, e.What = d.Sheet, d.Kind
					if d.Sheet == "" {
						e.Bath = d.Bath
					}
				}
			}
		}
		m.Apply(e)
		evs = append(evs, e)
	}
	return evs
}

func live(evs []session.Event) *session.Machine {
	m := session.New()
	for _, e := range evs {
		m.Apply(e)
	}
	return m
}

// Replaying what was stored, as it was stored, equals living through it: with
// and without the events that were refused.
func TestReplayEqualsLiving(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		evs := anyEvents(t, rapid.IntRange(0, 60).Draw(t, "events"))
		a := session.New()
		var kept []session.Event
		for _, e := range evs {
			// What the host stores is JSON.
			raw, err := json.Marshal(e)
			if err != nil {
				t.Fatal(err)
			}
			var back session.Event
			if err := json.Unmarshal(raw, &back); err != nil {
				t.Fatal(err)
			}
			if a.Apply(e) == nil {
				kept = append(kept, back)
			}
		}
		b := live(kept)
		for _, d := range []time.Duration{0, time.Second, 7 * time.Minute} {
			at := a.Last().Add(d)
			if va, vb := a.View(at), b.View(at); !reflect.DeepEqual(va, vb) {
				t.Fatalf("views differ %v later:\n%+v\n%+v", d, va, vb)
			}
			if ca, cb := keys(a.Cues(at, at.Add(time.Hour))), keys(b.Cues(at, at.Add(time.Hour))); !slices.Equal(ca, cb) {
				t.Fatalf("cues differ:\n%v\n%v", ca, cb)
			}
		}
	})
}

func keys(cs []session.Cue) []string {
	var out []string
	for _, c := range cs {
		out = append(out, fmt.Sprint(c.T, c.Key, c.Kind, c.For, c.Left, c.Over, c.Next))
	}
	return out
}

// What would be refused is refused, what would not is not, and asking changes
// nothing.
func TestWouldIsApply(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := session.New()
		for _, e := range anyEvents(t, 40) {
			before := m.View(m.Last().Add(time.Minute))
			would := m.Would(e)
			if after := m.View(m.Last().Add(time.Minute)); !reflect.DeepEqual(before, after) {
				t.Fatalf("asking about %s changed the state", e.Kind)
			}
			if did := m.Apply(e); fmt.Sprint(would) != fmt.Sprint(did) {
				t.Fatalf("%s: would %v, did %v", e.Kind, would, did)
			}
		}
	})
}

func TestTimeNeverRunsBackwards(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := session.New()
		var last time.Duration
		for _, e := range anyEvents(t, 50) {
			m.Apply(e)
			if m.Now() < last {
				t.Fatalf("session time went from %v to %v by %s", last, m.Now(), e.Kind)
			}
			last = m.Now()
			if v := m.View(m.Last().Add(-time.Hour)); v.T < last {
				t.Fatalf("a view of %v before the last event at %v", v.T, last)
			}
		}
	})
}

// cues(a,c) = cues(a,b) + cues(b,c), and no cue is named twice.
func TestCuesOfSpansAdd(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := live(anyEvents(t, 40))
		ms := func(name string) time.Duration {
			return time.Duration(rapid.IntRange(0, 1_800_000).Draw(t, name)) * time.Millisecond
		}
		a := m.Last().Add(ms("a") - 20*time.Minute)
		b := a.Add(ms("b"))
		c := b.Add(ms("c"))
		whole := m.Cues(a, c)
		parts := append(m.Cues(a, b), m.Cues(b, c)...)
		if !slices.Equal(keys(whole), keys(parts)) {
			t.Fatalf("whole:\n%v\nparts:\n%v", keys(whole), keys(parts))
		}
		seen := map[string]bool{}
		for _, c := range whole {
			if seen[c.Key] {
				t.Fatalf("the cue %s comes twice", c.Key)
			}
			seen[c.Key] = true
		}
	})
}

// Each stage of a completed sheet has one begin and one end, in order, and the
// steps are those of its process.
func TestStagesOfACompletedSheet(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := live(anyEvents(t, 80))
		for _, s := range m.Sheets() {
			if s.Phase != session.Finished {
				continue
			}
			var steps []int
			end := time.Duration(0)
			serials := map[int]bool{}
			for _, v := range s.Visits {
				if v.Open {
					t.Fatalf("a finished sheet is still in the %s", v.Stage)
				}
				if v.In < end || v.Out < v.In {
					t.Fatalf("%s from %v to %v, after %v", v.Stage, v.In, v.Out, end)
				}
				if serials[v.Serial] {
					t.Fatalf("two visits have the number %d", v.Serial)
				}
				serials[v.Serial] = true
				end = v.Out
				if v.Step != session.Holding {
					steps = append(steps, v.Step)
				}
			}
			for i, st := range steps {
				if st != i {
					t.Fatalf("steps %v", steps)
				}
			}
			if len(steps) != len(s.Spec.Process.Steps) {
				t.Fatalf("%d of %d steps", len(steps), len(s.Spec.Process.Steps))
			}
		}
	})
}

// No sheet is washed unless its water had its full time after the last arrival.
func TestWashedMeansWashed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := live(anyEvents(t, 80))
		for _, s := range m.Sheets() {
			if !s.Washed() {
				continue
			}
			w := s.Visits[len(s.Visits)-1]
			for _, v := range s.Visits {
				if v.Stage == session.Wash {
					w = v
				}
			}
			need := s.Spec.Process.Steps[w.Step].AtLeast
			for _, o := range m.Sheets() {
				for _, v := range o.Visits {
					if v.Stage == session.Wash && v.Bath == w.Bath && v.In > w.In && v.In < w.Out && w.Out-v.In < need {
						t.Fatalf("sheet %d is called washed, but sheet %d came in %v before it left, and it needs %v", s.Num, o.Num, w.Out-v.In, need)
					}
				}
			}
		}
	})
}

// A move that its clock makes was foreseen: begin cues of the steps that follow
// keep their key and time.
func TestForeseenBeginsComeTrue(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyProcess(t)
		for i := range p.Steps {
			p.Steps[i].ByClock = true
		}
		m := session.New()
		m.Apply(session.Event{Kind: session.Opened, At: storyDay})
		m.Apply(session.Event{Kind: session.SheetAdded, At: storyDay, Sheet: "a", Spec: &session.SheetSpec{Process: p}})
		m.Apply(session.Event{Kind: session.Moved, At: storyDay, Sheet: "a"})
		end := storyDay.Add(2 * time.Hour)
		pick := func(cs []session.Cue) (out []string) {
			for _, c := range cs {
				if c.Kind == session.CueBegin || c.Kind == session.CueDone {
					out = append(out, fmt.Sprint(c.Key, c.T, c.Stage, c.For))
				}
			}
			return out
		}
		want := pick(m.Cues(storyDay, end))
		for e, ok := m.AutoMove(end, nil); ok; e, ok = m.AutoMove(end, nil) {
			if err := m.Apply(e); err != nil {
				t.Fatal(err)
			}
		}
		if got := pick(m.Cues(storyDay, end)); !slices.Equal(got, want) {
			t.Fatalf("foreseen:\n%v\ncame:\n%v", want, got)
		}
	})
}

// The safelight account equals a reckoning second by second of whether the
// sheet was out, the lamp on, and the sheet not fixed.
func TestSafelightAccount(t *testing.T) {
	p := session.Process{Steps: []session.Step{
		{Stage: session.Develop, Bath: "d", AtLeast: time.Minute, AtMost: time.Minute},
		{Stage: session.Fix, Bath: "f", AtLeast: time.Minute, AtMost: time.Minute},
		{Stage: session.Wash, Bath: "w", AtLeast: time.Minute, AtMost: time.Minute}}}
	rapid.Check(t, func(t *rapid.T) {
		m := session.New()
		m.Apply(session.Event{Kind: session.Opened, At: storyDay})
		m.Apply(session.Event{Kind: session.SheetAdded, At: storyDay, Sheet: "a", Spec: &session.SheetSpec{Process: p}})
		s := m.Sheet("a")
		var want time.Duration
		out, lamp, fixed := false, true, false
		for sec := 1; sec <= 120; sec++ {
			if out && lamp && !fixed {
				want += time.Second
			}
			at := storyDay.Add(time.Duration(sec) * time.Second)
			switch rapid.IntRange(0, 12).Draw(t, "what") {
			case 0:
				if m.Apply(session.Event{Kind: session.SheetOut, At: at, Sheet: "a"}) == nil {
					out = true
				}
			case 1:
				if m.Apply(session.Event{Kind: session.SheetAway, At: at, Sheet: "a"}) == nil {
					out = false
				}
			case 2:
				if m.Apply(session.Event{Kind: session.SafelightOff, At: at}) == nil {
					lamp = false
				}
			case 3:
				if m.Apply(session.Event{Kind: session.SafelightOn, At: at}) == nil {
					lamp = true
				}
			case 4:
				from := 0
				if v := s.Visit(); v != nil {
					from = v.Serial
				}
				if m.Apply(session.Event{Kind: session.Moved, At: at, Sheet: "a", From: from}) == nil {
					out = true
					fixed = fixed || (len(s.Visits) > 2 && s.FixedT > 0)
				}
			}
			if used, _ := s.SafeUsed(m.T(at)); used != want {
				t.Fatalf("after %d s the account says %v, the reckoning %v", sec, used, want)
			}
		}
	})
}
