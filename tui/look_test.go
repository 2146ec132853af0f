package tui

import (
	"bytes"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/x/vt"

	"wetside/session/sessiontest"
	"wetside/tui/ember"
)

// Every screen at every moment, as it looks: what it says, and below that how
// bright each cell is (1 for what is planned, 2 for large figures, 3, 4 and 5 for
// text from faint to strong).
func TestLook(t *testing.T) {
	all := states(t)
	for _, name := range slices.Sorted(maps.Keys(all)) {
		m := all[name].m
		for _, size := range [][2]int{{60, 20}, {80, 24}, {120, 40}} {
			m.Update(tea.WindowSizeMsg{Width: size[0], Height: size[1]})
			file := fmt.Sprintf("testdata/look/%s-%dx%d.txt", strings.NewReplacer(", ", "-", " ", "-", "'", "").Replace(name), size[0], size[1])
			sessiontest.Golden(t, file, look(t, m))
		}
	}
}

func look(t *testing.T, m *Model) []byte {
	t.Helper()
	e := vt.NewEmulator(m.width, m.height)
	g := ember.NewGuard(e, ember.Options{Profile: ember.TrueColor, Level: m.styles.Level})
	if err := g.Begin(m.width, m.height); err != nil {
		t.Fatal(err)
	}
	g.WriteString("\x1b[H" + replaceLines(m.View()))
	var words, light bytes.Buffer
	for y := range m.height {
		var a, b strings.Builder
		for x := range m.width {
			c := e.CellAt(x, y)
			mark := byte(' ')
			if c != nil && c.Content != "" && c.Content != " " && c.Style.Fg != nil {
				r, _, _, _ := c.Style.Fg.RGBA()
				for i, role := range []ember.Role{ember.Border, ember.Large, ember.Faint, ember.Normal, ember.Strong} {
					if m.styles.Level.Red(role) == uint8(r>>8) {
						mark = byte('1' + i)
					}
				}
			}
			b.WriteByte(mark)
			if c == nil || c.Content == "" {
				continue // blank, or the right half of a wide sign
			}
			a.WriteString(c.Content)
		}
		fmt.Fprintln(&words, strings.TrimRight(a.String(), " "))
		fmt.Fprintln(&light, strings.TrimRight(b.String(), " "))
	}
	words.WriteString(strings.Repeat("-", m.width) + "\n")
	return append(words.Bytes(), light.Bytes()...)
}

// In no window does one part of a screen with a clock stand on another, and at
// every size the clock is there.
func TestNothingCollides(t *testing.T) {
	for name, s := range states(t) {
		if !s.runs {
			continue
		}
		m := s.m
		v := m.desk.M.View(m.desk.Now())
		f := m.trays.face(m, v)
		if m.screen == Field {
			f = m.field.face(m, v)
		}
		for w := 40; w <= 240; w += 25 {
			for h := 12; h <= 67; h += 11 {
				m.Update(tea.WindowSizeMsg{Width: w, Height: h})
				if c := m.drawFace(f, w, h-3); c.clash != "" {
					t.Errorf("%dx%d %s: %s", w, h, name, c.clash)
				}
				if got := plain(m); !strings.Contains(got, f.clock) && !strings.ContainsAny(got, "█▀") {
					t.Errorf("%dx%d %s: no clock", w, h, name)
				}
			}
		}
	}
}

// The line of time has the plan's own instants.
func TestTheLineOfTimeIsThePlan(t *testing.T) {
	m := states(t)["trays, three sheets"].m
	v := m.desk.M.View(m.desk.Now())
	plan, _ := m.desk.Evening(v.T)
	if len(plan.Moves) != 3 {
		t.Fatalf("%d sheets are planned", len(plan.Moves))
	}
	for _, r := range m.evening(v).rows {
		var id string
		for _, s := range v.Sheets {
			if strings.HasPrefix(r.label, fmt.Sprint(s.Num, " ")) {
				id = s.ID
			}
		}
		for _, at := range plan.Moves[id] {
			if !slices.Contains(r.ticks, at) {
				t.Errorf("%s: the move at %v is no tick of its row", r.label, at)
			}
		}
		last := r.spans[len(r.spans)-1].to
		if moves := plan.Moves[id]; last != moves[len(moves)-1] {
			t.Errorf("%s ends at %v, the plan has %v", r.label, last, moves)
		}
		for i := 1; i < len(r.spans); i++ {
			if r.spans[i].from != r.spans[i-1].to {
				t.Errorf("%s: %v does not follow %v", r.label, r.spans[i], r.spans[i-1])
			}
		}
	}
}

// While nothing changes that the picture shows, it stands; a clock draws it once
// a second.
func TestThePictureIsStill(t *testing.T) {
	w, m := newWorld(t, nil)
	count := func(n int) (frames int) {
		last := ""
		for range n {
			m.Update(tickMsg{})
			if m.View(); !m.still {
				frames++
			}
			if got := m.View(); got != last {
				last = got
			}
			w.pass(100 * time.Millisecond)
		}
		return frames
	}
	if n := count(50); n > 1 {
		t.Errorf("with no clock running %d pictures in five seconds", n)
	}
	m.add(t, "caddy", "")
	m.keys(t, "space")
	if n := count(50); n > 13 { // the hands' second and the sheet's are two
		t.Errorf("with a clock running %d pictures in five seconds", n)
	}
	left := plain(m)
	w.pass(time.Second)
	m.Update(tickMsg{})
	if plain(m) == left {
		t.Error("a second later it is the same picture")
	}
}

// Esc acknowledges a notice, and it does not come back for the same reason.
func TestANoticeIsAcknowledged(t *testing.T) {
	_, m := newWorld(t, nil)
	m.inform("the machine may sleep")
	if !strings.Contains(plain(m), "the machine may sleep") {
		t.Fatal("it is not told")
	}
	m.keys(t, "esc")
	m.inform("the machine may sleep")
	if got := plain(m); strings.Contains(got, "the machine may sleep") {
		t.Errorf("acknowledged, and there again:\n%s", got)
	}
	m.inform("the disk is full")
	if !strings.Contains(plain(m), "the disk is full") {
		t.Error("another one is not told")
	}
}
