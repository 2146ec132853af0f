package session_test

import (
	"encoding/json"
	"testing"
	"time"

	"wetside/session"
	"wetside/session/notebook"
)

// A sheet's life with every kind of event in it. Left out of it, each kind
// changes the sheet's record in the field that the table names.
func TestTheRecordTellsEveryKind(t *testing.T) {
	const min = time.Minute
	step := func(stage session.Stage, bath string) session.Step {
		return session.Step{Stage: stage, Bath: bath, AtLeast: min, AtMost: min}
	}
	wash := step(session.Wash, "wash tray")
	wash.Changes = 3
	spec := session.SheetSpec{Name: "signal arm", Camera: "tea-caddy", Paper: session.Paper{Safe: 20 * min},
		Process: session.Process{Steps: []session.Step{step(session.Develop, "developer"), step(session.Fix, "fixer 1"), wash}}}
	again := spec
	again.Name = "lever frame"
	mix := func(id, name string) *session.Mix {
		return &session.Mix{ID: id, Name: name, ML: 500, PerLitre: 8000}
	}
	life := []session.Event{
		{Kind: session.Opened},
		{Kind: session.BathMixed, Mix: mix("d", "developer")},
		{Kind: session.BathMixed, Mix: mix("f1", "fixer 1")},
		{Kind: session.BathMixed, Mix: mix("f2", "fixer 2")},
		{Kind: session.BoxOpened},
		{Kind: session.SheetAdded, Sheet: "a", Spec: &spec},
		{Kind: session.SheetAdded, Sheet: "b", Spec: &spec},
		{Kind: session.SheetWithdrawn, Sheet: "b"},
		{Kind: session.BoxAway},
		{Kind: session.Remade, Sheet: "a", Spec: &again},
		{Kind: session.SheetOut, Sheet: "a"},
		{Kind: session.SafelightOff},
		{Kind: session.SafelightOn},
		{Kind: session.ScreenLit, Lux: 0.01},
		{Kind: session.SheetAway, Sheet: "a"},
		{Kind: session.Loaded, Sheet: "a"},
		{Kind: session.Unloaded, Sheet: "a"},
		{Kind: session.ExposureBegun, Sheet: "a", Planned: 9 * min},
		{Kind: session.PinholeCovered, Sheet: "a"},
		{Kind: session.PinholeUncovered, Sheet: "a"},
		{Kind: session.LightChanged, Sheet: "a", Stops: 1, Planned: 5 * min},
		{Kind: session.Retimed, Sheet: "a", Planned: 6 * min},
		{Kind: session.ExposureEnded, Sheet: "a"},
		{Kind: session.Moved, Sheet: "a"},
		{Kind: session.ImageSeen, Sheet: "a"},
		{Kind: session.Marked, Sheet: "a"},
		{Kind: session.MarkNamed, Sheet: "a", N: 1, Note: "the clouds came up"},
		{Kind: session.BathRetired, Bath: "f1"},
		{Kind: session.BathPromoted, Bath: "f2", Into: "fixer 1"},
		{Kind: session.Moved, Sheet: "a", From: 1},
		{Kind: session.Undone, Sheet: "a", From: 2},
		{Kind: session.LeadBegun},
		{Kind: session.BathOverridden, Sheet: "a", Bath: "f2"},
		{Kind: session.Moved, Sheet: "a", From: 1, Led: true},
		{Kind: session.Confirmed, Sheet: "a", From: 3},
		{Kind: session.LeadEnded},
		{Kind: session.Held, Sheet: "a", From: 3},
		{Kind: session.Moved, Sheet: "a", From: 4},
		{Kind: session.StepTimed, Sheet: "a", From: 5, Planned: 5 * min},
		{Kind: session.WaterChanged, Bath: "wash tray"},
		{Kind: session.Noted, Sheet: "a", Note: "the tap dripped"},
		{Kind: session.Resumed},
		{Kind: session.Unseen, Sheet: "a", From: 5},
		{Kind: session.Spoiled, Sheet: "a", Note: "torn"},
		{Kind: session.Closed},
		{Kind: session.Judged, Sheet: "a", Stops: 1},
		{Kind: session.Scanned, Sheet: "a", Note: "signal-arm.png"},
	}
	hour := storyDay.Add(time.Hour).Wall
	// Another's, of which the program saw nothing.
	unwatched := []session.Event{
		{Kind: session.Opened},
		{Kind: session.SheetAdded, Sheet: "a", Spec: &spec},
		{Kind: session.ExposureTold, Sheet: "a", Planned: 9 * min, Told: &session.Told{From: hour.Add(-2 * time.Hour)}},
		{Kind: session.Developed, Sheet: "a", Told: &session.Told{Steps: []time.Duration{2 * min}}},
		{Kind: session.Closed},
		{Kind: session.Dried, Sheet: "a"},
		{Kind: session.Flattened, Sheet: "a"},
	}
	// record is the sheet's record when the event at index out is left out.
	record := func(life []session.Event, out int) map[string]json.RawMessage {
		m, at := session.New(), storyDay
		for i, e := range life {
			at = at.Add(min)
			e.At = at
			if i == out {
				continue
			}
			if err := m.Apply(e); err != nil && out < 0 {
				t.Fatalf("%s: %v", e.Kind, err)
			}
		}
		s := m.Sheet("a")
		if s == nil {
			return nil
		}
		raw, err := json.Marshal(notebook.RecordOf(s, notebook.Context{Baths: notebook.Uses(m, s), Now: m.Now()}))
		if err != nil {
			t.Fatal(err)
		}
		var fields map[string]json.RawMessage
		if err := json.Unmarshal(raw, &fields); err != nil {
			t.Fatal(err)
		}
		return fields
	}
	tried := map[session.Kind]bool{}
	for _, life := range [][]session.Event{life, unwatched} {
		whole := record(life, -1)
		for i, e := range life {
			tells := session.Tells()[e.Kind]
			if tells == "" || string(record(life, i)[tells]) != string(whole[tells]) {
				tried[e.Kind] = true
			}
		}
	}
	for k, tells := range session.Tells() {
		if !tried[k] {
			t.Errorf("%s: the record is to tell it in %q, and has the same there without it (or it is not in the life above)", k, tells)
		}
	}
}
