package tui

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/charmbracelet/bubbles/key"
	tea "github.com/charmbracelet/bubbletea"

	"wetside/session"
	"wetside/session/words"
	"wetside/tui/ember"
)

// A Book is the notebook as the screen reads it.
type Book interface {
	// List returns the newest sheets, those that match the words first typed:
	// parts of a paper, a camera, a maker, a name or a day.
	List(filter string, limit int) ([]BookRow, error)
	// Show returns one sheet.
	Show(id string) (BookSheet, error)
	// Read reads a judgement of a sheet as typed: "1/2 too dark, sky is grey".
	// Two come back, more and then less, where the words do not say which.
	Read(id, text string) ([]Judgement, error)
	// Judge keeps a judgement of a sheet of an earlier session.
	Judge(id string, stops float64, seen string) error
	// Correct puts right what was said of a sheet: "camera hat-box".
	Correct(id, text string) error
	// Next is the time for another sheet in the light of this one, by what is
	// learned; 0 where it is not known. teaches: a judgement of this one counts.
	Next(id string) (t time.Duration, teaches bool)
}

// A Judgement is how many stops more (negative: less) a sheet should have had.
type Judgement struct {
	Stops float64
	Seen  string
	Left  bool   // it is left out, and teaches nothing
	Says  string // in words: "1/2 stop more, to be lighter"
}

// A BookRow is one line of the list.
type BookRow struct {
	ID, Name, Maker, Paper, Camera string
	Num                            int
	At                             time.Time
	Exposure                       time.Duration
	Outcome                        string // "done", "spoiled", "rehearsal"
	Judged                         string
	Response                       session.Response
}

// A BookSheet is one sheet whole.
type BookSheet struct {
	BookRow
	Bars  []Bar
	Lines []string // everything else, in words
}

// A Bar is one stage, planned against actual.
type Bar struct {
	Label           string
	AtLeast, AtMost time.Duration
	Actual          time.Duration
}

// book is the notebook screen: a list, one sheet, or two side by side.
type book struct {
	fixed
	rows   []BookRow
	at     int
	filter string
	open   *BookSheet
	other  *BookSheet // beside open
	err    error
}

var bookKeys = struct{ Up, Down, Open, Filter, Judge, Beside, Back, Mark, Correct key.Binding }{
	Up:      key.NewBinding(key.WithKeys("up"), key.WithHelp("up/down", "sheet")),
	Down:    key.NewBinding(key.WithKeys("down")),
	Open:    key.NewBinding(key.WithKeys("enter"), key.WithHelp("enter", "open")),
	Filter:  key.NewBinding(key.WithKeys("/"), key.WithHelp("/", "only those with")),
	Judge:   key.NewBinding(key.WithKeys("j"), key.WithHelp("j", "judge")),
	Beside:  key.NewBinding(key.WithKeys("v"), key.WithHelp("v", "beside another")),
	Back:    key.NewBinding(key.WithKeys("esc"), key.WithHelp("esc", "back")),
	Mark:    key.NewBinding(key.WithKeys("m"), key.WithHelp("m", "name a mark")),
	Correct: key.NewBinding(key.WithKeys("c"), key.WithHelp("c", "correct")),
}

// Notebook is what was written down.
const Notebook Screen = "notebook"

func (b *book) name() Screen   { return Notebook }
func (b *book) clip() string   { return "notebook" }
func (b *book) enter(m *Model) { b.load(m) }

func (b *book) keys(*Model) []key.Binding {
	k := bookKeys
	if b.open != nil {
		return []key.Binding{k.Back, k.Judge, k.Correct, k.Mark}
	}
	return []key.Binding{k.Open, k.Up, k.Judge, k.Beside, k.Filter}
}

func (b *book) load(m *Model) {
	if m.cfg.Book == nil {
		return
	}
	b.rows, b.err = m.cfg.Book.List(b.filter, 500)
	b.at = max(0, min(b.at, len(b.rows)-1))
}

