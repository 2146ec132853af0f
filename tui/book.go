package tui

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/charmbracelet/bubbles/key"
	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/x/ansi"

	"wetside/session"
	"wetside/session/desk"
	"wetside/session/exposure"
	"wetside/session/say"
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
	// Waiting returns the dry sheets that wait to be judged, the oldest first, each
	// with the line for its back.
	Waiting() (rows []BookRow, lines []string, err error)
	// After says of a sheet of an earlier session that it is dry, or flat.
	After(id string, what session.Kind) error
	// Next is the time for another sheet in the light of this one, by what is
	// learned; 0 where it is not known. teaches: a judgement of this one counts.
	Next(id string) (t time.Duration, teaches bool)
}

// A Judgement is how many stops more (negative: less) a sheet should have had.
type Judgement struct {
	Stops float64
	Seen  string
	Left  bool   // it is left out, and teaches nothing
	Says  string // in words: "next time 1/2 stop more: this one was too dark"
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
	Bars   []Bar
	Lines  []string // everything else, in words
	Dry    bool     // it was said to be
	Flat   bool
	Taught *exposure.Plot // what its camera's sheets on its paper have taught; nil: nothing
}

// A Bar is one stage, planned against actual.
type Bar struct {
	Label           string
	AtLeast, AtMost time.Duration
	Actual          time.Duration
	Led             bool // the program led its end, and nobody confirmed it
	Unseen          bool // nobody watched how it ended; Actual is what was told, or nothing
}

// unknown: nobody knows how long it lasted.
func (b Bar) unknown() bool { return b.Unseen && b.Actual == 0 }

// took is how long a stage lasted, and how that is known.
func (b Bar) took() string {
	switch {
	case b.unknown():
		return "not seen"
	case b.Led:
		return words.Finished(b.Actual) + " led"
	}
	return words.Finished(b.Actual)
}

// book is the notebook screen: a list, one sheet, or two side by side.
type book struct {
	fixed
	rows   []BookRow
	at     int
	filter string
	open   *BookSheet
	top    int        // the first row of the page that is seen
	other  *BookSheet // beside open
	err    error
	// row are the sheets that are judged in a row, and lines those for their backs.
	row   []BookRow
	lines []string
}

var bookKeys = struct{ Up, Down, Left, Right, Scroll, Open, Filter, Judge, Beside, Back, Mark, Correct, Dry, Row key.Binding }{
	Up:      on("up/down", "sheet", "up"),
	Down:    on("", "", "down"),
	Left:    on("left/right", "other sheet", "left"),
	Right:   on("", "", "right"),
	Scroll:  on("up/down", "scroll", "up", "down"),
	Open:    on("enter", "open"),
	Filter:  on("/", "only those with"),
	Judge:   on("j", "judge"),
	Beside:  on("v", "beside another"),
	Back:    on("esc", "back"),
	Mark:    on("m", "name a mark"),
	Correct: on("c", "correct"),
	Dry:     on("d", "dry, then flat"),
	Row:     on("t", "to be judged"),
}

// Notebook is what was written down.
const Notebook Screen = "notebook"

func (b *book) name() Screen   { return Notebook }
func (b *book) enter(m *Model) { b.load(m) }

func (b *book) keys(*Model) []key.Binding {
	k := bookKeys
	if b.open != nil {
		return []key.Binding{k.Back, k.Judge, k.Correct, k.Left, k.Scroll, k.Mark, k.Dry, k.Row}
	}
	return []key.Binding{k.Open, k.Up, k.Judge, k.Filter, k.Beside, k.Correct, trayKeys.Pick, k.Dry, k.Row}
}

// alone reports whether one sheet is open, and no other beside it.
func (b *book) alone() bool { return b.open != nil && b.other == nil }

func (b *book) load(m *Model) {
	if m.cfg.Book == nil {
		return
	}
	b.rows, b.err = m.cfg.Book.List(b.filter, 500)
	b.at = max(0, min(b.at, len(b.rows)-1))
}

