package tui

import (
	"fmt"
	"strings"
	"time"

	"github.com/charmbracelet/bubbles/key"
	tea "github.com/charmbracelet/bubbletea"

	"wetside/session"
	"wetside/session/bench"
	"wetside/session/words"
	"wetside/tui/ember"
)

type trayKeyMap struct {
	Move, Where, Undo, Pick, Seen, Hold, Water, Longer, Shorter, Out, Mark, Note, Spoil, Bath key.Binding
}

// The keys of the trays. The three that matter are the largest on the keyboard.
var trayKeys = trayKeyMap{
	Move:    key.NewBinding(key.WithKeys(" "), key.WithHelp("space", "move on")),
	Where:   keys.Where,
	Undo:    key.NewBinding(key.WithKeys("backspace"), key.WithHelp("backspace", "undo")),
	Pick:    key.NewBinding(key.WithKeys("0", "1", "2", "3", "4", "5", "6", "7", "8", "9"), key.WithHelp("1-9", "pick a sheet")),
	Seen:    key.NewBinding(key.WithKeys("i"), key.WithHelp("i", "seen")),
	Hold:    key.NewBinding(key.WithKeys("h"), key.WithHelp("h", "hold in water")),
	Water:   key.NewBinding(key.WithKeys("w"), key.WithHelp("w", "water changed")),
	Longer:  key.NewBinding(key.WithKeys("up"), key.WithHelp("up", "half a minute more")),
	Shorter: key.NewBinding(key.WithKeys("down"), key.WithHelp("down", "half a minute less")),
	Out:     key.NewBinding(key.WithKeys("p"), key.WithHelp("p", "paper out / put away")),
	Mark:    key.NewBinding(key.WithKeys("m"), key.WithHelp("m", "mark this moment")),
	Note:    key.NewBinding(key.WithKeys("o"), key.WithHelp("o", "note")),
	Spoil:   key.NewBinding(key.WithKeys("x"), key.WithHelp("x", "spoiled")),
	Bath:    key.NewBinding(key.WithKeys("b"), key.WithHelp("b", "fresh bath")),
}

// Trays is where sheets are developed, fixed and washed.
const Trays Screen = "trays"

type trays struct{ fixed }

func (*trays) name() Screen { return Trays }
func (*trays) clip() string { return "trays" }

func (*trays) keys(*Model) []key.Binding {
	k := trayKeys
	return []key.Binding{k.Move, k.Where, k.Undo, k.Seen, k.Pick, k.Longer, k.Shorter, k.Hold, k.Water, k.Out, k.Mark, k.Note, k.Spoil, k.Bath}
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
	v := m.desk.M.View(m.desk.Now())
	switch {
	case key.Matches(k, trayKeys.Move):
		return m.act()
	case key.Matches(k, trayKeys.Where):
		return m.where()
	case key.Matches(k, trayKeys.Undo):
		return m.back()
	case key.Matches(k, trayKeys.Pick):
		return m.pickNumber(number(k))
	case key.Matches(k, trayKeys.Seen):
		// The developer is where an image comes up: the sheet that is in it.
		s := m.hands.Picked()
		if s == nil {
			for _, sv := range v.Sheets {
				if sv.Stage == session.Develop && sv.Emerged == 0 {
					s = m.desk.M.Sheet(sv.ID)
				}
			}
		}
		if s == nil {
			return m.tell("no sheet is in the developer")
		}
		if m.do(session.Event{Kind: session.ImageSeen, Sheet: s.ID}) == nil {
			m.said = fmt.Sprintf("sheet %d: image seen after %s", s.Num, words.Finished(s.Emerged))
		}
		return nil
	case key.Matches(k, trayKeys.Water):
		for _, sv := range v.Sheets {
			if sv.Stage == session.Wash {
				if m.do(session.Event{Kind: session.WaterChanged, Bath: sv.Bath}) == nil {
					return m.tell("water changed")
				}
				return nil
			}
		}
		return m.tell("nothing is in the wash")
	case key.Matches(k, trayKeys.Bath):
		return m.freshBath(v)
	case key.Matches(k, trayKeys.Longer):
		return m.stretch(+1)
	case key.Matches(k, trayKeys.Shorter):
		return m.stretch(-1)
	case key.Matches(k, trayKeys.Out) && (m.desk.M.BoxOpen() || m.onlyBox()):
		return m.box()
	}
	s := m.acting()
	if key.Matches(k, trayKeys.Spoil) {
		return m.spoil(s)
	}
	if s == nil {
		return m.noSheet()
	}
	switch {
	case key.Matches(k, trayKeys.Hold):
		from := 0
		if b := s.Visit(); b != nil {
			from = b.Serial
		}
		if m.do(session.Event{Kind: session.Held, Sheet: s.ID, From: from}) == nil {
			m.hands.Unpick()
		}
	case key.Matches(k, trayKeys.Out):
		e := session.Event{Kind: session.SheetOut, Sheet: s.ID}
		word := "paper is out"
		if s.Out {
			e.Kind, word = session.SheetAway, "paper is covered"
		}
		if m.do(e) == nil {
			m.said = fmt.Sprintf("sheet %d: %s", s.Num, word)
			m.desk.Say(word)
		}
	case key.Matches(k, trayKeys.Mark):
		if m.do(session.Event{Kind: session.Marked, Sheet: s.ID}) == nil {
			m.said = fmt.Sprintf("sheet %d: mark %d, to be named in the notebook", s.Num, len(s.Marks))
			m.desk.Say("marked")
		}
	case key.Matches(k, trayKeys.Note):
		m.askNote(s)
	}
	return nil
}

