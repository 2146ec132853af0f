package tui

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/charmbracelet/bubbles/key"
	"github.com/charmbracelet/bubbles/textinput"
	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/lipgloss"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/desk"
	"wetside/session/words"
	"wetside/tui/ember"
)

// A question stands before everything else until it is answered: with y or n,
// or with words where it asks for them.
type question struct {
	text string
	now  func() string // not nil: text, as it is at the moment
	yes  func() tea.Cmd
	// yesIs and noIs stand beside the keys; empty: yes and no.
	yesIs, noIs string
	no          func() tea.Cmd
	stays       bool                 // esc does nothing
	leave       func() tea.Cmd       // esc answers neither; nil: it is a no
	words       func(string) tea.Cmd // not nil: the answer is typed
	input       textinput.Model
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

// askUntil is askWords for an answer that may be wrong: then what was typed
// stays to be put right.
func (m *Model) askUntil(text string, then func(string) (tea.Cmd, error)) {
	m.askWords(text, nil)
	q := m.ask
	q.words = func(text string) tea.Cmd {
		cmd, err := then(text)
		if err == nil {
			return cmd
		}
		m.ask = q
		m.desk.Complain(err)
		return m.tell(ember.SafeText(err.Error()))
	}
}

func (q *question) says() string {
	if q.now != nil {
		return q.now()
	}
	return q.text
}

func (q *question) press(m *Model, k tea.KeyMsg) tea.Cmd {
	if q.words != nil {
		switch k.String() {
		case "esc", "ctrl+c":
			if q.stays {
				m.said = "it waits for an answer"
				return nil
			}
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
	if m.standAt(); !q.stays && key.Matches(k, trayKeys.Move) && m.hands.Aim().Call == desk.Must {
		return m.act() // a clock called meanwhile: its key works, and the question stands
	}
	if len(m.hands.Asked()) > 0 && key.Matches(k, trayKeys.Pick) {
		return m.pickNumber(number(k))
	}
	switch k.String() {
	case "y":
		m.ask = nil
		return q.yes()
	case "esc":
		if q.stays {
			m.said = "y or n?"
			return nil
		}
		if q.leave != nil {
			m.ask = nil
			return q.leave()
		}
		fallthrough
	case "n":
		m.ask = nil
		return q.no()
	case "enter":
		m.desk.Say(q.says())
	default:
		m.said = "y or n?" // or it was an elbow
		if m.cfg.Blind {
			m.desk.Say("yes or no")
		}
	}
	return nil
}

func (q *question) keys() []key.Binding {
	if q.words != nil {
		return []key.Binding{
			key.NewBinding(key.WithKeys("enter"), key.WithHelp("enter", "done")),
			key.NewBinding(key.WithKeys("esc"), key.WithHelp("esc", "leave it")),
		}
	}
	no := "n"
	if q.leave == nil && !q.stays {
		no = "n or esc"
	}
	ks := []key.Binding{
		key.NewBinding(key.WithKeys("y"), key.WithHelp("y", cmp.Or(q.yesIs, "yes"))),
		key.NewBinding(key.WithKeys("n", "esc"), key.WithHelp(no, cmp.Or(q.noIs, "no"))),
	}
	if q.leave != nil {
		ks = append(ks, key.NewBinding(key.WithKeys("esc"), key.WithHelp("esc", "leave it")))
	}
	return ks
}

// brief is the question where there is room for little else.
func (q *question) brief() string {
	if q.words != nil {
		// What is typed comes first: it has to be seen.
		return typed(q.input, 400) + " " + q.says()
	}
	return q.says() + " y/n"
}

func (q *question) view(m *Model) string {
	margin := 0
	if m.width >= 60 {
		margin = 3
	}
	// A story of several sheets is told one to a line.
	style, text := m.styles.Strong, wrap(strings.ReplaceAll(q.says(), ". Sheet ", ".\nSheet "), m.width-2*margin-2)
	if strings.Count(text, "\n") > 2 {
		style = m.styles.Normal // a long story, strongly told, would light the room
	}
	out := "\n" + style.Render(text)
	if q.words != nil {
		// What is typed has to be seen, whatever else has room.
		typed := m.styles.Normal.Render(typed(q.input, m.width-margin))
		if out += "\n\n" + typed; lipgloss.Height(text) > m.height-8 {
			out = typed + "\n" + style.Render(text)
		}
	}
	return lipgloss.NewStyle().MarginLeft(margin).Render(out)
}

// askResume asks whether to go on with what ran when the program ended. Where that
// is not likely of each sheet, or is not the answer, each is asked about by itself.
func (m *Model) askResume(text string) *question {
	v := m.desk.M.View(m.desk.Now())
	if !m.desk.M.Behind(m.desk.Now()) && slices.ContainsFunc(v.Need, func(id string) bool { s, _ := v.Sheet(id); return desk.Stale(s) }) {
		return m.askFates(v.Need)
	}
	q := &question{stays: true, now: func() string {
		if t := ResumeText(m.desk.M, m.desk.Now()); t != "" {
			text = t // it goes on while the question stands
		}
		return text + " Go on?"
	}}
	q.yes = func() tea.Cmd {
		if m.desk.M.Behind(m.desk.Now()) {
			m.askOff()
			return nil
		}
		return m.resume(m.desk.Now())
	}
	q.no = func() tea.Cmd {
		m.ask = m.askFates(m.desk.M.View(m.desk.Now()).Need)
		return nil
	}
	return q
}

// askFates asks of one sheet after the other what became of it, the likely answer
// first; no answer writes a time that nobody saw.
func (m *Model) askFates(ids []string) *question {
	if len(ids) == 0 {
		m.resume(m.desk.Now())
		return nil
	}
	id, rest := ids[0], ids[1:]
	next := func() tea.Cmd {
		if m.ask = m.askFates(rest); m.ask != nil && m.cfg.Blind {
			m.desk.Say(m.ask.says())
		}
		return nil
	}
	v, _ := m.desk.M.View(m.desk.Now()).Sheet(id)
	var ask func(fates []desk.Fate) *question
	ask = func(fates []desk.Fate) *question {
		f := fates[0]
		q := &question{stays: true, now: func() string { return ResumeSheet(m.desk.M, m.desk.Now(), id) + " " + fateText(v, f) }}
		q.yes = func() tea.Cmd {
			if f == desk.At {
				m.askToldEnd(id, next)
				return nil
			}
			if err := m.desk.Fare(id, f, 0); err != nil {
				return m.tell(ember.SafeText(err.Error()))
			}
			return next()
		}
		q.no = func() tea.Cmd {
			more := fates[1:]
			if len(more) == 0 {
				more = desk.Fates(v) // once more from the first
			}
			if m.ask = ask(more); m.cfg.Blind {
				m.desk.Say(m.ask.says())
			}
			return nil
		}
		return q
	}
	return ask(desk.Fates(v))
}

// fateText asks whether a fate is a sheet's.
func fateText(s session.SheetView, f desk.Fate) string {
	exposing := s.Phase == session.Exposing
	switch {
	case f == desk.GoesOn && exposing:
		return "Is it still out, and does it go on?"
	case f == desk.GoesOn:
		return "Is it still in there, and does it go on?"
	case f == desk.AsPlanned && exposing:
		return "Was its exposure ended by hand, as planned?"
	case f == desk.AsPlanned:
		return "Was it finished by hand, as planned?"
	case f == desk.At && exposing:
		return "Was its exposure ended by hand, after a time that you know?"
	case f == desk.At:
		return "Was it finished by hand, after a time in there that you know?"
	}
	return "Is it spoiled?"
}

// askToldEnd asks how long a sheet was in its bath, or in the light, in all.
func (m *Model) askToldEnd(id string, then func() tea.Cmd) {
	m.askUntil("How long was it in there, in all? Like 25m, or 1h10m.", func(text string) (tea.Cmd, error) {
		d, err := m.cfg.Span(text)
		if err == nil && d <= 0 {
			err = errors.New("write a time like 25m")
		}
		if err == nil {
			err = m.desk.Fare(id, desk.At, d)
		}
		if err != nil {
			return nil, err
		}
		return then(), nil
	})
	m.ask.stays = true
}

// resume goes on with what ran, from an instant.
func (m *Model) resume(at session.Instant) tea.Cmd {
	m.desk.At(session.Event{Kind: session.Resumed, At: at})
	m.screen = Trays
	if !m.desk.Wet() {
		m.screen = Field
	}
	return m.tell("going on")
}

// askOff asks how long the computer was off when its clock does not tell.
func (m *Model) askOff() {
	m.askUntil("How long was it off, about? Like 25m, or 1h10m. Enter alone when you cannot say: then the clocks go on from where they stood.", func(text string) (tea.Cmd, error) {
		now := m.desk.Now()
		if !m.desk.M.Behind(now) { // the clock was set while the question stood
			return m.resume(now), nil
		}
		var off time.Duration
		if text = strings.TrimSpace(text); text != "" {
			d, err := m.cfg.Span(text)
			if err != nil {
				return nil, err
			}
			off = d
		}
		return m.resume(m.desk.M.Off(now, off)), nil
	})
	m.ask.stays = true
}

// askTold asks of a sheet that was exposed by a watch when its pinhole was opened
// and for how long, and writes it down. plan makes of a light and a time the
// sheet: which it is (empty: a new one), its spec, and how long it was open.
func (m *Model) askTold(who, light string, plan func(light string) (id string, spec session.SheetSpec, open time.Duration, err error)) {
	m.askUntil(who+" was exposed by a watch: opened when, and for how long? Like 14:10 5m, or yesterday 14:10 overcast 5m.", func(text string) (tea.Cmd, error) {
		from, as, err := profiles.Told(text, light, m.desk.Now().Wall)
		if err != nil {
			return nil, err
		}
		id, spec, open, err := plan(as)
		if err != nil {
			return nil, err
		}
		there := id != ""
		if !there {
			id = m.desk.NewID()
		}
		for _, e := range desk.ExposedBefore(id, spec, there, open, session.Told{From: from}, "") {
			if err := m.desk.Do(e); err != nil {
				return nil, err
			}
		}
		return m.tell(fmt.Sprintf("sheet %d written down: open %s from %s; it waits for the trays", m.desk.M.Sheet(id).Num, words.Finished(open), from.Format("15:04"))), nil
	})
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

// earlyFor is how long a first x waits for the second.
const earlyFor = 8 * time.Second

// spoil writes a sheet down as spoiled, at the second x: the first one asks, and
// any other key between them is a no.
func (m *Model) spoil(s *session.Sheet) tea.Cmd {
	if first := m.desk.M.Sheet(m.spoiling); first != nil && m.desk.Hand().Sub(m.spoilingAt) < earlyFor {
		m.spoiling = ""
		if m.do(session.Event{Kind: session.Spoiled, Sheet: first.ID}) == nil {
			m.spoilt = first.ID
			m.hands.Unpick()
			m.said = fmt.Sprintf("sheet %d marked spoiled; o says why, backspace takes it back", first.Num)
		}
		return nil
	}
	if s == nil {
		return m.noSheet()
	}
	if err := m.desk.M.Would(session.Event{Kind: session.Spoiled, Sheet: s.ID, At: m.desk.Now()}); err != nil {
		m.desk.Complain(err)
		m.said = err.Error()
		return nil
	}
	m.spoiling, m.spoilingAt = s.ID, m.desk.Hand()
	m.said = fmt.Sprintf("sheet %d: spoiled? x again marks it so; any other key leaves it", s.Num)
	m.desk.Say(fmt.Sprintf("sheet %d: spoiled: go on?", s.Num))
	return nil
}

// askWhy asks why the sheet spoiled last was.
func (m *Model) askWhy() {
	s := m.desk.M.Sheet(m.spoilt)
	m.askWords(fmt.Sprintf("Sheet %d was spoiled: why?", s.Num), func(text string) tea.Cmd {
		if text != "" && m.do(session.Event{Kind: session.Spoiled, Sheet: s.ID, Note: text}) == nil {
			return m.tell("noted")
		}
		return nil
	})
}
