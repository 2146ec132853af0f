package tui

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/charmbracelet/bubbles/key"
	tea "github.com/charmbracelet/bubbletea"

	"wetside/session"
	"wetside/session/bench"
	"wetside/session/desk"
	"wetside/session/say"
	"wetside/session/words"
	"wetside/tui/ember"
)

// The keys of the trays that others know too. The three that matter are the largest on
// the keyboard.
var trayKeys = struct{ Move, Undo, Pick, Note, Spoil, Withdraw key.Binding }{
	Move:     on("space", "move on", " "),
	Undo:     on("backspace", "undo"),
	Pick:     on("1-9", "pick a sheet", "0", "1", "2", "3", "4", "5", "6", "7", "8", "9"),
	Note:     on("o", "note"),
	Spoil:    on("x", "spoiled"),
	Withdraw: on("delete", "take the sheet away"),
}

var trayDeeds = []deed{
	{trayKeys.Move, (*Model).act},
	{keys.Where, (*Model).where},
	{trayKeys.Undo, nil},
	{on("i", "image seen"), (*Model).imageSeen},
	{trayKeys.Pick, nil},
	{on("up", "half a minute more"), func(m *Model) tea.Cmd { return m.stretch(+1) }},
	{on("down", "half a minute less"), func(m *Model) tea.Cmd { return m.stretch(-1) }},
	{on("h", "hold in water"), ofSheet((*Model).hold)},
	{on("w", "water changed"), (*Model).changeWater},
	{on("p", "paper out / put away"), (*Model).paper},
	{on("m", "mark this moment"), ofSheet((*Model).mark)},
	{trayKeys.Note, ofSheet((*Model).askNote)},
	{trayKeys.Spoil, func(m *Model) tea.Cmd { return m.spoil(m.acting()) }},
	{trayKeys.Withdraw, ofSheet((*Model).withdraw)},
	{on("b", "fresh bath"), (*Model).freshBath},
	{on("l", "lead"), func(m *Model) tea.Cmd { return m.setLead(!m.desk.M.Leading()) }},
	{keys.Other, nil},
}

// ofSheet is a deed with the sheet that a key of the trays is for.
func ofSheet(do func(*Model, *session.Sheet) tea.Cmd) func(*Model) tea.Cmd {
	return func(m *Model) tea.Cmd {
		if s := m.acting(); s != nil {
			return do(m, s)
		}
		return m.noSheet()
	}
}

// Trays is where sheets are developed, fixed and washed.
const Trays Screen = "trays"

type trays struct{ fixed }

func (*trays) name() Screen { return Trays }

func (*trays) keys(m *Model) []key.Binding {
	ks := withWords(trayDeeds)
	for i, b := range ks {
		switch name := b.Help().Key; {
		case name == "up" && m.hands.StretchBy(+1) < 30*time.Second:
			ks[i].SetHelp(name, "ten seconds more")
		case name == "down" && m.hands.StretchBy(-1) < 30*time.Second:
			ks[i].SetHelp(name, "ten seconds less")
		}
	}
	return ks
}

// acting returns the sheet that a key is for: the one picked by number, else
// the one that a press of the large key is for.
func (m *Model) acting() *session.Sheet {
	m.standAt()
	return m.desk.M.Sheet(m.hands.Aim().Sheet)
}

// span is a length of the user's own time, in session time: in a rehearsal at
// twenty times life the user is not faster.
func (m *Model) span(d time.Duration) time.Duration {
	_, pace := m.desk.M.Rehearsal()
	return time.Duration(float64(d) * max(1, pace))
}

func (*trays) press(m *Model, k tea.KeyMsg) tea.Cmd {
	if do := deedOf(trayDeeds, k); do != nil {
		return do(m)
	}
	return ofSheet(func(*Model, *session.Sheet) tea.Cmd { return nil })(m)
}

func (m *Model) imageSeen() tea.Cmd {
	a := m.hands.Seen()
	if a.Outcome == desk.Idle {
		return m.tell(say.NotInDeveloper.Of())
	}
	return m.told(a)
}

