package tui

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"github.com/charmbracelet/bubbles/key"
	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/x/ansi"

	"wetside/session"
	"wetside/session/desk"
	"wetside/session/say"
	"wetside/tui/ember"
)

// This file is where the program opens: the page of a first start, the screen
// that the sheets ask for, and the line that tells of what is due elsewhere.

// A way is one thing to begin with.
type way struct{ name, about string }

// ways are the choices of a first start, in the order of their numbers.
var ways = []way{
	{"expose and develop", "A sheet, from its camera to the wash."},
	{"only the trays", "It is exposed already, or it is a contact print."},
	{"just a timer", "Times for the trays, and nothing else to fill in."},
	{"try it in the light", "A rehearsal without paper, ten times as fast."},
}

// first is the page of a first start. It stands before the screens until a way is
// chosen, or another screen.
type first struct {
	on bool
	at int
}

var firstKeys = struct{ Choose, Pick, Up, Down, Leave key.Binding }{
	Choose: on("enter", "begin", "enter", " "),
	Pick:   on("1-4", "begin with that", "1", "2", "3", "4"),
	Up:     on("up/down", "choose", "up"),
	Down:   on("", "", "down"),
	Leave:  on("esc", "to the bench"),
}

func (f *first) press(m *Model, k tea.KeyMsg) tea.Cmd {
	switch {
	case key.Matches(k, firstKeys.Up, firstKeys.Down):
		f.at = around(f.at, len(ways), key.Matches(k, firstKeys.Down))
		return m.aloud(f.line(f.at))
	case key.Matches(k, firstKeys.Pick):
		f.at = number(k) - 1
		return f.choose(m)
	case key.Matches(k, firstKeys.Choose):
		return f.choose(m)
	case key.Matches(k, firstKeys.Leave):
		f.on = false
		return m.goTo(m.screen)
	default:
		m.answer("1 to 4, or up and down and enter", say.AskBegin.Of())
	}
	return nil
}

// line says a way and its number.
func (f *first) line(at int) say.Line {
	return say.KeyIs.Of(say.Key(fmt.Sprint(at+1)), say.Deed(ways[at].name))
}

// say says the page.
func (f *first) say(m *Model) {
	ls := []say.Line{say.AskBegin.Of()}
	for i := range ways {
		ls = append(ls, f.line(i))
	}
	m.desk.Say(ls...)
}

func (f *first) choose(m *Model) tea.Cmd {
	switch f.at {
	case 0:
		f.on = false
		m.goTo(Bench)
	case 1:
		f.on = false
		m.goTo(Bench)
		m.form.noCamera()
		return m.answer("no camera: a sheet that you add here waits for the trays", say.NoCameraNow.Of())
	case 2:
		m.askTimer()
	case 3:
		m.rehearse = true
		m.leave()
		return tea.Quit
	}
	return nil
}

// askTimer asks what is to be timed; enter alone is the process on the bench.
func (m *Model) askTimer() {
	if m.cfg.Timer == nil {
		m.answer("there is no timer here: add a sheet on the bench", say.NoTimer.Of())
		return
	}
	usual := m.form.value().Process
	m.askUntil("What is to be timed? A process, or steps: develop 2m, stop 10s, fix 1m, wash 30m. Enter alone: "+usual, say.AskTimer.Of(), func(text string) (tea.Cmd, error) {
		spec, err := m.cfg.Timer(cmp.Or(text, usual))
		if err != nil {
			return nil, err
		}
		if _, err := m.desk.Add(spec); err != nil {
			return nil, err
		}
		m.first.on = false
		return m.goTo(Trays), nil
	})
}

func (f *first) view(m *Model, h int) string {
	w := m.width
	c := newCanvas(w, h)
	margin, y := 1, 0
	if w >= 60 {
		margin = 3
	}
	roomy := h >= 20
	if big, ok := ember.Letters("wetside"); ok && h >= 15 {
		if roomy {
			y = 1
		}
		c.block(margin, y, ember.Large, big)
		y += 4
	}
	c.put(margin, y, ember.Faint, "What do you want to do?")
	y += 2
	beside := margin + 26 // where the words about a way begin
	for i, x := range ways {
		role, mark := ember.Normal, "  "
		if i == f.at {
			role, mark = ember.Strong, "> "
		}
		c.put(max(0, margin-2), y, role, fmt.Sprintf("%s%d  %s", mark, i+1, x.name))
		switch {
		case w >= 90:
			c.put(beside, y, ember.Border, x.about)
			y++
		case roomy || h >= 17:
			y = c.para(margin+3, y+1, w-margin-4, 1, ember.Border, x.about)
		default:
			y++
		}
		if h >= 24 {
			y++
		}
	}
	if rows := strings.Count(wrap(caution, w-2*margin), "\n") + 1; y+rows <= h {
		c.para(margin, h-rows, w-2*margin, rows, ember.Border, caution)
	}
	return c.render(m.styles)
}

// Rehearse reports whether the user has left to try the program in the light.
func (m *Model) Rehearse() bool { return m.rehearse }

// opening is the screen that the sheets ask for.
func opening(m *session.Machine) Screen {
	at := Bench
	for _, s := range m.Sheets() {
		switch {
		case s.Phase == session.Wet:
			return Trays
		case s.Phase == session.Exposing, desk.Unexposed(s):
			at = Field
		case (s.Phase == session.Exposed || s.Phase == session.Fresh) && at == Bench:
			at = Trays
		}
	}
	return at
}

// elsewhere is what is due on another screen, and the keys that lead there; empty
// when all that runs is in view.
func (m *Model) elsewhere(v session.View) (text string, late bool) {
	at := func(s *session.Sheet) Screen {
		if s.Phase == session.Exposing {
			return Field
		}
		return Trays
	}
	tells := func(s *session.Sheet, what string) string {
		to := at(s)
		return strings.TrimSpace(fmt.Sprintf("%s: %d %s", to, s.Num, s.Spec.Name)) + ", " + what + "  (" + m.way(to) + ")"
	}
	for _, id := range v.Need {
		s := m.desk.M.Sheet(id)
		if at(s) == m.screen {
			continue
		}
		sv, _ := v.Sheet(id)
		what := Stands(sv)
		if s.Phase == session.Wet {
			what = sv.Label + " " + what
		}
		return tells(s, what), sv.Left == 0 && sv.Stage != session.Hold
	}
	if i := slices.IndexFunc(m.desk.M.Sheets(), func(s *session.Sheet) bool { return s.Phase == session.Exposed }); i >= 0 && m.screen != Trays && !m.desk.Wet() {
		return tells(m.desk.M.Sheets()[i], "exposed, waits to go in"), false
	}
	return "", false
}

// way is the keys that lead to a screen.
func (m *Model) way(to Screen) string {
	n := len(m.screens)
	on := (m.place(to) - m.place(m.screen) + n) % n
	k, times := m.keyFor("next"), on
	if on > n/2 {
		k, times = m.keyFor("previous"), n-on
	}
	return strings.TrimSpace(k + " " + []string{"", "", "twice", "three times"}[min(times, 3)])
}

// due is the line of what is due elsewhere, as it is drawn.
func (m *Model) due(v session.View) string {
	text, late := m.elsewhere(v)
	if text == "" {
		return ""
	}
	style := m.styles.Faint
	if late {
		style = m.styles.Strong
	}
	return style.Render(ansi.Truncate(ember.SafeText(text), m.width, "~"))
}
