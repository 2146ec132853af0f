package tui

import (
	"time"

	"github.com/charmbracelet/bubbles/key"
	"github.com/charmbracelet/bubbles/textinput"
	tea "github.com/charmbracelet/bubbletea"

	"wetside/session"
	"wetside/session/desk"
	"wetside/session/say"
)

// This file is what the screens say aloud of what they show.

// standing says how far a sheet is.
func (m *Model) standing(s session.SheetView) say.Line {
	to := say.Num(s.Num)
	switch {
	case s.Phase == session.Exposing && !s.Open:
		return say.StandsCovered.Of(say.Left(s.Left)).To(to)
	case s.Stage == session.Hold:
		return say.StandsWaiting.Of(say.In(s.Stage)).To(to)
	case s.Stage != "" && s.Left > 0:
		return say.StandsLeft.Of(say.In(s.Stage), say.Left(s.Left)).To(to)
	case s.Stage != "":
		return say.StandsOver.Of(say.In(s.Stage), say.Left(max(s.Over, time.Second))).To(to)
	case s.Phase == session.Exposed:
		return say.StandsExposed.Of(say.Left(s.Elapsed)).To(to)
	case s.Phase == session.Finished:
		return say.StandsDone.Of().To(to)
	case s.Phase == session.Ruined:
		return say.StandsSpoiled.Of().To(to)
	}
	if !desk.Unexposed(m.desk.M.Sheet(s.ID)) {
		return say.StandsReady.Of().To(to)
	}
	return say.StandsNew.Of().To(to)
}

// stands says how far n of the sheets are whose clocks run, from the one that
// needs the user soonest on, and that there are more.
func (m *Model) stands(v session.View, from, n int) (out []say.Line) {
	for _, id := range v.Need[min(from, len(v.Need)):min(from+n, len(v.Need))] {
		s, _ := v.Sheet(id)
		out = append(out, m.standing(s))
	}
	switch more := len(v.Need) - from - n; {
	case more > 0:
		out = append(out, say.AndMore.Of(say.Number(more)))
	case len(v.Need) == 0:
		out = append(out, say.NothingRuns.Of())
		if next := m.desk.Next(); next != nil {
			out = append(out, say.NextGoesIn.Of(say.Sheet(next.Num)))
		} else if s := m.desk.Outside(); s != nil {
			out = append(out, say.NextExpose.Of(say.Sheet(s.Num)))
		}
	}
	return out
}

// againFor is within how much a second press of where asks for the rest.
const againFor = 8 * time.Second

// where says aloud what is due next, and pressed again the rest; it shows where
// each sheet stands, the one that needs the user soonest first.
func (m *Model) where() tea.Cmd {
	v := m.desk.M.View(m.desk.Now())
	m.said = whereText(v)
	if aims := m.aims(); aims != "" { // first of all: it is what one asks for with wet hands
		m.said = m.keyFor("move") + ": " + aims + ". " + m.said
	}
	now := m.desk.Hand()
	if again := !m.askedAt.IsZero() && now.Sub(m.askedAt) < againFor && len(v.Need) > 1; again {
		m.askedAt = session.Instant{}
		m.desk.Say(m.stands(v, 1, len(v.Need))...)
		return nil
	}
	m.askedAt = now
	var ls []say.Line
	if l := m.nextPress(); !l.IsZero() {
		ls = append(ls, l)
	}
	first := m.stands(v, 0, 1)
	if len(ls) > 0 && len(v.Need) == 1 {
		first[0] = first[0].To(0) // its number was said
	}
	m.desk.Say(append(ls, first...)...)
	return nil
}

// edit gives a key to a line of text, and spells what was typed, or what the cursor is
// on now, to who does not see it.
func (m *Model) edit(in *textinput.Model, k tea.KeyMsg) tea.Cmd {
	text, at := in.Value(), in.Position()
	var cmd tea.Cmd
	*in, cmd = in.Update(k)
	letter := ""
	switch r := []rune(in.Value()); {
	case k.Paste:
	case k.Type == tea.KeyRunes && len(k.Runes) == 1, k.Type == tea.KeySpace, k.Type == tea.KeyBackspace:
		letter = k.String()
	case in.Value() != text:
		letter = "delete"
	case in.Position() == at:
	case in.Position() < len(r):
		letter = string(r[in.Position()])
	default: // behind the last
		letter = "right"
	}
	if letter != "" && m.speaks() {
		m.desk.Say(say.Letter.Of(say.Key(letter)))
	}
	return cmd
}

// sayKey says what a key does that was taken.
func (m *Model) sayKey(k tea.KeyMsg) {
	ks := m.up().keys(m)
	if m.ask != nil {
		ks = m.ask.keys()
	}
	for _, b := range append(ks, keys.Louder, keys.Glow, keys.Help) {
		if key.Matches(k, b) && b.Help().Desc != "" {
			m.desk.Say(say.KeyIs.Of(say.Key(k.String()), say.Deed(b.Help().Desc)))
			return
		}
	}
	m.desk.Say(say.Place.Of(say.Where(m.screen)))
}

