package tui

import (
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"wetside/profiles"
	"wetside/session"
	"wetside/tui/ember"
)

// through lets time pass a second at a time, as the program's own tick would
// find it, and gives what was said with the second in which it was said.
func (w *world) through(m *Model, d time.Duration) map[time.Duration]string {
	said := map[time.Duration]string{}
	for at := time.Second; at <= d; at += time.Second {
		w.pass(time.Second)
		n := len(w.played)
		m.Update(tickMsg(w.now.Wall))
		for _, c := range w.played[n:] {
			if c.Kind == session.CueSay {
				said[at] += aloud(c)
			}
		}
	}
	return said
}

// The laptop's lamps as the room sees them.
type testLamps struct{ dimmed, awake bool }

func (l *testLamps) Dim()           { l.dimmed = true }
func (l *testLamps) Restore()       { l.dimmed = false }
func (l *testLamps) Awake(on bool)  { l.awake = on }
func (l *testLamps) Told() []string { return nil }

// A strip under the light for sixteen minutes from when hands have reached it:
// they are counted down to it, the card moves after 1, 2, 4 and 8 minutes, the strip is covered after 16, and the answer waits until it is
// developed.
func TestFogTest(t *testing.T) {
	var kept []session.FogTest
	lamps := &testLamps{}
	w, m := newWorld(t, func(c *Config) {
		c.Start, c.Level, c.Lamps = Room, ember.Torch, lamps
		c.KeepFogTest = func(r session.FogTest) error { kept = append(kept, r); return nil }
		c.Backlight = func() (float64, bool) { return 0.02, lamps.dimmed }
	})
	var popups []string
	m.desk.Notify = func(_, text string) { popups = append(popups, text) }
	inField := m.add(t, "caddy", "3m")
	m.desk.Do(session.Event{Kind: session.ExposureBegun, Sheet: inField.ID, Planned: 3 * time.Minute})
	m.keys(t, "f")
	if got := plain(m); !strings.Contains(strings.Join(strings.Fields(got), " "), "flashed beforehand") {
		t.Fatalf("f asks\n%s", got)
	}
	m.keys(t, "y")
	if m.styles.Level != ember.Ember || !lamps.dimmed || !lamps.awake {
		t.Errorf("the strip lies under %s, lamps %+v: not the light that paper lies in", m.styles.Level, lamps)
	}
	if got := w.said(); got != "0:10, then uncover the strip, all but its first step" {
		t.Errorf("y says %q", got)
	}
	if got := plain(m); !strings.Contains(got, "then uncover the strip") {
		t.Errorf("the way to the strip:\n%s", got)
	}
	const lead = 10 * time.Second
	way := w.through(m, lead)
	if want := map[time.Duration]string{7 * time.Second: "3", 8 * time.Second: "2", 9 * time.Second: "1", lead: "now, uncover the strip"}; !maps.Equal(way, want) {
		t.Errorf("on the way to the strip: %v", way)
	}
	said := w.through(m, 20*time.Minute)
	var at []time.Duration
	for d, text := range said {
		if strings.Contains(strings.ToLower(text), "cover the") {
			at = append(at, d)
		}
	}
	slices.Sort(at)
	min := time.Minute
	if want := []time.Duration{1 * min, 2 * min, 4 * min, 8 * min, 16 * min}; !slices.Equal(at, want) {
		t.Errorf("the card is called for at %v, not %v: %v", at, want, said)
	}
	if !strings.Contains(said[16*min], "cover the strip") {
		t.Errorf("after 16 minutes: %q", said[16*min])
	}
	if len(popups) > 0 {
		t.Errorf("white pop-ups over the strip: %q", popups)
	}
	if len(kept) > 0 {
		t.Fatal("an answer was kept before it was given")
	}

	// The trays can be used to develop it; the answer can wait.
	m.goTo(Trays)
	w.pass(5 * time.Minute)
	m.goTo(Room)
	m.keys(t, "f", "esc", "f", "7", "enter")
	if len(kept) > 0 || !strings.Contains(m.said, "0, 1, 2, 4, 8 or 16") {
		t.Errorf("an answer of 7 minutes: kept %v, said %q", kept, m.said)
	}
	m.keys(t, "backspace", "8", "enter") // put right
	if len(kept) != 1 {
		t.Fatalf("kept %v, said %q", kept, m.said)
	}
	r := kept[0]
	day := time.Date(2026, 5, 9, 14, 16, 10, 0, time.UTC)
	if r.Paper != "dp" || !r.PreExposed || r.Safe != 8*min || r.Level != "ember" || !r.At.Equal(day) || r.Backlight == nil || *r.Backlight != 0.02 {
		t.Errorf("kept %+v", r)
	}
	m.keys(t, "f")
	if got := plain(m); !strings.Contains(strings.Join(strings.Fields(got), " "), "flashed beforehand") {
		t.Errorf("the next f does not begin a new test\n%s", got)
	}
}

// A strip that waits for its answer outlives the program.
func TestFogTestOutlivesTheProgram(t *testing.T) {
	var strip *session.FogTest
	var kept []session.FogTest
	set := func(c *Config) {
		c.Start, c.Strip = Room, strip
		c.KeepFogTest = func(r session.FogTest) error { kept = append(kept, r); return nil }
		c.KeepStrip = func(r *session.FogTest) error { strip = r; return nil }
	}
	w, m := newWorld(t, set)
	m.keys(t, "f", "y")
	w.through(m, 15*time.Minute)
	if strip != nil {
		t.Fatal("a strip was kept that had not had its light")
	}
	w.through(m, 2*time.Minute)
	if strip == nil || strip.Paper != "dp" || !strip.PreExposed || strip.Level != "ember" {
		t.Fatalf("kept the strip as %+v", strip)
	}
	left := *strip

	_, m = newWorld(t, set) // another day
	if got := plain(m); !strings.Contains(got, "waits for its answer") {
		t.Errorf("the start says\n%s", got)
	}
	m.keys(t, "f", "4", "enter")
	left.Safe = 4 * time.Minute
	if len(kept) != 1 || kept[0] != left || strip != nil {
		t.Errorf("kept %+v, the strip %+v", kept, strip)
	}
}

