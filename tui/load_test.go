package tui

import (
	"strings"
	"testing"
	"time"

	"wetside/session"
)

// kinds are the facts that were written down since the first n.
func kinds(w *world, n int) string {
	var out []string
	for _, e := range w.events[n:] {
		out = append(out, string(e.Kind))
	}
	return strings.Join(out, ", ")
}

// A camera is loaded by voice, a press for a step; what is out is out from the box to
// the lid, and the lamps are down before the box is opened.
func TestLoadingByVoice(t *testing.T) {
	lamps := &testLamps{}
	w, m := newWorld(t, func(c *Config) { c.Lamps, c.Blind = lamps, true })
	m.goTo(Room)
	m.keys(t, "l")
	if !strings.Contains(w.said(), "which camera is to be loaded") || !strings.Contains(w.said(), "camera") {
		t.Fatalf("l says %q", w.said())
	}
	w.pass(2 * time.Second)
	m.keys(t, "space") // a press without looking chooses nothing
	if m.ask == nil || len(w.events) > 0 {
		t.Fatal("space has chosen")
	}
	m.keys(t, "1")
	if !lamps.dimmed || !strings.Contains(w.said(), "open the box") {
		t.Fatalf("at the first step the lamps are %+v, and it says %q", lamps, w.said())
	}
	if got := kinds(w, 0); got != "sheet added" {
		t.Errorf("written down before any press: %s", got)
	}
	for i, want := range []string{"take one sheet out", "emulsion side", "facing the hole", "shut and taped", "lid on", "rest of the paper", "shut the box", "is loaded"} {
		w.pass(5 * time.Second)
		m.keys(t, "space", "space") // a double tap is one press
		if !strings.Contains(w.said(), want) {
			t.Fatalf("press %d says %q, not %q", i+1, w.said(), want)
		}
		if out := m.desk.M.PaperOut(); out != (i < 7) {
			t.Fatalf("after press %d paper out is %v", i+1, out)
		}
		if i == 2 { // one step back, where nothing was written, and on again
			w.pass(5 * time.Second)
			m.keys(t, "backspace")
			if !strings.Contains(w.said(), "emulsion side. It curls") {
				t.Fatalf("back says %q", w.said())
			}
			w.pass(5 * time.Second)
			m.keys(t, "space")
		}
	}
	if got, want := kinds(w, 1), "box opened, sheet out, loaded, box away"; got != want {
		t.Errorf("written down: %s, not %s", got, want)
	}
	s := m.desk.M.Sheets()[0]
	if !s.InCamera() || s.Out || m.room.load.on() || lamps.dimmed {
		t.Errorf("at the end: %+v, lamps %+v", s, lamps)
	}
	if used, _ := s.SafeUsed(m.desk.M.Now()); used < 20*time.Second || used > 45*time.Second {
		t.Errorf("the safelight's account has %v, from the box to the lid", used)
	}
	// The same camera again is asked about, and emptied.
	w.pass(5 * time.Second)
	m.keys(t, "l", "1")
	if m.ask == nil || !strings.Contains(w.said(), "holds sheet one already") && !strings.Contains(w.said(), "holds sheet 1 already") {
		t.Fatalf("loaded twice: %q", w.said())
	}
	n := len(w.events)
	m.keys(t, "y")
	for range 3 {
		w.pass(5 * time.Second)
		m.keys(t, "space")
	}
	if got, want := kinds(w, n), "sheet out, unloaded, sheet away"; got != want || m.desk.M.Holds("tea-caddy") != nil {
		t.Errorf("emptied: %s, not %s", got, want)
	}
}

// Left, or killed, in the midst of it, it goes on with what is out; what a step wrote is
// taken back by one press.
func TestLoadingGoesOnWhereItWas(t *testing.T) {
	w, m := newWorld(t, nil)
	m.goTo(Room)
	m.keys(t, "l", "1")
	for range 2 {
		w.pass(5 * time.Second)
		m.keys(t, "space")
	}
	w.pass(5 * time.Second)
	m.keys(t, "backspace")
	if m.desk.M.Sheets()[0].Out || m.room.load.at != 1 {
		t.Errorf("taken back: out %v, step %d", m.desk.M.Sheets()[0].Out, m.room.load.at)
	}
	w.pass(5 * time.Second)
	m.keys(t, "space", "esc")
	if m.room.load.on() || !m.desk.M.PaperOut() || !strings.Contains(m.said, "paper is out") {
		t.Errorf("left: %q", m.said)
	}
	// As after a kill: another program takes the same events.
	again, m2 := newWorld(t, nil)
	again.now = w.now
	for _, e := range w.events {
		m2.desk.M.Replay(e)
	}
	m2.goTo(Room)
	m2.keys(t, "l", "1")
	if len(m2.desk.M.Sheets()) != 1 || !strings.Contains(again.said(), "emulsion side") {
		t.Errorf("it goes on with %q, of %d sheets", again.said(), len(m2.desk.M.Sheets()))
	}
	for range 4 {
		again.pass(5 * time.Second)
		m2.keys(t, "space")
	}
	again.pass(5 * time.Second)
	m2.keys(t, "esc", "l", "0") // the lid is on, and the box still open
	for range 2 {
		again.pass(5 * time.Second)
		m2.keys(t, "space")
	}
	if m2.desk.M.PaperOut() || !m2.desk.M.Sheets()[0].InCamera() {
		t.Error("the box is open still")
	}
}

// An empty camera, and one whose sheet has had its light, are warned of before the
// pinhole is opened; the same press again does it.
func TestAnEmptyCameraIsNotOpenedUnasked(t *testing.T) {
	w, m := newWorld(t, func(c *Config) { c.Start = Field })
	spec := func(camera string) *session.SheetSpec {
		return &session.SheetSpec{Camera: camera, Process: testProcess(), Exposure: 4 * time.Minute}
	}
	for i, e := range []session.Event{{Kind: session.SheetAdded, Sheet: "a", Spec: spec("tea-caddy")}, {Kind: session.SheetAdded, Sheet: "b", Spec: spec("hat-box")},
		{Kind: session.SheetAdded, Sheet: "c", Spec: spec("tea-caddy")}} {
		if m.desk.Do(e) != nil {
			t.Fatal(i)
		}
	}
	open := func(id string) bool { return m.desk.M.Sheet(id).Phase == session.Exposing }
	m.desk.Do(session.Event{Kind: session.Loaded, Sheet: "a"})
	m.keys(t, "2", "space")
	if open("b") || !strings.Contains(m.said, "it is empty") {
		t.Fatalf("an empty camera: %q", m.said)
	}
	w.pass(2 * time.Second)
	m.keys(t, "space")
	if !open("b") {
		t.Fatalf("a second press does not open it: %q", m.said)
	}
	m.desk.Do(session.Event{Kind: session.ExposureEnded, Sheet: "b"})
	w.pass(2 * time.Second)
	m.keys(t, "1", "space")
	if !open("a") {
		t.Fatalf("the one that was loaded: %q", m.said)
	}
	m.desk.Do(session.Event{Kind: session.ExposureEnded, Sheet: "a"})
	w.pass(2 * time.Second)
	m.keys(t, "3", "space")
	if open("c") || !strings.Contains(m.said, "exposed twice") {
		t.Fatalf("a camera whose sheet has had its light: %q", m.said)
	}
	if err := m.desk.M.Would(session.Event{Kind: session.Loaded, Sheet: "c", At: w.now}); err == nil {
		t.Error("and loaded once more")
	}
}
