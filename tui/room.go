package tui

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"github.com/charmbracelet/bubbles/key"
	tea "github.com/charmbracelet/bubbletea"

	"wetside/session"
	"wetside/session/say"
	"wetside/session/words"
	"wetside/tui/ember"
	"wetside/tui/lamps"
)

// room is the check before paper is opened: a list the user confirms, then full
// dark while the eyes adapt, and a question.
type room struct {
	items   []Finding
	done    map[string]bool // what the user confirmed, by the text
	at      int
	until   session.Instant // of the dark, in the hands' time
	running bool
	load    loading
	long    bool // the look, of the two
}

// How long it is dark in a look for leaks, with what eyes can show in it. The cones
// have adapted in seven minutes or so, and from about ten on the rods see more than
// they; those need half an hour (E. B. Goldstein, Sensation and Perception, as told by
// Mississippi State University; York University, dark adaptation function). A minute
// shows what is large; that long for it is common practice, no source.
const (
	quickLook = time.Minute
	longLook  = 10 * time.Minute
)

var roomKeys = struct{ Tick, Leave key.Binding }{
	Tick:  on("space", "confirm", " "),
	Leave: on("esc", "leave it"),
}

var roomDeeds = []deed{
	{roomKeys.Tick, func(m *Model) tea.Cmd { return m.room.confirm(m) }},
	{on("d", "quick look"), func(m *Model) tea.Cmd { return m.room.darken(m, false) }},
	{on("t", "ten-minute look"), func(m *Model) tea.Cmd { return m.room.darken(m, true) }},
	{on("l", "load"), func(m *Model) tea.Cmd { return m.room.load.ask(m) }},
	{on("f", "fog test"), func(m *Model) tea.Cmd {
		m.fog.ask(m)
		return nil
	}},
	{on("up/down", "line", "up"), func(m *Model) tea.Cmd { return m.room.step(m, false) }},
	{on("", "", "down"), func(m *Model) tea.Cmd { return m.room.step(m, true) }},
}

// darkKeys are those that work while a strip, or eyes, wait in the dark.
var darkKeys = struct{ Break key.Binding }{on("esc", "cancel")}

// Checklist is what the user confirms before paper is opened. Common practice,
// no source.
func Checklist() []Finding {
	return []Finding{
		{Short: "screen", Text: "the terminal is full screen, and no other window shows", About: lamps.AboutWindow},
		{Short: "other screens", Text: "every other screen and window of the laptop is dark, a second screen and a desktop's clock too"},
		{Short: "bars", Text: "the terminal shows no scrollbar, no tabs, no menu"},
		{Short: "pointer", Text: "the pointer is hidden, or where its light falls on nothing: a desktop may draw it white"},
		{Short: "bell", Text: "the terminal's visual bell is off: it lights the whole window"},
		{Short: "messages", Text: "pop-up messages are off: they are white"},
		{Short: "sleep", Text: "screen saver, lock screen and sleep are held off", About: lamps.AboutSleep},
		{Short: "keyboard", Text: "the keyboard light is off", About: lamps.AboutKeyboard},
		{Short: "brightness", Text: "the screen is as dim as it goes", About: lamps.AboutPanel},
		{Short: "phones", Text: "telephones and watches are out of the room"},
		// The rule: a paper's data sheet names filter, lamp and least distance. Where it
		// names none, 15 W at 1.2 m (4 ft) is what data sheets of slow papers ask for:
		// from memory. The fog test has the last word.
		{Short: "safelight", Text: "safelight: filter, lamp and distance as the paper's data sheet says; every other lamp is out",
			Detail: "where it says none: 15 W, 1.2 m or more (common practice, no source)"},
		{Short: "red film", Text: "red film lies over the screen, if you are not sure of it"},
		{Short: "dry side", Text: "the laptop is on the dry side, its mains lead away from wet hands"},
	}
}

// RoomList is the checklist with what the program found out by itself put to
// the line it is about, and the rest of that below.
func RoomList(found []Finding) []Finding {
	list := Checklist()
	taken := map[lamps.Concern]bool{}
	for _, f := range found {
		hit := false
		for i := range list {
			if f.About != lamps.AboutOther && list[i].About == f.About && !taken[f.About] {
				list[i].Detail, list[i].Verified, hit = f.Detail, f.Verified, true
				taken[f.About] = true
			}
		}
		if !hit {
			list = append(list, Finding{Text: f.Text, Detail: f.Detail, Verified: f.Verified})
		}
	}
	return list
}

// Words are a finding in one line.
func (f Finding) Words() string {
	if f.Detail == "" {
		return f.Text
	}
	return f.Text + ": " + f.Detail
}

