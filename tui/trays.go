package tui

import (
	"fmt"
	"strings"
	"time"

	"github.com/charmbracelet/bubbles/key"
	tea "github.com/charmbracelet/bubbletea"

	"wetside/session"
	"wetside/session/bench"
	"wetside/session/desk"
	"wetside/session/words"
	"wetside/tui/ember"
)

type trayKeyMap struct {
	Move, Where, Undo, Pick, Seen, Hold, Water, Out, Mark, Note, Spoil, Bath key.Binding
}

// The keys of the trays. The three that matter are the largest on the keyboard.
var trayKeys = trayKeyMap{
	Move:  key.NewBinding(key.WithKeys(" "), key.WithHelp("space", "move on")),
	Where: keys.Where,
	Undo:  key.NewBinding(key.WithKeys("backspace"), key.WithHelp("backspace", "undo")),
	Pick:  key.NewBinding(key.WithKeys("0", "1", "2", "3", "4", "5", "6", "7", "8", "9"), key.WithHelp("1-9", "pick a sheet")),
	Seen:  key.NewBinding(key.WithKeys("i"), key.WithHelp("i", "seen")),
	Hold:  key.NewBinding(key.WithKeys("h"), key.WithHelp("h", "hold in water")),
	Water: key.NewBinding(key.WithKeys("w"), key.WithHelp("w", "water changed")),
	Out:   key.NewBinding(key.WithKeys("p"), key.WithHelp("p", "paper out / put away")),
	Mark:  key.NewBinding(key.WithKeys("m"), key.WithHelp("m", "mark this moment")),
	Note:  key.NewBinding(key.WithKeys("o"), key.WithHelp("o", "note")),
	Spoil: key.NewBinding(key.WithKeys("x"), key.WithHelp("x", "spoiled")),
	Bath:  key.NewBinding(key.WithKeys("b"), key.WithHelp("b", "fresh bath")),
}

// Trays is where sheets are developed, fixed and washed.
const Trays Screen = "trays"

type trays struct{ fixed }

func (*trays) name() Screen { return Trays }
func (*trays) clip() string { return "trays" }

func (*trays) keys(*Model) []key.Binding {
	k := trayKeys
	return []key.Binding{k.Move, k.Where, k.Undo, k.Seen, k.Pick, k.Hold, k.Water, k.Out, k.Mark, k.Note, k.Spoil, k.Bath}
}

// pickFor is how long a sheet picked by number stays picked.
const pickFor = 10 * time.Second

// fixEarly is by how much a sheet may leave the fixer before its time unasked:
// about its drain. Common practice, no source.
const fixEarly = 12 * time.Second

// earlyFor is how long a first early press waits for the second.
const earlyFor = 8 * time.Second

// acting returns the sheet that a key is for: the one picked by number, else
// the one that is due, else the next that waits to go in, else one that waits
// in its camera.
func (m *Model) acting(v session.View) *session.Sheet {
	if s := m.picked(); s != nil {
		return s
	}
	if v.Due != "" {
		s, _ := v.Sheet(v.Due)
		// A wash that runs does not need hands; a sheet that waits does.
		if next := m.desk.Next(); next != nil && s.Left > 0 && (s.Stage == session.Wash || s.Stage == session.Hold) {
			return next
		}
		return m.desk.M.Sheet(v.Due)
	}
	if next := m.desk.Next(); next != nil {
		return next
	}
	if s := m.desk.Outside(); s != nil && s.Phase == session.Fresh {
		return s
	}
	return nil
}

func (m *Model) picked() *session.Sheet {
	if m.pick != "" && m.desk.Now().Sub(m.pickAt) < m.span(pickFor) {
		return m.desk.M.Sheet(m.pick)
	}
	return nil
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
		return m.move(v)
	case key.Matches(k, trayKeys.Where):
		return m.where()
	case key.Matches(k, trayKeys.Undo):
		return m.undo()
	case key.Matches(k, trayKeys.Pick):
		n := number(k)
		s := m.desk.M.Numbered(n)
		if s == nil {
			return m.tell(fmt.Sprintf("there is no sheet %d", n))
		}
		m.pick, m.pickAt = s.ID, m.desk.Now()
		sv, _ := v.Sheet(s.ID)
		text := fmt.Sprintf("sheet %d: %s", n, sv.Phase)
		if sv.Stage != "" {
			text = fmt.Sprintf("sheet %d: %s; %s", n, sv.Label, Stands(sv))
		}
		m.said = text
		m.desk.Say(text)
		return nil
	case key.Matches(k, trayKeys.Seen):
		// The developer is where an image comes up: the sheet that is in it.
		s := m.picked()
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
	}
	s := m.acting(v)
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
			m.moved = s.ID
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

