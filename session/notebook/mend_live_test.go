package notebook

import (
	"os"
	"path/filepath"
	"testing"
	"time"
)

// A sheet that came without its events was judged, and then the file was
// damaged. The session that runs is still the one that is offered.
func TestMendingMakesNoSessionOfAJudgement(t *testing.T) {
	a := open(t, config(t))
	s, m := sitting(t, a, 1, eventAt(0))
	closeIt(t, a, s, m)
	path := filepath.Join(t.TempDir(), "sheets.json")
	if err := os.WriteFile(path, export(t, a, JSON, Options{}), 0o600); err != nil {
		t.Fatal(err)
	}
	b := open(t, config(t))
	runs, _ := sitting(t, b, 0, eventAt(24*time.Hour))
	if _, err := takeIn(b, path); err != nil {
		t.Fatal(err)
	}
	if err := b.Judge(m.Sheets()[0].ID, at(25*time.Hour), 1, "thin"); err != nil {
		t.Fatal(err)
	}
	c := tidy(t, b)
	file, err := os.ReadFile(c.Path)
	if err != nil {
		t.Fatal(err)
	}
	// The page of the schema: what the others hold can be read.
	copy(file[:4096], make([]byte, 4096))
	if err := os.WriteFile(c.Path, file, 0o600); err != nil {
		t.Fatal(err)
	}
	b, notices, err := Open(c)
	if err != nil || len(notices) == 0 || notices[0].Kind != Recovered {
		t.Fatal(notices, err)
	}
	defer b.Close()
	got, _, ok, err := b.Live(false)
	if err != nil || !ok || got.ID != runs.ID {
		t.Errorf("offered is %+v, %v, %v; what runs is %s", got, ok, err, runs.ID)
	}
	if r, err := b.Sheet(m.Sheets()[0].ID); err != nil || len(r.Judgements) != 2 {
		t.Error(r.Judgements, err)
	}
}
