package tui

import (
	"slices"
	"strings"

	"github.com/charmbracelet/bubbles/help"
	"github.com/charmbracelet/bubbles/key"
	"github.com/charmbracelet/bubbles/textinput"
	"github.com/charmbracelet/bubbles/viewport"
	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/lipgloss"
	"github.com/charmbracelet/x/ansi"

	"wetside/session"
	"wetside/session/say"
	"wetside/tui/ember"
)

// A Screen names one of the program's pictures.
type Screen string

// A screen is one of the program's pictures and what its keys do. Tabs, footer,
// help, spoken names and the tests go through [screens], and through nothing else.
type screen interface {
	name() Screen
	keys(*Model) []key.Binding // those that work now, what is wanted most first
	takes(*Model) takes        // which keys are its own before all others
	enter(*Model)              // it comes up
	press(*Model, tea.KeyMsg) tea.Cmd
	tick(*Model) // ten times a second, whether it is up or not
	view(m *Model, v session.View, height int) string
}

// screens is every screen, in the order of the work and of tab.
func screens(m *Model) []screen {
	return []screen{&m.room, &m.form, &m.field, &m.trays, &m.book}
}

// A deed is a key and what it does. A screen's keys, its footer and its help are one
// list of them.
type deed struct {
	key.Binding
	do func(*Model) tea.Cmd // nil: it is done before the screen is asked
}

// on is a key, its name and words in the footer first; where they are empty the key
// before it tells of both. The keys are ks, or the name itself.
func on(name, does string, ks ...string) key.Binding {
	if ks == nil {
		ks = []string{name}
	}
	return key.NewBinding(key.WithKeys(ks...), key.WithHelp(name, does))
}

// deedOf is what a key does, of some deeds; nil: it is none of them.
func deedOf(deeds []deed, k tea.KeyMsg) func(*Model) tea.Cmd {
	for _, d := range deeds {
		if key.Matches(k, d.Binding) {
			return d.do
		}
	}
	return nil
}

// withWords are the keys of deeds that have words of their own.
func withWords(deeds []deed) (ks []key.Binding) {
	for _, d := range deeds {
		if d.Help().Desc != "" {
			ks = append(ks, d.Binding)
		}
	}
	return ks
}

// around is the place after i of n, or before it: behind the last comes the first.
func around(i, n int, on bool) int {
	if on {
		return (i + 1) % n
	}
	return (i + n - 1) % n
}

// takes says which keys a screen has for itself.
type takes int

const (
	ownKeys  takes = iota // its own, beside those that work everywhere
	letters               // whatever can be typed: a line of text is open
	everyKey              // all of them: eyes or a strip wait in the dark
)

// up is the screen that is shown.
func (m *Model) up() screen { return m.screens[m.place(m.screen)] }

func (m *Model) place(s Screen) int {
	return max(0, slices.IndexFunc(m.screens, func(x screen) bool { return x.name() == s }))
}

// turn goes so many screens on.
func (m *Model) turn(step int) tea.Cmd {
	n := len(m.screens)
	return m.goTo(m.screens[(m.place(m.screen)+step+n)%n].name())
}

// goTo changes the screen, and says so to who does not look.
func (m *Model) goTo(s Screen) tea.Cmd {
	m.screen, m.said = s, ""
	m.up().enter(m)
	return m.aloud(say.Place.Of(say.Where(m.up().name())))
}

// helper draws keys as bubbles does, in red.
func (m *Model) helper(width int) help.Model {
	h := help.New()
	st := m.styles
	h.Width, h.ShortSeparator = width, "  "
	h.Styles = help.Styles{Ellipsis: st.Faint, ShortKey: st.Faint, ShortDesc: st.Border, ShortSeparator: st.Border,
		FullKey: st.Normal, FullDesc: st.Faint, FullSeparator: st.Faint}
	return h
}