// sayKeys says the keys of the place, to who does not see them.
func (m *Model) sayKeys() {
	if !m.speaks() {
		return
	}
	if m.first.on {
		m.first.say(m)
		return
	}
	ls := []say.Line{say.KeysOf.Of(say.Where(m.screen))}
	for _, b := range m.up().keys(m) {
		if b.Enabled() && len(b.Keys()) > 0 {
			ls = append(ls, say.KeyIs.Of(say.Key(b.Keys()[0]), say.Deed(b.Help().Desc)))
		}
	}
	m.desk.Say(ls...)
}

// A notUnderstood is an answer that could not be read.
type notUnderstood struct{ error }

func (notUnderstood) Line() say.Line { return say.NotUnderstood.Of() }

func (n notUnderstood) Unwrap() error { return n.error }

// notWritten is that events wait for the disk.
type notWritten struct{}

func (notWritten) Error() string  { return "notebook" }
func (notWritten) Line() say.Line { return say.NotWritten.Of() }

// cautions are what is said before a move that would do harm unseen.
func cautions(c desk.Caution, s *session.Sheet) (out []say.Line) {
	n, left := say.Sheet(s.Num), say.Left(c.Left)
	for _, h := range c.Harms {
		switch h {
		case desk.NoExposure:
			out = append(out, say.NotExposed.Of(n))
		case desk.LightLeft:
			out = append(out, say.NotEnded.Of(n, left))
		case desk.NotFixed:
			out = append(out, say.NotFixed.Of(n, left))
		case desk.NotWashed:
			out = append(out, say.NotWashed.Of(n, left))
		case desk.CameraEmpty:
			out = append(out, say.CameraEmpty.Of(n))
		case desk.HoldsOther:
			if other := say.Sheet(c.Other.Num); c.Other.Phase == session.Fresh {
				out = append(out, say.CameraHolds.Of(other))
			} else {
				out = append(out, say.HoldsExposed.Of(other))
			}
		case desk.DirtiesWash:
			out = append(out, say.WouldSpoilWash.Of(n))
		case desk.BathSpent:
			if next := s.NextStep(); next >= 0 {
				out = append(out, say.IsSpent.Of(say.Bath(s.Spec.Process.Steps[next].Stage)))
			}
		}
	}
	return append(out, say.PressAgain.Of())
}

// whichOf asks which of several is meant.
func whichOf(ts []desk.Target) say.Line {
	var n say.Nums
	for _, t := range ts {
		n |= say.Num(t.Num)
	}
	return say.WhichOf.Of().To(n)
}

// nextPress says what a press does now; the zero line: nothing.
func (m *Model) nextPress() say.Line {
	m.standAt()
	a := m.hands.Aim()
	if _, gone := m.hands.Offered(); !gone {
		if ask := m.hands.Asked(); len(ask) > 0 {
			return whichOf(ask)
		}
	}
	switch {
	case m.screen != Field && m.screen != Trays && a.Call != desk.Must:
		return say.Line{}
	case a.Soon != nil:
		return say.First.Of(say.Sheet(a.Soon.Num))
	case len(a.Ask) > 0:
		return whichOf(a.Ask)
	}
	s := m.desk.M.Sheet(a.Target.Sheet)
	switch {
	case s == nil:
		return say.Line{}
	case a.Deed == session.ExposureBegun && m.screen != Field:
		return say.NotExposed.Of(say.Sheet(s.Num))
	case a.Deed == session.Moved:
		return say.PressMove.Of(say.Onto(stageOf(s, s.NextStep()))).To(say.Num(s.Num))
	}
	if l, ok := pressIs[a.Deed]; ok {
		return l.To(say.Num(s.Num))
	}
	return say.Line{}
}

// pressIs is what the large key does, by the deed.
var pressIs = map[session.Kind]say.Line{
	session.ExposureBegun: say.PressOpen.Of(), session.PinholeUncovered: say.PressOpen.Of(),
	session.ExposureEnded: say.PressCover.Of(), session.PinholeCovered: say.PressCover.Of(),
	session.WaterChanged: say.PressWater.Of(),
	session.Confirmed:    say.PressLed.Of(),
}

// seen is how a sheet stands now.
func (m *Model) seen(s *session.Sheet) session.SheetView {
	v, _ := m.desk.M.View(m.desk.Now()).Sheet(s.ID)
	return v
}

// stageOf is the stage of a sheet's step; empty when there is none.
func stageOf(s *session.Sheet, step int) string {
	if step < 0 {
		return say.Out
	}
	return string(s.Spec.Process.Steps[step].Stage)
}

// whereIs says of a sheet in the field where it is.
func (m *Model) whereIs(s *session.Sheet) say.Line {
	if s.Phase == session.Fresh && s.Spec.Exposure <= 0 {
		return say.NoTime.Of().To(say.Num(s.Num))
	}
	return m.standing(m.seen(s))
}

// field says a line of the form and what stands in it.
func (f *form) line() say.Line {
	fl := f.fields[f.at]
	text := fl.input.Value()
	if fl.choices != nil {
		text = fl.choices[fl.chosen].Name
		return say.FieldNamed.Of(say.Field(fl.label), say.Name{Text: text, Nth: fl.chosen + 1})
	}
	if text == "" {
		return say.FieldIs.Of(say.Field(fl.label))
	}
	return say.FieldNamed.Of(say.Field(fl.label), say.Name{Text: text, Nth: 0})
}

// line says the line of the checklist that keys are for.
func (r *room) line() say.Line {
	f := r.items[r.at]
	return say.Check.Of(say.Room(f.Short), say.Confirmed(r.confirmed(f)))
}
