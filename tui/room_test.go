package tui

import (
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"wetside/session"
	"wetside/session/desk"
	"wetside/session/say"
	"wetside/tui/ember"
	"wetside/tui/lamps"
)

// lit finds any colour that gives light.
var lit = regexp.MustCompile(`[34]8;2;(0;0;|0;|)[1-9]`)

// The dark before paper is opened, in two lengths: begin and end are spoken, nothing
// is lit meanwhile, and then the question. What is written down and answered says how
// long the look was, and what it can show.
func TestLookingForLight(t *testing.T) {
	for _, c := range []struct {
		key    string
		long   time.Duration
		answer string
		note   string
		said   []string
	}{
		{"d", time.Minute, "y", "room check of 1 min: light was seen", []string{"look again"}},
		{"d", time.Minute, "n", "room check of 1 min: no light was seen", []string{"no large leak", "t looks for ten"}},
		{"t", 10 * time.Minute, "y", "room check of 10 min: light was seen", []string{"look again"}},
		{"t", 10 * time.Minute, "n", "room check of 10 min: no light was seen", []string{"the room is dark", "half an hour"}},
	} {
		lamps := &testLamps{}
		w, m := newWorld(t, func(cfg *Config) { cfg.Start, cfg.Lamps = Room, lamps })
		m.keys(t, c.key)
		if !strings.HasPrefix(w.said(), "in the dark now") {
			t.Errorf("%s says %q", c.key, w.said())
		}
		if m.styles.Level != ember.Dark || !lamps.dimmed || !lamps.awake {
			t.Errorf("in the dark it is %s, lamps %+v", m.styles.Level, lamps)
		}
		for left := c.long; left > time.Second; left -= time.Second {
			if said := w.through(m, time.Second); len(said) > 0 || m.ask != nil {
				t.Fatalf("with %v left: %v", left, said)
			}
			if m.styles.Level != ember.Dark || lit.MatchString(m.View()) {
				t.Fatalf("with %v left it is not dark", left)
			}
			m.keys(t, "g", "q", "space", "tab") // nothing lights it
		}
		if said := w.through(m, time.Second); said[time.Second] != "did you see light?" {
			t.Errorf("at the end: %q", said)
		}
		if m.styles.Level != ember.Ember || lamps.dimmed || lamps.awake {
			t.Errorf("after it: %s, lamps %+v", m.styles.Level, lamps)
		}
		if got := plain(m); !strings.Contains(got, "Did you see any light?") {
			t.Fatalf("asked\n%s", got)
		}
		m.keys(t, c.answer)
		if e := w.events[len(w.events)-1]; e.Kind != session.Noted || e.Note != c.note {
			t.Errorf("%s was written down as %+v", c.answer, e)
		}
		for _, x := range c.said {
			if !strings.Contains(m.said, x) {
				t.Errorf("%s, %s: said %q, without %q", c.key, c.answer, m.said, x)
			}
		}
	}
}

func TestTheDarkBrokenOff(t *testing.T) {
	w, m := newWorld(t, func(c *Config) { c.Start = Room })
	m.keys(t, "d")
	w.through(m, 10*time.Second)
	m.keys(t, "esc")
	if m.styles.Level != ember.Ember {
		t.Errorf("it stays %s", m.styles.Level)
	}
	w.through(m, 2*quickLook)
	if m.ask != nil {
		t.Error("asked all the same")
	}
}

// What the program found out stands at the line it is about; only what was
// verified is marked as such; the rest is for the user to confirm, and every
// line can be read to its end in any window.
func TestRoomList(t *testing.T) {
	sleep := Finding{About: lamps.AboutSleep, Text: "sleep, lock screen, lid", Detail: "Held off while a clock runs", Verified: true}
	found := []Finding{
		{About: lamps.AboutPanel, Text: "backlight panel", Detail: "Set to 3 of 100", Verified: true},
		{About: lamps.AboutPanel, Text: "backlight second", Detail: "Set to 90 of 100, and dimmed when paper comes out"},
		{About: lamps.AboutKeyboard, Text: "keyboard light", Detail: "No keyboard light that can be set was found: if there is one, turn it off"},
		sleep,
		{Text: "The status line of the multiplexer is lit in its own colours: turn it off before paper comes out, and keep a single pane."},
	}
	w, m := newWorld(t, func(c *Config) { c.Verified = func() []Finding { return found } })
	m.goTo(Room)
	list := m.room.items
	if len(list) != len(Checklist())+2 {
		t.Errorf("%d lines: %+v", len(list), list)
	}
	verified := 0
	for _, f := range list {
		if f.Verified {
			verified++
		}
	}
	if verified != 2 {
		t.Errorf("%d are marked as verified", verified)
	}
	// The user confirms the rest, from the top to the bottom.
	for i := range list {
		m.room.at = i
		if !list[i].Verified {
			w.pass(time.Second) // with no time between them they would be one key held down
			m.keys(t, "space")
		}
		m.room.at = i
		for _, size := range [][2]int{{80, 24}, {40, 12}} {
			m.width, m.height = size[0], size[1]
			if got := strings.Join(strings.Fields(plain(m)), " "); !strings.Contains(got, strings.TrimSpace(list[i].Text+" "+list[i].Detail)) {
				t.Errorf("%dx%d: %q cannot be read in\n%s", size[0], size[1], list[i].Text, plain(m))
			}
		}
	}
	for _, f := range m.room.items {
		if !m.room.confirmed(f) {
			t.Errorf("not confirmed: %s", f.Text)
		}
	}
	// A lamp that has changed since has to be looked at again.
	found = slices.Clone(found)
	found[2].Detail = "Set to 2 of 2, and dimmed when paper comes out"
	m.goTo(Trays)
	m.goTo(Room)
	open := 0
	for _, f := range m.room.items {
		if !m.room.confirmed(f) {
			open++
			if !strings.Contains(f.Detail, "Set to 2 of 2") {
				t.Errorf("forgotten: %s", f.Text)
			}
		}
	}
	if open != 1 {
		t.Errorf("%d lines are open again", open)
	}
}

