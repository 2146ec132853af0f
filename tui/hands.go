package tui

import (
	"errors"
	"fmt"
	"strings"

	tea "github.com/charmbracelet/bubbletea"

	"wetside/session"
	"wetside/session/desk"
	"wetside/session/say"
	"wetside/session/words"
	"wetside/tui/ember"
)

// This file tells what became of a press: the rule by which it has its meaning
// is the desk's.

// place tells the rule where the user works.
func (m *Model) standAt() {
	m.hands.At = desk.InTrays
	if m.screen == Field {
		m.hands.At = desk.InField
	}
}

// act is the one large key.
func (m *Model) act() tea.Cmd {
	m.standAt()
	return m.told(m.hands.Press())
}

// mustAnswer reports whether a call that must be answered is what a press is for. While
// it is asked what became of the sheets it is one that came since the question: what
// was due before is what is asked about.
func (m *Model) mustAnswer() bool {
	m.standAt()
	a := m.hands.Aim()
	return a.Call == desk.Must && (m.ask == nil || !m.ask.stays || a.Since > m.resumed)
}

// does says what a deed with a sheet is, for the line beside the key.
func (m *Model) does(t desk.Target) string {
	s := m.desk.M.Sheet(t.Sheet)
	if s == nil {
		return ""
	}
	switch t.Deed {
	case session.ExposureBegun:
		if m.screen != Field {
			return fmt.Sprintf("%d, not exposed", t.Num)
		}
		return fmt.Sprintf("%d: open the pinhole", t.Num)
	case session.ExposureEnded:
		if !s.Light.Open {
			return fmt.Sprintf("%d: end the exposure", t.Num) // it is covered already
		}
		return fmt.Sprintf("%d: cover the pinhole", t.Num)
	case session.PinholeCovered:
		return fmt.Sprintf("%d: cover the pinhole, move the card", t.Num)
	case session.PinholeUncovered:
		return fmt.Sprintf("%d: open it for the next strip", t.Num)
	case session.WaterChanged:
		return "change the water of the " + t.Bath
	case session.ImageSeen:
		return fmt.Sprintf("%d: the image is seen", t.Num)
	case session.Confirmed:
		return fmt.Sprintf("%d into %s only now", t.Num, words.The(tray(s.Spec.Process.Steps[s.Visit().Step])))
	case session.Moved:
		if next := s.NextStep(); next >= 0 {
			return fmt.Sprintf("%d into %s", t.Num, words.The(tray(s.Spec.Process.Steps[next])))
		}
		return fmt.Sprintf("%d out of %s: finished", t.Num, words.The(tray(s.Spec.Process.Steps[s.Visit().Step])))
	}
	return ""
}

// which is the question which of several is meant: "2 or 3?".
func which(ts []desk.Target) string {
	var out []string
	for _, t := range ts {
		out = append(out, fmt.Sprint(t.Num))
	}
	return strings.Join(out, " or ") + "?"
}

// aims is what stands beside the key: what a press does now; empty when it does
// nothing.
func (m *Model) aims() string {
	m.standAt()
	a := m.hands.Aim()
	if _, gone := m.hands.Offered(); !gone {
		if ask := m.hands.Asked(); len(ask) > 0 {
			return which(ask) + " press the number"
		}
	}
	if m.screen != Field && m.screen != Trays && a.Call != desk.Must {
		return ""
	}
	switch {
	case a.Soon != nil:
		return "wait: " + m.does(*a.Soon)
	case len(a.Ask) > 0:
		return which(a.Ask)
	}
	if a.Deed == "" && m.screen == Field && m.desk.Next() != nil {
		return "to the trays"
	}
	return m.does(a.Target)
}

// told shows and says what became of a press.
func (m *Model) told(a desk.Answer) tea.Cmd {
	s := m.desk.M.Sheet(a.Target.Sheet)
	switch a.Outcome {
	case desk.Done:
		return m.didIt(a.Target, s)
	case desk.Bounced:
		m.tap = true // it was one press, and is answered
	case desk.Idle:
		if m.screen == Field && m.desk.Next() != nil { // all have had their light
			m.goTo(Trays)
			m.desk.Say(say.Place.Of(say.Where(Trays)), m.nextPress())
			return nil
		}
		return m.noSheet()
	case desk.Wait:
		m.said = "not now: in a moment " + m.does(a.Target)
		m.desk.Say(say.First.Of(say.Sheet(a.Target.Num)))
	case desk.Which:
		m.said = which(a.Targets) + " Press the number."
		m.desk.Say(whichOf(a.Targets))
	case desk.Warned:
		m.warned(a, s)
	case desk.Over:
		return m.picks(s)
	case desk.Nobody:
		m.said = fmt.Sprintf("there is no sheet %d", a.Target.Num)
		m.desk.Say(say.NoSuchSheet.Of(say.Sheet(a.Target.Num)))
	case desk.Picked:
		m.field.id = s.ID
		return m.picks(s)
	case desk.Refused:
		m.said = a.Err.Error()
		if errors.Is(a.Err, desk.ErrNoTime) {
			m.said = fmt.Sprintf("sheet %d has no time yet: press e and give its light, or a time", a.Target.Num)
		}
	}
	return nil
}

