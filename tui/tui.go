// Package tui is the program the user sits beside: a bubbletea state machine
// with one file for each screen, and the [Desk], where clock, machine, record
// and loudspeaker meet.
//
// A screen is a lamp in the room, so every frame goes through package ember:
// [Model.View] paints every cell of the window in the level's red on black, and
// the program's output is an [ember.Guard].
//
// Nothing here drives a cue. The screen's tick only hands the loudspeaker what
// will be due, each cue with its instant; should the screen stand still, what
// has been handed over sounds all the same.
package tui

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/charmbracelet/bubbles/key"
	"github.com/charmbracelet/bubbles/viewport"
	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/lipgloss"
	"github.com/charmbracelet/x/ansi"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/desk"
	"wetside/session/say"
	"wetside/session/words"
	"wetside/tui/ember"
	"wetside/tui/lamps"
)

// A Choice is one profile to choose from.
type Choice struct{ Key, Name string }

// Config is all a Model is made of.
type Config struct {
	Desk    *desk.Desk
	Level   ember.Level
	Profile ember.Profile
	Guard   *ember.Guard // nil when nothing is drawn
	Blind   bool         // draw nothing; every key works
	Full    bool         // say in words what every key does, as to who does not look
	Keys    Keys         // which key does what; the zero value is as from the start

	Papers, Processes, Cameras []Choice
	// Plan makes a form good, or says in one sentence what is wrong with it.
	Plan func(profiles.Form) (profiles.Reckoned, error)
	// Shift returns the full exposure of a sheet after the light changed by
	// stops (brighter is positive).
	Shift func(spec session.SheetSpec, full time.Duration, stops float64) time.Duration
	// Brighter returns by how many stops a light, in the words of a form, is
	// brighter than the one a sheet is being exposed in; full is the whole
	// exposure in it.
	Brighter func(s *session.Sheet, light string, full time.Duration) float64
	// Reckon answers one of the shell's reckoning commands: "pinhole --camera
	// tea-caddy", "exposure overcast", "preflash strip", "learn", "mix 1+9
	// --make 500ml", "washes". The error is one sentence. May be nil.
	Reckon func(line string) (string, error)
	// Baths returns the mixes the process's trays are filled with by default.
	Baths func(process string) []session.Mix
	// FogStrip says how a paper's strip gets its exposure in a fog test, and what is
	// missing of the test; may be nil.
	FogStrip func(paper string) profiles.FogStrip
	// Backlight reads what share of its most the panel's backlight gives; may be nil.
	Backlight func() (share float64, known bool)
	// KeepFogTest keeps the result of a fog test for a paper.
	KeepFogTest func(session.FogTest) error
	// Strip is what an earlier run left: a strip that had its light and waits
	// for its answer; nil: none.
	Strip *session.FogTest
	// KeepStrip keeps a strip over the end of the program, until it is called
	// with nil; may be nil.
	KeepStrip func(*session.FogTest) error

	Book  Book
	Lamps desk.Lamps
	// Verified is what the program could check of the room by itself until now:
	// it is asked again and again while the list is on the screen, and at once
	// gives what it has.
	Verified func() []Finding
	// Pulse makes each cue pulse a border as well, for who does not hear well.
	Pulse bool
	// WhenAlone calls what it is given if no other program works on this session,
	// and lets none begin to meanwhile; nil: none ever does.
	WhenAlone func(func())
	// News is what there is to tell since it was asked last; may be nil.
	News func() []string
	// Notices are told at the start.
	Notices []string
	// Start is the screen to begin with; if empty, the one that the sheets ask for.
	Start Screen
	// First: nothing was ever written down. The program opens with a page that asks
	// what is to be done.
	First bool
	// NewCamera keeps a camera of its three answers: name, shape and size; hole; paper.
	// With fewer it only says what is wrong with them. May be nil.
	NewCamera func(answers ...string) (Choice, error)
	// Timer makes a sheet of which only the times are known, of a process or of
	// steps as typed; may be nil.
	Timer func(string) (session.SheetSpec, error)
	// Lead: the program leads from the start.
	Lead bool
	// Span reads a length of time that was typed, like 25m.
	Span func(string) (time.Duration, error)
	// Resumed is what to ask about before going on; empty at a clean start.
	Resumed string
	// ConfirmSound asks at start whether the sound was heard.
	ConfirmSound bool
}

