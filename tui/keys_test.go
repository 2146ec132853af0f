package tui

import (
	"strings"
	"testing"
	"time"

	"wetside/profiles"
	"wetside/session"
)

// The tests in this file are stories of keys that must mean what the user saw
// when pressing them.

// plans is a planner that reckons from a light, and takes a time by hand.
func plans(f profiles.Form) (profiles.Reckoned, error) {
	p := profiles.Reckoned{Spec: session.SheetSpec{Name: f.Name, Camera: f.Camera, Paper: session.Paper{Key: "dp", AreaCM2: 100}, Process: testProcess(), Light: f.Light}}
	switch f.Light {
	case "":
	case "overcast":
		p.Exposure, p.Spec.Base, p.Spec.Learned = 12*time.Minute, 7*time.Minute, 0.75
	case "sun":
		p.Exposure, p.Spec.Base, p.Spec.Learned = 100*time.Second, time.Minute, 0.74
	default: // by hand: teaches nothing
		p.Exposure, _ = time.ParseDuration(f.Light)
	}
	p.Spec.Exposure = p.Exposure
	return p, nil
}

// What is learned from is the light, or the time by hand, that was typed last.
func TestAnEditedLightIsWhatIsLearnedFrom(t *testing.T) {
	for _, c := range []struct{ first, then string }{{"", "overcast"}, {"overcast", "4m"}, {"overcast", "sun"}} {
		_, m := newWorld(t, func(c *Config) { c.Start, c.Plan = Field, plans })
		s := m.add(t, "caddy", c.first)
		m.keys(t, "e", c.then, "enter")
		want, _ := plans(profiles.Form{Light: c.then})
		if s.Spec.Base != want.Spec.Base || s.Spec.Learned != want.Spec.Learned {
			t.Errorf("%q, then %q: base %v learned %v; want %v, %v", c.first, c.then, s.Spec.Base, s.Spec.Learned, want.Spec.Base, want.Spec.Learned)
		}
	}
}

// A note is no reason to call a sheet in once more.
func TestAFreshSheetIsCalledOnce(t *testing.T) {
	w, m := newWorld(t, nil)
	m.add(t, "one", "")
	m.keys(t, "space")
	w.pass(3 * time.Minute)
	m.keys(t, "space") // stop
	w.pass(10 * time.Second)
	m.keys(t, "space") // fix
	w.pass(time.Minute)
	m.keys(t, "space") // wash
	m.add(t, "two", "")
	keys := map[string]bool{}
	for range 5 {
		w.pass(20 * time.Second)
		m.desk.Do(session.Event{Kind: session.Noted, Note: "a note"})
		for _, d := range w.due {
			if d.Cue.Kind == session.CueMayGoIn {
				keys[d.Cue.Key] = true
			}
		}
	}
	if len(keys) > 1 {
		t.Errorf("sheet two was called in %d times, once for each note: %v", len(keys), keys)
	}
}

// A call for the next sheet that waits for other words is not taken away by what is
// written down meanwhile.
func TestANoteDoesNotTakeTheCallAway(t *testing.T) {
	w, m := newWorld(t, nil)
	m.add(t, "one", "")
	m.add(t, "two", "")
	camera := m.add(t, "caddy", "4m")
	may := func() (at session.Instant, ok bool) {
		for _, d := range w.due {
			if d.Cue.Kind == session.CueMayGoIn && d.Cue.Num == 2 && d.Cue.Left == 0 && !d.Gone {
				return d.Cue.At, true
			}
		}
		return at, false
	}
	for _, lies := range []int{180, 10, 60, 60} {
		if _, ok := may(); ok {
			break
		}
		m.keys(t, "space")
		for range lies {
			if _, ok := may(); !ok {
				w.pass(time.Second)
			}
		}
	}
	at, ok := may()
	if !ok {
		t.Fatal("sheet two is never called")
	}
	w.pass(at.Sub(w.now) - time.Second)
	m.desk.Do(session.Event{Kind: session.ExposureBegun, Sheet: camera.ID, Planned: 4 * time.Minute})
	w.pass(1500 * time.Millisecond)
	if late, ok := may(); !ok || late.Sub(at) < time.Second {
		t.Fatalf("the call does not wait: %v", late.Sub(at))
	}
	m.desk.Do(session.Event{Kind: session.Noted, Note: "a note"})
	if _, ok := may(); !ok {
		t.Error("sheet two may go in, and is no longer called")
	}
}

