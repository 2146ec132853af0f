package main

import (
	"math"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/uuid"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/desk"
	"wetside/session/notebook"
)

// A sheet that was left open for the time of a stop more, as the bracket has it,
// was given one stop of light, which where reciprocity fails is less than the
// doublings of its time.
func TestAStopGivenByHandIsAStopOfLight(t *testing.T) {
	set, err := profiles.Load(nil)
	if err != nil {
		t.Fatal(err)
	}
	p := &profiles.Planner{Set: set}
	plan, err := p.Plan(profiles.Form{Paper: "direct-positive-fb", Process: "three-trays", Camera: "tea-caddy", Light: "overcast"})
	if err != nil {
		t.Fatal(err)
	}
	paper, err := set.Paper("direct-positive-fb")
	if err != nil {
		t.Fatal(err)
	}
	rec := paper.Reciprocity.Law()
	base := rec.Metered(plan.Spec.Base.Seconds())
	more, _ := rec.Correct(2 * base)

	dir := t.TempDir()
	b, _, err := notebook.Open(notebook.Config{Path: filepath.Join(dir, "notebook.db"), NewID: uuid.NewString})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	t0 := time.Date(2026, 5, 9, 14, 0, 0, 0, time.UTC)
	at := func(d time.Duration) session.Instant {
		return session.Instant{Wall: t0.Add(d), Boot: time.Hour + d, BootID: "b1"}
	}
	opened := session.Event{Kind: session.Opened, At: at(0)}
	sit, err := b.Begin(opened)
	if err != nil {
		t.Fatal(err)
	}
	m := session.New()
	if err := m.Apply(opened); err != nil {
		t.Fatal(err)
	}
	begun := time.Minute
	now := begun + time.Duration(more*float64(time.Second))
	evs := []session.Event{
		{Kind: session.SheetAdded, At: at(begun), Spec: &plan.Spec},
		{Kind: session.ExposureBegun, At: at(begun), Planned: plan.Exposure},
		{Kind: session.ExposureEnded, At: at(now)},
	}
	for i, st := range plan.Spec.Process.Steps {
		evs = append(evs, session.Event{Kind: session.Moved, At: at(now), From: i})
		now += st.AtMost
	}
	evs = append(evs, session.Event{Kind: session.Moved, At: at(now), From: len(plan.Spec.Process.Steps)},
		session.Event{Kind: session.Judged, At: at(now), Stops: 0, Note: "right"})
	for _, ev := range evs {
		ev.Sheet = "s1"
		if _, err := b.Append(sit.ID, ev); err != nil {
			t.Fatal(err)
		}
		if err := m.Apply(ev); err != nil {
			t.Fatal(ev.Kind, err)
		}
	}
	if err := b.SaveSheet(sit, m.Sheet("s1"), m.Now(), desk.Uses(m, m.Sheet("s1"))); err != nil {
		t.Fatal(err)
	}
	got := desk.JudgedIn(b, set.Today)()
	if len(got) != 1 {
		t.Fatal(got)
	}
	if w := got[0].Wanted; math.Abs(w-1) > 0.02 {
		t.Errorf("given the time of one stop more, and judged right, it teaches %.2f stops", w)
	}
}