// noSheet says that there is nothing a key of the trays could be for.
func (m *Model) noSheet() tea.Cmd {
	if s := m.desk.Outside(); s != nil {
		return m.tell(m.whereabouts(s))
	}
	return m.tell("there is no sheet: add one on the bench")
}

// number is the sheet that a digit stands for; 0 is the tenth.
func number(k tea.KeyMsg) int {
	if n := int(k.String()[0] - '0'); n > 0 {
		return n
	}
	return 10
}

// traysView is the big figure of the sheet that is due, what to do, what is
// next, and a line for every other sheet.
func (*trays) view(m *Model, v session.View, h int) string {
	st := m.styles
	var b strings.Builder
	due := v.Due
	if s := m.hands.Picked(); s != nil && s.Phase == session.Wet {
		due = s.ID
	}
	rows := m.rows(v)
	if s, ok := v.Sheet(due); ok && s.Stage != "" {
		b.WriteString(m.figure(s, h-len(rows)-5))
	} else if next := m.desk.Next(); next != nil {
		fmt.Fprintf(&b, "\n%s\n", st.Normal.Render(fmt.Sprintf("sheet %d %s is next: space puts it into the %s",
			next.Num, ember.SafeText(next.Spec.Name), ember.SafeText(tray(next.Spec.Process.Steps[0])))))
	} else if s := m.desk.Outside(); s != nil {
		fmt.Fprintf(&b, "\n%s\n", st.Normal.Render(wrap(m.whereabouts(s), max(1, m.width-2))))
	} else {
		fmt.Fprintf(&b, "\n%s\n", st.Normal.Render("no sheet waits: add one on the bench (shift+tab, twice)"))
		for _, k := range bench.ByMaker(m.desk.M.Sheets()) {
			fmt.Fprintf(&b, "%s\n", st.Normal.Render(ansiCut(ember.SafeText(k.Words()), m.width)))
		}
	}
	for _, l := range m.benchLines(v) {
		fmt.Fprintf(&b, "%s\n", st.Normal.Render(l))
	}
	b.WriteString("\n")
	b.WriteString(strings.Join(rows, "\n"))
	return b.String()
}

// digits draws a time as large as the room for it allows.
func (m *Model) digits(t string, room int) []string {
	size := ember.Fit(t, m.width-2, max(1, room))
	if m.cfg.Profile == ember.LinuxConsole {
		return ember.FigureASCII(t, size)
	}
	return ember.Figure(t, size)
}