// fill makes the list, or makes it anew: lamps change, and what is known of them
// comes when it comes. What the user confirmed stays confirmed as long as it
// says the same, and the line under the finger stays under it.
func (r *room) fill(m *Model) {
	was := ""
	if r.at < len(r.items) {
		was = r.items[r.at].Text
	}
	var found []Finding
	if m.cfg.Verified != nil {
		found = m.cfg.Verified()
	}
	r.items = RoomList(found)
	if r.done == nil {
		r.done = map[string]bool{}
	}
	if i := slices.IndexFunc(r.items, func(f Finding) bool { return f.Text == was }); i >= 0 {
		r.at = i
	}
	r.at = min(r.at, len(r.items)-1)
}

func (r *room) confirmed(f Finding) bool { return f.Verified || r.done[f.Text+f.Detail] }

// Room is the check before paper is opened.
const Room Screen = "room"

func (r *room) name() Screen   { return Room }
func (r *room) enter(m *Model) { r.fill(m) }

func (r *room) takes(m *Model) takes {
	if r.dark(m) {
		return everyKey
	}
	return ownKeys
}

func (r *room) keys(m *Model) []key.Binding {
	if r.dark(m) {
		return []key.Binding{darkKeys.Break, keys.Where} // of the fog test: the other dark shows nothing
	}
	if r.load.on() {
		return []key.Binding{roomKeys.Tick, roomKeys.Leave}
	}
	return withWords(roomDeeds)
}

func (r *room) dark(m *Model) bool { return r.running || m.fog.running() }

func (r *room) press(m *Model, k tea.KeyMsg) tea.Cmd {
	if m.fog.running() {
		return m.fog.press(m, k)
	}
	if r.running {
		if k.String() == "esc" || k.String() == "enter" {
			r.stop(m)
			return m.answer("cancelled; d or t looks for light again", say.DarkBroken.Of())
		}
		return nil
	}
	if r.load.on() {
		if do := deedOf(loadDeeds, k); do != nil {
			return do(m)
		}
		m.nothing()
		return nil
	}
	if r.items == nil {
		r.fill(m)
	}
	if do := deedOf(roomDeeds, k); do != nil {
		return do(m)
	}
	if key.Matches(k, keys.Where) && !m.speaks() {
		m.desk.Say(r.line())
	}
	return m.aloud(r.line())
}

// step goes to the next line, or to the one before.
func (r *room) step(m *Model, on bool) tea.Cmd {
	r.at = around(r.at, len(r.items), on)
	return m.aloud(r.line())
}

// confirm confirms a line and goes to the next that is open, or takes it back.
func (r *room) confirm(m *Model) tea.Cmd {
	text := r.items[r.at].Text + r.items[r.at].Detail
	r.done[text] = !r.done[text]
	if r.done[text] {
		r.next()
	}
	return m.aloud(r.line())
}

// darken looks for light.
func (r *room) darken(m *Model, long bool) tea.Cmd {
	r.running, r.long = true, long
	r.until = m.desk.Hand().Add(r.look())
	m.quiet = true
	m.light()
	m.desk.Say(say.Dark.Of())
	return nil
}

// look is how long it is dark.
func (r *room) look() time.Duration {
	if r.long {
		return longLook
	}
	return quickLook
}

// next goes to the next line that is open, if there is one.
func (r *room) next() {
	for i := range r.items {
		if at := (r.at + i) % len(r.items); !r.confirmed(r.items[at]) {
			r.at = at
			return
		}
	}
}

func (r *room) stop(m *Model) {
	r.running, m.quiet = false, false
	m.light()
}

func (r *room) tick(m *Model) {
	m.fog.tick(m)
	if m.screen == Room && !r.dark(m) {
		r.fill(m)
	}
	if !r.running || r.until.Sub(m.desk.Hand()) > 0 {
		return
	}
	r.stop(m)
	note := func(seen string) {
		m.desk.Do(session.Event{Kind: session.Noted, Note: fmt.Sprintf("room check of %s: %s", words.Long(r.look().Seconds()), seen)})
	}
	m.ask = &question{text: "The dark is over. Did you see any light? The panel's own glow counts.", lines: saying(say.AskSawLight.Of()), yes: func() tea.Cmd {
		note("light was seen")
		return m.answer("find it and cover it before paper is opened, then look again", say.FindLight.Of())
	}, no: func() tea.Cmd {
		note("no light was seen")
		if !r.long {
			return m.answer("no large leak: eyes see no more after a minute. t looks for ten, and shows what fogs paper in half an hour", say.RoomQuick.Of())
		}
		return m.answer("the room is dark, as far as ten minutes show: eyes are ready for the faintest after half an hour", say.RoomDark.Of())
	}, leave: func() tea.Cmd {
		return m.answer("nothing is noted; d or t looks for light again", say.NothingSaid.Of())
	}}
	m.ask.speakLines(m)
}