// A Finding is one line of the room check.
type Finding struct {
	Short    string // a word or two; may be empty
	Text     string
	Detail   string // what the program found out about it; may be empty
	Verified bool
	About    lamps.Concern // the line of the checklist it belongs to
}

// Model is the whole program. It implements [tea.Model].
type Model struct {
	cfg      Config
	desk     *desk.Desk
	screens  []screen
	screen   Screen // which of them is shown
	help     bool
	helpPort viewport.Model
	width    int
	height   int
	styles   ember.Styles
	level    ember.Level // as the user set it
	ask      *question
	said     string // what the last key brought, for the screen
	// news is what came without a key, and when: it stays until somebody can
	// have read it.
	news   string
	newsAt session.Instant
	// read are the notices that were acknowledged: they do not come back.
	read    map[string]bool
	notices []string // those that are shown
	// frame is the last picture. It stands while nothing that it shows changes.
	frame  string
	spare  float64        // cells that other figures would light more than those that are drawn
	on     *ember.Changes // what it is drawn on; nil: on what View is asked by
	shown  shown
	still  bool
	split  split
	held   held
	mouse  mouse
	tap    bool // the key was part of the press before it
	hands  desk.Presses
	keymap Keys

	resumed time.Duration // session time at which it was asked what became of a sheet

	numbers int             // spoken as greetings
	softest int             // percent: the softest that was heard
	deaf    bool            // the sound was gone
	movedTo string          // where it went
	askedAt session.Instant // when where was pressed, in the hands' time

	// spoiling is the sheet a first x was for, and when; spoilt the one that the
	// key before this one spoiled.
	spoiling   string
	spoilingAt session.Instant
	spoilt     string
	dimmed     bool
	panel      desk.PanelWant
	awake      bool
	quiet      bool // the picture is dark on purpose: the room check
	done       bool
	rehearse   bool // it was left to be tried in the light

	first first
	room  room
	form  form
	field field
	trays trays
	book  book
	fog   fogTest
}

// New makes the program.
func New(cfg Config) *Model {
	if cfg.FogStrip == nil {
		cfg.FogStrip = func(string) profiles.FogStrip { return profiles.FogStrip{} }
	}
	if cfg.KeepStrip == nil {
		cfg.KeepStrip = func(*session.FogTest) error { return nil }
	}
	m := &Model{cfg: cfg, desk: cfg.Desk, screen: cmp.Or(cfg.Start, opening(cfg.Desk.M)), level: cfg.Level, width: 80, height: 24}
	m.styles = ember.NewStyles(m.level, cfg.Profile)
	m.form = newForm(cfg)
	m.screens = screens(m)
	m.hands.Desk = cfg.Desk
	if m.keymap = cfg.Keys; m.keymap.bound == nil {
		m.keymap, _ = BindKeys(nil, "")
	}
	m.first.on = cfg.First && cfg.Start == ""
	notices := cfg.Notices
	if cfg.Strip != nil {
		notices = append(slices.Clone(notices), m.fog.resume(m, *cfg.Strip))
	}
	for _, n := range notices {
		m.inform(n)
	}
	if cfg.ConfirmSound && cfg.Resumed == "" {
		m.ask = m.askHeard()
	}
	if cfg.Resumed != "" {
		m.askResume()
	}
	return m
}

type tickMsg time.Time

// How long the picture stands until it is looked at again: while hands move by
// themselves, or a strip or eyes wait in the dark; else. A clock's own second is met
// as it changes. Sound does not depend on it.
const (
	tickBusy = 100 * time.Millisecond
	tickIdle = time.Second
	tickLeft = 10 * time.Millisecond // nothing is looked at sooner again
)

func (m *Model) tick() tea.Cmd {
	return tea.Tick(m.until(), func(t time.Time) tea.Msg { return tickMsg(t) })
}

func (m *Model) until() time.Duration {
	if _, pace := m.desk.M.Rehearsal(); pace > 1 || m.desk.Hands || m.cfg.Pulse || m.fog.on || m.room.running {
		return tickBusy
	}
	now := m.desk.Now()
	v := m.desk.M.View(now)
	if len(v.Need) == 0 { // on the second, with all else that only looks
		return tickIdle - time.Duration(now.Wall.Nanosecond())%tickIdle
	}
	d := tickIdle
	for _, id := range v.Need {
		s, _ := v.Sheet(id)
		next := s.Left % time.Second
		if s.Left <= 0 || s.Stage == session.Hold {
			next = time.Second - max(s.Over, s.Elapsed)%time.Second
		}
		d = min(d, max(next+time.Millisecond, tickLeft))
	}
	return d
}