// tray is what one calls the place a step happens in.
func tray(st session.Step) string {
	if st.Bath != "" {
		return st.Bath
	}
	return st.Label()
}

func (m *Model) figure(s session.SheetView, room int) string {
	st := m.styles
	t := words.Countdown(s.Left)
	if s.Over > 0 {
		t = "+" + words.CountUp(s.Over)
	}
	if s.Stage == session.Hold {
		t = words.CountUp(s.Elapsed)
	}
	lines := m.digits(t, room)
	title := fmt.Sprintf("%d %s", s.Num, s.Label)
	if s.Name != "" {
		title += "  " + s.Name
	}
	do := doing(s)
	if s.Judge && s.Over == 0 {
		do += fmt.Sprintf("  (%s to %s)", words.Finished(s.AtLeast), words.Finished(s.AtMost))
	}
	style := st.Normal
	if s.Over > 0 || s.Doing == session.Lift {
		style = st.Strong
	}
	next := "last bath"
	if s.NextIs != "" {
		next = "next: " + s.NextIs
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n", st.Strong.Render(ember.SafeText(title)))
	for _, l := range lines {
		fmt.Fprintf(&b, " %s\n", style.Render(l))
	}
	fmt.Fprintf(&b, "%s  %s\n", style.Render(ember.SafeText(do)), st.Faint.Render(ember.SafeText(next)))
	return b.String()
}

// rows is the list of sheets: those that are in the trays, then those that wait.
func (m *Model) rows(v session.View) []string {
	st := m.styles
	var out []string
	order := map[string]int{}
	for i, id := range v.Need {
		order[id] = i + 1
	}
	wide := min(max(10, m.width-62), 30)
	line := func(s session.SheetView) string {
		left := ""
		switch {
		case s.Over > 0:
			left = "+" + words.CountUp(s.Over)
		case s.Stage == session.Hold:
			left = words.CountUp(s.Elapsed)
		case s.Stage != "":
			left = words.Countdown(s.Left)
		case s.Phase == session.Exposed:
			left = words.CountUp(s.Elapsed)
		}
		what := s.Label
		if what == "" {
			what = string(s.Phase)
		}
		safe := ""
		switch lies := s.SafeUsed > 0 && (s.Phase == session.Wet || s.Phase == session.Fresh || s.Phase == session.Exposed); {
		case lies && s.SafeNone:
			safe = "no safe light"
		case lies && s.SafeAllowed > 0:
			safe = fmt.Sprintf("light %d%%", int(100*s.SafeUsed/s.SafeAllowed))
		}
		do := m.goesAt(s, v.T)
		if do == "" {
			do = doing(s)
		}
		return fmt.Sprintf("%2d %s %s %8s  %s %s", s.Num, column(s.Name, wide), column(what, 12), left, column(do, 22), safe)
	}
	for _, id := range v.Need {
		s, _ := v.Sheet(id)
		style := st.Normal
		if id == v.Due || s.Over > 0 {
			style = st.Strong
		}
		out = append(out, style.Render(line(s)))
	}
	for _, s := range v.Sheets {
		if order[s.ID] == 0 && (s.Phase == session.Fresh || s.Phase == session.Exposed) {
			out = append(out, st.Faint.Render(line(s)))
		}
	}
	done, spoiled := 0, 0
	for _, s := range v.Sheets {
		switch s.Phase {
		case session.Finished:
			done++
		case session.Ruined:
			spoiled++
		}
	}
	var ended []string
	if done > 0 {
		ended = append(ended, fmt.Sprintf("%d done", done))
	}
	if spoiled > 0 {
		ended = append(ended, fmt.Sprintf("%d spoiled", spoiled))
	}
	if len(ended) > 0 {
		out = append(out, st.Faint.Render(strings.Join(ended, ", ")+", in the notebook"))
	}
	return out
}
