package tui

import (
	"fmt"

	"wetside/session/desk"
	"wetside/session/say"

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
	case s.Moved != "":
		return fmt.Sprintf("OTHER OUTPUT %d%%", s.Volume)
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
	case s.Moved != "":
		return s.Moved
	case s.Volume == 0:
		return "the volume is 0: turn it up with +, or no cue will be heard"
	}
	return "good: every cue will be heard"
}

// promised is the promise as it is said.
func promised(s desk.SoundState) say.Line {
	if s.OK && s.Heard == desk.HeardAll && s.Volume > 0 && s.Moved == "" {
		return say.HeardGood.Of()
	}
	return say.OnScreen.Of()
}

// greet sounds the hello and speaks a number, which it returns: who types it has
// heard words and not just a noise.
func (m *Model) greet() int {
	m.numbers++
	n := 1 + (int(m.desk.Now().Wall.UnixNano()/1e6)+5*m.numbers)%9
	m.desk.Greet(say.NumberIs.Of(say.Number(n)))
	return n
}

// askHeard asks which number was spoken at the start.
func (m *Model) askHeard() *question {
	n := m.greet()
	dumb := func() bool { st := m.desk.Sound.State(); return !st.OK || st.Heard != desk.HeardAll }
	unheard := func() tea.Cmd {
		st := m.desk.Sound.State()
		if dumb() {
			return m.answer(promise(st), promised(st))
		}
		return m.answer("sound goes to "+st.Device+": turn it up with +, or plug in a loudspeaker", say.HeardWrong.Of())
	}
	greeted := func(cmd tea.Cmd) tea.Cmd { m.sayState(); return cmd }
	q := &question{no: func() tea.Cmd { return greeted(unheard()) }, lines: saying(say.AskHeard.Of()), now: func() string {
		st := m.desk.Sound.State()
		switch {
		case !st.OK:
			return "No sound can be played yet (" + st.Reason + "). Go on without?"
		case dumb():
			return "Nothing can be spoken: " + promise(st) + ". Go on?"
		}
		return "A sound was played just now. Which number was spoken? (n: none)"
	}}
	q.yes = func() tea.Cmd {
		if dumb() {
			return greeted(unheard())
		}
		m.ask = q // that something was heard is no number
		return m.answer("which number was it? Type it; enter says it again, n is for none", say.AskHeard.Of())
	}
	q.say = func() { n = m.greet() }
	q.digit = func(d int) tea.Cmd {
		if dumb() || d != n {
			return greeted(unheard())
		}
		m.desk.Sound.Confirm()
		m.softest = m.desk.Sound.State().Volume
		return greeted(m.answer(promise(m.desk.Sound.State()), promised(m.desk.Sound.State())))
	}
	return q
}

// volume makes the program louder or softer, where that can be heard. Softer than
// was heard it asks first.
func (m *Model) volume(step int) tea.Cmd {
	st := m.desk.Sound.State()
	switch {
	case st.Elsewhere:
	case st.Heard == desk.HeardNot:
		return m.answer("sound is switched off: start without --sound none to hear it", say.OnScreen.Of())
	case st.Heard == desk.HeardBeeps:
		return m.answer("beeps have one volume: plug in a loudspeaker", say.OnScreen.Of())
	case step < 0 && st.OK && st.Volume == 0:
		return m.answer("it is at 0 already", say.VolumeIs.Of(0))
	case step < 0 && st.OK && st.Volume <= m.softest:
		m.desk.Sound.Volume(step)
		n := m.greet()
		back := func() tea.Cmd {
			m.desk.Sound.Volume(-step)
			return m.tell(say.Softest.Of())
		}
		m.ask = &question{text: "That is softer than you have heard. Which number was spoken? (n: none, and it stays as it was)",
			lines: saying(say.AskSofter.Of()), no: back, yes: back, say: func() { n = m.greet() }, digit: func(d int) tea.Cmd {
				if d != n {
					return back()
				}
				m.softest = m.desk.Sound.State().Volume
				return m.answer(short(m.desk.Sound.State()), say.HeardGood.Of())
			}}
		if m.speaks() {
			m.ask.speakLines(m) // its number is spoken
		}
		return nil
	}
	m.desk.Sound.Volume(step)
	return m.aloud(say.VolumeIs.Of(say.Percent(m.desk.Sound.State().Volume)))
}

// listen tells when the sound is there again, or goes elsewhere.
func (m *Model) listen() {
	st := m.desk.Sound.State()
	if st.OK && m.deaf {
		m.aloud(say.SoundBack.Of())
	}
	if st.Moved != "" && st.Moved != m.movedTo {
		m.inform(st.Moved)
		m.aloud(say.News.Of())
	}
	m.deaf, m.movedTo = !st.OK && !st.Elsewhere, st.Moved
}