// DrawOn has every change of the picture drawn at once, on what only sends the
// changes.
func (m *Model) DrawOn(c *ember.Changes) { m.on = c }

// Init starts the picture's clock.
func (m *Model) Init() tea.Cmd {
	if m.cfg.Lead && m.cfg.Resumed == "" && !m.desk.M.Leading() {
		m.setLead(true)
	}
	switch {
	case m.ask != nil && m.speaks():
		m.ask.speakLines(m) // the number was spoken when it was made
	case m.cfg.Resumed != "":
		m.desk.Say(say.AskGoOn.Of())
	default:
		m.sayState()
	}
	return m.tick()
}

// Keys that work on every screen.
var keys = struct {
	Next, Prev, Help, CloseHelp, HelpTyping, Quit, QuitTyping, Where, Other, Louder, Softer, Glow key.Binding
}{
	Next:       on("tab", "next"),
	Prev:       on("shift+tab", "screen before"),
	Help:       on("?", "help", "?", "f12"),
	HelpTyping: on("f12", "help"),
	CloseHelp:  on("?, esc or enter", "close", "?", "f12", "esc", "enter"),
	Quit:       on("q", "quit", "q", "ctrl+c"),
	QuitTyping: on("ctrl+c", "quit"),
	Where:      on("enter", "where"),
	Other:      on(".", "other sheet"),
	Louder:     on("+/-", "louder, softer", "+", "="),
	Softer:     on("", "", "-", "_"),
	Glow:       on("g", "glow: dark, ember, torch"),
}

// Update takes one message. Every change of the record happens here, in order.
func (m *Model) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	if m.still = false; m.cfg.Blind {
		return m.update(msg)
	}
	_, ticks := msg.(tickMsg)
	_, cmd := m.update(msg)
	if now := m.shows(); ticks {
		m.still, m.shown = now == m.shown && !m.cfg.Pulse, now
	}
	if _, sized := msg.(tea.WindowSizeMsg); sized && m.on != nil {
		m.on.Forget() // terminals put what was there anew, each in its way
	}
	if m.on != nil && !m.still {
		// What the terminal does not take is told by the guard.
		_ = m.on.Draw(m.picture())
	}
	return m, cmd
}

// shown is all that can change a picture between two keys.
type shown struct {
	events, loose    int
	clocks, text     string
	screen           Screen
	level            ember.Level
	sound            desk.SoundState
	help, quiet, ask bool
}

func (m *Model) shows() shown {
	s := shown{events: m.desk.M.Applied(), loose: m.desk.Record.Unsaved(), text: m.said + m.news + m.desk.Trouble,
		screen: m.screen, level: m.styles.Level, sound: m.desk.Sound.State(), help: m.help, quiet: m.quiet, ask: m.ask != nil}
	now := m.desk.Now()
	v := m.desk.M.View(now)
	for _, id := range v.Need {
		x, _ := v.Sheet(id)
		s.clocks += clockOf(x) + string(x.Doing) + words.Percent(x.Share)
	}
	// What waits in the open or in the dark, and a question that tells the time.
	if v.PaperOut || m.ask != nil || m.fog.on || m.room.running || m.screen == Room || s.clocks != "" {
		s.clocks += fmt.Sprint(m.desk.Hand().Wall.Unix())
	}
	return s
}

// WindowLost says that the terminal is a shell's by now: nothing is seen of what is
// drawn, and no key comes, until [WindowBack].
type WindowLost struct{}

// WindowBack says that it is the program's again, as somebody left it.
type WindowBack struct{}

// lostWindow is what is said of it, with the motif of what is wrong.
type lostWindow struct{}

func (lostWindow) Error() string  { return "the window is a shell's: start wetside again here" }
func (lostWindow) Line() say.Line { return say.WindowLost.Of() }

