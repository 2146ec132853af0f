package tui

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/desk"
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
type testLamps struct {
	dimmed, awake bool
	panel         desk.PanelWant
	told          []desk.LampNews
}

func (l *testLamps) Dim(p desk.PanelWant)  { l.dimmed, l.panel = true, p }
func (l *testLamps) Restore()              { l.dimmed, l.panel = false, 0 }
func (l *testLamps) Awake(on bool)         { l.awake = on }
func (l *testLamps) Told() []desk.LampNews { told := l.told; l.told = nil; return told }

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
	if got := plain(m); strings.Contains(got, "waits for its answer") {
		t.Errorf("it is answered, and said to wait:\n%s", got)
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
	m.inform("the lamp cannot be dimmed") // a note that came meanwhile takes no esc from it
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

// Every answer from 0 to 16 in each half of the test, in either order: one that is a step
// of the strip is kept, any other is refused. What the paper may have by its record is the
// shorter of the two, both are kept, and on the way the picture is red alone and within
// its budget.
func TestEachAnswerOfTheFogTestInBothHalves(t *testing.T) {
	const paper = "paper-negative-rc"
	set, err := profiles.Load(nil)
	if err != nil {
		t.Fatal(err)
	}
	frames := map[string]bool{} // many are alike: each is looked at once
	pairs := 0
	for _, afterFirst := range []bool{true, false} {
		for _, first := range FogSteps {
			dir := t.TempDir()
			plan := &profiles.Planner{Set: set, Write: func(name string, data []byte) (fs.FS, error) {
				file := filepath.Join(dir, name)
				return os.DirFS(dir), errors.Join(os.MkdirAll(filepath.Dir(file), 0o755), os.WriteFile(file, data, 0o600))
			}}
			var kept []session.FogTest
			w, m := newWorld(t, func(c *Config) {
				c.Start, c.Papers = Room, []Choice{{paper, "paper negative"}}
				c.FogStrip, c.Backlight = plan.FogStrip, func() (float64, bool) { return 0.02, true }
				c.KeepFogTest = func(r session.FogTest) error { kept = append(kept, r); return plan.KeepFogTest(r) }
			})
			look := func(what string) {
				t.Helper()
				frame := m.View()
				if frames[frame] {
					return
				}
				frames[frame] = true
				if rest := redOnBlack.ReplaceAllString(frame, ""); rest == frame || strings.Contains(rest, "\x1b") {
					t.Errorf("%s: not red alone: %q", what, frame)
				}
				if _, all := lightOf(t, m); all > 0.003 {
					t.Errorf("%s: %.4f%% of a white window:\n%s", what, 100*all, plain(m))
				}
			}
			press := func(keys ...string) {
				for _, k := range keys {
					w.pass(time.Second) // else it were a key held down
					m.keys(t, k)
				}
			}
			// strip gives a strip its light and answers it, with all that is no step before.
			strip := func(after, wrong bool, safe time.Duration) {
				t.Helper()
				what := fmt.Sprintf("%v after %v, light after the exposure: %v", safe, kept, after)
				press("f")
				look(what + ": asked of the exposure")
				press(map[bool]string{true: "y", false: "n"}[after])
				look(what + ": on the way")
				w.pass(m.lead())
				for i, step := range FogSteps {
					m.Update(tickMsg(w.now.Wall))
					look(fmt.Sprintf("%s: after %v", what, step))
					if i+1 < len(FogSteps) {
						w.pass(FogSteps[i+1] - step)
					}
				}
				press("f")
				look(what + ": asked what it shows")
				n := len(kept)
				for minutes := range 17 {
					if !wrong || slices.Contains(FogSteps, time.Duration(minutes)*time.Minute) {
						continue
					}
					digits := strings.Split(fmt.Sprint(minutes), "")
					press(digits...)
					press("enter")
					if look(what + ": refused"); len(kept) > n || !strings.Contains(m.said, "0, 1, 2, 4, 8 or 16") {
						t.Fatalf("%s: %d minutes: said %q, kept %+v", what, minutes, m.said, kept)
					}
					for range digits {
						press("backspace")
					}
				}
				press(strings.Split(fmt.Sprint(int(safe/time.Minute)), "")...)
				press("enter")
				look(what + ": answered")
				if len(kept) != n+1 || kept[n].Safe != safe || kept[n].PreExposed != after || kept[n].Paper != paper || kept[n].Backlight == nil || *kept[n].Backlight != 0.02 {
					t.Fatalf("%s: kept %+v", what, kept)
				}
				if shows := strings.Contains(m.said, "already the first step shows"); shows != (safe == 0) {
					t.Errorf("%s: said %q", what, m.said)
				}
				if other := strings.Contains(m.said, "now the other half"); other != (n == 0) {
					t.Errorf("%s: said %q", what, m.said)
				}
			}
			half := func(d time.Duration) profiles.Half { return profiles.Half{Safe: profiles.Duration(d), Done: true} }
			strip(afterFirst, true, first)
			for i, second := range FogSteps {
				strip(!afterFirst, i == 0, second)
				pairs++
				before, after := first, second
				if afterFirst {
					before, after = second, first
				}
				is, err := plan.Set.Paper(paper)
				if err != nil {
					t.Fatal(err)
				}
				may := profiles.Duration(min(first, second))
				if l := is.Safelight; l.Before != half(before) || l.After != half(after) || l.Unexposed != may || l.Exposed != may || !l.IsTested() {
					t.Errorf("%v before the exposure, %v after it: the paper has %+v", before, after, l)
				}
				for _, exposed := range []bool{false, true} {
					if safe, known := is.Session().SafeFor(exposed); safe != min(first, second) || !known {
						t.Errorf("%v before the exposure, %v after it: safe for %v, known: %v", before, after, safe, known)
					}
				}
			}
		}
	}
	if pairs != 72 || len(frames) < 40 {
		t.Errorf("%d pairs, %d different pictures", pairs, len(frames))
	}
}

// redOnBlack is how a picture begins what it shows in any red there is, on black.
var redOnBlack = regexp.MustCompile(`\x1b\[0;38;2;\d+;0;0;48;2;0;0;0m`)