func (b *book) press(m *Model, k tea.KeyMsg) tea.Cmd {
	if m.cfg.Book == nil {
		return m.tell(say.NoBook.Of())
	}
	switch {
	case key.Matches(k, bookKeys.Back):
		b.open, b.other = nil, nil
		return nil
	case key.Matches(k, bookKeys.Filter):
		m.askWords("Only sheets with (paper, camera, photographer, name or day; empty for all):", say.AskFilter.Of(), func(text string) tea.Cmd {
			b.filter, b.at, b.open = text, 0, nil
			b.load(m)
			return nil
		})
		return nil
	}
	if len(b.rows) == 0 {
		return m.tell(say.BookEmpty.Of())
	}
	row := b.rows[b.at]
	switch {
	case key.Matches(k, bookKeys.Row):
		return b.begin(m)
	case key.Matches(k, bookKeys.Dry):
		return b.dry(m, row)
	case key.Matches(k, trayKeys.Pick):
		return b.pick(m, number(k))
	case b.alone() && key.Matches(k, bookKeys.Scroll):
		if b.top++; key.Matches(k, bookKeys.Up) {
			b.top = max(0, b.top-2)
		}
	case key.Matches(k, bookKeys.Up, bookKeys.Down, bookKeys.Left, bookKeys.Right):
		step := 1
		if key.Matches(k, bookKeys.Up, bookKeys.Left) {
			step = -1
		}
		b.at = max(0, min(len(b.rows)-1, b.at+step))
		if b.alone() {
			b.show(m, b.rows[b.at].ID)
		}
		m.aloud(say.Plain.Of(say.Sheet(b.rows[b.at].Num)))
	case key.Matches(k, bookKeys.Open):
		b.show(m, row.ID)
	case key.Matches(k, bookKeys.Beside):
		switch {
		case b.open != nil:
		case b.other == nil:
			b.show(m, row.ID)
			b.open, b.other = nil, b.open
			return m.tell(say.ChooseNext.Of())
		case b.other.ID != row.ID:
			b.show(m, row.ID)
		}
	case key.Matches(k, bookKeys.Judge):
		b.judge(m, row)
	case key.Matches(k, bookKeys.Mark):
		b.nameMark(m, row)
	case key.Matches(k, bookKeys.Correct):
		m.askUntil(fmt.Sprintf("Sheet %d: what was wrong, and what is right? name signal arm; photographer Ash; camera hat-box; paper direct-positive-fb", row.Num), say.AskCorrect.Of(say.Sheet(row.Num)), func(text string) (tea.Cmd, error) {
			if err := m.cfg.Book.Correct(row.ID, text); err != nil {
				return nil, err
			}
			m.desk.Tick() // a sheet of this session is told so
			b.again(m)
			return m.answer(fmt.Sprintf("sheet %d is corrected; its record says so", row.Num), say.Corrected.Of(say.Sheet(row.Num))), nil
		})
	}
	return nil
}

func (b *book) show(m *Model, id string) bool {
	s, err := m.cfg.Book.Show(id)
	if err != nil {
		m.answer(err.Error(), say.NotDone.Of())
		return false
	}
	b.open, b.top = &s, 0
	return true
}

// pick goes to the newest sheet of that number.
func (b *book) pick(m *Model, n int) tea.Cmd {
	i := slices.IndexFunc(b.rows, func(r BookRow) bool { return r.Num == n })
	if i < 0 {
		return m.answer(fmt.Sprintf("there is no sheet %d here", n), say.NoSuchSheet.Of(say.Sheet(n)))
	}
	if b.at = i; b.alone() {
		b.show(m, b.rows[i].ID)
	}
	r := b.rows[i]
	return m.announce(ember.SafeText(strings.TrimSpace(fmt.Sprintf("sheet %d of %s %s", n, r.At.Format(time.DateOnly), r.Name))), say.Plain.Of(say.Sheet(n)))
}

// judge asks what the sheet says of its exposure, in the words of its paper.
func (b *book) judge(m *Model, row BookRow) {
	b.judgeWith(m, row, func(j Judgement) (tea.Cmd, error) { return b.keep(m, row, j) })
}

func (b *book) judgeWith(m *Model, row BookRow, keep func(Judgement) (tea.Cmd, error)) {
	// The list does not know the paper, the sheet does.
	s, err := m.cfg.Book.Show(row.ID)
	if err != nil {
		m.answer(err.Error(), say.NotDone.Of())
		return
	}
	more := "lighter"
	if s.Response == session.Denser {
		more = "denser"
	}
	var line *question
	m.askUntil(fmt.Sprintf("Sheet %d: how was it? Like 1/2 too dark; right; 2/3 more, shadows blocked (less: -); left out: light leak. More light makes this paper %s", row.Num, more), say.AskJudge.Of(say.Sheet(row.Num)), func(text string) (tea.Cmd, error) {
		read, err := m.cfg.Book.Read(row.ID, text)
		switch {
		case err != nil:
			return nil, err
		case len(read) > 1:
			return b.whichWay(m, row, read, line, keep), nil
		}
		return keep(read[0])
	})
	line = m.ask
}