// warned tells what a move would do unseen.
func (m *Model) warned(a desk.Answer, s *session.Sheet) {
	c := a.Caution
	if c.Text != "" {
		c.Text = strings.TrimSuffix(c.Text, ".") + "." // the key's sentence follows it
	}
	var out []string
	ls := cautions(c, s)
	if c.Hold {
		ls = append(ls, say.KeyIs.Of("h", "hold in water"))
	}
	m.desk.Say(ls...)
	switch {
	case c.Has(desk.NoExposure):
		m.said = strings.TrimSpace(m.whereabouts(s) + ". " + c.Text)
		m.said += fmt.Sprintf(" %s again puts it into %s as it is.", words.Sentence(m.keyFor("move")), words.The(tray(s.Spec.Process.Steps[0])))
		return
	case c.Has(desk.CameraEmpty):
		m.said = fmt.Sprintf("sheet %d was not put into its camera (l in the room): it is empty. %s again opens it all the same.", s.Num, words.Sentence(m.keyFor("move")))
		return
	case c.Has(desk.HoldsOther):
		is := "which had no light yet"
		if c.Other.Phase != session.Fresh {
			is = "which has had its light: it would be exposed twice"
		}
		m.said = ember.SafeText(fmt.Sprintf("%s holds sheet %d, %s. %s again opens it all the same.", s.Spec.Camera, c.Other.Num, is, words.Sentence(m.keyFor("move"))))
		return
	case c.Has(desk.LightLeft):
		m.said = fmt.Sprintf("sheet %d has %s left. %s again ends it all the same.", s.Num, words.Countdown(c.Left), words.Sentence(m.keyFor("move")))
		return
	case c.Has(desk.NotWashed):
		out = append(out, fmt.Sprintf("sheet %d is not washed: %s left.", s.Num, words.Countdown(c.Left)))
	case c.Has(desk.NotFixed):
		out = append(out, fmt.Sprintf("sheet %d is not fixed: %s left.", s.Num, words.Countdown(c.Left)))
	}
	if c.Text != "" {
		out = append(out, c.Text)
	}
	if c.Hold {
		out = append(out, m.keyFor("hold")+" puts it into holding water instead.")
	}
	w := strings.Join(out, " ")
	m.said = w + " " + words.Sentence(m.keyFor("move")) + " again does it all the same."
}

// pickNumber is a number that was pressed.
func (m *Model) pickNumber(n int) tea.Cmd {
	m.standAt()
	return m.told(m.hands.Number(n, m.screen == Field))
}

// other goes on to the next sheet, or to the next of those that are asked about.
func (m *Model) other() tea.Cmd {
	m.standAt()
	a := m.hands.Other()
	if a.Outcome != desk.Picked {
		return m.told(a)
	}
	m.field.id = a.Target.Sheet
	return m.announce(m.keyFor("move")+": "+m.aims(), m.nextPress())
}

// picks says of a sheet that was picked where it stands, and of one that is over
// how it ended.
func (m *Model) picks(s *session.Sheet) tea.Cmd {
	sv := m.seen(s)
	text := fmt.Sprintf("sheet %d: %s", s.Num, PhaseText(s))
	if sv.Stage != "" {
		text = fmt.Sprintf("sheet %d: %s; %s", s.Num, sv.Label, Stands(sv))
	}
	return m.announce(ember.SafeText(text), m.standing(sv))
}