func (m *Model) update(msg tea.Msg) (tea.Model, tea.Cmd) {
	switch msg := msg.(type) {
	case WindowLost:
		m.desk.Complain(lostWindow{})
	case WindowBack:
		if m.on != nil {
			m.on.Forget()
		}
	case tickMsg:
		return m, m.beat()
	case tea.WindowSizeMsg:
		m.width, m.height = msg.Width, msg.Height
		if m.cfg.Guard != nil {
			m.cfg.Guard.Resize(msg.Width, msg.Height)
		}
	case tea.KeyMsg:
		if Hook != nil {
			Hook(msg.String())
		}
		var cmd tea.Cmd
		m.desk.Together(func() {
			m.desk.Here()
			whole, wait := m.split.take(msg)
			cmd = tea.Batch(m.pressAll(whole), wait)
		})
		return m, cmd
	case tea.MouseMsg:
		var cmd tea.Cmd
		m.desk.Together(func() { cmd = m.click(msg) })
		return m, cmd
	case tea.FocusMsg, tea.BlurMsg, fmt.Stringer:
		m.focus(msg)
	case splitMsg:
		return m, m.pressAll(m.split.over(msg))
	case heldMsg:
		m.tap = false
		cmd := m.presses(m.held.over(msg))
		if m.tap { // it came too late for a contact, and is not held
			m.desk.Key(false)
		}
		return m, cmd
	case tapMsg:
		if m.held.late && m.held.cameAt == session.Instant(msg) { // it is not held
			m.desk.Key(false)
		}
	}
	return m, nil
}

// beat does what time brings, and waits for the next tick.
func (m *Model) beat() tea.Cmd {
	m.desk.Together(func() {
		m.desk.Tick()
		m.listen()
		if m.cfg.News != nil {
			for _, n := range m.cfg.News() {
				m.inform(n)
				m.aloud(say.News.Of())
			}
		}
	})
	m.light()
	if m.cfg.Lamps != nil {
		for _, n := range m.cfg.Lamps.Told() {
			m.inform(n.Text)
			switch {
			case n.Aloud.IsZero():
			case n.Wrong:
				m.desk.Complain(n)
			default:
				m.desk.Say(n.Aloud)
			}
		}
	}
	for _, s := range m.screens {
		s.tick(m)
	}
	if m.desk.Hands && m.desk.Over() {
		m.leave()
		return tea.Quit
	}
	return m.tick()
}

func (m *Model) pressAll(ks []tea.KeyMsg) tea.Cmd {
	var cmds []tea.Cmd
	for _, k := range ks {
		if k.Paste {
			cmds = append(cmds, m.paste(k))
			continue
		}
		for _, k := range apart(k) {
			cmds = append(cmds, m.key(k))
		}
	}
	return tea.Batch(cmds...)
}

// apart takes keys that were read at once (from a pipe, or by a program that
// was busy) apart again: each is a key of its own.
func apart(k tea.KeyMsg) []tea.KeyMsg {
	if k.Type != tea.KeyRunes || len(k.Runes) < 2 || k.Alt {
		return []tea.KeyMsg{k}
	}
	out := make([]tea.KeyMsg, len(k.Runes))
	for i, r := range k.Runes {
		out[i] = tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune{r}}
		if r == ' ' {
			out[i].Type = tea.KeySpace
		}
	}
	return out
}

// pasteMost is how much of a paste is looked at: more than a line of text holds.
const pasteMost = 1000

// paste is what was pasted: words for an open line of text, and never a key.
func (m *Model) paste(k tea.KeyMsg) tea.Cmd {
	if !m.typing() {
		m.desk.Complain(errPasted)
		return m.announce(errPasted.Error())
	}
	// The last line's end is none of its words, and enters nothing.
	text := ember.SafeText(strings.Trim(string(k.Runes[:min(len(k.Runes), pasteMost)]), "\r\n"))
	return m.press(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune(text), Paste: true})
}

// pastedKey is the refusal of what was pasted.
type pastedKey struct{}

func (pastedKey) Error() string {
	return "a paste is no key: it goes into an open line of text, and nowhere else"
}
func (pastedKey) Line() say.Line { return say.Pasted.Of() }

var errPasted error = pastedKey{}

// newsFor is how long news stays at least.
const newsFor = 5 * time.Second

// inform shows what came without a key, until the first key after a while.
func (m *Model) inform(text string) {
	if text = ember.SafeText(text); text == "" || m.read[text] {
		return
	}
	m.notices = append(m.notices, text)
	if m.news != "" && !strings.Contains(m.news, text) {
		text = m.news + "; " + text
	}
	m.news, m.newsAt = text, m.desk.Hand()
}

// settle takes back news that is no longer so.
func (m *Model) settle(text string) {
	if i := slices.Index(m.notices, ember.SafeText(text)); i >= 0 {
		m.notices = slices.Delete(m.notices, i, i+1)
		m.news = strings.Join(m.notices, "; ")
	}
}

// typing reports whether letters go into a line.
func (m *Model) typing() bool {
	return m.ask != nil && m.ask.words != nil || m.ask == nil && m.up().takes(m) == letters
}