// whichWay asks for one judgement after the other which was meant; where none
// was, what was typed stands to be put right.
func (b *book) whichWay(m *Model, row BookRow, read []Judgement, line *question, keep func(Judgement) (tea.Cmd, error)) tea.Cmd {
	back := func() tea.Cmd {
		m.ask = line
		m.answer("say more or less: 1/2 more, sky is grey", say.SayWhich.Of())
		return m.sayAsk()
	}
	if len(read) == 0 {
		return back()
	}
	text := fmt.Sprintf("Sheet %d: %s. Is that what you mean?", row.Num, read[0].Says)
	m.put(&question{text: text, lines: saying(say.AskMeant.Of(say.Stops(read[0].Stops))), leave: back,
		yes: func() tea.Cmd {
			cmd, err := keep(read[0])
			if err != nil {
				return m.answer(ember.SafeText(err.Error()), say.NotDone.Of())
			}
			return cmd
		},
		no: func() tea.Cmd { return b.whichWay(m, row, read[1:], line, keep) }})
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
		return m.answer("kept; a sheet of this kind ("+row.Outcome+") teaches nothing", say.KeptOut.Of()), nil
	case j.Left:
		return m.answer("kept: the sheet is left out", say.KeptOut.Of()), nil
	}
	is, teaches := m.cfg.Book.Next(row.ID)
	switch {
	case !teaches:
		return m.answer("kept; it teaches nothing: its light or its camera is not known", say.KeptOut.Of()), nil
	case is == 0 || was == 0:
		return m.answer("kept: the next exposure will reckon with it", say.Kept.Of()), nil
	}
	return m.answer(fmt.Sprintf("kept; next time in this light %s (was %s)", words.Long(is.Seconds()), words.Long(was.Seconds())), say.KeptNext.Of(say.Left(is), say.Left(was))), nil
}

// dry says of a sheet that it is dry, or, where that was said, that it is flat.
func (b *book) dry(m *Model, row BookRow) tea.Cmd {
	s, err := m.cfg.Book.Show(row.ID)
	if err != nil {
		return m.answer(err.Error(), say.NotDone.Of())
	}
	what, is, line := session.Dried, "dry", say.DryNow.Of(say.Sheet(row.Num))
	switch {
	case s.Dry && s.Flat:
		return m.answer(fmt.Sprintf("sheet %d is dry and flat already", row.Num), say.AlreadySo.Of(say.Sheet(row.Num)))
	case s.Dry:
		what, is, line = session.Flattened, "flat", say.FlatNow.Of(say.Sheet(row.Num))
	}
	if m.desk.M.Sheet(row.ID) != nil {
		if m.do(session.Event{Kind: what, Sheet: row.ID}) != nil {
			return nil
		}
	} else if err := m.cfg.Book.After(row.ID, what); err != nil {
		return m.refuse(err)
	}
	b.again(m)
	return m.answer(fmt.Sprintf("sheet %d is %s", row.Num, is), line)
}

// begin judges in a row what waits for it, the oldest first.
func (b *book) begin(m *Model) (cmd tea.Cmd) {
	var err error
	if b.row, b.lines, err = m.cfg.Book.Waiting(); err != nil {
		return m.answer(ember.SafeText(err.Error()), say.NotDone.Of())
	}
	return b.next(m)
}

