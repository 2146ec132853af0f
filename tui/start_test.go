package tui

import (
	"errors"
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"wetside/session"
)

func firstStart(t *testing.T) (*world, *Model) {
	return newWorld(t, func(c *Config) {
		c.Start, c.First = "", true
		c.Timer = func(text string) (session.SheetSpec, error) {
			if text != "three" {
				return session.SheetSpec{}, errors.New("say what is to be timed")
			}
			return session.SheetSpec{Paper: session.Paper{Key: "not-known"}, Process: testProcess()}, nil
		}
	})
}

// A first start asks what is to be done, and each way leads to where it is done.
func TestAFirstStartAsksWhatIsToBeDone(t *testing.T) {
	_, m := firstStart(t)
	for _, x := range ways {
		if !strings.Contains(plain(m), x.name) {
			t.Fatalf("%q is no choice:\n%s", x.name, plain(m))
		}
	}
	m.keys(t, "x") // no choice, and no sheet is spoiled
	if !m.first.on || m.ask != nil {
		t.Fatal("another key is taken for a choice")
	}
	m.keys(t, "1")
	if m.first.on || m.screen != Bench {
		t.Errorf("expose and develop leads to the %s", m.screen)
	}

	_, m = firstStart(t)
	m.keys(t, "down", "enter")
	if m.screen != Bench || m.form.value().Camera != "" {
		t.Errorf("only the trays: the %s with the camera %q", m.screen, m.form.value().Camera)
	}

	// Just a timer: the number, enter, and space starts.
	w, m := firstStart(t)
	m.keys(t, "3")
	m.typed(t, " nonsense")
	if m.ask == nil || !strings.Contains(m.said, "say what is to be timed") {
		t.Fatalf("nonsense is timed: %q", m.said)
	}
	m.keys(t, "esc")
	m.keys(t, "3")
	w.pass(2 * time.Second)
	m.keys(t, "enter", "space")
	if s := m.desk.M.Sheets(); len(s) != 1 || s[0].Phase != session.Wet || m.screen != Trays || m.first.on {
		t.Errorf("the timer: %+v on the %s", s, m.screen)
	}

	_, m = firstStart(t)
	_, cmd := m.Update(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune("4")})
	if cmd == nil || !m.Rehearse() || !m.Quit() {
		t.Error("to try it in the light the program is not left")
	}
	_, m = firstStart(t)
	m.keys(t, "tab")
	if m.first.on {
		t.Error("tab leaves the page on the screen")
	}
}

// The program opens where the sheets are, and what is due on another screen is one
// line with the keys that lead there.
func TestItOpensWhereTheSheetsAre(t *testing.T) {
	w, m := newWorld(t, nil)
	at := func(want Screen) {
		t.Helper()
		cfg := m.cfg
		cfg.Start = ""
		if got := New(cfg).screen; got != want {
			t.Errorf("it opens on the %s, not the %s", got, want)
		}
	}
	at(Bench)
	a := m.add(t, "caddy", "4m")
	at(Field)
	m.goTo(Field)
	m.keys(t, "space")
	w.pass(time.Minute)
	at(Field)
	m.goTo(Bench)
	if got := plain(m); !strings.Contains(got, "field: 1 caddy, 3:00 left  (tab)") {
		t.Errorf("a pinhole is open in the field:\n%s", got)
	}
	m.goTo(Field)
	if got := plain(m); strings.Contains(got, "field: 1") {
		t.Errorf("on its own screen:\n%s", got)
	}
	w.pass(3 * time.Minute)
	m.keys(t, "space")
	if a.Phase != session.Exposed {
		t.Fatal(a.Phase)
	}
	at(Trays)
	w.pass(time.Second)
	m.goTo(Trays)
	m.keys(t, "space")
	at(Trays)
	w.pass(190 * time.Second)
	m.goTo(Room)
	if got := plain(m); !strings.Contains(got, "trays: 1 caddy, develop over by 0:10  (shift+tab twice)") {
		t.Errorf("a sheet is late in the trays:\n%s", got)
	}
}
