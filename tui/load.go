package tui

import (
	"fmt"
	"strings"

	tea "github.com/charmbracelet/bubbletea"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/say"
	"wetside/tui/ember"
)

// loading is the way of a sheet into its camera, or out of it, by voice: one step, one
// press. What is true after a step is written down with the press that ends it, so
// that the safelight's account runs from the box to the lid.
type loading struct {
	steps []loadStep // none: nobody is at it
	at    int
	sheet string
	tap   session.Tap
}

// A loadStep is what is to be done before the next press. Kind is the fact that the
// press makes; empty: none.
type loadStep struct {
	short, text string
	line        say.Line
	kind        session.Kind
}

// loadSteps and unloadSteps: common practice, no source. That a sheet curls towards
// its emulsion, and that the emulsion has the more gloss, holds of most papers and not
// of all; try it in the light with a sheet that is spent.
var loadSteps = []loadStep{
	{"box", "When the room is dark but for the safelight: press, and then open the box.", say.LoadOpen.Of(), session.BoxOpened},
	{"sheet", "Take one sheet out of the box.", say.LoadTake.Of(), session.SheetOut},
	{"emulsion", "Find the emulsion side: the sheet curls towards it, and under the safelight it shines more than the back. Touch the edges only, with dry hands.", say.LoadSide.Of(), ""},
	{"facing", "Lay it in, the emulsion side facing the hole.", say.LoadFace.Of(), ""},
	{"hole", "The hole: shut, and taped.", say.LoadHole.Of(), ""},
	{"lid", "The lid: on.", say.LoadLid.Of(), session.Loaded},
	{"rest", "The rest of the paper: back into its bag, and the bag into the box.", say.LoadRest.Of(), ""},
	{"shut", "The box: shut.", say.LoadShut.Of(), session.BoxAway},
}

var unloadSteps = []loadStep{
	{"lid", "When the room is dark but for the safelight: press, and then take the lid off.", say.UnloadLid.Of(), session.SheetOut},
	{"out", "Take the sheet out of the camera. It may go into the trays at once: esc, and tab to them.", say.UnloadTake.Of(), session.Unloaded},
	{"away", "Put it into a bag of its own, apart from what had no light, and shut it into a box.", say.UnloadAway.Of(), session.SheetAway},
}

var loadDeeds = []deed{
	{roomKeys.Tick, func(m *Model) tea.Cmd { return m.room.load.press(m) }},
	{roomKeys.Leave, func(m *Model) tea.Cmd { return m.room.load.leave(m) }},
	{keys.Where, func(m *Model) tea.Cmd { m.room.load.speak(m); return nil }},
}

func (l *loading) on() bool { return len(l.steps) > 0 }

// ask asks which camera: one that is empty is loaded, one that holds a sheet is
// emptied.
func (l *loading) ask(m *Model) tea.Cmd {
	cams := m.cfg.Cameras[:min(len(m.cfg.Cameras), 9)]
	if len(cams) == 0 {
		return m.answer("there is no camera yet: n on the bench makes one", say.NoCamera.Of())
	}
	var names []string
	lines := []say.Line{say.LoadWhich.Of()}
	for i, c := range cams {
		name := fmt.Sprintf("%d %s", i+1, c.Name)
		if s := m.desk.M.Holds(c.Key); s != nil {
			name += fmt.Sprintf(" (holds sheet %d, %s)", s.Num, PhaseText(s))
		} else if s := l.waits(m, c.Key); s != nil {
			name += fmt.Sprintf(" (for sheet %d)", s.Num)
		}
		names = append(names, name)
		lines = append(lines, say.FieldNamed.Of("camera", say.Name{Text: c.Name, Nth: i + 1}))
	}
	if m.desk.M.BoxOpen() {
		names = append(names, "0 none: shut the box, which is open")
	}
	q := &question{text: ember.SafeText("Load or empty which camera? " + strings.Join(names, "; ") + ". Press its number."), lines: saying(lines...)}
	again := func() tea.Cmd {
		m.ask = q
		return m.answer("press its number; esc leaves it", say.LoadWhich.Of())
	}
	q.yes, q.no = again, again
	q.leave = func() tea.Cmd { return m.tell(say.LeftAsItWas.Of()) }
	q.digit = func(n int) tea.Cmd {
		switch {
		case n == 0 && m.desk.M.BoxOpen():
			l.begin(m, "", loadSteps[len(loadSteps)-2:])
			return nil
		case n < 1 || n > len(cams):
			return again()
		}
		return l.choose(m, cams[n-1])
	}
	m.ask = q
	q.speakLines(m)
	return nil
}

// waits is the first sheet for a camera that had no light and is not in it.
func (l *loading) waits(m *Model, camera string) *session.Sheet {
	var first *session.Sheet
	for _, s := range m.desk.M.Sheets() {
		if s.Spec.Camera != camera || s.Phase != session.Fresh || s.InCamera() || s.Light.OpenFor(m.desk.M.Now()) > 0 {
			continue
		}
		if s.Out {
			return s // it was begun with, and left
		}
		if first == nil {
			first = s
		}
	}
	return first
}