// A test that was broken off leaves nothing behind, and the lamps as they were.
func TestFogTestBrokenOff(t *testing.T) {
	lamps := &testLamps{}
	w, m := newWorld(t, func(c *Config) {
		c.Start, c.Lamps = Room, lamps
		c.KeepFogTest = func(session.FogTest) error { t.Error("kept"); return nil }
	})
	m.keys(t, "f", "n")
	w.through(m, 3*time.Minute)
	m.keys(t, "q", "g", "space") // not now
	if m.ask != nil || !m.fog.on {
		t.Fatal("a stray key ended the test")
	}
	m.keys(t, "esc")
	if lamps.dimmed || lamps.awake {
		t.Errorf("lamps %+v", lamps)
	}
	if said := w.through(m, 14*time.Minute); len(said) > 0 {
		t.Errorf("still called: %v", said)
	}
}

// The answer 0 is one: already the first step shows. What is kept says so, and
// what to do.
func TestFogTestWhoseFirstStepShows(t *testing.T) {
	var kept []session.FogTest
	_, m := newWorld(t, func(c *Config) {
		c.Start, c.Strip = Room, &session.FogTest{Paper: "dp", PreExposed: true, Level: "ember"}
		c.KeepFogTest = func(r session.FogTest) error { kept = append(kept, r); return nil }
	})
	m.keys(t, "f", "0", "enter")
	if len(kept) != 1 || kept[0].Safe != 0 || !kept[0].PreExposed {
		t.Errorf("kept %+v", kept)
	}
	if !strings.Contains(m.said, "no time under this light is safe") || !strings.Contains(m.said, "test again") {
		t.Errorf("said %q", m.said)
	}
}

// Slow hands have as long as a move takes them.
func TestTheWayToTheStripIsAsLongAsAMove(t *testing.T) {
	w, m := newWorld(t, func(c *Config) { c.Start, c.Desk.Move = Room, 25*time.Second })
	m.keys(t, "f", "n")
	if said := w.through(m, 30*time.Second); said[25*time.Second] != "now, uncover the strip" || len(said) != 4 {
		t.Errorf("said %v", said)
	}
	m.keys(t, "esc")
	m.keys(t, "f", "n", "esc")
	if said := w.through(m, 30*time.Second); len(said) > 0 {
		t.Errorf("broken off on the way, and yet: %v", said)
	}
}

// A strip of the half with the light before the exposure is to be exposed when it has
// had the light: by the flash that the paper's pre-flash gives, in words for what it
// develops to.
func TestTheOtherHalfOfTheFogTest(t *testing.T) {
	for response, grey := range map[session.Response]string{session.Denser: "a faint grey", session.Lighter: "a black that is barely lighter"} {
		var kept []session.FogTest
		missing := "light after the exposure"
		w, m := newWorld(t, func(c *Config) {
			c.Start = Room
			c.KeepFogTest = func(r session.FogTest) error { kept = append(kept, r); return nil }
			c.FogStrip = func(string) profiles.FogStrip {
				return profiles.FogStrip{Response: response, Flash: 5 * time.Second, Lamp: "15 W lamp, 2 m above the table", Missing: missing}
			}
		})
		asked := func(words ...string) {
			t.Helper()
			got := strings.Join(strings.Fields(plain(m)), " ")
			for _, x := range words {
				if !strings.Contains(got, x) {
					t.Errorf("%s: %q is not in\n%s", response, x, got)
				}
			}
		}
		m.keys(t, "f")
		asked("Missing is light after the exposure", "flash of 0:05, 15 W lamp, 2 m above the table", grey)
		m.keys(t, "n")
		said := w.through(m, 10*time.Second+16*time.Minute)
		if got := said[10*time.Second+16*time.Minute]; got != "cover the strip. Expose it, develop it, then give the answer" {
			t.Errorf("at its end: %q", got)
		}
		asked("expose it: a flash of 0:05", grey)
		m.keys(t, "f")
		asked("light before the exposure")
		m.keys(t, "1", "6", "enter")
		if len(kept) != 1 || kept[0].PreExposed || kept[0].Safe != 16*time.Minute || kept[0].Backlight != nil {
			t.Fatalf("kept %+v", kept)
		}
		if !strings.Contains(m.said, "16:00 of light before the exposure") || !strings.Contains(m.said, "now the other half, light after the exposure") {
			t.Errorf("said %q", m.said)
		}
	}
}

// The strip lies in the light of the screen in real use: while it does, the picture
// gives about as much as trays with three sheets, and no more than the budget.
func TestTheStripLiesInTheLightOfTheTrays(t *testing.T) {
	for _, size := range [][2]int{{60, 20}, {80, 24}, {120, 40}, {200, 60}} {
		light := func(m *Model) float64 {
			m.Update(tea.WindowSizeMsg{Width: size[0], Height: size[1]})
			_, all := lightOf(t, m)
			return all
		}
		trays := light(states(t)["trays, three sheets"].m)
		w, m := newWorld(t, func(c *Config) { c.Start = Room })
		m.keys(t, "f", "y")
		w.through(m, 30*time.Second)
		if strip := light(m); strip < 0.8*trays || strip > 0.003 {
			t.Errorf("%v: the strip lies in %.4f%% of a white window, paper in %.4f%%", size, 100*strip, 100*trays)
		}
	}
}
