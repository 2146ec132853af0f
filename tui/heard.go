package tui

import (
	"fmt"

	"wetside/session/desk"

	tea "github.com/charmbracelet/bubbletea"
)

// This file is what the screens say of the loudspeaker: never more than is
// heard.

// short is what stands at the top of every screen.
func short(s desk.SoundState) string {
	switch {
	case s.Elsewhere:
		return "sound: the other wetside"
	case !s.OK:
		return "NO SOUND"
	case s.Heard == desk.HeardNot:
		return "sound off"
	case s.Heard == desk.HeardBeeps:
		return "only beeps"
	}
	return fmt.Sprintf("sound %d%%", s.Volume)
}

// promise is what somebody may count on who has heard the sound at the start.
func promise(s desk.SoundState) string {
	switch {
	case !s.OK:
		return "nothing is heard now: " + s.Reason
	case s.Heard == desk.HeardNot:
		return "sound is switched off: no cue will be heard"
	case s.Heard == desk.HeardBeeps:
		return "each cue will be a beep, and nothing is spoken: plug in a loudspeaker for words"
	case s.Volume == 0:
		return "the volume is 0: turn it up with +, or no cue will be heard"
	}
	return "good: every cue will be heard"
}

// askHeard asks whether the sound at the start was heard.
func (m *Model) askHeard() *question {
	return &question{now: func() string {
		if st := m.desk.Sound.State(); !st.OK {
			return "No sound can be played yet (" + st.Reason + "). Do you hear one?"
		}
		return "A sound was played just now. Did you hear it?"
	}, yes: func() tea.Cmd {
		m.desk.Sound.Confirm()
		return m.tell(promise(m.desk.Sound.State()))
	}, no: func() tea.Cmd {
		st := m.desk.Sound.State()
		if !st.OK || st.Heard != desk.HeardAll {
			return m.tell(promise(st))
		}
		return m.tell("sound goes to " + st.Device + ": turn it up with +, or plug in a loudspeaker")
	}}
}

// volume makes the program louder or softer, where that can be heard.
func (m *Model) volume(step int) tea.Cmd {
	switch st := m.desk.Sound.State(); {
	case st.Heard == desk.HeardNot:
		return m.tell("sound is switched off: start without --sound none to hear it")
	case st.Heard == desk.HeardBeeps:
		return m.tell("beeps have one volume: plug in a loudspeaker")
	}
	m.desk.Sound.Volume(step)
	return nil
}