func (l *loading) choose(m *Model, c Choice) tea.Cmd {
	if s := m.desk.M.Holds(c.Key); s != nil {
		text := fmt.Sprintf("The %s holds sheet %d already, %s. Take it out?", c.Name, s.Num, PhaseText(s))
		m.ask = &question{text: ember.SafeText(text), lines: saying(say.AskUnload.Of(say.Sheet(s.Num))),
			yes: func() tea.Cmd { l.begin(m, s.ID, unloadSteps); return nil },
			no:  func() tea.Cmd { return m.tell(say.LeftAsItWas.Of()) }}
		m.ask.speakLines(m)
		return nil
	}
	s := l.waits(m, c.Key)
	if s == nil {
		v := m.form.value()
		plan, err := m.cfg.Plan(profiles.Form{Paper: v.Paper, Process: v.Process, Camera: c.Key})
		if err == nil {
			s, err = m.desk.Add(plan.Spec)
		}
		if err != nil {
			return m.refuse(err)
		}
	}
	l.begin(m, s.ID, loadSteps)
	return nil
}

// begin goes to the first step that is still to be done: after a kill the box may be
// open, and the sheet out.
func (l *loading) begin(m *Model, sheet string, steps []loadStep) {
	l.steps, l.sheet, l.at = steps, sheet, 0
	for l.at < len(steps)-1 && l.is(m, steps[l.at].kind) {
		l.at++
	}
	m.light() // the lamps go down before the box is opened
	l.speak(m)
}

// is reports whether a fact is so already.
func (l *loading) is(m *Model, k session.Kind) bool {
	s := m.desk.M.Sheet(l.sheet)
	switch k {
	case session.BoxOpened:
		return m.desk.M.BoxOpen()
	case session.SheetOut:
		return s != nil && s.Out
	}
	return false
}

func (l *loading) speak(m *Model) { m.desk.Say(l.steps[l.at].line) }

// press confirms the step.
func (l *loading) press(m *Model) tea.Cmd {
	if !l.tap.Press(m.desk.Hand()) {
		m.tap = true // it was one press, and is answered
		return nil
	}
	if k := l.steps[l.at].kind; k != "" {
		e := session.Event{Kind: k, Sheet: l.sheet}
		if k == session.BoxOpened || k == session.BoxAway {
			e.Sheet = ""
		}
		if m.do(e) != nil {
			return nil
		}
	}
	if l.at++; l.at < len(l.steps) {
		l.speak(m)
		return nil
	}
	s, in := m.desk.M.Sheet(l.sheet), l.steps[0].kind == session.BoxOpened
	l.steps = nil
	switch {
	case s == nil:
		m.said = say.BoxAway.Of().String()
		m.desk.Say(say.BoxAway.Of())
	case in:
		m.said = ember.SafeText(fmt.Sprintf("sheet %d is in the %s, and the box is shut", s.Num, s.Spec.Camera))
		m.desk.Say(say.LoadedNow.Of(say.Sheet(s.Num)))
	default:
		m.said = ember.SafeText(fmt.Sprintf("sheet %d is out of the %s, and put away", s.Num, s.Spec.Camera))
		m.desk.Say(say.UnloadedNow.Of(say.Sheet(s.Num)))
	}
	m.light()
	return nil
}

// back goes one step back, and takes back what its press had written down.
func (l *loading) back(m *Model) tea.Cmd {
	if l.at == 0 {
		return m.tell(say.NothingToUndo.Of())
	}
	if k := l.steps[l.at-1].kind; k != "" {
		d, ok := m.desk.M.LastDeed("")
		if !ok || d.Kind != k || d.Sheet != "" && d.Sheet != l.sheet {
			return m.tell(say.NothingToUndo.Of())
		}
		if err := m.desk.TakeBack(d); err != nil {
			return m.announce(ember.SafeText(err.Error()))
		}
	}
	l.at--
	l.speak(m)
	return nil
}

// leave ends it in the midst: what is out stays out, and is said so.
func (l *loading) leave(m *Model) tea.Cmd {
	l.steps = nil
	m.light()
	m.desk.Say(say.LoadLeft.Of())
	m.said = "stopped halfway; l goes on with it"
	if m.desk.M.PaperOut() {
		m.said = "stopped halfway, and paper is out; l goes on with it"
	}
	return nil
}

func (l *loading) view(m *Model, h int) string {
	margin := m.margin()
	var rows []textRow
	put := func(role ember.Role, text string) { rows = append(rows, m.paraRows(role, text)...) }
	step, head := l.steps[l.at], "the box of paper"
	if s := m.desk.M.Sheet(l.sheet); s != nil {
		head = fmt.Sprintf("sheet %d, %s", s.Num, s.Spec.Camera)
	}
	put(ember.Faint, fmt.Sprintf("%s: step %d of %d", head, l.at+1, len(l.steps)))
	rows = append(rows, textRow{})
	if big, ok := ember.Letters(step.short); ok && h >= 14 {
		for _, b := range big {
			rows = append(rows, textRow{parts: []part{{margin, ember.Large, b}}})
		}
		rows = append(rows, textRow{})
	}
	put(ember.Strong, step.text)
	return drawRows(m, rows, h)
}
