package session_test

import (
	"fmt"
	"testing"
	"time"

	"wetside/session"
)

// What is true of a sheet from instant to instant, from its camera to the end, written
// down by hand; and who needs the hands soonest.
func TestTheViewOfASheetsLife(t *testing.T) {
	const sec, min = time.Second, time.Minute
	m, at, do := sheets(t)
	steps := []session.Step{
		{Stage: session.Develop, Name: "first", Bath: "developer", AtLeast: 60 * sec, AtMost: 90 * sec, Drain: 10 * sec, Agitation: session.Agitation{First: 20 * sec, For: 5 * sec, Every: 30 * sec}},
		{Stage: session.Fix, Bath: "fixer", AtLeast: min, AtMost: min, Agitation: session.Agitation{Continuous: true}},
		{Stage: session.Wash, Bath: "wash", AtLeast: 6 * min, AtMost: 6 * min, Changes: 2}}
	add := func(id string, test *session.Test) {
		do(session.Event{Kind: session.SheetAdded, Sheet: id, Spec: &session.SheetSpec{Name: "the " + id, Process: session.Process{Steps: steps}, Reckoned: &session.Reckoned{Test: test}}})
	}
	add("a", nil)
	type row struct {
		at    time.Duration
		event *session.Event
		want  string
	}
	deed := func(k session.Kind, from int, planned time.Duration) *session.Event {
		return &session.Event{Kind: k, Sheet: "a", From: from, Planned: planned}
	}
	changed := &session.Event{Kind: session.WaterChanged, Bath: "wash"}
	light := &session.Event{Kind: session.LightChanged, Sheet: "a", Stops: -1, Planned: 4 * min}
	// stage, what it does, elapsed, left, over, from at least to at most, the end, what is next
	for _, r := range []row{
		{0, nil, "fresh: '' '' 0s, left 0s over 0s, 0s-0s ends 0s, next first"},
		{0, deed(session.ExposureBegun, 0, 2*min), "exposing: 'expose' 'pinhole open' 0s, left 2m0s over 0s, 2m0s-2m0s ends 2m0s, next first, open 0.00 of 2m0s"},
		{30 * sec, nil, "exposing: 'expose' 'pinhole open' 30s, left 1m30s over 0s, 2m0s-2m0s ends 2m0s, next first, open 0.25 of 2m0s"},
		{30 * sec, deed(session.PinholeCovered, 0, 0), "exposing: 'expose' 'pinhole covered' 30s, left 1m30s over 0s, 2m0s-2m0s ends 2m0s, next first, shut 0.25 of 2m0s"},
		{50 * sec, nil, "exposing: 'expose' 'pinhole covered' 30s, left 1m30s over 0s, 2m0s-2m0s ends 2m20s, next first, shut 0.25 of 2m0s"},
		{50 * sec, deed(session.PinholeUncovered, 0, 0), "exposing: 'expose' 'pinhole open' 30s, left 1m30s over 0s, 2m0s-2m0s ends 2m20s, next first, open 0.25 of 2m0s"},
		{80 * sec, light, "exposing: 'expose' 'pinhole open' 1m0s, left 2m0s over 0s, 3m0s-3m0s ends 3m20s, next first, open 0.50 of 4m0s"},
		{210 * sec, nil, "exposing: 'expose' 'cover the pinhole' 3m10s, left 0s over 10s, 3m10s-3m10s ends 3m20s, next first, open 1.04 of 4m0s"},
		{210 * sec, deed(session.ExposureEnded, 0, 0), "exposed: '' 'waiting' 0s, left 0s over 0s, 0s-0s ends 0s, next first"},
		{5 * min, nil, "exposed: '' 'waiting' 1m30s, left 0s over 0s, 0s-0s ends 0s, next first"},
		{10 * min, deed(session.Moved, 0, 0), "wet: 'develop first' 'rock' 0s, left 1m30s over 0s, 1m0s-1m30s ends 11m30s, next fix, developer, by eye"},
		{10*min + 19*sec, nil, "wet: 'develop first' 'rock' 19s, left 1m11s over 0s, 1m0s-1m30s ends 11m30s, next fix, developer, by eye"},
		{10*min + 20*sec, nil, "wet: 'develop first' 'let it rest' 20s, left 1m10s over 0s, 1m0s-1m30s ends 11m30s, next fix, developer, by eye"},
		{10*min + 34*sec, nil, "wet: 'develop first' 'rock' 34s, left 56s over 0s, 1m0s-1m30s ends 11m30s, next fix, developer, by eye"},
		{10*min + 60*sec, nil, "wet: 'develop first' 'judge by eye' 1m0s, left 30s over 0s, 1m0s-1m30s ends 11m30s, next fix, developer, by eye"},
		{10*min + 79*sec, nil, "wet: 'develop first' 'judge by eye' 1m19s, left 11s over 0s, 1m0s-1m30s ends 11m30s, next fix, developer, by eye"},
		{10*min + 80*sec, nil, "wet: 'develop first' 'lift and drain' 1m20s, left 10s over 0s, 1m0s-1m30s ends 11m30s, next fix, developer, by eye"},
		{10*min + 97*sec, nil, "wet: 'develop first' 'move on' 1m37s, left 0s over 7s, 1m0s-1m30s ends 11m30s, next fix, developer, by eye"},
		{12 * min, deed(session.Moved, 1, 0), "wet: 'fix' 'rock' 0s, left 1m0s over 0s, 1m0s-1m0s ends 13m0s, next wash, fixer"},
		{13 * min, deed(session.Held, 2, 0), "wet: 'hold' 'waiting' 0s, left 0s over 0s, 0s-0s ends 0s, next wash, holding water"},
		{15 * min, nil, "wet: 'hold' 'waiting' 2m0s, left 0s over 0s, 0s-0s ends 0s, next wash, holding water"},
		{20 * min, deed(session.Moved, 3, 0), "wet: 'wash' 'leave it in' 0s, left 6m0s over 0s, 6m0s-6m0s ends 26m0s, next , wash, water at [23m0s] changed 0s"},
		{23 * min, changed, "wet: 'wash' 'leave it in' 3m0s, left 3m0s over 0s, 6m0s-6m0s ends 26m0s, next , wash, water at [23m0s] changed 23m0s"},
		{27 * min, deed(session.Moved, 4, 0), "finished: '' '' 0s, left 0s over 0s, 0s-0s ends 0s, next "},
	} {
		if *at = storyDay.Add(r.at); r.event != nil {
			do(*r.event)
		}
		v, ok := m.View(*at).Sheet("a")
		if !ok || v.Num != 1 || v.Name != "the a" {
			t.Fatalf("%+v", v)
		}
		name := v.Label
		if s := string(v.Stage); s != "" && s != string(session.Exposure) && s != name {
			name = s + " " + name
		}
		got := fmt.Sprintf("%s: '%s' '%s' %v, left %v over %v, %v-%v ends %v, next %s", v.Phase, name, v.Doing, v.Elapsed, v.Left, v.Over, v.AtLeast, v.AtMost, v.Ends, v.NextIs)
		if v.Phase == session.Exposing {
			got += fmt.Sprintf(", %s %.2f of %v", map[bool]string{true: "open", false: "shut"}[v.Open], v.Share, v.Full)
		}
		if v.Bath != "" {
			got += ", " + v.Bath
		}
		if v.Judge {
			got += ", by eye"
		}
		if v.Water != nil {
			got += fmt.Sprintf(", water at %v changed %v", v.Water, v.Changed)
		}
		if got != r.want {
			t.Errorf("at %v:\n got %s\nwant %s", r.at, got, r.want)
		}
	}
	if _, ok := m.View(*at).Sheet("nobody"); ok {
		t.Error("a sheet that is not there")
	}
}