// The move a user takes back after a restart is the one they made last.
func TestUndoAfterARestartIsForTheLastMove(t *testing.T) {
	w, m := newWorld(t, nil)
	a := m.add(t, "a", "")
	b := m.add(t, "b", "")
	for range 2 {
		m.desk.Do(session.Event{Kind: session.Moved, Sheet: a.ID, From: serial(a)})
		w.pass(5 * time.Second)
	}
	m.desk.Do(session.Event{Kind: session.Moved, Sheet: b.ID}) // the last move
	again := New(m.cfg)                                        // as after a restart
	w.pass(2 * time.Second)
	again.keys(t, "backspace")
	if len(a.Visits) != 2 || len(b.Visits) != 0 {
		t.Errorf("sheet b moved last; taken back: a has %d of 2 visits, b %d of 0", len(a.Visits), len(b.Visits))
	}
}

func serial(s *session.Sheet) int {
	if v := s.Visit(); v != nil {
		return v.Serial
	}
	return 0
}

// The chosen camera stays chosen when the list before it changes.
func TestTheFieldKeepsItsCamera(t *testing.T) {
	w, m := newWorld(t, func(c *Config) { c.Start = Field })
	one := m.add(t, "contact print", "")
	two := m.add(t, "caddy", "4m")
	three := m.add(t, "hat box", "10m")
	m.keys(t, "space") // sheet two: the first that has a camera
	w.pass(2 * time.Second)
	m.keys(t, "down", "space") // sheet three
	w.pass(2 * time.Second)
	m.keys(t, "2") // back on two
	if two.Phase != session.Exposing || three.Phase != session.Exposing {
		t.Fatal(two.Phase, three.Phase)
	}
	// Another hand (or terminal) puts sheet one into the trays.
	m.desk.Do(session.Event{Kind: session.Moved, Sheet: one.ID})
	m.keys(t, "c")
	if two.Light.Open || !three.Light.Open {
		t.Errorf("c was for sheet two: two open %v, three open %v", two.Light.Open, three.Light.Open)
	}
}

// A step whose clock ran out while the machine slept ended then, whatever key woke it.
func TestAClockThatEndedAsleepEndsBeforeAKey(t *testing.T) {
	w, m := newWorld(t, nil)
	sp := session.SheetSpec{Paper: session.Paper{Key: "dp"}, Process: testProcess()}
	sp.Process.Steps[1].ByClock = true
	m.desk.Do(session.Event{Kind: session.SheetAdded, Sheet: "s", Spec: &sp})
	s := m.desk.M.Sheet("s")
	m.desk.Do(session.Event{Kind: session.Moved, Sheet: "s"})
	w.pass(3 * time.Minute)
	m.desk.Do(session.Event{Kind: session.Moved, Sheet: "s", From: 1}) // 10 s of stop, by the clock
	w.pass(10 * time.Minute)                                           // the lid is shut meanwhile
	m.keys(t, "m")                                                     // a key before the first tick
	m.desk.Tick()
	if got := s.Visits[1].Out - s.Visits[1].In; got != 10*time.Second {
		t.Errorf("10 s of stop, ended by the clock, are written down as %v; the fix begins %v late", got, got-10*time.Second)
	}
}

// That the user was told of a spent bath is written down only when they were.
func TestABathIsOverriddenOnlyWhenTold(t *testing.T) {
	w, m := newWorld(t, nil)
	sp := session.SheetSpec{Paper: session.Paper{Key: "dp", AreaCM2: 100}, Process: testProcess()}
	sp.Process.Steps = append(sp.Process.Steps[:3:3], session.Step{Stage: session.Clear, Bath: "clear", AtLeast: time.Minute, AtMost: time.Minute})
	m.desk.Do(session.Event{Kind: session.SheetAdded, Sheet: "s", Spec: &sp})
	m.desk.Do(session.Event{Kind: session.BathMixed, Mix: &session.Mix{ID: "x", Name: "clear", ML: 1000, Life: time.Minute}})
	s := m.desk.M.Sheet("s")
	for range 3 {
		m.desk.Do(session.Event{Kind: session.Moved, Sheet: "s", From: serial(s)})
		w.pass(30 * time.Second)
	}
	m.keys(t, "space") // not fixed
	said := m.said
	w.pass(2 * time.Second)
	m.keys(t, "space")
	if len(s.Overrides) > 0 && !strings.Contains(said, "spent") {
		t.Errorf("recorded as told of a spent bath %v; what was told: %q", s.Overrides, said)
	}
	if strings.Contains(said, "record Space") || strings.Contains(said, "spent") && !strings.Contains(said, "record. Space again") {
		t.Errorf("two sentences run into one: %q", said)
	}
	if !strings.Contains(said, "spent") {
		t.Errorf("not told of the spent bath: %q", said)
	}
}
