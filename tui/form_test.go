package tui

import (
	"errors"
	"strings"
	"testing"
	"time"

	"wetside/session"
)

// Enter on the bench goes from line to line, and adds a sheet only on the line that
// says so; after it, not a second one.
func TestEnterAddsNoSheetUnmeant(t *testing.T) {
	w, m := newWorld(t, func(c *Config) { c.Start = Bench })
	press := func(k string, n int) {
		for range n {
			m.keys(t, k)
			w.pass(2 * time.Second)
		}
	}
	press("enter", fAdd)
	if n := len(m.desk.M.Sheets()); n != 0 || m.form.at != fAdd {
		t.Fatalf("enter on the way made %d sheets; the line is %d", n, m.form.at)
	}
	press("enter", 1)
	if n := len(m.desk.M.Sheets()); n != 1 {
		t.Fatalf("enter on the last line made %d sheets", n)
	}
	press("enter", 3)
	if n := len(m.desk.M.Sheets()); n != 1 {
		t.Errorf("enter after it made %d sheets", n)
	}
	m.form.focus(m, fPaper)
	press("a", 1)
	if n := len(m.desk.M.Sheets()); n != 2 {
		t.Errorf("a made %d sheets", n)
	}
}

// What was added is listed, changed until it is done, and corrected after that;
// taken away until it has had light.
func TestASheetIsChangedOnTheBench(t *testing.T) {
	w, m := newWorld(t, func(c *Config) {
		c.Start = Bench
		c.Cameras = append(c.Cameras, Choice{"hat-box", "hat box"})
	})
	s := m.add(t, "lever frame", "4m")
	m.add(t, "kettle", "")
	got := plain(m)
	for _, want := range []string{"1  lever frame", "tea caddy", "4:00", "ready", "2  kettle"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is not listed:\n%s", want, got)
		}
	}
	m.form.fields[fName].input.SetValue("platform") // what was being typed
	change := func(name string, right int) {
		t.Helper()
		w.pass(2 * time.Second)
		m.keys(t, "1")
		w.pass(2 * time.Second)
		m.keys(t, "enter")
		if m.form.change != s.ID || m.form.value().Name != s.Spec.Name {
			t.Fatalf("the form has %+v", m.form.value())
		}
		m.form.focus(m, fCamera)
		for range right {
			m.keys(t, " ")
		}
		m.form.fields[fName].input.SetValue(name)
		m.form.focus(m, fAdd)
		w.pass(2 * time.Second)
		m.keys(t, "enter")
	}
	change("signal arm", 1)
	if s.Spec.Name != "signal arm" || s.Spec.Camera != "hat-box" || s.Spec.Exposure != 4*time.Minute || len(s.Corrected) != 0 {
		t.Errorf("changed: %+v", s.Spec)
	}
	if got := m.form.value().Name; got != "platform" {
		t.Errorf("what was being typed is now %q", got)
	}
	// Esc leaves it as it was.
	w.pass(2 * time.Second)
	m.keys(t, "1", "enter", "esc")
	if m.form.change != "" || s.Spec.Name != "signal arm" {
		t.Error("esc keeps a change")
	}
	// In the trays, the name; nothing of what was done is lost.
	m.goTo(Field)
	m.keys(t, "space")
	w.pass(4 * time.Minute)
	m.keys(t, "space")
	m.goTo(Trays)
	w.pass(2 * time.Second)
	m.keys(t, "1", "space")
	m.goTo(Bench)
	m.form.focus(m, fPaper)
	change("bell", 0)
	if s.Spec.Name != "bell" || s.Spec.Exposure != 4*time.Minute || s.Visit().Stage != session.Develop || len(s.Corrected) != 0 {
		t.Errorf("in the developer: %+v, %+v", s.Spec, s.Visits)
	}
	m.desk.Do(session.Event{Kind: session.Spoiled, Sheet: s.ID})
	n := len(w.saved)
	m.form.focus(m, fPaper)
	change("stairs", 0)
	if s.Spec.Name != "stairs" || len(s.Corrected) != 1 || s.Corrected[0].What != "name" || s.Corrected[0].Was != "bell" || len(w.saved) != n+1 {
		t.Errorf("done: %+v, %+v, saved %v", s.Spec, s.Corrected, w.saved)
	}
	if m.keys(t, "backspace"); s.Spec.Name != "bell" || len(s.Corrected) != 0 || m.said != "sheet 1: taken back: the change to the sheet" {
		t.Errorf("taken back: %+v, %q", s.Spec, m.said)
	}
	// The one without light goes, the one with light stays.
	w.pass(2 * time.Second)
	m.form.focus(m, fPaper)
	m.keys(t, "2", "delete")
	if len(m.desk.M.Sheets()) != 1 {
		t.Error("delete left the sheet there")
	}
	m.form.focus(m, fAdd+1)
	w.pass(2 * time.Second)
	m.keys(t, "delete")
	if len(m.desk.M.Sheets()) != 1 {
		t.Error("delete took a sheet away that had light")
	}
}

// A camera is made in three answers, and chosen; one that is wrong stays to be put
// right.
func TestANewCameraOnTheBench(t *testing.T) {
	var asked [][]string
	w, m := newWorld(t, func(c *Config) {
		c.Start = Bench
		c.NewCamera = func(a ...string) (Choice, error) {
			asked = append(asked, a)
			if a[0] == "tin" {
				return Choice{}, errors.New("round or flat?")
			}
			return Choice{"cake-tin", "cake tin"}, nil
		}
	})
	m.keys(t, "n")
	m.typed(t, "tin")
	if !strings.Contains(m.said, "round or flat?") || !strings.Contains(plain(m), "> tin_") {
		t.Errorf("%q\n%s", m.said, plain(m))
	}
	w.pass(2 * time.Second)
	m.typed(t, ", round, 100 mm")
	for _, text := range []string{"0.5", "12x9"} {
		w.pass(2 * time.Second)
		m.typed(t, text)
	}
	if got := m.form.value().Camera; got != "cake-tin" || m.ask != nil {
		t.Errorf("the camera is %q, after %q", got, asked)
	}
}