// Who is due soonest comes first; who waits in holding water or is covered comes last, and
// only a wet sheet is due in the trays.
func TestWhoNeedsTheHandsSoonest(t *testing.T) {
	const sec, min = time.Second, time.Minute
	m, at, do := sheets(t)
	step := func(s session.Stage) session.Step {
		return session.Step{Stage: s, Bath: string(s), AtLeast: 4 * min, AtMost: 4 * min}
	}
	steps := []session.Step{step(session.Fix), step(session.Wash)}
	for _, id := range []string{"a", "b", "c", "d", "e"} {
		var test *session.Test
		if id == "a" {
			test = &session.Test{Strips: 3, Step: 1, Shares: []float64{0.25, 0.5, 1}}
		}
		do(session.Event{Kind: session.SheetAdded, Sheet: id, Spec: &session.SheetSpec{Process: session.Process{Steps: steps}, Reckoned: &session.Reckoned{Test: test}}})
	}
	is := func(need, due string) {
		t.Helper()
		if v := m.View(*at); fmt.Sprint(v.Need) != need || v.Due != due {
			t.Errorf("at %v: %v, due %q; want %v, %q", v.T, v.Need, v.Due, need, due)
		}
	}
	is("[]", "")
	do(session.Event{Kind: session.ExposureBegun, Sheet: "a", Planned: 2 * min})
	do(session.Event{Kind: session.ExposureBegun, Sheet: "b", Planned: 10 * min})
	if v, _ := m.View(*at).Sheet("a"); fmt.Sprint(v.Strips) != "[30s 1m0s]" {
		t.Errorf("the strips have their light at %v", v.Strips)
	}
	is("[a b]", "")
	do(session.Event{Kind: session.Moved, Sheet: "c"})
	*at = at.Add(sec)
	do(session.Event{Kind: session.Moved, Sheet: "d"})
	is("[a c d b]", "c")
	do(session.Event{Kind: session.PinholeCovered, Sheet: "a"})
	is("[c d b a]", "c")
	*at = at.Add(5 * min)
	do(session.Event{Kind: session.Held, Sheet: "c", From: 1})
	is("[d b a c]", "d")
	*at = at.Add(5 * min)
	is("[d b a c]", "d")
	do(session.Event{Kind: session.Spoiled, Sheet: "d", Note: "torn"})
	is("[b a c]", "c")
}
