package tui

import (
	"strings"
	"testing"
	"time"

	"wetside/profiles"
	"wetside/session"
)

// wordsOf gives a screen's words, whatever lines they stand on.
func wordsOf(m *Model) string { return strings.Join(strings.Fields(plain(m)), " ") }

// A sheet that waits for its light goes into the developer only when that was
// asked about: one with a time, one with only a camera, one of a program that
// was started since.
func TestAnUnexposedSheetIsAskedAbout(t *testing.T) {
	for _, f := range []profiles.Form{{Light: "4m"}, {Camera: "tea-caddy"}, {Camera: "tea-caddy", Light: "4m"}} {
		w, m := newWorld(t, nil)
		if err := m.addForm(f); err != nil {
			t.Fatal(err)
		}
		s := m.desk.M.Sheets()[0]
		if got := wordsOf(m); strings.Contains(got, "is next") || !strings.Contains(got, "not exposed: in the field (shift+tab)") {
			t.Errorf("%+v: the trays show\n%s", f, got)
		}
		m.keys(t, "space")
		if s.Phase != session.Fresh || !strings.Contains(m.said, "not exposed") || !strings.Contains(m.said, "Space again puts it into the developer") {
			t.Errorf("%+v: space left the sheet %s and said %q", f, s.Phase, m.said)
		}
		if !strings.Contains(w.said(), "is not exposed") {
			t.Errorf("%+v: aloud it says %q", f, w.said())
		}
		w.pass(3 * time.Second)
		m = New(m.cfg)
		m.keys(t, "space")
		if s.Phase != session.Fresh {
			t.Errorf("%+v: after a restart it was not asked about again", f)
		}
		// The pinhole was opened meanwhile, by another program: that counts.
		m.desk.Do(session.Event{Kind: session.ExposureBegun, Sheet: s.ID, Planned: time.Minute})
		w.pass(2 * time.Second)
		m.keys(t, "space")
		if s.Phase != session.Exposing {
			t.Errorf("%+v: the answer put a sheet that is being exposed into the %s", f, s.Phase)
		}
		m.desk.Do(session.Event{Kind: session.Undone, Sheet: s.ID})
		w.pass(10 * time.Second)
		m.keys(t, "1", "space")
		w.pass(2 * time.Second)
		m.keys(t, "space")
		if s.Phase != session.Wet {
			t.Errorf("%+v: and twice, the sheet is %s", f, s.Phase)
		}
	}
}

// What has no light to come goes before what waits in a camera, and needs no
// question.
func TestAContactPrintGoesInUnasked(t *testing.T) {
	_, m := newWorld(t, nil)
	c, s := m.add(t, "caddy", "4m"), m.add(t, "contact print", "")
	m.keys(t, "space")
	if s.Phase != session.Wet || c.Phase != session.Fresh {
		t.Errorf("the print is %s, the sheet in its camera %s", s.Phase, c.Phase)
	}
}

// While a wash runs, the keys of the trays are not for a sheet in its camera.
func TestTheWashBeforeTheCamera(t *testing.T) {
	w, m := newWorld(t, nil)
	s := m.add(t, "contact print", "")
	for range 4 {
		m.keys(t, "space")
		w.pass(100 * time.Second)
	}
	c := m.add(t, "caddy", "4m")
	if s.Visit().Stage != session.Wash {
		t.Fatal(s.Visit().Stage)
	}
	m.keys(t, "m")
	if len(s.Marks) != 1 || len(c.Marks) != 0 {
		t.Errorf("marked: %d in the wash, %d in the camera", len(s.Marks), len(c.Marks))
	}
}

// While a sheet is in the field the trays say where it is, and which press would
// bring it on.
func TestTheTraysSayWhereTheSheetIs(t *testing.T) {
	w, m := newWorld(t, nil)
	s := m.add(t, "caddy", "4m")
	open := func(k session.Kind) {
		t.Helper()
		e := session.Event{Kind: k, Sheet: s.ID}
		if k == session.ExposureBegun {
			e.Planned = 4 * time.Minute
		}
		if err := m.desk.Do(e); err != nil {
			t.Fatal(err)
		}
	}
	asks := func(want string) {
		t.Helper()
		if got := wordsOf(m); !strings.Contains(got, want) || strings.Contains(got, "no sheet") {
			t.Errorf("the trays show\n%s", got)
		}
		for _, k := range []string{"space", "h", "m", "o", "x"} {
			w.pass(2 * time.Second)
			m.keys(t, k)
			if !strings.Contains(m.said, want) {
				t.Errorf("%s says %q, not %q", k, m.said, want)
			}
		}
		w.pass(10 * time.Second)
	}
	open(session.ExposureBegun)
	w.pass(time.Minute)
	asks("shift+tab goes there: space ends the exposure")
	open(session.PinholeCovered)
	asks("c uncovers it")
	open(session.PinholeUncovered)
	// What is called is answered wherever one is.
	w.pass(4 * time.Minute)
	m.keys(t, "space")
	if s.Phase != session.Exposed {
		t.Errorf("its exposure done, space leaves the sheet %s: %q", s.Phase, m.said)
	}
}