// press does what a key does: of the news, of what stands before the screens, of every
// screen, of the one that is shown.
func (m *Model) press(k tea.KeyMsg) tea.Cmd {
	m.said = "" // it was about the key before
	if !key.Matches(k, trayKeys.Spoil) {
		m.spoiling = ""
	}
	if m.desk.Hand().Sub(m.newsAt) > newsFor && !m.typing() {
		m.news, m.notices = "", nil
	}
	if m.ask != nil {
		return m.ask.press(m, k)
	}
	if m.news != "" && !m.help && !m.fog.on && !m.room.running && k.String() == "esc" {
		return m.acknowledge()
	}
	if m.help && m.leaf(k) {
		return nil
	}
	m.first.on = m.first.on && !key.Matches(k, keys.Next, keys.Prev)
	if m.first.on && !key.Matches(k, keys.Help, keys.Quit, keys.QuitTyping, keys.Louder, keys.Softer, keys.Glow) {
		return m.first.press(m, k)
	}
	takes := m.up().takes(m)
	if takes == everyKey {
		if key.Matches(k, trayKeys.Move) && m.mustAnswer() {
			return m.act()
		}
		return m.up().press(m, k)
	}
	if do := deedOf(typingDeeds, k); do != nil {
		return do(m)
	}
	if takes == letters {
		return m.up().press(m, k)
	}
	if do := deedOf(everyDeeds, k); do != nil {
		return do(m)
	}
	return m.pressSheets(k)
}

// typingDeeds are done on every screen, an open line of text or not; everyDeeds where
// no line is open.
var (
	typingDeeds = []deed{
		{keys.Next, func(m *Model) tea.Cmd { return m.turn(+1) }},
		{keys.Prev, func(m *Model) tea.Cmd { return m.turn(-1) }},
		{keys.HelpTyping, (*Model).openHelp},
		{keys.QuitTyping, (*Model).quit},
	}
	everyDeeds = []deed{
		{keys.Help, (*Model).openHelp},
		{keys.Quit, (*Model).quit},
		{keys.Louder, func(m *Model) tea.Cmd { return m.volume(+1) }},
		{keys.Softer, func(m *Model) tea.Cmd { return m.volume(-1) }},
		{keys.Glow, (*Model).glow},
	}
)

// pressSheets is a key that is for a sheet on whatever screen, else for the screen.
func (m *Model) pressSheets(k tea.KeyMsg) tea.Cmd {
	work := m.screen == Field || m.screen == Trays
	if work && m.spoilt != "" && key.Matches(k, trayKeys.Note) {
		m.askWhy()
		return nil
	}
	m.spoilt = ""
	asked := len(m.hands.Asked()) > 0
	switch {
	case !work && key.Matches(k, trayKeys.Move) && m.mustAnswer():
		return m.act() // what is called is answered wherever one is
	case m.screen == Room && m.room.load.on() && key.Matches(k, trayKeys.Undo):
		return m.room.load.back(m)
	case key.Matches(k, trayKeys.Undo):
		return m.back()
	// A number answers a question of the large key anywhere; else it picks, where
	// the screen has no sheets of its own.
	case key.Matches(k, trayKeys.Pick) && (asked || m.screen != Notebook && m.screen != Bench):
		return m.pickNumber(number(k))
	case key.Matches(k, keys.Other) && (asked || work):
		return m.other()
	}
	return m.up().press(m, k)
}

// leaf turns the leaves of the help, or closes it; any other key is for what lies under it.
func (m *Model) leaf(k tea.KeyMsg) bool {
	if key.Matches(k, helpKeys.Up, helpKeys.Down, helpKeys.PageUp, helpKeys.PageDown) {
		m.helpPort, _ = m.helpPort.Update(k)
		return true
	}
	m.help = false
	return key.Matches(k, keys.CloseHelp)
}

// acknowledge takes away the news, for good.
func (m *Model) acknowledge() tea.Cmd {
	if m.read == nil {
		m.read = map[string]bool{}
	}
	for _, n := range m.notices {
		m.read[n] = true
	}
	m.news, m.notices = "", nil
	return nil
}

func (m *Model) openHelp() tea.Cmd {
	m.help, m.helpPort = true, viewport.Model{}
	m.sayKeys()
	return nil
}

// speaks reports whether all is said aloud that the screen tells.
func (m *Model) speaks() bool { return m.cfg.Blind || m.cfg.Full }

