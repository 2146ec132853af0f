package tui

import (
	"fmt"
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/x/ansi"

	"wetside/session/say"
)

// Every screen of the list is whole: whatever one of them forgets is told with
// its name.
func TestEveryScreenIsWhole(t *testing.T) {
	w, m := newWorld(t, func(c *Config) { c.Start, c.Book = Room, shelf{} })
	names, clips := map[Screen]bool{}, map[string]bool{}
	frames := map[string]Screen{}
	for i, s := range m.screens {
		if m.screen != s.name() {
			t.Errorf("tab leads to the %s, where the list has the %s", m.screen, s.name())
		}
		said := strings.Join(say.Place.Of(say.Where(s.name())).Clips(func(string) bool { return false }), " ")
		if s.name() == "" || names[s.name()] || !strings.Contains(said, string(s.name())) || clips[said] {
			t.Errorf("screen %d: name %q, spoken %q: both must be its own; the spoken ones are in package say", i+1, s.name(), said)
		}
		names[s.name()], clips[said] = true, true
		body := s.view(m, m.desk.M.View(m.desk.Now()), 20)
		if strings.TrimSpace(ansi.Strip(body)) == "" {
			t.Errorf("the %s draws nothing", s.name())
		}
		if other := frames[body]; other != "" {
			t.Errorf("the %s draws what the %s does", s.name(), other)
		}
		frames[body] = s.name()
		ks := s.keys(m)
		if len(ks) == 0 {
			t.Errorf("the %s has no keys", s.name())
		}
		m.Update(tea.WindowSizeMsg{Width: 120, Height: 60})
		m.keys(t, "?")
		help := plain(m)
		for _, k := range ks {
			if c := say.KeyIs.Of("x", say.Deed(k.Help().Desc)).Clips(func(string) bool { return false }); c[len(c)-1] == "something else" {
				t.Errorf("on the %s what %v does (%s) cannot be said: put it into package say", s.name(), k.Keys(), k.Help().Desc)
			}
			if k.Help().Key == "" || !strings.Contains(help, k.Help().Key) || !strings.Contains(help, k.Help().Desc) {
				t.Errorf("the help of the %s leaves out %v", s.name(), k.Keys())
			}
		}
		w.pass(2 * time.Second) // else it is a key held down
		m.keys(t, "?")
		if m.help {
			t.Errorf("? does not close the help of the %s", s.name())
		}
		if m.blind(s.name()); !strings.Contains(w.said(), say.Place.Of(say.Where(s.name())).String()) {
			t.Errorf("the %s comes up unspoken", s.name())
		}
		w.pass(2 * time.Second)
		m.keys(t, "tab")
	}
	if m.screen != m.screens[0].name() {
		t.Errorf("tab from the last screen leads to the %s", m.screen)
	}
}

// blind brings a screen up as for who does not look.
func (m *Model) blind(s Screen) {
	m.cfg.Blind = true
	m.goTo(s)
	m.cfg.Blind = false
}

// While a line of text is open, no key is offered that would only be a letter.
func TestOnlyKeysThatWorkAreOffered(t *testing.T) {
	_, m := newWorld(t, func(c *Config) { c.Start = Bench })
	foot := func() string {
		ls := strings.Split(strings.TrimRight(plain(m), " \n"), "\n")
		return ls[len(ls)-1]
	}
	if got := foot(); !strings.Contains(got, "q quit") || !strings.Contains(got, "left/right choose") {
		t.Errorf("on a choice: %q", got)
	}
	m.form.focus(m, fName)
	if got := foot(); strings.Contains(got, " q quit") || strings.Contains(got, "? help") || strings.Contains(got, "choose") || !strings.Contains(got, "f12 help") {
		t.Errorf("in a line of text: %q", got)
	}
	m.keys(t, "q", "?")
	if got := m.form.value().Name; got != "q?" || m.ask != nil || m.help {
		t.Errorf("q and ? are letters there, and made %q", got)
	}
}

// The cursor stands where the next letter goes.
func TestTheCursorIsWhereTheNextLetterGoes(t *testing.T) {
	_, m := newWorld(t, func(c *Config) { c.Start = Bench })
	m.form.focus(m, fName)
	m.keys(t, "h", "a", "t")
	m.Update(tea.KeyMsg{Type: tea.KeyLeft})
	if got := plain(m); !strings.Contains(got, "ha_t") {
		t.Errorf("one to the left of the end:\n%s", got)
	}
	m.keys(t, "x")
	if got := m.form.value().Name; got != "haxt" {
		t.Errorf("typed there: %q", got)
	}
}

// Each of the keys that close the help does nothing else, and a rebound one closes
// it too.
func TestHelpIsClosed(t *testing.T) {
	ks, _ := BindKeys(map[string][]string{"help": {"f9"}}, "")
	for _, k := range []tea.KeyMsg{{Type: tea.KeyF9}, {Type: tea.KeyEsc}, {Type: tea.KeyEnter}} {
		w, m := newWorld(t, func(c *Config) { c.Start, c.Keys = Bench, ks })
		m.form.focus(m, fAdd)
		m.help = true
		n := len(w.events)
		m.Update(k)
		m.Update(splitMsg(m.split.n))
		if m.help || len(w.events) != n || m.form.at != fAdd {
			t.Errorf("%s: help %v, %d events, line %d", k, m.help, len(w.events)-n, m.form.at)
		}
	}
}

// Esc says that paper is not covered: nothing happens, and it stands beside the key.
func TestEscIsNotCovered(t *testing.T) {
	_, m := newWorld(t, nil)
	m.keys(t, "q")
	if got := plain(m); !strings.Contains(got, "n or esc not yet: go on") {
		t.Errorf("the keys of the question:\n%s", got)
	}
	m.keys(t, "esc")
	if m.ask != nil || m.Quit() {
		t.Error("esc left the question, or the program")
	}
}

// Beside the key stands what it does with a pinhole that is covered already.
func TestACoveredPinholeIsNotCoveredAgain(t *testing.T) {
	w, m := newWorld(t, func(c *Config) { c.Start = Field })
	m.add(t, "caddy", "4m")
	m.keys(t, "space")
	w.pass(time.Minute)
	if got := m.aims(); got != "1: cover the pinhole" {
		t.Errorf("open: %q", got)
	}
	m.keys(t, "c")
	if got := m.aims(); got != "1: end the exposure" {
		t.Errorf("covered: %q", got)
	}
	w.pass(time.Second)
	m.keys(t, "enter")
	if !strings.Contains(m.said, "1: end the exposure") {
		t.Errorf("asked: %q", m.said)
	}
}

// How a sheet stands is said in the words of the trade, not in the program's own.
func TestPhasesInWords(t *testing.T) {
	_, m := newWorld(t, nil)
	for i, c := range []struct {
		camera, want string
	}{{"tea-caddy", "still to be exposed"}, {"", "waits for the trays"}} {
		s := m.add(t, fmt.Sprint("sheet", i), "")
		s.Spec.Camera, s.Spec.Exposure = c.camera, 0
		if got := PhaseText(s); got != c.want {
			t.Errorf("in the camera %q: %q, want %q", c.camera, got, c.want)
		}
		if got := m.standing(m.seen(s)).String(); !strings.HasSuffix(got, c.want) {
			t.Errorf("in the camera %q it is spoken as %q, want %q", c.camera, got, c.want)
		}
	}
	if got := m.camera("tea-caddy"); got != "tea caddy" {
		t.Errorf("the camera is called %q", got)
	}
}
