package tui

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/x/vt"

	"wetside/profiles"
	"wetside/session"
	"wetside/tui/ember"
	"wetside/tui/lamps"
)

// lightOf is the light of a frame against the same window in white: of its large
// figures and letters, and of all. A sign of text lights a seventh of its cell, as
// the pixels of a terminal show (the package's pixel rig judges the whole).
func lightOf(t testing.TB, m *Model) (large, all float64) { return lightAs(t, m, ember.TrueColor) }

// lightAs is the same in a terminal of that profile.
func lightAs(t testing.TB, m *Model, p ember.Profile) (large, all float64) {
	t.Helper()
	e := vt.NewEmulator(m.width, m.height)
	g := ember.NewGuard(e, ember.Options{Profile: p, Level: m.styles.Level})
	if err := g.Begin(m.width, m.height); err != nil {
		t.Fatal(err)
	}
	g.WriteString("\x1b[H" + replaceLines(m.View()))
	for y := range m.height {
		for x := range m.width {
			c := e.CellAt(x, y)
			if c == nil || c.Style.Fg == nil {
				continue
			}
			r, _, _, _ := c.Style.Fg.RGBA()
			v := float64(r>>8) / 255
			if v = math.Pow((v+0.055)/1.055, 2.4) * 0.2126; v < 0.001 {
				continue
			}
			switch c.Content {
			case "█":
				large, all = large+v, all+v
			case "▀", "▄":
				large, all = large+v/2, all+v/2
			case "", " ":
			case "━":
				all += v / 8
			case "─", "╌", "┼":
				all += v / 13
			default:
				all += v / 7
			}
		}
	}
	cells := float64(m.width * m.height)
	return large / cells, all / cells
}

// On the screens with a clock that runs more than half of the light is in the
// figures and letters that are read from across the room, and the whole stays
// within the frame's budget; and a stroke of the clock is seen under three minutes
// of arc from two metres, full screen on a panel 310 mm wide.
func TestTheLightIsInTheFigures(t *testing.T) {
	for _, size := range [][2]int{{80, 24}, {120, 40}, {200, 60}} {
		for name, s := range states(t) {
			if !s.runs {
				continue
			}
			m := s.m
			m.Update(tea.WindowSizeMsg{Width: size[0], Height: size[1]})
			large, all := lightOf(t, m)
			t.Logf("%dx%d %s: %.4f%% of white, %.0f%% of it in the figures", size[0], size[1], name, 100*all, 100*large/all)
			if all > 0.003 {
				t.Errorf("%dx%d %s: %.4f%% of white", size[0], size[1], name, 100*all)
			}
			if large < all/2 {
				t.Errorf("%dx%d %s: %.0f%% of the light is in the figures", size[0], size[1], name, 100*large/all)
			}
		}
	}
	// In a window as small as they come, by what a terminal of 256 colours makes of it.
	for _, size := range [][2]int{{40, 12}, {60, 20}, {80, 24}, {240, 67}} {
		for name, s := range states(t) {
			for _, p := range []ember.Profile{ember.ANSI256, ember.TrueColor} {
				s.m.cfg.Profile, s.m.styles = p, ember.NewStyles(ember.Ember, p)
				s.m.Update(tea.WindowSizeMsg{Width: size[0], Height: size[1]})
				if _, all := lightAs(t, s.m, p); all > 0.003 {
					t.Errorf("%dx%d %s, in %v: %.4f%% of white", size[0], size[1], name, p, 100*all)
				}
			}
		}
	}
	m := states(t)["trays, three sheets"].m
	m.Update(tea.WindowSizeMsg{Width: 80, Height: 24})
	mm := float64(stroke(m)) * 310 / 80
	if minutes := math.Atan(mm/2000) * 180 * 60 / math.Pi; minutes < 3 {
		t.Errorf("a stroke of %.1f mm is seen under %.1f minutes of arc", mm, minutes)
	}
}

// stroke is the width of the clock's strokes, in cells: of the shortest run of
// dots in it.
func stroke(m *Model) int {
	least := 0
	for _, l := range plainLines(m) {
		n := 0
		for _, r := range l + " " {
			if r == '█' {
				n++
				continue
			}
			if n > 1 && (least == 0 || n < least) { // letters have single ones
				least = n
			}
			n = 0
		}
	}
	return least
}

// A state is a screen at a moment that a user knows.
type state struct {
	m    *Model
	runs bool // a clock runs
}

