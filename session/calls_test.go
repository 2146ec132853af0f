package session_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"wetside/session"
)

// sheets is a machine whose events happen when at says.
func sheets(t *testing.T) (m *session.Machine, at *session.Instant, do func(session.Event)) {
	m, now := session.New(), storyDay
	do = func(e session.Event) {
		t.Helper()
		e.At = now
		if err := m.Apply(e); err != nil {
			t.Fatal(e.Kind, err)
		}
	}
	do(session.Event{Kind: session.Opened})
	return m, &now, do
}

// called are the calls of the first so long, each with its second; the pips of one count
// stand together.
func called(m *session.Machine, end time.Duration) string {
	names := map[session.CueKind]string{session.CueBegin: "begin", session.CueMinutes: "minutes", session.CueThirty: "thirty", session.CueTen: "ten",
		session.CueAtLeast: "at least", session.CueDrain: "drain", session.CueChange: "change", session.CueAlive: "alive", session.CueMove: "move",
		session.CueDone: "done", session.CueSoon: "soon", session.CuePip: "pip", session.CueLightOn: "on", session.CueLightOff: "off", session.CueHalf: "half",
		session.CueCovered: "covered", session.CueUncovered: "uncovered", session.CueRelight: "light", session.CueCall: "call", session.CueOver: "over"}
	var got []string
	for _, q := range m.Own(storyDay, storyDay.Add(end)) {
		n := names[q.Kind]
		if n == "" {
			n = string(q.Kind)
		}
		at := fmt.Sprint(q.At.Sub(storyDay).Seconds())
		if k := len(got) - 1; q.Kind == session.CuePip && k >= 0 && strings.HasPrefix(got[k], n) {
			got[k] += " " + at
		} else {
			got = append(got, n+" "+at)
		}
	}
	return strings.Join(got, ", ")
}

// What an exposure is called with, by hand: its half, its last minute and ten seconds
// where they come after its begin, its end, and calls until the pinhole is covered. A half
// that a change of light has left behind is not called any more. A test sheet has the ends of its strips in the place of the half.
func TestWhatAnExposureIsCalledWith(t *testing.T) {
	const sec, min = time.Second, time.Minute
	type deed struct {
		at time.Duration
		session.Event
	}
	begun := func(d time.Duration) deed { return deed{0, session.Event{Kind: session.ExposureBegun, Planned: d}} }
	for _, c := range []struct {
		name  string
		test  *session.Test
		deeds []deed
		until time.Duration
		want  string
	}{
		{"five seconds", nil, []deed{begun(5 * sec)}, 5 * sec, "on 0, pip 2, half 2.5, pip 3 4, off 5"},
		{"a minute", nil, []deed{begun(min)}, min, "on 0, half 30, ten 50, pip 57 58 59, off 60"},
		{"a second more", nil, []deed{begun(61 * sec)}, 61 * sec, "on 0, minutes 1, half 30.5, ten 51, pip 58 59 60, off 61"},
		{"not covered", nil, []deed{begun(4 * sec)}, 129 * sec, "on 0, pip 1, half 2, pip 2 3, off 4, call 12, call 24, call 42, over 64, call 69, call 109, over 124"},
		{"covered for a while", nil, []deed{begun(2 * min), {20 * sec, session.Event{Kind: session.PinholeCovered}}, {30 * sec, session.Event{Kind: session.PinholeUncovered}}}, 130 * sec,
			"on 0, covered 20, uncovered 30, half 70, minutes 70, ten 120, pip 127 128 129, off 130"},
		{"half the light, half way", nil, []deed{begun(2 * min), {60 * sec, session.Event{Kind: session.LightChanged, Stops: -1, Planned: 4 * min}}}, 180 * sec,
			"on 0, light 60, minutes 120, ten 170, pip 177 178 179, off 180"},
		{"so much light that it is over", nil, []deed{begun(2 * min), {90 * sec, session.Event{Kind: session.LightChanged, Stops: 2, Planned: 40 * sec}}}, 100 * sec,
			"on 0, light 90, pip 97 98 99, off 100"},
		{"ended in time", nil, []deed{begun(2 * min), {2 * min, session.Event{Kind: session.ExposureEnded}}}, 4 * min, "on 0, covered 120"},
		{"a test in three strips", &session.Test{Strips: 3, Step: 1, Shares: []float64{0.25, 0.5, 1}}, []deed{begun(40 * sec)}, 40 * sec, "on 0, off 10, off 20, ten 30, pip 37 38 39, off 40"},
	} {
		m, at, do := sheets(t)
		do(session.Event{Kind: session.SheetAdded, Sheet: "a", Spec: &session.SheetSpec{Reckoned: &session.Reckoned{Test: c.test},
			Process: session.Process{Steps: []session.Step{{Stage: session.Develop, Bath: "developer", AtLeast: min, AtMost: min}}}}})
		for _, d := range c.deeds {
			*at, d.Sheet = storyDay.Add(d.at), "a"
			do(d.Event)
		}
		if got := called(m, c.until+sec/10); got != c.want {
			t.Errorf("%s:\n got %s\nwant %s", c.name, got, c.want)
		}
	}
}

