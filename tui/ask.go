package tui

import (
	"cmp"
	"fmt"
	"strings"
	"time"

	"github.com/charmbracelet/bubbles/key"
	"github.com/charmbracelet/bubbles/textinput"
	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/lipgloss"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/desk"
	"wetside/session/say"
	"wetside/session/words"
	"wetside/tui/ember"
)

// A question stands before everything else until it is answered: with y or n,
// or with words where it asks for them.
type question struct {
	text  string
	lines func() []say.Line // as it is said aloud
	say   func()            // says it, where it is not its lines
	digit func(int) tea.Cmd // not nil: a number answers
	now   func() string     // not nil: text, as it is at the moment
	yes   func() tea.Cmd
	// yesIs and noIs stand beside the keys; empty: yes and no.
	yesIs, noIs string
	no          func() tea.Cmd
	stays       bool                 // esc does nothing
	leave       func() tea.Cmd       // esc answers neither; nil: it is a no
	words       func(string) tea.Cmd // not nil: the answer is typed
	input       textinput.Model
}

// askWords asks for a line of text.
func (m *Model) askWords(text string, line say.Line, then func(string) tea.Cmd) {
	in := textinput.New()
	in.Prompt = "> "
	in.CharLimit = 500
	in.Focus()
	m.ask = &question{text: text, lines: saying(line), words: then, input: in}
	if text != "" {
		m.sayAsk()
	}
}

// saying is a question's line, or lines.
func saying(ls ...say.Line) func() []say.Line { return func() []say.Line { return ls } }

// put asks a question that is answered with yes or no.
func (m *Model) put(q *question) {
	m.ask = q
	m.sayAsk()
}

// sayAsk speaks the question that stands to who does not look.
func (m *Model) sayAsk() tea.Cmd {
	if m.ask != nil && m.speaks() {
		m.ask.speak(m)
	}
	return nil
}

// speak says a question.
func (q *question) speak(m *Model) {
	if q.say != nil {
		q.say()
	}
	q.speakLines(m)
}

// speakLines says the words of a question, and to who does not look its keys.
func (q *question) speakLines(m *Model) {
	ls := q.lines()
	if m.speaks() {
		for _, b := range q.keys() {
			ls = append(ls, say.KeyIs.Of(say.Key(b.Keys()[0]), say.Deed(b.Help().Desc)))
		}
	}
	m.desk.Say(ls...)
}

// askUntil is askWords for an answer that may be wrong: then what was typed
// stays to be put right.
func (m *Model) askUntil(text string, line say.Line, then func(string) (tea.Cmd, error)) {
	var q *question
	m.askWords(text, line, func(text string) tea.Cmd {
		cmd, err := then(text)
		if err == nil {
			return cmd
		}
		m.ask = q
		return m.refuse(notUnderstood{err})
	})
	q = m.ask
}

func (q *question) says() string {
	if q.now != nil {
		return q.now()
	}
	return q.text
}

// pressWords is a key while the answer is typed.
func (q *question) pressWords(m *Model, k tea.KeyMsg) tea.Cmd {
	switch s := k.String(); {
	case s == "enter":
		m.ask = nil
		return q.words(strings.TrimSpace(ember.SafeText(q.input.Value())))
	case s == "f12", s == "?" && q.input.Value() == "":
		q.speak(m) // no answer begins so
		return nil
	case s != "esc" && s != "ctrl+c":
		return m.edit(&q.input, k)
	case q.stays:
		return m.tell(say.ItWaits.Of())
	}
	m.ask = nil
	return m.tell(say.LeftAsItWas.Of())
}

func (q *question) press(m *Model, k tea.KeyMsg) tea.Cmd {
	if q.words != nil {
		return q.pressWords(m, k)
	}
	if len(m.hands.Asked()) > 0 && key.Matches(k, trayKeys.Pick) { // the call's question is the newer one
		return m.pickNumber(number(k))
	}
	if q.digit != nil && key.Matches(k, trayKeys.Pick) {
		m.ask = nil
		return q.digit(int(k.Runes[0] - '0'))
	}
	if key.Matches(k, trayKeys.Move) && m.mustAnswer() {
		return m.act() // a clock called meanwhile: its key works, and the question stands
	}
	if len(m.hands.Asked()) > 0 && key.Matches(k, keys.Other) {
		return m.other()
	}
	name := k.String()
	if name == "backspace" && (q.digit == nil || q.leave != nil) {
		name = "esc" // back out of it: a clicker has no other way
	}
	switch name {
	case "y":
		m.ask = nil
		return q.yes()
	case "esc":
		return q.esc(m)
	case "n":
		m.ask = nil
		return q.no()
	case "enter":
		q.speak(m)
		return nil
	}
	if q.digit != nil { // or it was an elbow
		return m.answer("a number?", q.lines()[0])
	}
	return m.answer("y or n?", say.YesOrNo.Of())
}

