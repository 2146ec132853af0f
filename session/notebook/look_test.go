package notebook

import (
	"os"
	"path/filepath"
	"testing"
	"time"
)

// Looking at a copy, which has no journal, makes no file, and everything is there.
func TestACopyIsReadAsItIs(t *testing.T) {
	a := open(t, config(t))
	s, m := sitting(t, a, 2, eventAt(0))
	closeIt(t, a, s, m)
	s, _ = sitting(t, a, 1, eventAt(24*time.Hour))
	path := filepath.Join(t.TempDir(), "notebook.db")
	if err := a.Backup(path); err != nil {
		t.Fatal(err)
	}
	b, notices, err := Look(Config{Path: path, NewID: a.cfg.NewID, Logf: t.Logf})
	if err != nil || len(notices) > 0 {
		t.Fatal(notices, err)
	}
	if rows, err := b.Sheets(Filter{}); err != nil || len(rows) != 3 {
		t.Error(len(rows), err)
	}
	if got, evs, ok, err := b.Live(false); err != nil || !ok || got.ID != s.ID || len(evs) != 16 {
		t.Error(got, len(evs), ok, err)
	}
	if err := b.Close(); err != nil {
		t.Error(err)
	}
	if es, _ := os.ReadDir(filepath.Dir(path)); len(es) != 1 {
		t.Error(es)
	}
}