// changeWater is of the wash that calls for it, else of the first.
func (m *Model) changeWater() tea.Cmd {
	called := m.hands.Aim()
	for _, sv := range m.desk.M.View(m.desk.Now()).Sheets {
		if sv.Stage == session.Wash && (called.Deed != session.WaterChanged || sv.Bath == called.Bath) {
			if m.do(session.Event{Kind: session.WaterChanged, Bath: sv.Bath}) == nil {
				return m.tell(say.WaterChanged.Of())
			}
			return nil
		}
	}
	return m.answer("no sheet is in the wash", say.NothingInWash.Of())
}

func (m *Model) hold(s *session.Sheet) tea.Cmd {
	left, err := m.desk.Hold(s)
	if err != nil {
		return m.announce(err.Error())
	}
	m.hands.Unpick()
	if left > 0 {
		return m.announce(fmt.Sprintf("sheet %d is held, and not fixed: %s left. backspace puts it back", s.Num, words.Countdown(left)), say.NotFixed.Of(say.Sheet(s.Num), say.Left(left)))
	}
	return nil
}

// paper is a sheet, or the box, that comes out or is put away.
func (m *Model) paper() tea.Cmd {
	if m.desk.M.BoxOpen() || m.onlyBox() {
		return m.box()
	}
	s := m.acting()
	e := session.Event{Kind: session.SheetOut, Sheet: s.ID}
	word, line := "paper is out", say.PaperOut.Of(say.Sheet(s.Num))
	if s.Out {
		e.Kind, word, line = session.SheetAway, "paper is covered", say.PaperAway.Of(say.Sheet(s.Num))
	}
	if m.do(e) == nil {
		return m.announce(fmt.Sprintf("sheet %d: %s", s.Num, word), line)
	}
	return nil
}

func (m *Model) mark(s *session.Sheet) tea.Cmd {
	if m.do(session.Event{Kind: session.Marked, Sheet: s.ID}) == nil {
		return m.announce(fmt.Sprintf("sheet %d: mark %d, to be named in the notebook", s.Num, len(s.Marks)), say.Marked.Of().To(say.Num(s.Num)))
	}
	return nil
}

// noSheet says that there is nothing a key of the trays could be for.
func (m *Model) noSheet() tea.Cmd {
	if s := m.desk.Outside(); s != nil {
		return m.answer(m.whereabouts(s), m.whereIs(s))
	}
	return m.tell(say.NoSheet.Of())
}

// number is the sheet that a digit stands for; 0 is the tenth.
func number(k tea.KeyMsg) int {
	if n := int(k.String()[0] - '0'); n > 0 {
		return n
	}
	return 10
}

func (x *trays) view(m *Model, v session.View, h int) string {
	return m.drawFace(x.face(m, v), m.width, h).render(m.styles)
}

// face is the sheet that is due, what the next press does, and the evening.
func (*trays) face(m *Model, v session.View) face {
	f := face{line: m.evening(v), notes: m.accounts(v), deed: m.aims()}
	due := v.Due
	if s := m.hands.Picked(); s != nil && s.Phase == session.Wet {
		due = s.ID
	}
	acting := m.acting()
	if s, ok := v.Sheet(due); ok && s.Stage != "" {
		f.inBath(m, s)
	} else if acting != nil && !desk.Unexposed(acting) {
		f.title, f.about = fmt.Sprintf("%d next", acting.Num), []string{acting.Spec.Name}
		f.more = fmt.Sprintf("%s is next: %s puts it into %s", strings.TrimSpace(fmt.Sprintf("sheet %d %s", acting.Num, acting.Spec.Name)), m.keyFor("move"), words.The(tray(acting.Spec.Process.Steps[0])))
	} else if s := m.desk.Outside(); s != nil {
		f.title, f.about = "field", []string{s.Spec.Name}
		f.more = m.whereabouts(s)
	} else {
		f.title = "no sheet"
		f.more = "no sheet waits: add one on the bench (shift+tab, twice)"
		if ks := bench.ByMaker(m.desk.M.Sheets()); len(ks) > 1 || len(ks) == 1 && ks[0].Maker != "" {
			for _, k := range ks {
				f.more += "\n" + k.Words()
			}
		}
	}
	if m.desk.M.Leading() {
		f.also = append(f.also, "the program leads")
	}
	f.also = append(f.also, m.mayGoIn(v)...)
	return f
}

