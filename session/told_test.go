package session_test

import (
	"reflect"
	"strings"
	"testing"
	"time"

	"wetside/session"
)

// What was timed by a watch gives the light it gave and no sound, and is taken back
// like any deed; what cannot have been is refused.
func TestWhatWasTimedByAWatch(t *testing.T) {
	const min = time.Minute
	spec := session.SheetSpec{Camera: "tea-caddy", Exposure: 10 * min, Reckoned: &session.Reckoned{Lit: &session.Lit{EV: 12}},
		Process: session.Process{Steps: []session.Step{{Stage: session.Develop, Bath: "developer", AtLeast: min, AtMost: min},
			{Stage: session.Wash, Bath: "wash tray", AtLeast: 5 * min, AtMost: 5 * min, Batch: true}}}}
	m, at := session.New(), storyDay
	do := func(e session.Event) error { at = at.Add(min); e.At = at; return m.Apply(e) }
	for _, e := range []session.Event{{Kind: session.Opened}, {Kind: session.SheetAdded, Sheet: "a", Spec: &spec}, {Kind: session.SheetAdded, Sheet: "b", Spec: &spec},
		{Kind: session.Moved, Sheet: "b"}, {Kind: session.Moved, Sheet: "b", From: 1}} {
		if err := do(e); err != nil {
			t.Fatal(err)
		}
	}
	yesterday := at.Wall.AddDate(0, 0, -1)
	for _, c := range []struct {
		told session.Told
		open time.Duration
		why  string
	}{
		{session.Told{}, 5 * min, "when the pinhole was opened"},
		{session.Told{From: at.Wall.Add(time.Hour)}, 5 * min, "has not come yet"},
		{session.Told{From: at.Wall.Add(-min)}, time.Hour, "has not come yet"},
		{session.Told{From: yesterday, To: yesterday.Add(-min)}, min, "before it began"},
		{session.Told{From: yesterday, To: yesterday.Add(10 * min)}, 20 * min, "cannot have been open for"},
	} {
		err := do(session.Event{Kind: session.ExposureTold, Sheet: "a", Planned: c.open, Told: &c.told})
		if err == nil || !strings.Contains(err.Error(), c.why) {
			t.Errorf("%+v: %v, want %q", c.told, err, c.why)
		}
	}
	before := *m.Sheet("a")
	fresh, wash := at, m.Sheet("b").Visit().AtMost
	if err := do(session.Event{Kind: session.ExposureTold, Sheet: "a", Planned: 5 * min, Told: &session.Told{From: yesterday}}); err != nil {
		t.Fatal(err)
	}
	s := m.Sheet("a")
	if l := &s.Light; s.Phase != session.Exposed || l.Share(m.Now()) != 0.5 || l.OpenFor(m.Now()) != 5*min || !l.EndedAt.Wall.Equal(yesterday.Add(5*min)) || !l.Spells[0].EV.Known {
		t.Errorf("%s, %+v", s.Phase, *l)
	}
	if err := do(session.Event{Kind: session.Developed, Sheet: "a"}); err != nil {
		t.Fatal(err)
	}
	if s.Phase != session.Finished || s.Washed() || m.Sheet("b").Visit().AtMost != wash {
		t.Errorf("%s, washed %t; the other sheet's wash is %v, was %v", s.Phase, s.Washed(), m.Sheet("b").Visit().AtMost, wash)
	}
	for _, c := range m.Cues(fresh, at.Add(time.Hour)) {
		if c.Sheet == "a" && c.Kind != session.CueDone {
			t.Errorf("heard: %+v", c)
		}
	}
	for _, k := range []session.Kind{session.Developed, session.ExposureTold} {
		if err := do(session.Event{Kind: session.Undone, Sheet: "a", What: k}); err != nil {
			t.Fatal(err)
		}
	}
	if now := *m.Sheet("a"); now.Phase != session.Fresh || !reflect.DeepEqual(now.Light, before.Light) || len(now.Visits) > 0 || len(now.Undone) != 2 {
		t.Errorf("taken back: %+v", now)
	}
}
