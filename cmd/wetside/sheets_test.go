package main

import (
	"bytes"
	"context"
	"os"
	"testing"
	"time"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/notebook"
)

// A rehearsal on the morning after does not stand in the way of the sheet
// that is to be judged, and the list finds sheets that are not the newest.
func TestSheetsAreFoundBehindNewerOnes(t *testing.T) {
	dir := t.TempDir()
	h := &host{out: &bytes.Buffer{}, err: os.Stderr, data: dir, config: dir, state: dir, ctx: context.Background(),
		now: func() time.Time { return scriptNow }, getenv: func(string) string { return "" }}
	if err := theWorkshop(h); err != nil {
		t.Fatal(err)
	}
	b, err := h.book()
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	set, err := profiles.Load(nil)
	if err != nil {
		t.Fatal(err)
	}
	plan, err := (&profiles.Planner{Set: set, Rehearsal: true}).Plan(profiles.Form{Name: "blank", Paper: "direct-positive-fb", Process: "three-trays"})
	if err != nil {
		t.Fatal(err)
	}
	m, at := session.New(), session.Instant{Wall: scriptNow.AddDate(0, 0, 1), Boot: time.Hour, BootID: "next"}
	open := session.Event{Kind: session.Opened, At: at, Rehearsal: true, Pace: 1}
	sit, err := b.Begin(open)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range []session.Event{open,
		{Kind: session.SheetAdded, At: at, Sheet: "d4000001-0000-4000-8000-000000000001", Spec: &plan.Spec},
		{Kind: session.Moved, At: at, Sheet: "d4000001-0000-4000-8000-000000000001"},
		{Kind: session.Spoiled, At: at, Sheet: "d4000001-0000-4000-8000-000000000001", Note: "fell"}} {
		if err := m.Apply(e); err != nil {
			t.Fatal(err)
		}
	}
	s := m.Sheets()[0]
	if err := b.SaveSheet(sit, s, m.Now(), notebook.Uses(m, s)); err != nil {
		t.Fatal(err)
	}
	if r, err := find(h, b, "1"); err != nil || r.Rehearsal || r.Name != "Bell wire" {
		t.Errorf("sheet 1 is %q of %s, rehearsal %v, %v", r.Name, r.Day(), r.Rehearsal, err)
	}
	if r, err := find(h, b, "2026-05-04/1"); err != nil || !r.Rehearsal {
		t.Errorf("a rehearsal asked for by its day: %q, %v", r.Name, err)
	}
	for _, words := range []string{"levers", "ash levers"} {
		if rows, err := (pages{book: b}).List(words, 2); err != nil || len(rows) != 1 || rows[0].Name != "Levers" {
			t.Errorf("only those with %q: %+v, %v", words, rows, err)
		}
	}
}
