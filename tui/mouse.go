package tui

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"wetside/session"
)

// This file is the mouse: a button does what it is bound to, and nothing else.

// mouseNames are what the buttons are called in the settings.
var mouseNames = map[tea.MouseButton]string{
	tea.MouseButtonLeft: "mouse left", tea.MouseButtonMiddle: "mouse middle", tea.MouseButtonRight: "mouse right",
	tea.MouseButtonBackward: "mouse back", tea.MouseButtonForward: "mouse forward", tea.MouseButton10: "mouse 10", tea.MouseButton11: "mouse 11",
	tea.MouseButtonWheelUp: "wheel up", tea.MouseButtonWheelDown: "wheel down", tea.MouseButtonWheelLeft: "wheel left", tea.MouseButtonWheelRight: "wheel right",
}

// isMouse reports whether a name is one of those that mouse buttons have, or would have.
func isMouse(name string) bool {
	return strings.HasPrefix(name, "mouse ") || strings.HasPrefix(name, "wheel ")
}

// knownMouse reports whether a button has that name.
func knownMouse(name string) bool {
	return slices.Contains(slices.Collect(maps.Values(mouseNames)), name)
}

// Mouse reports whether a mouse button is bound.
func (k Keys) Mouse() bool {
	return slices.ContainsFunc(slices.Concat(slices.Collect(maps.Values(k.bound))...), isMouse)
}

// MouseKey is the key that a press of a mouse button counts as, by its name; ok is
// false for what is no press.
func MouseKey(e tea.MouseMsg) (k tea.KeyMsg, ok bool) {
	name := mouseNames[e.Button]
	if e.Action != tea.MouseActionPress || name == "" {
		return k, false
	}
	return tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune(name)}, true
}

// A mouse knows whether the window is in front.
type mouse struct {
	behind bool
	front  session.Instant // when it came to the front, in the hands' time
}

// frontFor is how long a click may be the one that brought the window to the front:
// the terminal tells of both, in whichever order. Common practice, no source.
const frontFor = 500 * time.Millisecond

// What bubbletea makes of the window's coming and going where something else was read
// with it, as the click that brings it to the front is: a sequence it does not know.
const focusRead, blurRead = "?CSI[73]?", "?CSI[79]?"

// click is a mouse button that was pressed. The click that brings the window to the
// front does nothing, as none does that is not bound.
func (m *Model) click(e tea.MouseMsg) tea.Cmd {
	k, ok := MouseKey(e)
	if !ok || m.mouse.behind || !m.mouse.front.IsZero() && m.desk.Hand().Sub(m.mouse.front) < frontFor {
		return nil
	}
	if _, d := m.keymap.Named(k, m.screen, len(m.desk.M.Sheets())); d == nil {
		return nil
	}
	m.desk.Here()
	return m.key(k)
}

// focus takes in that the window came to the front, or lies behind another.
func (m *Model) focus(msg tea.Msg) {
	read, _ := msg.(fmt.Stringer)
	_, front := msg.(tea.FocusMsg)
	_, behind := msg.(tea.BlurMsg)
	switch {
	case front, read != nil && read.String() == focusRead:
		m.mouse = mouse{front: m.desk.Hand()}
	case behind, read != nil && read.String() == blurRead:
		m.mouse.behind = true
	}
}
