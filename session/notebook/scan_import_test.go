package notebook

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"wetside/session"
)

// The place of a picture that came from another laptop stays in the record when
// the sheet is judged here.
func TestAScanThatCameInOutlivesAJudgement(t *testing.T) {
	a := open(t, config(t))
	s, m := sitting(t, a, 1, eventAt(0))
	closeIt(t, a, s, m)
	id := m.Sheets()[0].ID
	copied := filepath.Join(t.TempDir(), "copy.db")
	if err := a.Backup(copied); err != nil {
		t.Fatal(err)
	}
	other := open(t, Config{Path: copied, NewID: a.cfg.NewID})
	if err := other.Amend(id, session.Event{Kind: session.Scanned, At: at(70 * time.Hour), Note: "signal-box-1.png"}); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "sheets.json")
	if err := os.WriteFile(path, export(t, other, JSON, Options{}), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := takeIn(a, path); err != nil {
		t.Fatal(err)
	}
	if r, err := a.Sheet(id); err != nil || r.Scan != "signal-box-1.png" {
		t.Fatal(r.Scan, err)
	}
	if err := a.Judge(id, at(71*time.Hour), 1, "thin"); err != nil {
		t.Fatal(err)
	}
	if r, err := a.Sheet(id); err != nil || r.Scan != "signal-box-1.png" {
		t.Errorf("the scan is now %q, %v", r.Scan, err)
	}
}

// What was written on a sheet that came without its events is still there when
// they come after all.
func TestNotesOutliveTheEventsThatComeLate(t *testing.T) {
	a, b := open(t, config(t)), open(t, config(t))
	s, m := sitting(t, a, 1, eventAt(0))
	closeIt(t, a, s, m)
	id := m.Sheets()[0].ID
	path := filepath.Join(t.TempDir(), "sheets.json")
	if err := os.WriteFile(path, export(t, a, JSON, Options{}), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := takeIn(b, path); err != nil {
		t.Fatal(err)
	}
	for i, ev := range []session.Event{{Kind: session.Noted, Note: "the lamp shows"}, {Kind: session.Scanned, Note: "signal-box-1.png"}} {
		ev.At = at(time.Duration(70+i) * time.Hour)
		if err := b.Amend(id, ev); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := takeIn(b, a.cfg.Path); err != nil {
		t.Fatal(err)
	}
	r, err := b.Sheet(id)
	if err != nil || len(r.Notes) != 1 || r.Notes[0].Text != "the lamp shows" || r.Scan != "signal-box-1.png" {
		t.Errorf("notes %v, scan %q, %v", r.Notes, r.Scan, err)
	}
	// A scan that is taken away stays away.
	if err := b.Amend(id, session.Event{Kind: session.Scanned, At: at(80 * time.Hour)}); err != nil {
		t.Fatal(err)
	}
	if r, err := b.Sheet(id); err != nil || r.Scan != "" || len(r.Notes) != 1 {
		t.Errorf("notes %v, scan %q, %v", r.Notes, r.Scan, err)
	}
}