// tell shows words, and speaks them when nothing is drawn.
func (m *Model) tell(ls ...say.Line) tea.Cmd {
	var text []string
	for _, l := range ls {
		text = append(text, l.String())
	}
	return m.answer(strings.Join(text, ". "), ls...)
}

// answer is tell where the screen has more to show than is said.
func (m *Model) answer(text string, ls ...say.Line) tea.Cmd {
	m.said = text
	return m.aloud(ls...)
}

// aloud says to who does not look what is on the screen.
func (m *Model) aloud(ls ...say.Line) tea.Cmd {
	if m.speaks() {
		m.desk.Say(ls...)
	}
	return nil
}

// announce shows something, and says it to everybody.
func (m *Model) announce(text string, ls ...say.Line) tea.Cmd {
	m.said = text
	m.desk.Say(ls...)
	return nil
}

// refuse shows and sounds what is wrong.
func (m *Model) refuse(err error) tea.Cmd {
	m.desk.Complain(err)
	m.said = ember.SafeText(err.Error())
	return nil
}

// sayState says how things stand, to who begins and does not look.
func (m *Model) sayState() {
	if !m.speaks() {
		return
	}
	if m.first.on {
		m.first.say(m)
		return
	}
	ls := append([]say.Line{say.Place.Of(say.Where(m.screen))}, m.stands(m.desk.M.View(m.desk.Now()), 0, 1)...)
	var in say.Nums
	for _, s := range m.desk.M.Sheets() {
		if s.InCamera() && s.Phase == session.Fresh {
			in |= say.Num(s.Num)
		}
	}
	if in != 0 {
		ls = append(ls, say.StandsLoaded.Of().To(in))
	}
	if m.desk.M.Leading() && !m.cfg.Lead {
		ls = append(ls, say.Leading.Of())
	}
	if m.news != "" {
		ls = append(ls, say.News.Of())
	}
	m.desk.Say(ls...)
}

// do is Desk.Do with the refusal shown.
func (m *Model) do(e session.Event) error {
	err := m.desk.Do(e)
	if err != nil {
		m.said = err.Error()
	}
	return err
}

// glow goes from ember to dark, on to torch and back to ember. Torch is for the
// field: never while a box of paper is open, and it falls back to ember as soon
// as a sheet is out or in the trays.
func (m *Model) glow() tea.Cmd {
	next := map[ember.Level]ember.Level{ember.Ember: ember.Dark, ember.Dark: ember.Torch, ember.Torch: ember.Ember}[m.level]
	if next == ember.Torch && m.open() {
		next = ember.Ember
	}
	m.setLevel(next)
	return m.aloud(map[ember.Level]say.Line{ember.Ember: say.GlowEmber.Of(), ember.Dark: say.GlowDark.Of(), ember.Torch: say.GlowTorch.Of()}[m.level])
}

func (m *Model) setLevel(l ember.Level) {
	m.level = l
	m.light()
}

// light puts the level and the laptop's lamps in keeping with what is out.
func (m *Model) light() {
	out := m.open()
	dark := m.fog.on || m.room.running || m.room.load.on() // a strip of paper or eyes wait in the dark
	m.desk.Dark = dark
	if m.level == ember.Torch && out {
		m.level = ember.Ember
	}
	l := m.level
	if m.quiet {
		l = ember.Dark
	}
	if l != m.styles.Level {
		m.styles = ember.NewStyles(l, m.cfg.Profile)
		if m.cfg.Guard != nil {
			m.cfg.Guard.SetLevel(l)
		}
	}
	if m.cfg.Lamps != nil {
		m.lamps(out || dark, m.desk.M.Running() || dark)
	}
}

// lamps tells the laptop's lamps what is other than before: paper or eyes are in the
// dark, and the machine must not sleep.
func (m *Model) lamps(dim, awake bool) {
	if awake != m.awake {
		m.awake = awake
		m.cfg.Lamps.Awake(awake)
	}
	panel := m.panelWhen(dim)
	if dim == m.dimmed && panel == m.panel {
		return
	}
	m.dimmed, m.panel = dim, panel
	if dim {
		m.cfg.Lamps.Dim(panel)
	} else {
		m.cfg.Lamps.Restore()
	}
}

// panelWhen is how far the panel goes down.
func (m *Model) panelWhen(dim bool) desk.PanelWant {
	switch {
	case !dim:
	case m.level == ember.Dark || m.cfg.Blind:
		return desk.PanelDark
	case m.desk.M.Leading():
		return desk.PanelGlance
	}
	return desk.PanelDimmed
}