func (b *book) press(m *Model, k tea.KeyMsg) tea.Cmd {
	if m.cfg.Book == nil {
		return m.tell("there is no notebook here")
	}
	switch {
	case key.Matches(k, bookKeys.Back):
		if b.other != nil {
			b.other = nil
		}
		b.open = nil
		return nil
	case key.Matches(k, bookKeys.Filter):
		m.askWords("Only sheets with (paper, camera, maker, name or day; empty for all):", func(text string) tea.Cmd {
			b.filter, b.at, b.open = text, 0, nil
			b.load(m)
			return nil
		})
		return nil
	}
	if len(b.rows) == 0 {
		return m.tell("the notebook has no such sheet yet")
	}
	row := b.rows[b.at]
	switch {
	case key.Matches(k, bookKeys.Up), key.Matches(k, bookKeys.Down):
		step := 1
		if key.Matches(k, bookKeys.Up) {
			step = -1
		}
		b.at = max(0, min(len(b.rows)-1, b.at+step))
		if b.open != nil && b.other == nil {
			b.show(m, b.rows[b.at].ID)
		}
		if m.cfg.Blind {
			m.desk.Say(fmt.Sprintf("sheet %d", b.rows[b.at].Num))
		}
	case key.Matches(k, bookKeys.Open):
		if b.open != nil && b.other == nil && b.open.ID != row.ID {
			b.show(m, row.ID)
			return nil
		}
		b.show(m, row.ID)
	case key.Matches(k, bookKeys.Beside):
		if b.open == nil && b.other != nil {
			if b.other.ID != row.ID {
				b.show(m, row.ID)
			}
		} else if b.open == nil {
			b.show(m, row.ID)
			b.other = b.open
			b.open = nil
			return m.tell("choose the other sheet and press v again")
		}
	case key.Matches(k, bookKeys.Judge):
		b.judge(m, row)
	case key.Matches(k, bookKeys.Mark):
		b.nameMark(m, row)
	case key.Matches(k, bookKeys.Correct):
		m.askUntil(fmt.Sprintf("Sheet %d: what was wrong, and what is right? name signal arm; photographer Ash; camera hat-box; paper direct-positive-fb", row.Num), func(text string) (tea.Cmd, error) {
			if err := m.cfg.Book.Correct(row.ID, text); err != nil {
				return nil, err
			}
			m.desk.Tick() // a sheet of this session is told so
			b.again(m)
			return m.tell(fmt.Sprintf("sheet %d is corrected; its record says so", row.Num)), nil
		})
	}
	return nil
}

func (b *book) show(m *Model, id string) bool {
	s, err := m.cfg.Book.Show(id)
	if err != nil {
		m.tell(err.Error())
		return false
	}
	b.open = &s
	return true
}

// judge asks what the sheet says of its exposure, in the words of its paper.
func (b *book) judge(m *Model, row BookRow) {
	// The list does not know the paper, the sheet does.
	s, err := m.cfg.Book.Show(row.ID)
	if err != nil {
		m.tell(err.Error())
		return
	}
	more := "lighter"
	if s.Response == session.Denser {
		more = "denser"
	}
	var line *question
	m.askUntil(fmt.Sprintf("Sheet %d: how many stops more (less: -), or how it looks, then what you saw. More makes this paper %s. Like 2/3 more, shadows blocked; 1/2 too dark; right; left out: light leak", row.Num, more), func(text string) (tea.Cmd, error) {
		read, err := m.cfg.Book.Read(row.ID, text)
		switch {
		case err != nil:
			return nil, err
		case len(read) > 1:
			return b.whichWay(m, row, read, line), nil
		}
		return b.keep(m, row, read[0])
	})
	line = m.ask
}

