package notebook

import (
	"os"
	"path/filepath"
	"testing"
	"time"
)

// A session that still runs on another laptop was taken in. After a crash it is
// the own one that is offered, though the other was begun later.
func TestAnImportedSessionDoesNotHideTheOwn(t *testing.T) {
	a, b := open(t, config(t)), open(t, config(t))
	own, _ := sitting(t, a, 0, eventAt(0))
	other, _ := sitting(t, b, 0, eventAt(time.Hour))
	copied := filepath.Join(t.TempDir(), "copy.db")
	if err := b.Backup(copied); err != nil {
		t.Fatal(err)
	}
	if _, err := takeIn(a, copied); err != nil {
		t.Fatal(err)
	}
	again := open(t, crash(t, a))
	if s, _, ok, err := again.Live(false); err != nil || !ok || s.ID != own.ID {
		t.Errorf("offered is %s, %v, %v; own is %s, the other's %s", s.ID, ok, err, own.ID, other.ID)
	}
	// Nor is it gone on with where there is none of its own: it may run there still.
	c := open(t, config(t))
	if _, err := takeIn(c, copied); err != nil {
		t.Fatal(err)
	}
	if s, _, ok, err := c.Live(false); err != nil || ok {
		t.Error(s, ok, err)
	}
	// That stays so when the database is gone, and in a copy.
	copied = filepath.Join(t.TempDir(), "copy.db")
	if err := c.Backup(copied); err != nil {
		t.Fatal(err)
	}
	cfg := tidy(t, c)
	if err := os.Remove(cfg.Path); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{cfg.Path, copied} {
		d := open(t, Config{Path: path, NewID: cfg.NewID})
		if s, _, ok, err := d.Live(false); err != nil || ok {
			t.Error(path, s, ok, err)
		}
		if n := len(allEvents(t, d)); n != 1 {
			t.Error(path, n, "events")
		}
	}
}