// open reports whether paper lies in the light of the screen.
func (m *Model) open() bool { return m.desk.M.PaperOut() || m.desk.Wet() || m.fog.on }

// quit asks first: the terminal may be white, and clocks may run.
func (m *Model) quit() tea.Cmd {
	text := "Quit? The screen will turn bright. Is all paper covered?"
	switch {
	case m.desk.M.PaperOut():
		text = "Paper is out, and the screen will turn bright. Is the paper covered?"
	case m.desk.M.Running():
		text = "A clock is running; it goes on when you start again. The screen will turn bright. Is all paper covered?"
	}
	// The disk may take them while the question stands.
	now := func() string {
		n := m.desk.Record.Loose()
		if n == 0 {
			return text
		}
		what := fmt.Sprintf("%d events are", n)
		if n == 1 {
			what = "One event is"
		}
		return fmt.Sprintf("%s not written yet, and lost if you quit before the disk takes them: make room first. %s", what, text)
	}
	m.ask = &question{now: now, yesIs: "covered: quit", noIs: "not yet: go on", yes: func() tea.Cmd {
		m.leave()
		return tea.Quit
	}, no: func() tea.Cmd { return m.tell(say.GoingOn.Of()) }}
	if m.desk.Record.Loose() > 0 {
		m.desk.Complain(notWritten{})
	}
	m.ask.lines = func() []say.Line {
		var ls []say.Line
		if n := m.desk.Record.Loose(); n > 0 {
			ls = append(ls, say.AskLost.Of(say.Number(n)))
		}
		switch {
		case m.desk.M.PaperOut():
			return append(ls, say.AskQuitOut.Of())
		case m.desk.M.Running():
			return append(ls, say.AskQuitRunning.Of())
		}
		return append(ls, say.AskQuit.Of())
	}
	m.ask.speakLines(m)
	return nil
}

// leave ends the program, and the session with it if no sheet waits for it and
// no other program works on it.
func (m *Model) leave() {
	over := func() {
		m.desk.Tick() // what another did before it left
		// A session with events that go no further is not called over: what the
		// question said is lost is all that is.
		if m.desk.Over() && m.desk.Record.Loose() == 0 {
			m.desk.Do(session.Event{Kind: session.Closed})
		}
	}
	if m.cfg.WhenAlone == nil {
		over()
	} else {
		m.cfg.WhenAlone(over)
	}
	m.done = true
}

// Quit reports whether the user left by the front door, and confirmed that
// paper is covered.
func (m *Model) Quit() bool { return m.done }

// Screens returns the names of all screens, in the order of tab.
func (m *Model) Screens() (names []Screen) {
	for _, s := range m.screens {
		names = append(names, s.name())
	}
	return names
}

// View draws the window, every cell of it, unless it is drawn already.
func (m *Model) View() string {
	if m.cfg.Blind || m.on != nil {
		return ""
	}
	return m.picture()
}

func (m *Model) picture() string {
	if m.still && m.frame != "" {
		return m.frame
	}
	draw := m.draw
	if m.cfg.Pulse && m.width >= 42 && m.height >= 14 {
		draw = m.bordered
	}
	m.spare = 0
	view := draw()
	m.frame = ember.PaintFor(m.cfg.Profile, view, m.width, m.height, m.styles.Level, m.spare)
	return m.frame
}

// pulseFor is how long the border shows a cue. One pulse, no flicker.
const pulseFor = 600 * time.Millisecond

// bordered draws the picture inside a border that shows for a moment at each
// cue, for who does not hear well: thick for what is urgent.
func (m *Model) bordered() string {
	w, h := m.width, m.height
	m.width, m.height = w-2, h-2
	lines := strings.Split(m.draw(), "\n")
	m.width, m.height = w, h
	now := m.desk.Now()
	edge, style := " ", m.styles.Normal
	corner := [3]string{" ", " ", " "}
	for _, c := range m.desk.M.Cues(now.Add(-m.span(pulseFor)), now) {
		if c.Ticks() {
			continue
		}
		edge, corner = "│", [3]string{"┌", "─", "┐"}
		if c.Urgent() {
			style = m.styles.Strong
		}
	}
	bottom := [3]string{" ", corner[1], " "}
	if edge != " " {
		bottom = [3]string{"└", "─", "┘"}
	}
	rule := func(r [3]string) string { return style.Render(r[0] + strings.Repeat(r[1], w-2) + r[2]) }
	var b strings.Builder
	b.WriteString(rule(corner))
	for i := range h - 2 {
		l := ""
		if i < len(lines) {
			l = ansi.Truncate(lines[i], w-2, "")
		}
		b.WriteString("\n" + style.Render(edge) + l + strings.Repeat(" ", max(0, w-2-ansi.StringWidth(l))) + style.Render(edge))
	}
	return b.String() + "\n" + rule(bottom)
}

