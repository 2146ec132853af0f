package notebook

import (
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
	if _, err := a.Import(copied); err != nil {
		t.Fatal(err)
	}
	again := open(t, crash(t, a))
	if s, _, ok, err := again.Live(false); err != nil || !ok || s.ID != own.ID {
		t.Errorf("offered is %s, %v, %v; own is %s, the other's %s", s.ID, ok, err, own.ID, other.ID)
	}
	// Where there is none of its own, it can be gone on with.
	c := open(t, config(t))
	if _, err := c.Import(copied); err != nil {
		t.Fatal(err)
	}
	if s, _, ok, err := c.Live(false); err != nil || !ok || s.ID != other.ID {
		t.Error(s, ok, err)
	}
}