// keyLine is the keys that work now. The way on, out and to the rest of the keys
// has its place in any window.
func (m *Model) keyLine() string {
	ks, always := m.keysInFront()
	end := m.helper(0).ShortHelpView(always)
	room := m.width - lipgloss.Width(end)
	first := ""
	if aims := m.aims(); aims != "" && m.ask == nil && !m.help {
		// What the large key does now stands beside it.
		first = ansi.Truncate(m.moveKey()+" "+ember.SafeText(aims), max(0, room-2), "~")
		room -= lipgloss.Width(first) + 2
		first = m.styles.Strong.Render(first) + "  "
		ks = slices.DeleteFunc(slices.Clone(ks), func(k key.Binding) bool { return slices.Contains(k.Keys(), " ") })
	}
	var fit []key.Binding
	for _, k := range ks {
		if k = m.named(k); !k.Enabled() {
			continue
		}
		if room -= lipgloss.Width(k.Help().Key+" "+k.Help().Desc) + 2; room < 0 && (len(fit) > 0 || len(always) > 0) {
			break
		}
		fit = append(fit, k)
	}
	return first + m.helper(max(1, m.width-lipgloss.Width(first))).ShortHelpView(append(fit, always...))
}

// helpKeys scroll the help where not all of it fits.
var helpKeys = viewport.KeyMap{
	Up: on("", "", "up"), Down: on("", "", "down"),
	PageUp: on("", "", "pgup"), PageDown: on("", "", "pgdown"),
}

// helpView lists every key of the screen, and those that work everywhere.
func (m *Model) helpView(h int) string {
	all := append(slices.Clone(m.up().keys(m)), keys.Next, keys.Prev, keys.Louder, keys.Glow, keys.Quit)
	for i := range all {
		all[i] = m.named(all[i])
	}
	wide := 0
	for _, k := range all {
		wide = max(wide, lipgloss.Width(k.Help().Key+k.Help().Desc))
	}
	cols := max(1, min(m.width/(wide+12), (len(all)+h-6)/max(1, h-5)))
	groups := slices.Collect(slices.Chunk(all, (len(all)+cols-1)/cols))
	text := m.helper(m.width).FullHelpView(groups) + "\n\n" + m.styles.Faint.Render(wrap(caution, m.width-2))
	return m.styles.Strong.Render("keys of the "+string(m.screen)) + "\n" + m.scrolled(&m.helpPort, text, h-1)
}

// scrolled is as much of a text as there is room for.
func (m *Model) scrolled(port *viewport.Model, text string, height int) string {
	port.Width, port.Height, port.KeyMap = m.width, max(1, height), helpKeys
	port.SetContent(text)
	return port.View()
}

// typed is a line of text with the cursor where the next letter goes: an
// underscore, for a cell in reverse would be a lamp.
func typed(in textinput.Model, width int) string {
	text := []rune(in.Value())
	left := in.Prompt + ember.SafeText(string(text[:in.Position()])) + "_"
	left = ansi.TruncateLeft(left, max(0, ansi.StringWidth(left)-width), "")
	return left + ansi.Truncate(ember.SafeText(string(text[in.Position():])), max(0, width-ansi.StringWidth(left)), "")
}

// fixed is a screen that takes no letters and does nothing by itself.
type fixed struct{}

func (fixed) takes(*Model) takes { return ownKeys }
func (fixed) enter(*Model)       {}
func (fixed) tick(*Model)        {}

func lines(s string, n int) string {
	ls := strings.Split(s, "\n")
	for len(ls) < n {
		ls = append(ls, "")
	}
	return strings.Join(ls[:max(0, n)], "\n")
}

// keysInFront are the keys of what is in front, and those that stand there whatever the room.
func (m *Model) keysInFront() (ks, always []key.Binding) {
	switch {
	case m.ask != nil:
		return m.ask.keys(), nil
	case m.help:
		return nil, []key.Binding{keys.CloseHelp, keys.Quit}
	case m.first.on:
		return []key.Binding{firstKeys.Choose, firstKeys.Pick, firstKeys.Up, firstKeys.Leave}, alwaysKeys[ownKeys]
	}
	return m.up().keys(m), alwaysKeys[m.up().takes(m)]
}

var alwaysKeys = map[takes][]key.Binding{
	ownKeys: {keys.Next, keys.Help, keys.Quit},
	letters: {keys.Next, keys.HelpTyping, keys.QuitTyping},
}

// moveKey is the name of the large key: one that is no blank while words are typed.
func (m *Model) moveKey() string {
	of := m.keymap.Of("move")
	if m.typing() && m.line() != "" {
		if i := slices.IndexFunc(of, func(k string) bool { return len(k) > 1 && k != "space" }); i >= 0 {
			return of[i]
		}
	}
	return m.keyFor("move")
}