func (m *Model) draw() string {
	if m.done {
		return ""
	}
	v := m.desk.M.View(m.desk.Now())
	if m.width < 40 || m.height < 12 {
		return m.tiny(v)
	}
	head := m.header(v)
	if due := m.due(v); due != "" && m.ask == nil && !m.help && m.height >= 14 {
		head += "\n" + due
	}
	foot := m.footer()
	h := m.height - lipgloss.Height(head) - lipgloss.Height(foot)
	var body string
	switch {
	case m.ask != nil:
		body = m.ask.view(m)
	case m.help:
		body = m.helpView(h)
	case m.first.on:
		body = m.first.view(m, h)
	default:
		body = m.up().view(m, v, h)
	}
	return head + "\n" + lines(body, h) + "\n" + foot
}

func (m *Model) header(v session.View) string {
	st := m.styles
	var b strings.Builder
	for _, s := range m.screens {
		style := st.Faint
		if s.name() == m.screen && !m.first.on {
			style = st.Strong
		}
		b.WriteString(style.Render(string(s.name())) + st.Faint.Render("  "))
	}
	right := ""
	if re, pace := m.desk.M.Rehearsal(); re {
		right = fmt.Sprintf("rehearsal x%g  ", pace)
	}
	if v.PaperOut {
		right += "PAPER IS OUT  "
	}
	right += short(m.desk.Sound.State())
	line := b.String()
	gap := m.width - ansi.StringWidth(line) - ansi.StringWidth(right)
	if gap < 1 {
		line = st.Strong.Render(string(m.screen))
		gap = max(1, m.width-ansi.StringWidth(line)-ansi.StringWidth(right))
	}
	return line + strings.Repeat(" ", gap) + st.Normal.Render(right)
}

// footer is what the user was told last, what is wrong, and the keys.
func (m *Model) footer() string {
	st := m.styles
	say := m.said
	if m.news != "" {
		// The answer to the key comes first: it may say what the next one does.
		say = strings.TrimSpace(m.said + "  " + m.news)
	}
	style := st.Normal
	if snd := m.desk.Sound.State(); !snd.OK {
		say, style = "no sound: "+snd.Reason+"; trying again", st.Strong
	}
	if m.desk.Trouble != "" {
		say, style = fmt.Sprintf("not written yet (%d kept in memory): %s", m.desk.Record.Unsaved(), m.desk.Trouble), st.Strong
	}
	// What was said is whole wherever there is room for it: its end may be the
	// key that is to be pressed.
	lines := strings.Split(wrap(ember.SafeText(say), max(1, m.width)), "\n")
	if most := max(1, m.height/4-1); len(lines) > most {
		lines[most-1] = ansi.Truncate(strings.Join(lines[most-1:], " "), m.width, "~")
		lines = lines[:most]
	}
	return style.Render(strings.Join(lines, "\n")) + "\n" + m.keyLine()
}

// tiny is for windows below 40x12: stage and remaining, nothing else.
func (m *Model) tiny(v session.View) string {
	if m.ask != nil {
		return m.styles.Strong.Render(wrap(m.ask.brief(), max(1, m.width)))
	}
	if len(v.Need) == 0 {
		return m.styles.Normal.Render("nothing runs")
	}
	s, _ := v.Sheet(v.Need[0])
	t := words.Countdown(s.Left)
	if s.Over > 0 {
		t = "+" + words.CountUp(s.Over)
	}
	return m.styles.Strong.Render(fmt.Sprintf("%d %s", s.Num, ember.SafeText(s.Label))) + "\n" + m.styles.Strong.Render(t)
}

// wrap breaks lines at spaces and hyphens, but for those of a date.
func wrap(s string, width int) string {
	return strings.ReplaceAll(ansi.Wordwrap(datesHyphen.ReplaceAllString(s, "$1\u2011"), width, " "), "\u2011", "-")
}

// datesHyphen is a hyphen that no line may be broken at: one behind a digit.
var datesHyphen = regexp.MustCompile(`(\d)-`)