// whichWay asks for one judgement after the other which was meant; where none
// was, what was typed stands to be put right.
func (b *book) whichWay(m *Model, row BookRow, read []Judgement, line *question) tea.Cmd {
	back := func() tea.Cmd {
		m.ask = line
		return m.tell("say more or less: 1/2 more, sky is grey")
	}
	if len(read) == 0 {
		return back()
	}
	text := fmt.Sprintf("Sheet %d: %s. Is that what you mean?", row.Num, read[0].Says)
	m.ask = &question{text: text, leave: back,
		yes: func() tea.Cmd {
			cmd, err := b.keep(m, row, read[0])
			if err != nil {
				return m.tell(ember.SafeText(err.Error()))
			}
			return cmd
		},
		no: func() tea.Cmd { return b.whichWay(m, row, read[1:], line) }}
	if m.cfg.Blind {
		m.desk.Say(text)
	}
	return nil
}

func (b *book) keep(m *Model, row BookRow, j Judgement) (tea.Cmd, error) {
	was, _ := m.cfg.Book.Next(row.ID)
	if m.desk.M.Sheet(row.ID) != nil {
		if m.do(session.Event{Kind: session.Judged, Sheet: row.ID, Stops: j.Stops, Note: j.Seen}) != nil {
			return nil, nil
		}
	} else if err := m.cfg.Book.Judge(row.ID, j.Stops, j.Seen); err != nil {
		return nil, err
	}
	b.again(m)
	switch {
	case row.Outcome == "spoiled", row.Outcome == "rehearsal":
		return m.tell("kept; a sheet of this kind (" + row.Outcome + ") teaches nothing"), nil
	case j.Left:
		return m.tell("kept: the sheet is left out"), nil
	}
	is, teaches := m.cfg.Book.Next(row.ID)
	switch {
	case !teaches:
		return m.tell("kept; it teaches nothing, for its light or its camera was not said"), nil
	case is == 0 || was == 0:
		return m.tell("kept: the next exposure will reckon with it"), nil
	}
	return m.tell(fmt.Sprintf("kept; next time in this light %s (was %s)", words.Long(is.Seconds()), words.Long(was.Seconds()))), nil
}

// again reads list and pages anew, after something was added to a sheet.
func (b *book) again(m *Model) {
	b.load(m)
	open, other := b.open, b.other
	if other != nil && b.show(m, other.ID) {
		b.other = b.open
	}
	b.open = open
	if open != nil {
		b.show(m, open.ID)
	}
}

func (b *book) nameMark(m *Model, row BookRow) {
	s := m.desk.M.Sheet(row.ID)
	if s == nil || len(s.Marks) == 0 {
		m.tell("this sheet has no mark of this session")
		return
	}
	for _, mk := range s.Marks {
		if mk.Text == "" {
			m.askWords(fmt.Sprintf("Sheet %d, mark %d (%s, at %s): what was it?", s.Num, mk.N, mk.Stage, mk.At.Wall.Format("15:04:05")), func(text string) tea.Cmd {
				if text != "" && m.do(session.Event{Kind: session.MarkNamed, Sheet: s.ID, N: mk.N, Note: text}) == nil {
					b.again(m)
					return m.tell(fmt.Sprintf("mark %d has its name", mk.N))
				}
				return m.tell("left without a name")
			})
			return
		}
	}
	m.tell("every mark of this sheet has its name")
}

func (b *book) view(m *Model, _ session.View, h int) string {
	st := m.styles
	if b.err != nil {
		return "\n" + st.Strong.Render(wrap(ember.SafeText(b.err.Error()), m.width-2))
	}
	switch {
	case b.open != nil && b.other != nil:
		return b.beside(m, h)
	case b.open != nil:
		return b.one(m, *b.open, m.width)
	case len(b.rows) == 0:
		text := "no sheet is written down yet"
		if b.filter != "" {
			text = "no sheet has " + strconv.Quote(ember.SafeText(b.filter)) + ": / and enter shows all"
		}
		return "\n" + st.Normal.Render(text)
	}
	var out strings.Builder
	head := "the last sheets"
	if b.filter != "" {
		head = "sheets with " + strconv.Quote(ember.SafeText(b.filter))
	}
	if b.other != nil {
		head = "choose the other sheet and press v again"
	}
	out.WriteString(st.Faint.Render(head) + "\n")
	more := min(max(0, m.width-80)/3, 18)
	room := max(1, h-2)
	first := max(0, min(b.at-room/2, len(b.rows)-room))
	for i := first; i < len(b.rows) && i < first+room; i++ {
		r := b.rows[i]
		style, mark := st.Normal, "  "
		if i == b.at {
			style, mark = st.Strong, "> "
		}
		if b.other != nil && r.ID == b.other.ID {
			mark = "* "
		}
		// A judged sheet is done: the judgement says more.
		end := r.Outcome
		switch {
		case r.Judged != "" && r.Outcome == "done":
			end = r.Judged
		case r.Judged != "":
			end += " " + r.Judged
		}
		line := fmt.Sprintf("%s%s %2d %s %s %s %7s  %s", mark, r.At.Format("01-02 15:04"), r.Num,
			column(r.Name, 12+more), column(r.Paper, 12+more), column(r.Camera, 12), words.Finished(r.Exposure), ember.SafeText(end))
		out.WriteString(style.Render(ansiCut(line, m.width)) + "\n")
	}
	return out.String()
}