// What a step is called with, each at the seconds from its begin, written down by hand. A
// tray that is rocked is left out here: see [TestATrayIsRockedForAllOfItsSheets].
func TestWhatAStepIsCalledWith(t *testing.T) {
	const sec, min = time.Second, time.Minute
	step := func(d, drain time.Duration) session.Step {
		return session.Step{Stage: session.Fix, Bath: "fixer", AtLeast: d, AtMost: d, Drain: drain}
	}
	judged := step(3*min, 10*sec)
	judged.AtLeast = 90 * sec
	anytime := step(40*sec, 0)
	anytime.AtLeast = 0
	washed := session.Step{Stage: session.Wash, Bath: "wash", AtLeast: 6 * min, AtMost: 6 * min, Changes: 3}
	clocked := step(40*sec, 0)
	clocked.ByClock = true
	for _, c := range []struct {
		name string
		step session.Step
		lead bool
		want string
	}{
		{"ten seconds", step(10*sec, 0), false, "begin 0, pip 7 8 9, move 10"},
		{"a little more", step(11*sec, 0), false, "begin 0, ten 1, pip 8 9 10, move 11"},
		{"half a minute", step(30*sec, 0), false, "begin 0, ten 20, pip 27 28 29, move 30"},
		{"a minute", step(min, 0), false, "begin 0, thirty 30, ten 50, pip 57 58 59, move 60"},
		{"two minutes", step(2*min, 0), false, "begin 0, minutes 60, thirty 90, ten 110, pip 117 118 119, move 120"},
		{"a drain of five", step(40*sec, 5*sec), false, "begin 0, thirty 10, ten 30, drain 35, pip 37 38 39, move 40"},
		// The call to lift takes the place of ten seconds where it comes within two of it.
		{"a drain of seven", step(40*sec, 7*sec), false, "begin 0, thirty 10, ten 30, drain 33, pip 37 38 39, move 40"},
		{"a drain of eight", step(40*sec, 8*sec), false, "begin 0, thirty 10, drain 32, pip 37 38 39, move 40"},
		{"a drain of twelve", step(40*sec, 12*sec), false, "begin 0, thirty 10, drain 28, pip 37 38 39, move 40"},
		{"a drain of thirteen", step(40*sec, 13*sec), false, "begin 0, thirty 10, drain 27, ten 30, pip 37 38 39, move 40"},
		{"judged by eye", judged, false, "begin 0, minutes 60, at least 90, minutes 120, thirty 150, drain 170, pip 177 178 179, move 180"},
		{"judged at any time", anytime, false, "begin 0, thirty 10, ten 30, pip 37 38 39, move 40"},
		{"a wash in three waters", washed, false, "begin 0, alive 30, minutes 60, alive 90, minutes 120, change 120, alive 150, minutes 180, alive 210, minutes 240, change 240, alive 270, minutes 300, thirty 330, alive 330, ten 350, pip 357 358 359, move 360"},
		{"ended by its clock", clocked, false, "begin 0, thirty 10, ten 30, done 40"},
		{"led", step(40*sec, 0), true, "begin 0, thirty 10, ten 30, soon 35.7, pip 37 38 39, move 40"},
		// The call to lift warns, where it comes near enough.
		{"led, a drain of seven", step(40*sec, 7*sec), true, "begin 0, thirty 10, ten 30, drain 33, pip 37 38 39, move 40"},
		{"led, a drain of eight", step(40*sec, 8*sec), true, "begin 0, thirty 10, drain 32, soon 35.7, pip 37 38 39, move 40"},
		{"led, of four seconds", step(4*sec, 0), true, "begin 0, pip 1 2 3, move 4"},
	} {
		m, _, do := sheets(t)
		p := session.Process{Steps: []session.Step{c.step}}
		if c.lead {
			p.Steps = append(p.Steps, step(min, 0)) // the last bath's end is not led
		}
		do(session.Event{Kind: session.SheetAdded, Sheet: "a", Spec: &session.SheetSpec{Process: p}})
		if c.lead {
			do(session.Event{Kind: session.LeadBegun})
		}
		do(session.Event{Kind: session.Moved, Sheet: "a"})
		got := called(m, c.step.AtMost+sec/10)
		if got != c.want {
			t.Errorf("%s:\n got %s\nwant %s", c.name, got, c.want)
		}
	}
}