func (r *room) view(m *Model, _ session.View, h int) string {
	if m.fog.running() {
		return m.fog.view(m, h)
	}
	if r.load.on() {
		return r.load.view(m, h)
	}
	if r.items == nil {
		r.fill(m)
	}
	// The step leads: where the list leaves it no room, the list is one of short names.
	const room = 4
	rows, step := r.page(m, true, 1)
	for columns := 1; len(rows)+room > h && columns <= m.width/shortWidth; columns++ {
		rows, step = r.page(m, false, columns)
	}
	if big, ok := ember.Letters(r.items[r.at].Short); ok && r.items[r.at].Short != "" && len(rows)+room <= h {
		margin := rows[step].parts[0].x
		var large []textRow
		for _, l := range big {
			large = append(large, textRow{parts: []part{{margin, ember.Large, l}}})
		}
		rows = slices.Insert(rows, step, append(large, textRow{})...)
	}
	return drawRows(m, rows, h)
}

// shortWidth is the least that a short name takes in a list of several columns.
const shortWidth = 22

// page is the list in words, or in columns of short names, and the row that its step
// begins in.
func (r *room) page(m *Model, roomy bool, columns int) (rows []textRow, step int) {
	w, margin := m.width, m.margin()
	wide := w
	if columns > 1 {
		wide = (w - margin) / columns
	}
	put := func(parts ...part) { rows = append(rows, textRow{parts: parts}) }
	para := func(role ember.Role, text string) { rows = append(rows, m.paraRows(role, text)...) }
	open := len(slices.DeleteFunc(slices.Clone(r.items), r.confirmed))
	head, count := "before paper is opened", fmt.Sprintf("%d to go", open)
	if open == 0 {
		head, count = "all is confirmed: now d or t", ""
	}
	put(part{margin, ember.Faint, head}, part{w - len(count) - 1, ember.Border, count})
	// The step that is to be taken, large.
	f := r.items[r.at]
	if roomy {
		put()
	}
	step = len(rows)
	para(ember.Strong, f.Text)
	if f.Detail != "" {
		para(ember.Normal, f.Detail)
	}
	put()
	// What only eyes can see, and apart from it what was checked.
	list := func(head string, verified bool) {
		if cells := r.cells(verified, margin, wide, columns > 1); len(cells) > 0 {
			put(part{margin, ember.Border, head})
			rows = append(rows, inColumns(cells, columns, wide)...)
		}
	}
	list("for your own eyes", false)
	if roomy && slices.ContainsFunc(r.items, func(f Finding) bool { return f.Verified }) {
		put()
	}
	list("checked by the program", true)
	if roomy {
		put()
	}
	para(ember.Faint, fmt.Sprintf("then %s of full dark with d, for large leaks, or %s with t, for small ones; begin and end are spoken", words.Finished(quickLook), words.Finished(longLook)))
	if m.fog.waits {
		para(ember.Normal, "the fog test's strip waits for its answer: press f when it is developed")
	}
	return rows, step
}

// cells are the lines that the program has checked, or those that it has not, each with
// the mark of who confirmed it and of the one under the finger.
func (r *room) cells(verified bool, x, width int, short bool) (cells [][]part) {
	for i, f := range r.items {
		if f.Verified != verified {
			continue
		}
		role, mark, text := ember.Faint, "[ ] ", f.Words()
		if r.confirmed(f) {
			role, mark = ember.Border, "[x] "
		}
		if verified {
			mark = ""
		}
		if short {
			text = cmp.Or(f.Short, f.Text)
		}
		cell := []part{{x, role, ansiCut(ember.SafeText(mark+text), width-1-x)}}
		if i == r.at {
			cell = append(cell, part{x - 2, ember.Strong, ">"})
		}
		cells = append(cells, cell)
	}
	return cells
}

// inColumns lays cells out column by column.
func inColumns(cells [][]part, columns, wide int) (rows []textRow) {
	high := (len(cells) + columns - 1) / columns
	for y := range high {
		var row []part
		for i := y; i < len(cells); i += high {
			for _, p := range cells[i] {
				p.x += i / high * wide
				row = append(row, p)
			}
		}
		rows = append(rows, textRow{parts: row})
	}
	return rows
}