// states are the screens at every moment that is looked at: for their light, for
// what they say, for what may collide.
func states(t testing.TB) map[string]state {
	all := map[string]state{}
	names := []string{"signal arm", "lever frame", "platform", "kettle", "stairs", "bell", "window", "workbench"}
	inTrays := func(n int) *Model {
		w, m := newWorld(t, func(c *Config) { c.Book = shelf{} })
		for i := range n {
			m.add(t, names[i], "")
		}
		for i := range min(n, 2) {
			m.keys(t, fmt.Sprint(i+1), "space")
			w.pass(3 * time.Minute)
			for _, stay := range []time.Duration{12 * time.Second, 62 * time.Second, 9 * time.Second} {
				if i == 0 && n > 1 {
					m.keys(t, "space")
					w.pass(stay)
				}
			}
		}
		w.pass(-79 * time.Second)
		if n == 1 {
			w.pass(-60 * time.Second)
		}
		m.said = ""
		return m
	}
	inField := func(n int) *Model {
		w, m := newWorld(t, func(c *Config) { c.Start, c.Book = Field, shelf{} })
		for i, light := range []string{"4m", "31m", "7m15s"}[:n] {
			m.add(t, names[i], light)
		}
		for i := range min(n, 2) {
			m.keys(t, fmt.Sprint(i+1), "space")
			w.pass(time.Minute)
		}
		m.keys(t, "1", "c")
		w.pass(24 * time.Second)
		m.keys(t, "c")
		w.pass(20 * time.Second)
		m.said = ""
		return m
	}
	for n, words := range map[int]string{1: "one sheet", 3: "three sheets", 8: "eight sheets"} {
		all["trays, "+words] = state{inTrays(n), true}
	}
	all["field, one camera"] = state{inField(1), true}
	_, m := newWorld(t, func(c *Config) {
		c.Start = Room
		c.Verified = func() []Finding {
			return []Finding{{About: lamps.AboutSleep, Text: "sleep", Detail: "held off while a clock runs", Verified: true},
				{About: lamps.AboutPanel, Text: "panel", Detail: "3 of 100", Verified: true},
				{About: lamps.AboutKeyboard, Text: "keyboard light", Detail: "none that can be set was found: if there is one, turn it off"}}
		}
	})
	m.goTo(Room)
	m.keys(t, " ", "down", "down", "down", "down", "down")
	all["room, half done"] = state{m, false}
	m = inField(1)
	m.keys(t, "c")
	m.said = ""
	all["field, covered"] = state{m, true}
	all["field, three cameras"] = state{inField(3), true}
	for _, s := range screens(&Model{}) {
		_, m := newWorld(t, func(c *Config) { c.Start, c.Book = s.name(), shelf{} })
		m.goTo(s.name())
		all[string(s.name())+", empty"] = state{m, false}
	}
	_, m = newWorld(t, func(c *Config) { c.Start, c.First = "", true })
	all["first start"] = state{m, false}
	onBench := func(keys ...string) *Model {
		w, m := newWorld(t, func(c *Config) {
			c.Start = Bench
			c.NewCamera = func(...string) (Choice, error) { return Choice{"cake-tin", "cake tin"}, nil }
		})
		for i, light := range []string{"4m20s", "31m", ""} {
			f := profiles.Form{Name: names[i], Light: light, Maker: []string{"Ash", "Birch", "Ash"}[i]}
			if light != "" {
				f.Camera = "tea-caddy"
			}
			if err := m.addForm(f); err != nil {
				t.Fatal(err)
			}
		}
		m.desk.Do(session.Event{Kind: session.ExposureBegun, Sheet: m.desk.M.Sheets()[0].ID, Planned: 4*time.Minute + 20*time.Second})
		w.pass(time.Minute)
		m.keys(t, keys...)
		return m
	}
	all["bench, three sheets"] = state{onBench(), false}
	all["bench, a sheet is changed"] = state{onBench("2", "enter"), false}
	all["bench, a new camera"] = state{onBench("n"), false}
	m = inTrays(3)
	m.help = true
	all["help"] = state{m, false}
	m = inTrays(3)
	m.keys(t, "q")
	all["a question"] = state{m, false}
	m = inTrays(3)
	m.desk.Do(session.Event{Kind: session.ImageSeen, Sheet: "nobody"})
	m.said = "sheet 2 is in the wash: it is past the developer"
	all["an error"] = state{m, true}
	_, m = newWorld(t, func(c *Config) { c.Start, c.Book = Notebook, fullShelf{} })
	m.goTo(Notebook)
	all["notebook, forty sheets"] = state{m, false}
	_, m = newWorld(t, func(c *Config) { c.Start, c.Book = Notebook, fullShelf{} })
	m.goTo(Notebook)
	m.keys(t, "enter")
	all["a sheet's page"] = state{m, false}
	return all
}

func plainLines(m *Model) []string { return strings.Split(plain(m), "\n") }

func replaceLines(s string) string { return strings.ReplaceAll(s, "\n", "\r\n") }
