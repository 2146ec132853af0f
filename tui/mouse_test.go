package tui

import (
	"io"
	"slices"
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"wetside/session"
)

// A mouse button does what it is bound to, in a line of text and in a question too, and
// a double click is one. One that is not bound, a release, and the click that brings
// the window to the front do nothing, whichever the terminal tells of first.
func TestAMouseButtonActsOnlyIfItIsBound(t *testing.T) {
	bound := map[string][]string{"move": {"space", "mouse middle"}, "back": {"backspace", "mouse back"}, "where": {"enter", "mouse right"}}
	press := func(b tea.MouseButton) tea.MouseMsg { return tea.MouseMsg{Button: b, Action: tea.MouseActionPress} }
	w, m := newWorld(t, func(c *Config) {
		var bad []*BadKey
		if c.Keys, bad = BindKeys(bound, ""); len(bad) > 0 {
			t.Fatal(bad)
		}
	})
	s := m.add(t, "print", "")
	events := func(what string, want int, msgs ...tea.Msg) {
		t.Helper()
		n := len(w.events)
		for _, x := range msgs {
			m.Update(x)
		}
		if got := len(w.events) - n; got != want {
			t.Errorf("%s: %d events, not %d; %q", what, got, want, m.said)
		}
		w.pass(2 * time.Second)
	}
	middle := press(tea.MouseButtonMiddle)
	for b := range mouseNames {
		if b != tea.MouseButtonMiddle && b != tea.MouseButtonBackward && b != tea.MouseButtonRight {
			w.played = nil
			events("not bound: "+mouseNames[b], 0, press(b))
			if len(w.played) > 0 {
				t.Errorf("%s is answered: %v", mouseNames[b], w.played)
			}
		}
	}
	events("a release", 0, tea.MouseMsg{Button: tea.MouseButtonMiddle, Action: tea.MouseActionRelease})
	events("a drag", 0, tea.MouseMsg{Button: tea.MouseButtonMiddle, Action: tea.MouseActionMotion})
	events("to the front, and the click", 0, tea.BlurMsg{}, tea.FocusMsg{}, middle)
	events("the click, and to the front", 0, tea.BlurMsg{}, middle, tea.FocusMsg{})
	events("to the front by its first click only", 1, middle, middle)
	if v := s.Visit(); v == nil || v.Stage != session.Develop {
		t.Fatal("the middle button did not put the sheet in")
	}
	events("taken back, by a double click", 1, press(tea.MouseButtonBackward), press(tea.MouseButtonBackward))
	w.played = nil
	events("where", 0, press(tea.MouseButtonRight))
	if len(w.played) == 0 {
		t.Error("where says nothing")
	}
	m.goTo(Bench)
	m.form.focus(m, fName)
	m.keys(t, "a")
	events("in a line of text, where", 0, press(tea.MouseButtonRight))
	if got := m.form.value().Name; got != "a" {
		t.Errorf("a click wrote %q", got)
	}
	m.goTo(Trays)
	events("in again", 1, middle)
	w.pass(3 * time.Minute)
	m.goTo(Bench)
	m.form.focus(m, fName)
	events("called, in a line of text", 1, middle, middle)
	w.pass(time.Minute)
	m.goTo(Trays)
	m.keys(t, "q")
	events("called, in a question", 1, middle)
	if m.ask == nil {
		t.Error("the click answered the question")
	}
	m.keys(t, "n")
	// What the middle button pastes elsewhere is no press here.
	events("a paste", 0, tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune("mouse middle"), Paste: true})
	// Typed at once it is letters.
	m.goTo(Bench)
	m.form.focus(m, fMaker)
	events("typed", 0, tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune("mouse middle")})
	if got := m.form.value().Maker; got != "mouse middle" {
		t.Errorf("typed: %q", got)
	}
}

// read gives what the library makes of bytes that were read at once.
type read struct{ got *[]tea.Msg }

func (read) Init() tea.Cmd { return nil }
func (read) View() string  { return "" }
func (r read) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	if k, ok := msg.(tea.KeyMsg); ok && k.Type == tea.KeyCtrlC {
		return r, tea.Quit
	}
	*r.got = append(*r.got, msg)
	return r, nil
}

// However the bytes of a window that comes to the front and of a click are read, that
// click is none, and the next is one.
func TestTheClickToTheFrontAsItIsRead(t *testing.T) {
	const front, behind, click = "\x1b[I", "\x1b[O", "\x1b[<1;5;5M\x1b[<1;5;5m"
	for _, bytes := range []string{front + click, behind + click + front, behind + front + click, behind + click} {
		w, m := newWorld(t, func(c *Config) { c.Keys, _ = BindKeys(map[string][]string{"move": {"mouse middle"}}, "") })
		s := m.add(t, "print", "")
		give := func(bytes string) {
			var got []tea.Msg
			p := tea.NewProgram(read{&got}, tea.WithInput(strings.NewReader(bytes+"\x03")), tea.WithOutput(io.Discard), tea.WithoutRenderer(), tea.WithoutSignals())
			if _, err := p.Run(); err != nil {
				t.Fatal(err)
			}
			for _, x := range got {
				m.Update(x)
			}
		}
		if give(bytes); s.Phase != session.Fresh {
			t.Errorf("%q is a press", bytes)
		}
		give(front + "!")
		w.pass(time.Second)
		if give(click); s.Phase != session.Wet {
			t.Errorf("after %q a click is none", bytes)
		}
	}
}

// A button that is on no mouse is told of, and one that is bound twice.
func TestMouseButtonsInTheSettings(t *testing.T) {
	ks, bad := BindKeys(map[string][]string{"move": {"Mouse Left", "mouse up"}, "back": {"mouse left", "wheel down"}}, "")
	var got []string
	for _, b := range bad {
		got = append(got, b.Error())
	}
	want := []string{`"mouse left" is the key of move already: give back another`, `"mouse up" is no key: "wetside keys --try" names what is pressed`}
	if !slices.Equal(got, want) || !slices.Equal(ks.Of("back"), []string{"wheel down"}) {
		t.Errorf("%q; back has %q", got, ks.Of("back"))
	}
}