// back is backspace: it takes back the last deed, of whatever sheet and on
// whatever screen, or of the sheet that was picked.
func (m *Model) back() tea.Cmd {
	m.standAt()
	was := m.desk.M.Applied()
	d, err := m.hands.Back()
	switch {
	case errors.Is(err, desk.ErrNoDeed):
		return m.announce(say.NothingToUndo.Of().String()) // the desk has said it
	case errors.Is(err, desk.ErrLongAgo):
		ago := m.desk.M.T(m.desk.Now()) - d.T
		what, l := "its pinhole was opened", say.UndoOpening.Of(say.Left(ago))
		if d.Kind == session.ExposureEnded {
			what, l = "its exposure ended", say.UndoEnding.Of(say.Left(ago))
		}
		return m.announce(fmt.Sprintf("sheet %d: %s %s ago. %s again takes it back.", d.Num, what, words.CountUp(ago), words.Sentence(m.keyFor("back"))), l.To(say.Num(d.Num)))
	case err != nil && m.desk.M.Applied() == was:
		return m.announce("this cannot be taken back: " + err.Error())
	}
	if d.Sheet != "" {
		m.field.id = d.Sheet
	}
	m.said = undone(d)
	if !(session.Undo{What: d.Kind}).Move() {
		m.desk.Say(say.TakenBack.Of(say.What(d.Kind)).To(say.Num(d.Num))) // a move has its own cue
	}
	return nil
}

// undone says what was taken back.
func undone(d session.Deed) string {
	if own := undoneIs[d.Kind]; own != "" {
		return fmt.Sprintf("sheet %d%s", d.Num, own)
	}
	if d.Num > 0 {
		return fmt.Sprintf("sheet %d: taken back: %s", d.Num, say.What(d.Kind).Words())
	}
	return "taken back: " + say.What(d.Kind).Words()
}

var undoneIs = map[session.Kind]string{
	session.Spoiled:       " is not spoiled: it is where it was, and its clocks have gone on",
	session.ExposureBegun: ": the opening is taken back. Cover the pinhole; the light that fell counts",
	session.ExposureEnded: ": the exposure goes on, as if it had not ended",
	session.Moved:         ": the last move is taken back",
	session.Held:          ": the last move is taken back",
	session.SheetAdded:    " is taken away again",
}

// stretch gives the step that runs more time or less.
func (m *Model) stretch(way int) tea.Cmd {
	t, err := m.hands.Stretch(way)
	switch {
	case errors.Is(err, desk.ErrNoStep):
		return m.announce(say.NoStep.Of().String())
	case err != nil:
		return m.announce(err.Error())
	}
	s := m.desk.M.Sheet(t.Sheet)
	v := s.Visit()
	return m.announce(fmt.Sprintf("sheet %d: %s, %s, for this sheet", s.Num, v.Label, words.Finished(v.AtMost)), say.StepTime.Of(say.In(v.Stage), say.Left(v.AtMost)).To(say.Num(s.Num)))
}

// onlyBox reports whether p can only be about a box of paper: no sheet waits dry
// to come out or to be put away.
func (m *Model) onlyBox() bool {
	s := m.acting()
	return s == nil || s.Phase != session.Fresh && s.Phase != session.Exposed
}

// box is a box of paper that is opened, or put away.
func (m *Model) box() tea.Cmd {
	e, l := session.Event{Kind: session.BoxOpened}, say.BoxOpen.Of()
	if m.desk.M.BoxOpen() {
		e.Kind, l = session.BoxAway, say.BoxAway.Of()
	}
	if m.do(e) == nil {
		return m.announce(l.String(), l)
	}
	return nil
}

// withdraw takes away a sheet that was added by mistake.
func (m *Model) withdraw(s *session.Sheet) tea.Cmd {
	if m.do(session.Event{Kind: session.SheetWithdrawn, Sheet: s.ID}) != nil {
		return nil
	}
	m.hands.Unpick()
	l := say.TakenAway.Of(say.Sheet(s.Num))
	return m.announce(l.String()+"; "+m.keyFor("back")+" brings it back", l)
}

// setLead begins or ends that the program leads.
func (m *Model) setLead(on bool) tea.Cmd {
	if m.desk.Lead(on) == nil {
		if m.said = say.NotLeading.Of().String(); on {
			m.said = "the program leads: each move is counted in and taken as done; " + m.keyFor("move") + " within 8 s sets it right"
		}
	}
	return nil
}

// didIt says what was done.
func (m *Model) didIt(t desk.Target, s *session.Sheet) tea.Cmd {
	m.said = ""
	switch t.Deed {
	case session.ExposureBegun:
		m.said = fmt.Sprintf("sheet %d: the pinhole is open; %s takes it back", s.Num, m.keyFor("back"))
	case session.ExposureEnded:
		m.said = fmt.Sprintf("sheet %d: the exposure is over; it waits for the trays", s.Num)
	case session.Confirmed:
		return m.tell(say.LedTrue.Of(say.Sheet(t.Num)))
	case session.ImageSeen:
		m.said = fmt.Sprintf("sheet %d: image seen after %s", s.Num, words.Finished(s.Emerged))
	case session.WaterChanged:
		return m.tell(say.WaterChanged.Of())
	}
	m.field.id = t.Sheet
	return nil
}