// esc leaves a question, or says no where that is the same. One that stays wants an answer.
func (q *question) esc(m *Model) tea.Cmd {
	if q.stays {
		return m.answer("y or n?", say.YesOrNo.Of())
	}
	m.ask = nil
	if q.leave != nil {
		return q.leave()
	}
	return q.no()
}

func (q *question) keys() []key.Binding {
	if q.words != nil {
		again := on("?", "say it again")
		if q.input.Value() != "" { // it is typed, then
			again = on("f12", "say it again")
		}
		return []key.Binding{
			on("enter", "done"),
			again,
			on("esc", "leave it"),
		}
	}
	no := "n"
	if q.leave == nil && !q.stays {
		no = "n or esc"
	}
	if q.digit != nil {
		neither := on(no, "none", "n", "esc")
		if q.leave != nil {
			neither = on("esc", "leave it")
		}
		return []key.Binding{
			on("1-9", "the number", "1"),
			on("enter", "say it again"),
			neither,
		}
	}
	ks := []key.Binding{
		on("y", cmp.Or(q.yesIs, "yes")),
		on(no, cmp.Or(q.noIs, "no"), "n", "esc"),
	}
	if q.leave != nil {
		ks = append(ks, on("esc", "leave it"))
	}
	return ks
}

// brief is the question where there is room for little else.
func (q *question) brief() string {
	if q.words != nil {
		// What is typed comes first: it has to be seen.
		return typed(q.input, 400) + " " + q.says()
	}
	if q.digit != nil {
		return q.says()
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

// askResume asks of one sheet after the other what became of it while no program
// ran. Where nothing tells how long that was, that is asked first.
func (m *Model) askResume() {
	v := m.desk.M.View(m.desk.Now())
	need := v.Need
	m.resumed = v.T
	m.desk.Doubt(need)
	if m.desk.M.Behind(m.desk.Now()) {
		m.askOff(need)
		return
	}
	m.askFates(need)
}

// askOff asks how long the computer was off when its clock does not tell.
func (m *Model) askOff(need []string) {
	const how = " How long was it off, about? Like 25m, or 1h10m. Enter alone when you cannot say: then the clocks go on from where they stood, and are not believed."
	m.askUntil("", say.AskOff.Of(), func(text string) (tea.Cmd, error) {
		now := m.desk.Now()
		if m.desk.M.Behind(now) { // else the clock was set while the question stood
			var off time.Duration
			if text = strings.TrimSpace(text); text == "" {
				m.desk.Guess()
			} else {
				d, err := m.cfg.Span(text)
				if err != nil {
					return nil, err
				}
				off = d
			}
			m.desk.At(session.Event{Kind: session.Resumed, At: m.desk.M.Off(now, off)})
		}
		m.askFates(need)
		return m.sayAsk(), nil
	})
	m.ask.stays = true
	m.ask.now = func() string {
		text := ResumeText(m.desk.M, m.desk.Now())
		if m.desk.M.Behind(m.desk.Now()) {
			text += how
		}
		return text
	}
}

// askFates asks of each sheet what became of it, the likely answer first; no answer
// writes a time that nobody saw.
func (m *Model) askFates(ids []string) {
	if len(ids) == 0 {
		m.ask = nil
		m.resume(m.desk.Now())
		return
	}
	v, _ := m.desk.M.View(m.desk.Now()).Sheet(ids[0])
	m.askFate(v, desk.Fates(v), ids[1:])
}

// askFate asks whether the first of the fates is a sheet's, then the next, and then
// of the rest of the sheets.
func (m *Model) askFate(v session.SheetView, fates []desk.Fate, rest []string) {
	f := fates[0]
	m.resumed = m.desk.M.T(m.desk.Now())
	text, line := fateText(v, f)
	q := &question{stays: true, now: func() string { return ResumeSheet(m.desk.M, m.desk.Now(), v.ID) + " " + text },
		lines: func() []say.Line {
			sv, _ := m.desk.M.View(m.desk.Now()).Sheet(v.ID)
			return []say.Line{m.standing(sv), line}
		}}
	q.yes = func() tea.Cmd {
		if f == desk.At {
			m.askToldEnd(v, rest)
			return nil
		}
		if err := m.desk.Fare(v.ID, f, 0); err != nil {
			m.ask = q
			return m.refuse(err)
		}
		m.askFates(rest)
		return m.sayAsk()
	}
	q.no = func() tea.Cmd {
		more := fates[1:]
		if len(more) == 0 {
			more = desk.Fates(v) // once more from the first
		}
		m.askFate(v, more, rest)
		return m.sayAsk()
	}
	m.ask = q
}

// fateText asks whether a fate is a sheet's.
func fateText(s session.SheetView, f desk.Fate) (string, say.Line) {
	exposing := s.Phase == session.Exposing
	switch {
	case f == desk.GoesOn && exposing:
		return "Is it still being exposed? Go on?", say.AskStillOut.Of()
	case f == desk.GoesOn:
		return "Is it still in there? Go on?", say.AskStillIn.Of()
	case f == desk.AsPlanned && exposing:
		return "Was its exposure ended by hand, as planned?", say.AskEndedWell.Of()
	case f == desk.AsPlanned:
		return "Was it finished by hand, as planned?", say.AskDoneWell.Of()
	case f == desk.At && exposing:
		return "Was its exposure ended by hand, at a time that you know?", say.AskEndedAt.Of()
	case f == desk.At:
		return "Did it come out by hand, at a time that you know?", say.AskDoneAt.Of()
	}
	return "Is it spoiled?", say.AskSpoiled.Of()
}

// askToldEnd asks at what time of day a sheet came out of its bath, or its pinhole was
// covered.
func (m *Model) askToldEnd(v session.SheetView, rest []string) {
	s := m.desk.M.Sheet(v.ID)
	var before time.Duration // light that it had had
	var in time.Time
	if x := s.Visit(); x != nil {
		in = x.InAt.Wall
	} else {
		sp := s.Light.Spells[len(s.Light.Spells)-1]
		before, in = s.Light.OpenFor(sp.From), m.desk.M.At(sp.From).Wall
	}
	m.askUntil("At what time was that? Like 14:40, or 2026-05-03 14:40. It began "+in.Format("2006-01-02 15:04")+".", say.AskToldEnd.Of(), func(text string) (tea.Cmd, error) {
		end, dated, more, err := profiles.When(text, in)
		switch {
		case err != nil:
			return nil, err
		case more != "":
			return nil, fmt.Errorf("%q after the time is not clear: write a time of day, like 14:40", more)
		case end.Before(in.Truncate(time.Minute)) && !dated:
			end = end.AddDate(0, 0, 1) // past midnight
		}
		switch now := m.desk.Now().Wall; {
		case end.Before(in.Truncate(time.Minute)), !dated && end.After(now) && end.AddDate(0, 0, -1).Before(in):
			return nil, fmt.Errorf("it did not begin until %s", in.Format("2006-01-02 15:04"))
		case end.After(now):
			return nil, fmt.Errorf("%s has not come yet", end.Format("2006-01-02 15:04"))
		}
		if err := m.desk.Fare(v.ID, desk.At, before+max(time.Second, end.Sub(in))); err != nil {
			return nil, err
		}
		m.askFates(rest)
		return m.sayAsk(), nil
	})
	m.ask.stays = true
}

// resume goes on with what ran, from an instant.
func (m *Model) resume(at session.Instant) tea.Cmd {
	m.desk.At(session.Event{Kind: session.Resumed, At: at})
	m.screen = opening(m.desk.M)
	if m.cfg.Lead {
		return m.setLead(true)
	}
	m.tell(say.GoingOn.Of())
	m.sayState()
	return nil
}

// askTold asks of a sheet that was exposed by a watch when its pinhole was opened
// and for how long, and writes it down. plan makes of a light and a time the
// sheet: which it is (empty: a new one), its spec, and how long it was open.
func (m *Model) askTold(who, light string, plan func(light string) (id string, spec session.SheetSpec, open time.Duration, err error)) {
	m.askUntil(who+" was exposed by a watch: opened when, and for how long? Like 14:10 5m, or yesterday 14:10 overcast 5m.", say.AskTold.Of(), func(text string) (tea.Cmd, error) {
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
		n := m.desk.M.Sheet(id).Num
		return m.answer(fmt.Sprintf("sheet %d written down: open %s from %s; it waits for the trays", n, words.Finished(open), from.Format("15:04")), say.WrittenDown.Of(say.Left(open)).To(say.Num(n))), nil
	})
}

// askNote asks for words to keep with a sheet.
func (m *Model) askNote(s *session.Sheet) tea.Cmd {
	m.askWords(fmt.Sprintf("Note for sheet %d:", s.Num), say.AskNote.Of(say.Sheet(s.Num)), func(text string) tea.Cmd {
		if text != "" && m.do(session.Event{Kind: session.Noted, Sheet: s.ID, Note: text}) == nil {
			return m.tell(say.Noted.Of())
		}
		return m.leftAlone(text)
	})
	return nil
}

// leftAlone answers a line that was ended with nothing in it; one that was refused has
// its own answer.
func (m *Model) leftAlone(text string) tea.Cmd {
	if text == "" {
		return m.tell(say.LeftAsItWas.Of())
	}
	return nil
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
		return m.refuse(err)
	}
	m.spoiling, m.spoilingAt = s.ID, m.desk.Hand()
	return m.announce(fmt.Sprintf("sheet %d: spoiled? x again marks it so; any other key leaves it", s.Num), say.SpoilAgain.Of(say.Sheet(s.Num)))
}

// askWhy asks why the sheet spoiled last was.
func (m *Model) askWhy() {
	s := m.desk.M.Sheet(m.spoilt)
	m.askWords(fmt.Sprintf("Sheet %d was spoiled: why?", s.Num), say.AskWhy.Of(say.Sheet(s.Num)), func(text string) tea.Cmd {
		if text != "" && m.do(session.Event{Kind: session.Spoiled, Sheet: s.ID, Note: text}) == nil {
			return m.tell(say.Noted.Of())
		}
		return m.leftAlone(text)
	})
}
