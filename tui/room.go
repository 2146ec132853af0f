package tui

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/charmbracelet/bubbles/key"
	tea "github.com/charmbracelet/bubbletea"

	"wetside/session"
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
	spoken  int
}

// darkFor: a minute of full dark before looking for leaks. Common practice, no
// source.
const darkFor = 75 * time.Second

var roomKeys = struct{ Tick, Up, Down, Dark, Fog key.Binding }{
	Tick: key.NewBinding(key.WithKeys(" "), key.WithHelp("space", "confirm")),
	Up:   key.NewBinding(key.WithKeys("up"), key.WithHelp("up/down", "line")),
	Down: key.NewBinding(key.WithKeys("down")),
	Dark: key.NewBinding(key.WithKeys("d"), key.WithHelp("d", "look for light")),
	Fog:  key.NewBinding(key.WithKeys("f"), key.WithHelp("f", "fog test")),
}

// darkKeys are those that work while a strip, or eyes, wait in the dark.
var darkKeys = struct{ Break key.Binding }{key.NewBinding(key.WithKeys("esc"), key.WithHelp("esc", "break off"))}

// Checklist is what the user confirms before paper is opened. Common practice,
// no source.
func Checklist() []Finding {
	return []Finding{
		{Text: "terminal is full screen, no other window shows"},
		{Text: "notifications are silenced (they are white)"},
		{Text: "screen saver, lock screen and sleep are held off", About: lamps.AboutSleep},
		{Text: "keyboard light is off", About: lamps.AboutKeyboard},
		{Text: "screen brightness is as low as it goes", About: lamps.AboutPanel},
		{Text: "telephones and watches are out of the room"},
		// The distance: what papers' data sheets ask for with a lamp of 15 W; from
		// memory. The paper's own sheet goes before it.
		{Text: "every other lamp is out; the safelight is 1.2 m or more from the paper, and turned away from it"},
		{Text: "red film lies over the screen, where you are in doubt of it"},
		{Text: "laptop is on the dry side, mains lead away from wet hands"},
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
func (r *room) clip() string   { return "room" }
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
	return []key.Binding{roomKeys.Tick, roomKeys.Dark, roomKeys.Fog, roomKeys.Up}
}

func (r *room) dark(m *Model) bool { return r.running || m.fog.running() }

func (r *room) press(m *Model, k tea.KeyMsg) tea.Cmd {
	if m.fog.running() {
		return m.fog.press(m, k)
	}
	if r.running {
		if k.String() == "esc" || k.String() == "enter" {
			r.stop(m)
			return m.tell("the dark was broken off")
		}
		return nil
	}
	if r.items == nil {
		r.fill(m)
	}
	switch {
	case key.Matches(k, roomKeys.Up):
		r.at = (r.at + len(r.items) - 1) % len(r.items)
	case key.Matches(k, roomKeys.Down):
		r.at = (r.at + 1) % len(r.items)
	case key.Matches(k, roomKeys.Tick):
		text := r.items[r.at].Text + r.items[r.at].Detail
		r.done[text] = !r.done[text]
		if r.done[text] && r.at < len(r.items)-1 {
			r.at++
		}
	case key.Matches(k, roomKeys.Dark):
		r.running, r.spoken = true, 0
		r.until = m.desk.Hand().Add(darkFor)
		m.quiet = true
		m.light()
		m.desk.Say("in the dark now. look for light")
		return nil
	case key.Matches(k, roomKeys.Fog):
		m.fog.ask(m)
		return nil
	case key.Matches(k, keys.Where):
		m.desk.Say(r.items[r.at].Words())
	}
	if m.cfg.Blind {
		m.desk.Say(r.items[r.at].Words())
	}
	return nil
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
	m.desk.Say("did you see light?")
	m.ask = &question{text: "The dark is over. Did you see any light?", yes: func() tea.Cmd {
		m.desk.Do(session.Event{Kind: session.Noted, Note: "room check: light was seen"})
		return m.tell("find it and cover it before paper is opened, then press d again")
	}, no: func() tea.Cmd {
		m.desk.Do(session.Event{Kind: session.Noted, Note: "room check: no light was seen"})
		return m.tell("the room is dark")
	}, leave: func() tea.Cmd { return m.tell("nothing is noted; d looks for light again") }}
}

func (r *room) view(m *Model, _ session.View, h int) string {
	if m.fog.running() {
		return m.fog.view(m)
	}
	if r.items == nil {
		r.fill(m)
	}
	st := m.styles
	var lines []string
	from, to := 0, 0 // of the chosen item
	for i, f := range r.items {
		style, mark := st.Normal, "[ ] "
		if r.confirmed(f) {
			style, mark = st.Faint, "[x] "
		}
		text := ember.SafeText(f.Text)
		if f.Verified {
			text = "verified: " + text
		}
		if i == r.at {
			style, from = st.Strong, len(lines)
		}
		for _, l := range strings.Split(wrap(text, max(8, m.width-len(mark)-1)), "\n") {
			lines = append(lines, style.Render(mark+l))
			mark = "    "
		}
		if f.Detail != "" {
			for _, l := range strings.Split(wrap(ember.SafeText(f.Detail), max(8, m.width-5)), "\n") {
				lines = append(lines, st.Faint.Render(mark+l))
			}
		}
		if i == r.at {
			to = len(lines)
		}
	}
	then := strings.Split(wrap(fmt.Sprintf("then d: the screen goes wholly dark for %s while your eyes adapt; begin and end are spoken.", words.Finished(darkFor)), m.width-2), "\n")
	if m.fog.waits {
		then = append(then, "the fog test's strip waits for its answer: press f when it is developed")
	}
	// Where not all of it fits, the list moves under the chosen line.
	space := max(1, h-2-len(then))
	first := max(0, min(len(lines)-space, max(0, to-space)))
	first = min(first, from)
	lines = lines[first:min(len(lines), first+space)]
	return st.Strong.Render("before paper is opened") + "\n" + strings.Join(lines, "\n") + "\n\n" + st.Faint.Render(strings.Join(then, "\n"))
}