// next asks of the first that is left: a number is a judgement, y asks for words.
func (b *book) next(m *Model) tea.Cmd {
	if len(b.row) == 0 {
		return m.answer(strings.TrimSpace(m.said+" no dry sheet waits to be judged"), say.NoneToJudge.Of())
	}
	row := b.row[0]
	var ways []string
	for i, q := range desk.Quick {
		ways = append(ways, fmt.Sprintf("%d %s", i+1, q))
	}
	q := &question{text: fmt.Sprintf("%s How was it? %s. One of %d to be judged.", strings.TrimSpace(row.Name+"  "+b.lines[0]+"."), strings.Join(ways, ", "), len(b.row)),
		lines: saying(say.AskQuick.Of(say.Sheet(row.Num))), yesIs: "in words", noIs: "the next one",
		leave: func() tea.Cmd { return m.tell(say.LeftAsItWas.Of()) }}
	on := func() tea.Cmd {
		b.row, b.lines = b.row[1:], b.lines[1:]
		return b.next(m)
	}
	kept := func(j Judgement) (tea.Cmd, error) {
		cmd, err := b.keep(m, row, j)
		if err != nil {
			return nil, err
		}
		return tea.Batch(cmd, on()), nil
	}
	q.no = on
	q.yes = func() tea.Cmd {
		b.judgeWith(m, row, kept)
		return nil
	}
	q.digit = func(n int) tea.Cmd {
		if n < 1 || n > len(desk.Quick) {
			m.ask = q
			return m.answer(fmt.Sprintf("1 to %d", len(desk.Quick)), say.NotUnderstood.Of())
		}
		read, err := m.cfg.Book.Read(row.ID, desk.Quick[n-1])
		var cmd tea.Cmd
		if err == nil && len(read) == 1 {
			cmd, err = kept(read[0])
		}
		if err != nil {
			m.ask = q
			m.refuse(err)
		}
		return cmd
	}
	m.put(q)
	return nil
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
		m.tell(say.NoMarks.Of())
		return
	}
	for _, mk := range s.Marks {
		if mk.Text == "" {
			m.askWords(fmt.Sprintf("Sheet %d, mark %d (%s, at %s): what was it?", s.Num, mk.N, mk.Stage, mk.At.Wall.Format("15:04:05")), say.AskMark.Of(say.Sheet(s.Num), say.Number(mk.N)), func(text string) tea.Cmd {
				if text != "" && m.do(session.Event{Kind: session.MarkNamed, Sheet: s.ID, N: mk.N, Note: text}) == nil {
					b.again(m)
					return m.tell(say.MarkNamed.Of(say.Number(mk.N)))
				}
				return m.answer("left without a name", say.LeftAsItWas.Of())
			})
			return
		}
	}
	m.tell(say.AllNamed.Of())
}

func (b *book) view(m *Model, _ session.View, h int) string {
	st := m.styles
	if b.err != nil {
		return "\n" + st.Strong.Render(wrap(ember.SafeText(b.err.Error()), m.width-2))
	}
	switch {
	case b.open != nil && b.other != nil:
		return b.beside(m)
	case b.open != nil:
		return b.page(m, *b.open, h)
	case len(b.rows) == 0:
		text := "no sheet is written down yet"
		if b.filter != "" {
			text = "no sheet has " + strconv.Quote(ember.SafeText(b.filter)) + ": / and enter shows all"
		}
		return "\n" + st.Normal.Render(text)
	}
	return b.table(m, h)
}

// table is the list: a head, and the rows under the chosen one.
func (b *book) table(m *Model, h int) string {
	w, margin := m.width, m.margin()
	head := "the last sheets"
	if b.filter != "" {
		head = "sheets with " + strconv.Quote(ember.SafeText(b.filter))
	}
	if b.other != nil {
		head = "choose the other sheet and press v again"
	}
	cols := b.columns(w)
	c := newCanvas(w, h)
	line := func(y int, role ember.Role, cell func(bookColumn) string) {
		x := margin
		for _, col := range cols {
			c.put(x, y, role, ansiCut(cell(col), min(col.width-1, w-x)))
			x += col.width
		}
	}
	count := fmt.Sprintf("%d of %d", b.at+1, len(b.rows))
	c.put(margin, 0, ember.Faint, ansiCut(head, w-margin-len(count)-4))
	c.put(w-len(count)-1, 0, ember.Border, count)
	y := 1
	if h >= 12 {
		line(y, ember.Border, func(col bookColumn) string { return col.name })
		y++
	}
	room := max(1, h-y)
	first := max(0, min(b.at-room/2, len(b.rows)-room))
	for i := first; i < len(b.rows) && i < first+room; i++ {
		r := b.rows[i]
		role := ember.Normal
		if r.Outcome != "done" {
			role = ember.Faint
		}
		switch {
		case i == b.at:
			role = ember.Strong
			c.put(margin-2, y, role, ">")
		case b.other != nil && r.ID == b.other.ID:
			c.put(margin-2, y, role, "*")
		}
		line(y, role, func(col bookColumn) string { return ember.SafeText(col.text(r)) })
		y++
	}
	return c.render(m.styles)
}

type bookColumn struct {
	name  string
	width int
	from  int // the window that has room for it
	text  func(BookRow) string
}