// What was said of a step or of an exposure is so still, as long as nobody gives it
// another time; what another sheet does changes nothing.
func TestWhatWasSaidIsSoStill(t *testing.T) {
	const sec, min = time.Second, time.Minute
	m, at, do := sheets(t)
	steps := []session.Step{{Stage: session.Develop, Bath: "developer", AtLeast: 2 * min, AtMost: 2 * min}, {Stage: session.Fix, Bath: "fixer", AtLeast: 2 * min, AtMost: 2 * min}}
	for _, id := range []string{"a", "b"} {
		do(session.Event{Kind: session.SheetAdded, Sheet: id, Spec: &session.SheetSpec{Process: session.Process{Steps: steps}}})
	}
	do(session.Event{Kind: session.Moved, Sheet: "a"})
	do(session.Event{Kind: session.ExposureBegun, Sheet: "b", Planned: 2 * min})
	of := func(sheet string, kind session.CueKind) session.Cue {
		t.Helper()
		for _, c := range m.Own(storyDay, storyDay.Add(3*min)) {
			if c.Sheet == sheet && c.Kind == kind {
				return c
			}
		}
		t.Fatal(sheet, kind)
		return session.Cue{}
	}
	began, thirty, half, ten := of("a", session.CueBegin), of("a", session.CueThirty), of("b", session.CueHalf), of("b", session.CueTen)
	both := thirty
	both.Nums = began.Numbers() | half.Numbers()
	is := func(what string, c session.Cue, want bool) {
		t.Helper()
		if m.StillSo(c) != want {
			t.Errorf("%s: so still is %v", what, !want)
		}
	}
	is("it went in", began, true)
	is("thirty seconds of it", thirty, true)
	is("half of the light", half, true)
	is("a sheet that is in no such step does not matter", both, true)
	*at = at.Add(95 * sec)
	do(session.Event{Kind: session.StepTimed, Sheet: "a", From: 1, Planned: 3 * min})
	is("it went in, as before", began, true)
	is("thirty seconds were left, and more are now", thirty, false)
	is("of the other sheet", half, true)
	folded := ten
	folded.Key, folded.Also = "of others", ten.Key
	is("said together with others", folded, true)
	do(session.Event{Kind: session.LightChanged, Sheet: "b", Stops: -1, Planned: 4 * min})
	is("ten seconds of light", ten, false)
	is("the same, said together", folded, false)
	do(session.Event{Kind: session.Moved, Sheet: "a", From: 1})
	is("what is over, a move takes back", thirty, true)
	is("it went into the fixer", of("a", session.CueBegin), true)
	do(session.Event{Kind: session.ExposureEnded, Sheet: "b"})
	do(session.Event{Kind: session.Moved, Sheet: "b"})
	of2 := of("b", session.CueBegin)
	of2.Nums = began.Numbers() | of2.Numbers()
	is("both in the developer, of which one is gone", of2, true)
	do(session.Event{Kind: session.Undone, Sheet: "a"})
	is("it is back, and this was never said of it", of2, false)
}
