package tui

import (
	"fmt"
	"strings"

	"github.com/charmbracelet/bubbles/key"
	"github.com/charmbracelet/bubbles/textinput"
	tea "github.com/charmbracelet/bubbletea"

	"wetside/session"
	"wetside/tui/ember"
)

// A question stands before everything else until it is answered: with y or n,
// or with words where it asks for them.
type question struct {
	text  string
	yes   func() tea.Cmd
	no    func() tea.Cmd
	words func(string) tea.Cmd // not nil: the answer is typed
	input textinput.Model
}

// askWords asks for a line of text.
func (m *Model) askWords(text string, then func(string) tea.Cmd) {
	in := textinput.New()
	in.Prompt = "> "
	in.CharLimit = 500
	in.Focus()
	m.ask = &question{text: text, words: then, input: in}
	if m.cfg.Blind {
		m.desk.Say(text)
	}
}

func (q *question) press(m *Model, k tea.KeyMsg) tea.Cmd {
	if q.words != nil {
		switch k.String() {
		case "esc", "ctrl+c":
			m.ask = nil
			return m.tell("left as it was")
		case "enter":
			m.ask = nil
			return q.words(strings.TrimSpace(ember.SafeText(q.input.Value())))
		}
		var cmd tea.Cmd
		q.input, cmd = q.input.Update(k)
		return cmd
	}
	switch k.String() {
	case "y", "Y":
		m.ask = nil
		return q.yes()
	case "n", "N", "esc":
		m.ask = nil
		return q.no()
	case "enter":
		m.desk.Say(q.text)
	}
	return nil // anything else may be an elbow
}

func (q *question) keys() []key.Binding {
	if q.words != nil {
		return []key.Binding{
			key.NewBinding(key.WithKeys("enter"), key.WithHelp("enter", "done")),
			key.NewBinding(key.WithKeys("esc"), key.WithHelp("esc", "leave it")),
		}
	}
	return []key.Binding{
		key.NewBinding(key.WithKeys("y"), key.WithHelp("y", "yes")),
		key.NewBinding(key.WithKeys("n"), key.WithHelp("n", "no")),
	}
}

func (q *question) view(m *Model) string {
	// A story of several sheets is told one to a line.
	style, text := m.styles.Strong, wrap(strings.ReplaceAll(q.text, ". Sheet ", ".\nSheet "), m.width-2)
	if strings.Count(text, "\n") > 2 {
		style = m.styles.Normal // a long story, strongly told, would light the room
	}
	out := "\n" + style.Render(text)
	if q.words != nil {
		out += "\n\n" + m.styles.Normal.Render("> "+ember.SafeText(q.input.Value())+"_")
	}
	return out
}

// askResume asks whether to go on with what ran when the program ended.
func (m *Model) askResume(text string) *question {
	q := &question{text: text + " Go on?"}
	q.yes = func() tea.Cmd {
		m.desk.Do(session.Event{Kind: session.Resumed})
		m.screen = Trays
		if !m.desk.wet() {
			m.screen = Field
		}
		return m.tell("going on")
	}
	q.no = func() tea.Cmd {
		m.ask = &question{text: "Then the sheets that were running are recorded as spoiled. Sure?",
			yes: func() tea.Cmd {
				for _, s := range m.desk.M.Sheets() {
					if s.Phase == session.Wet || s.Phase == session.Exposing {
						m.do(session.Event{Kind: session.Spoiled, Sheet: s.ID, Note: "not gone on with after an interruption"})
					}
				}
				return m.tell("recorded as spoiled")
			},
			no: func() tea.Cmd { m.ask = m.askResume(text); return nil }}
		return nil
	}
	return q
}

// askNote asks for words to keep with a sheet.
func (m *Model) askNote(s *session.Sheet) {
	m.askWords(fmt.Sprintf("Note for sheet %d:", s.Num), func(text string) tea.Cmd {
		if text != "" && m.do(session.Event{Kind: session.Noted, Sheet: s.ID, Note: text}) == nil {
			return m.tell("noted")
		}
		return nil
	})
}

// askSpoiled asks why a sheet is spoiled, and ends it.
func (m *Model) askSpoiled(s *session.Sheet) {
	m.askWords(fmt.Sprintf("Sheet %d is spoiled: why?", s.Num), func(text string) tea.Cmd {
		m.do(session.Event{Kind: session.Spoiled, Sheet: s.ID, Note: text})
		return nil
	})
}