// columns are those that a window has room for.
func (b *book) columns(w int) []bookColumn {
	wide := min(max(0, w-80)/4, 10)
	makers := 90
	if !slices.ContainsFunc(b.rows, func(r BookRow) bool { return r.Maker != b.rows[0].Maker }) {
		makers = math.MaxInt // they are all one person's
	}
	return slices.DeleteFunc([]bookColumn{
		{"day", 12, 0, func(r BookRow) string { return r.At.Format("01-02 15:04") }},
		{"", 4, 0, func(r BookRow) string { return fmt.Sprintf("%2d", r.Num) }},
		{"name", 14 + wide, 0, func(r BookRow) string { return r.Name }},
		{"paper", 13 + wide, 96, func(r BookRow) string { return r.Paper }},
		{"camera", 12 + wide, 70, func(r BookRow) string { return r.Camera }},
		{"photographer", 13, makers, func(r BookRow) string { return r.Maker }},
		{"light", 8, 0, BookRow.light},
		{"judged", w, 0, BookRow.said},
	}, func(c bookColumn) bool { return w < c.from })
}

func (r BookRow) light() string {
	if r.Exposure == 0 {
		return "-"
	}
	return words.Finished(r.Exposure)
}

// said is what became of a sheet. One that is judged is done: the judgement says more.
func (r BookRow) said() string {
	switch {
	case r.Judged == "":
		return r.Outcome
	case r.Outcome == "done":
		return r.Judged
	}
	return r.Outcome + ", " + r.Judged
}

// page is a sheet: how it is judged, what was planned above what was done, all else
// in words, and what its camera's sheets have taught.
func (b *book) page(m *Model, s BookSheet, h int) string {
	w, margin := m.width, m.margin()
	var rows []textRow
	put := func(parts ...part) { rows = append(rows, textRow{parts: parts}) }
	title := strings.TrimSpace(fmt.Sprintf("%d %s", s.Num, s.Name))
	at := s.At.Format("2006-01-02 15:04")
	if big, ok := ember.Letters(title); ok && h >= 16 && ansi.StringWidth(big[0])+len(at)+4 <= w-2*margin {
		for i, l := range big {
			parts := []part{{margin, ember.Large, l}}
			switch i {
			case 1:
				parts = append(parts, part{margin + ansi.StringWidth(l) + 4, ember.Normal, at})
			case 2:
				parts = append(parts, part{margin + ansi.StringWidth(l) + 4, ember.Border, s.Outcome})
			}
			put(parts...)
		}
		put()
	} else {
		put(part{margin, ember.Strong, ansiCut(ember.SafeText(title+"  "+at), w-margin-1)})
	}
	if s.Judged != "" {
		rows = append(rows, m.paraRows(ember.Strong, s.Judged)...)
		put()
	}
	rows = append(rows, lanes(s.Bars, margin, w-2*margin)...)
	for _, l := range s.Lines {
		rows = append(rows, m.paraRows(ember.Faint, l)...)
	}
	if s.Taught != nil && len(s.Taught.Points) > 0 {
		put()
		rows = append(rows, plotRows(s.Taught, margin, min(w-2*margin, 72))...)
	}
	b.top = max(0, min(b.top, len(rows)-h))
	if len(rows) > h && b.top+h < len(rows) {
		rows = append(rows[:b.top+h-1:b.top+h-1], textRow{parts: []part{{margin, ember.Border, "more below"}}})
	}
	return drawRows(m, rows[b.top:], h)
}

// lanes are the stages side by side in their order, what was planned of each above
// what was done. Each has a scale of its own: a wash is two hundred times as long as
// a stop bath.
func lanes(bars []Bar, x0, width int) (rows []textRow) {
	each := 14
	for len(bars) > 0 && each > 9 && each*len(bars) > width {
		each--
	}
	each = min(max(each, width/max(1, min(len(bars), width/each))), 24)
	for group := range slices.Chunk(bars, max(1, width/each)) {
		var name, plan, did, took, wanted textRow
		for i, s := range group {
			x, room := x0+i*each, each-2
			longest := max(s.AtMost, s.Actual, 1)
			cells := func(d time.Duration) int { return int(float64(room)*float64(d)/float64(longest) + 0.5) }
			add := func(r *textRow, role ember.Role, text string) {
				r.parts = append(r.parts, part{x, role, ansiCut(ember.SafeText(text), room)})
			}
			add(&name, ember.Faint, s.Label)
			line := []rune(strings.Repeat("╌", max(1, cells(s.AtMost))))
			if least := cells(s.AtLeast); s.AtLeast < s.AtMost && least < len(line) {
				line[least] = '┼' // from here on it could be judged
			}
			add(&plan, ember.Border, string(line))
			role := ember.Normal
			if !s.unknown() && (s.Actual > s.AtMost+lateFor || s.Actual < s.AtLeast-lateFor) {
				role = ember.Strong
			}
			mark := "━"
			if s.Led {
				mark = "╌" // as what was planned
			}
			if !s.unknown() {
				add(&did, role, strings.Repeat(mark, max(1, cells(s.Actual))))
			}
			add(&took, role, s.took())
			text := words.Finished(s.AtMost)
			if s.AtLeast < s.AtMost {
				text = words.Finished(s.AtLeast) + "-" + text
			}
			add(&wanted, ember.Border, text)
		}
		rows = append(rows, name, wanted, plan, did, took, textRow{})
	}
	return rows
}