// What the program finds out later comes into the list by itself, and leaves
// the chosen line where it is.
func TestFindingsComeLater(t *testing.T) {
	var found []Finding
	w, m := newWorld(t, func(c *Config) { c.Start, c.Verified = Room, func() []Finding { return found } })
	m.keys(t, "down", "down")
	found = []Finding{{Text: "lid", Detail: "leave it open"}, {About: lamps.AboutPanel, Text: "backlight panel", Detail: "Set to 3 of 100", Verified: true}}
	w.through(m, time.Second)
	eyes, checked, _ := strings.Cut(plain(m), "checked by the program")
	if !strings.Contains(eyes, "[ ] lid") || !strings.Contains(checked, "brightness") {
		t.Errorf("not in the list:\n%s", plain(m))
	}
	for range len(m.room.items) - 3 { // to the last
		m.keys(t, "down")
	}
	if got := m.room.items[m.room.at].Text; got != "lid" {
		t.Fatalf("chosen: %q", got)
	}
	if !strings.Contains(plain(m), "leave it open") {
		t.Errorf("the step is not said whole:\n%s", plain(m))
	}
	found = append([]Finding{{Text: "indicator lights", Detail: "caps lock"}}, found...)
	w.through(m, time.Second)
	if got := m.room.items[m.room.at].Text; got != "lid" {
		t.Errorf("the finger is on %q now", got)
	}
}

// While paper is out the panel is to be off where there is nothing to see, and for a
// glance where the program leads; what is told of the lamps is told aloud as well.
func TestWhenThePanelMayBeOff(t *testing.T) {
	lamps := &testLamps{}
	w, m := newWorld(t, func(c *Config) { c.Lamps = lamps })
	is := func(what string, dimmed bool, panel desk.PanelWant) {
		t.Helper()
		if w.through(m, time.Second); lamps.dimmed != dimmed || lamps.panel != panel {
			t.Errorf("%s: %+v", what, lamps)
		}
	}
	m.add(t, "signal arm", "")
	m.keys(t, "g")
	is("dark, with no paper out", false, desk.PanelDimmed)
	m.keys(t, "p")
	is("dark, and paper out", true, desk.PanelDark)
	for m.level != ember.Ember {
		w.pass(time.Second)
		m.keys(t, "g")
	}
	is("ember", true, desk.PanelDimmed)
	m.setLead(true)
	is("led", true, desk.PanelGlance)
	m.setLead(false)
	is("led no more", true, desk.PanelDimmed)
	m.cfg.Blind = true
	is("blind", true, desk.PanelDark)
	m.cfg.Blind = false

	lamps.told = []desk.LampNews{{Text: "700 of 1000", Aloud: say.LampStays.Of(), Wrong: true}, {Text: "sleep"}}
	w.pass(time.Second)
	w.played = nil
	m.Update(tickMsg(w.now.Wall))
	if said := w.all(); said != say.LampStays.Of().String() || !strings.Contains(m.news, "700 of 1000") || !strings.Contains(m.news, "sleep") {
		t.Errorf("news %q, said %q", m.news, said)
	}
}

// Short names in columns have the whole width: none is cut that has room.
func TestShortNamesAreNotCut(t *testing.T) {
	_, m := newWorld(t, func(c *Config) {
		c.Start, c.Verified = Room, func() []Finding { return []Finding{{Text: "lamps and sleep of the laptop", Detail: "in your hands"}} }
	})
	m.Update(tea.WindowSizeMsg{Width: 80, Height: 24})
	got := plain(m)
	if !strings.Contains(got, "[ ] lamps and sleep of the laptop") {
		t.Errorf("cut, with room for it:\n%s", got)
	}
	for l := range strings.Lines(got) {
		if len([]rune(strings.TrimRight(l, "\n"))) > 80 {
			t.Errorf("wider than the screen: %q", l)
		}
	}
}
