package tui

import (
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"wetside/session"
)

func pasted(s string) tea.KeyMsg {
	return tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune(s), Paste: true}
}

// Nothing that is pasted acts, on no screen and at no question; it is said.
func TestAPasteIsNoKey(t *testing.T) {
	for _, on := range screens(&Model{}) {
		screen := on.name()
		for _, text := range []string{" ", "x", "y", "q", "m", "tin 3\nx x ", "1 ", "]", strings.Repeat("x y\n", 1<<18)} {
			w, m := newWorld(t, func(c *Config) { c.Book = shelf{} })
			a, b := m.add(t, "caddy", ""), m.add(t, "hat box", "4m")
			m.keys(t, "space")
			m.goTo(Field)
			w.pass(2 * time.Second)
			m.keys(t, "2", "space")
			m.goTo(screen)
			w.pass(5 * time.Minute)
			n := len(w.events)
			for _, ask := range []bool{false, true} {
				if ask {
					m.quit()
				}
				m.Update(pasted(text))
				w.pass(time.Second)
				if len(w.events) != n || m.screen != screen || m.Quit() || (m.ask != nil) != ask || m.spoiling != "" || m.help {
					t.Fatalf("%s, asked %v: %.20q pasted is taken for a key: %+v, sheets %s and %s", screen, ask, text, w.events[n:], a.Phase, b.Phase)
				}
				if !strings.Contains(m.said, "a paste is no key") || w.played[len(w.played)-1].Kind != session.CueError {
					t.Errorf("%s: %.20q pasted is answered with %q", screen, text, m.said)
				}
			}
		}
	}
}

// In an open line of text it is words, and its line ends enter nothing.
func TestAPasteGoesIntoALineOfText(t *testing.T) {
	_, m := newWorld(t, nil)
	s := m.add(t, "caddy", "")
	m.keys(t, "o")
	m.Update(pasted("The Lever\r\nframe\x1b[31m \u202e\n"))
	if m.ask == nil || len(s.Notes) > 0 {
		t.Fatal("the end of a line entered it")
	}
	m.keys(t, "enter")
	if len(s.Notes) != 1 || strings.Join(strings.Fields(s.Notes[0].Text), " ") != "The Lever frame" {
		t.Errorf("the note is %q", s.Notes)
	}
	m.goTo(Bench)
	m.form.focus(m, fName)
	m.Update(pasted("Kettle\tx"))
	if got := m.form.value().Name; got != "Kettle x" {
		t.Errorf("the name is %q", got)
	}
	m.Update(pasted(strings.Repeat("signal ", 1<<17)))
	if got := m.form.value().Name; len(got) > 80 {
		t.Errorf("the name is %d long", len(got))
	}
	// A mark that came in two pieces left an escape, which is no key esc.
	m.goTo(Trays)
	m.keys(t, "o")
	m.Update(tea.KeyMsg{Type: tea.KeyEsc})
	m.Update(pasted("bell"))
	m.Update(splitMsg(m.split.n))
	if m.ask == nil || m.ask.input.Value() != "bell" {
		t.Error("an escape of the mark's own closed the line")
	}
}