// move is the space key.
func (m *Model) move(v session.View) tea.Cmd {
	if !m.tap.Press(m.desk.Hand()) {
		return nil
	}
	s := m.acting(v)
	if s == nil {
		return m.noSheet()
	}
	if s.Phase == session.Exposing {
		return m.tell(m.whereabouts(s))
	}
	sv, _ := v.Sheet(s.ID)
	now := m.desk.Now()
	again := m.early == s.ID && now.Sub(m.earlyAt) < m.span(earlyFor)
	if w := m.warning(sv, s); w != "" && !again {
		m.early, m.earlyAt = s.ID, now
		if desk.Unexposed(s) {
			m.said = w + fmt.Sprintf(" Space again puts it into the %s as it is.", tray(s.Spec.Process.Steps[0]))
			m.desk.Say(fmt.Sprintf("sheet %d: no exposure: go on?", s.Num))
			return nil
		}
		m.said = w + " Space again does it all the same."
		m.desk.Say(w)
		return nil
	}
	m.early = ""
	from := 0
	if b := s.Visit(); b != nil {
		from = b.Serial
	}
	next := s.NextStep()
	spent := m.spentBath(s, next)
	if m.do(session.Event{Kind: session.Moved, Sheet: s.ID, From: from}) != nil {
		return nil
	}
	if spent != "" {
		m.do(session.Event{Kind: session.BathOverridden, Sheet: s.ID, Bath: spent})
	}
	m.moved, m.pick, m.said = s.ID, "", ""
	return nil
}

// warning is what to say before a move that would do harm unseen; empty for
// most moves.
func (m *Model) warning(sv session.SheetView, s *session.Sheet) string {
	// What cannot be seen on the sheet, and shows years later: too short in the
	// fixer or in the wash. The drain is the fixer's own last seconds, and a
	// hand is a little early.
	early := sv.AtLeast - sv.Elapsed
	w := ""
	switch {
	case desk.Unexposed(s):
		w = m.whereabouts(s) + "."
	case sv.Stage == session.Wash && early > 0:
		w = fmt.Sprintf("sheet %d is not washed: %s left.", sv.Num, words.Countdown(sv.Left))
	case (sv.Stage == session.Fix || sv.Stage == session.Fix2) && early > fixEarly:
		w = fmt.Sprintf("sheet %d is not fixed: %s left.", sv.Num, words.Countdown(sv.Left))
	}
	// The second press answers for all of it, so all of it is told.
	if next := s.NextStep(); next >= 0 {
		w = strings.TrimSpace(w + " " + m.benchWarning(s, next))
	}
	return w
}

// undo takes back what was done last in the trays: a move, or that a sheet was
// spoiled.
func (m *Model) undo() tea.Cmd {
	s := m.lately(m.picked(), m.moved, func(s *session.Sheet) (time.Duration, bool) {
		if n := len(s.Visits); n > 0 && s.EndedT == 0 {
			return s.Visits[n-1].In, true
		}
		return s.EndedT, s.EndedT > 0
	})
	if s == nil {
		return m.tell("there is no move to take back")
	}
	return m.takeBack(s)
}

// lately returns the sheet that a key which takes back is for: the picked one,
// else the one this program moved last, else (after a restart) the one that was
// moved last; nil when there is nothing of that sheet to take back. done says
// when something was done with a sheet, and whether it was at all.
func (m *Model) lately(picked *session.Sheet, moved string, done func(*session.Sheet) (time.Duration, bool)) *session.Sheet {
	if picked == nil {
		picked = m.desk.M.Sheet(moved)
	}
	last := picked
	var at time.Duration = -1
	for _, s := range m.desk.M.Sheets() {
		if t, ok := done(s); ok && t > at && (picked == nil || s == picked) {
			last, at = s, t
		}
	}
	if at < 0 {
		return nil
	}
	return last
}

func (m *Model) takeBack(s *session.Sheet) tea.Cmd {
	was, from := s.Phase, 0
	if n := len(s.Visits); n > 0 {
		from = s.Visits[n-1].Serial
	}
	if m.do(session.Event{Kind: session.Undone, Sheet: s.ID, From: from}) != nil {
		return nil
	}
	m.early = ""
	switch {
	case was == session.Ruined:
		m.said = fmt.Sprintf("sheet %d is not spoiled: it is where it was, and its clocks have gone on", s.Num)
	case was == session.Exposing:
		m.said = fmt.Sprintf("sheet %d: the opening is taken back. Cover the pinhole; the light that fell counts", s.Num)
	case s.Phase == session.Exposing:
		m.said = fmt.Sprintf("sheet %d: the exposure goes on, as if it had not ended", s.Num)
	default:
		m.said = fmt.Sprintf("sheet %d: the last move is taken back", s.Num)
	}
	return nil
}

// traysView is the big figure of the sheet that is due, what to do, what is
// next, and a line for every other sheet.
func (*trays) view(m *Model, v session.View, h int) string {
	st := m.styles
	var b strings.Builder
	due := v.Due
	if s := m.picked(); s != nil && s.Phase == session.Wet {
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
