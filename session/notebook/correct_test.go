package notebook

import (
	"errors"
	"testing"
	"time"

	"wetside/session"
)

// What was said of a sheet is put right long after its session, and its record has
// what it was; a change that is refused changes nothing.
func TestASheetOfAnEarlierSessionIsCorrected(t *testing.T) {
	b := open(t, config(t))
	s, m := sitting(t, b, 1, eventAt(0))
	closeIt(t, b, s, m)
	id := m.Sheets()[0].ID
	was, err := b.Sheet(id)
	if err != nil {
		t.Fatal(err)
	}
	for i, to := range []string{"hat-box", "biscuit-tin"} {
		if err := b.Correct(id, at(time.Duration(70+i)*time.Hour), func(sp *session.SheetSpec) error { sp.Camera = to; return nil }); err != nil {
			t.Fatal(err)
		}
	}
	if err := b.Correct(id, at(80*time.Hour), func(*session.SheetSpec) error { return errors.New("no") }); err == nil {
		t.Error("a correction that is none is kept")
	}
	r, err := b.Sheet(id)
	if err != nil || r.Camera != "biscuit-tin" || len(r.Corrected) != 2 || r.Corrected[0].Was != was.Camera || r.Corrected[1].Was != "hat-box" {
		t.Errorf("%v: camera %q, %+v", err, r.Camera, r.Corrected)
	}
	if len(r.Stages) != len(was.Stages) || r.State != was.State || r.Exposure.Actual != was.Exposure.Actual {
		t.Errorf("more was changed: %+v", r)
	}
	rows, err := b.Sheets(Filter{Limit: 1})
	if err != nil || len(rows) != 1 || rows[0].Camera != "biscuit-tin" {
		t.Errorf("the list has %+v, %v", rows, err)
	}
}