// one draws a sheet's timeline: for each stage a rule as long as was planned,
// and under it one as long as it took.
func (b *book) one(m *Model, s BookSheet, width int) string {
	st := m.styles
	var longest time.Duration
	for _, x := range s.Bars {
		longest = max(longest, x.AtMost, x.Actual)
	}
	var out strings.Builder
	out.WriteString(st.Strong.Render(ember.SafeText(fmt.Sprintf("%d %s  %s", s.Num, s.Name, s.At.Format("2006-01-02 15:04")))) + "\n")
	room := max(4, width-40)
	scale := func(d time.Duration) int {
		if longest == 0 {
			return 0
		}
		return int(float64(room) * float64(d) / float64(longest))
	}
	for _, x := range s.Bars {
		plan := words.Finished(x.AtMost)
		if x.AtLeast < x.AtMost {
			plan = words.Finished(x.AtLeast) + "-" + plan
		}
		// Thin marks, few lit cells: the plan as dots, what was done as a line.
		p, a := scale(x.AtMost), scale(x.Actual)
		bar := strings.Repeat("-", min(a, room))
		if p > len(bar) {
			bar += strings.Repeat(".", p-len(bar)-1) + "|"
		} else if p > 0 && p <= len(bar) {
			bar = bar[:p-1] + "|" + bar[p:]
		}
		out.WriteString(st.Normal.Render(ember.SafeText(fmt.Sprintf("%-12.12s %11s %8s  ", x.Label, plan, words.Finished(x.Actual)))) + st.Faint.Render(bar) + "\n")
	}
	for _, l := range s.Lines {
		out.WriteString(st.Faint.Render(ansiCut(ember.SafeText(l), width)) + "\n")
	}
	return out.String()
}

// beside shows two sheets and what differs.
func (b *book) beside(m *Model, h int) string {
	st := m.styles
	a, c := *b.other, *b.open
	var out strings.Builder
	row := func(what, x, y string) {
		style := st.Faint
		if x != y {
			style = st.Strong
		}
		out.WriteString(style.Render(ember.SafeText(fmt.Sprintf("%-12.12s %-22.22s %-22.22s", what, x, y))) + "\n")
	}
	row("", fmt.Sprintf("%d %s", a.Num, a.Name), fmt.Sprintf("%d %s", c.Num, c.Name))
	row("paper", a.Paper, c.Paper)
	row("camera", a.Camera, c.Camera)
	row("exposure", words.Finished(a.Exposure), words.Finished(c.Exposure))
	n := max(len(a.Bars), len(c.Bars))
	for i := range n {
		var la, lb, label string
		if i < len(a.Bars) {
			la, label = words.Finished(a.Bars[i].Actual), a.Bars[i].Label
		}
		if i < len(c.Bars) {
			lb = words.Finished(c.Bars[i].Actual)
			if label == "" {
				label = c.Bars[i].Label
			}
		}
		row(label, la, lb)
	}
	row("outcome", a.Outcome, c.Outcome)
	row("judged", a.Judged, c.Judged)
	return out.String()
}