// lateFor is by how much a step may differ from its plan before it is told apart: a
// hand is not quicker. Common practice, no source.
const lateFor = 3 * time.Second

// plotRows draws what the judged sheets have taught: how many stops more than reckoned
// was right, over the time of the exposure.
func plotRows(p *exposure.Plot, x0, width int) (rows []textRow) {
	const high, left = 7, 5 // rows; cells for the scale
	wide := width - left - 1
	if wide < 20 || len(p.Line) < 2 || p.YHigh <= p.YLow {
		return nil
	}
	lo, hi := p.Line[0].X, p.Line[len(p.Line)-1].X
	col := func(x float64) int { return max(0, min(wide-1, int((x-lo)/(hi-lo)*float64(wide-1)+0.5))) }
	row := func(y float64) int { return max(0, min(high-1, int((p.YHigh-y)/(p.YHigh-p.YLow)*(high-1)+0.5))) }
	grid := make([][]rune, high)
	for y := range grid {
		grid[y] = []rune(strings.Repeat(" ", wide))
	}
	for x := range wide {
		at := lo + (hi-lo)*float64(x)/float64(wide-1)
		i := min(len(p.Line)-1, int((at-lo)/(hi-lo)*float64(len(p.Line)-1)+0.5))
		grid[row(p.Line[i].Y)][x] = '─'
	}
	for _, q := range p.Points {
		sign := '+'
		if q.Camera == p.Camera {
			sign = 'o'
		}
		grid[row(q.Y)][col(q.X)] = sign
	}
	rows = append(rows, textRow{parts: []part{{x0, ember.Faint, ansiCut("what judged sheets say: stops more than reckoned, by exposure time", width)}}})
	for y := range grid {
		label := ""
		if v := p.YHigh - float64(y)*(p.YHigh-p.YLow)/(high-1); y == 0 || y == high-1 || y == row(0) {
			if y == row(0) {
				v = 0
			}
			label = words.Stops(math.Round(v))
		}
		rows = append(rows, textRow{parts: []part{{x0, ember.Border, fmt.Sprintf("%3s │", label)}, {x0 + left, ember.Normal, string(grid[y])}}})
	}
	var ticks textRow
	free := 0
	for _, t := range p.Ticks {
		if x := col(t.X); x >= free && x+len(t.Label) <= wide {
			ticks.parts = append(ticks.parts, part{x0 + left + x, ember.Border, t.Label})
			free = x + len(t.Label) + 2
		}
	}
	legend := textRow{parts: []part{{x0, ember.Faint, ansiCut("o this camera, + another on this paper, line: what is reckoned with", width)}}}
	return append(rows, ticks, legend)
}

// beside shows two sheets and what differs.
func (b *book) beside(m *Model) string {
	st := m.styles
	a, c := *b.other, *b.open
	var out strings.Builder
	const label = 13
	wide := min(max(0, m.width-label)/2, 50)
	row := func(what, x, y string) {
		style := st.Faint
		if x != y {
			style = st.Strong
		}
		for i, text := range []string{what, x, y} {
			room := []int{label, wide, wide}[i]
			text = ansiCut(ember.SafeText(text), room-1)
			out.WriteString(style.Render(text + strings.Repeat(" ", max(0, room-ansi.StringWidth(text)))))
		}
		out.WriteString("\n")
	}
	row("", fmt.Sprintf("%d %s", a.Num, a.Name), fmt.Sprintf("%d %s", c.Num, c.Name))
	row("paper", a.Paper, c.Paper)
	row("camera", a.Camera, c.Camera)
	row("exposure", words.Finished(a.Exposure), words.Finished(c.Exposure))
	n := max(len(a.Bars), len(c.Bars))
	for i := range n {
		var la, lb, label string
		if i < len(a.Bars) {
			la, label = a.Bars[i].took(), a.Bars[i].Label
		}
		if i < len(c.Bars) {
			lb = c.Bars[i].took()
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