// inBath tells of the sheet in a bath that is called next.
func (f *face) inBath(m *Model, s session.SheetView) {
	f.title, f.clock = fmt.Sprintf("%d %s", s.Num, s.Label), clockOf(s)
	f.about = []string{m.called(s), s.Label + ", then " + cmp.Or(s.NextIs, "done")}
	is := doing(s)
	if s.Judge && s.Over == 0 {
		is += fmt.Sprintf(" (%s to %s)", words.Finished(s.AtLeast), words.Finished(s.AtMost))
	}
	f.also = append(f.also, is)
}

// called is a sheet by name, and whose it is where there are several people.
func (m *Model) called(s session.SheetView) string {
	if s.Maker != "" && m.several() {
		return strings.TrimSpace(s.Name + ", " + s.Maker)
	}
	return s.Name
}

// several reports whether the sheets are of more than one person.
func (m *Model) several() bool {
	all := m.desk.M.Sheets()
	return slices.ContainsFunc(all, func(s *session.Sheet) bool { return s.Spec.Maker != all[0].Spec.Maker })
}

// evening is the line of time of the trays: what the sheets went through, and what
// the plan has for them.
func (m *Model) evening(v session.View) timeline {
	l := timeline{now: v.T, clock: func(t time.Duration) time.Time { return m.desk.M.At(t).Wall }}
	plan, _ := m.desk.Evening(v.T)
	ids := slices.Clone(v.Need)
	for _, s := range m.desk.M.Sheets() {
		if s.Phase == session.Fresh || s.Phase == session.Exposed {
			ids = append(ids, s.ID)
		}
	}
	for _, id := range ids {
		s := m.desk.M.Sheet(id)
		if s == nil || s.Phase == session.Exposing || desk.Unexposed(s) {
			continue
		}
		sv, _ := v.Sheet(id)
		r := timeRow{label: fmt.Sprintf("%d %s", s.Num, s.Spec.Name), role: ember.Border, right: l.leaves(v, sv, plan)}
		if id == v.Due || sv.Over > 0 {
			r.role = ember.Normal
		} else if s.Phase == session.Wet {
			r.role = ember.Faint
		}
		r.stays(s, sv, plan.Moves[id], v.T)
		l.rows = append(l.rows, r)
	}
	return l
}

// leaves says when a sheet goes in, or how long it stays where it is.
func (l timeline) leaves(v session.View, sv session.SheetView, plan *desk.Plan) string {
	goes, known := plan.Goes[sv.ID]
	at := func(t time.Duration) string { return l.clock(t).Format(time.TimeOnly) }
	switch {
	case sv.Visit == 0 && known && goes >= v.T:
		return "goes in " + at(goes)
	case sv.Visit == 0:
		return ""
	case known && goes > sv.Ends && slices.Contains([]session.Stage{session.Rinse, session.Hold, session.Wash}, sv.Stage):
		return "stays to " + at(goes)
	case sv.ID == v.Due && sv.Over == 0 && sv.Stage != session.Hold:
		return "ends " + at(sv.Ends) // what is left of it stands large above
	}
	return sv.Label + " " + clockOf(sv)
}

// stays puts in where the sheet was, and where the plan has it from now on.
func (r *timeRow) stays(s *session.Sheet, sv session.SheetView, moves []time.Duration, now time.Duration) {
	for i, x := range s.Visits {
		to := x.Out
		if i == len(s.Visits)-1 && s.Phase == session.Wet {
			to = sv.Ends
			if len(moves) > 0 {
				to = moves[0]
			}
			to = max(to, now+1)
		}
		r.spans = append(r.spans, timeSpan{x.In, to, x.Label})
		r.ticks = append(r.ticks, x.In)
	}
	r.ticks = append(r.ticks, moves...)
	steps := s.Spec.Process.Steps
	for i, n := 1, max(0, s.NextStep()); i < len(moves) && n < len(steps); i, n = i+1, n+1 {
		r.spans = append(r.spans, timeSpan{moves[i-1], moves[i], steps[n].Label()})
	}
}

// tray is what one calls the place a step happens in.
func tray(st session.Step) string {
	if st.Bath != "" {
		return st.Bath
	}
	return st.Label()
}
