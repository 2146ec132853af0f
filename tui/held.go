package tui

import (
	"fmt"
	"slices"
	"strconv"
	"time"
	"unicode"

	"github.com/charmbracelet/bubbles/key"
	tea "github.com/charmbracelet/bubbletea"

	"wetside/session"
	"wetside/session/say"
)

// A terminal does not tell a key that is held down from one that is pressed
// again and again. A held tells them apart by their rhythm: what a keyboard
// repeats comes closer together than a finger can press. Only the first repeat
// comes as late as a second press might; so a second press within a second waits
// for what follows it.
type held struct {
	key   string
	last  session.Instant // when it came last, in the hands' time
	waits *tea.KeyMsg
	n     int // of the wait
	// typed is the last key that did a deed while a line of text was open, and when.
	typed   string
	typedAt session.Instant
	// came is the last key of all, and when; late: it was one press with the one before
	// it, and came too late for a contact of it.
	came   string
	cameAt session.Instant
	late   bool
}

const (
	// heldGap is above the longest usual delay before the first repeat (660 ms
	// in X11).
	heldGap = time.Second
	// repeatGap is above what lies between two repeats (92 ms on the Linux
	// console, less elsewhere), and below what a finger needs.
	repeatGap = 150 * time.Millisecond
	// bounceGap is within what the contacts of a pedal bounce, and a finger taps twice
	// that meant to tap once. Common practice, no source.
	bounceGap = 300 * time.Millisecond
)

// heldMsg says that the n-th wait is over.
type heldMsg int

// tapMsg is sent a little later after a key that came then and was late.
type tapMsg session.Instant

// take gives the presses that k makes certain, which may be none yet; the
// command ends the wait. What comes again sooner than bounce is the same press.
func (h *held) take(k tea.KeyMsg, now session.Instant, bounce time.Duration) ([]tea.KeyMsg, tea.Cmd) {
	name, gap := k.String(), now.Sub(h.last)
	again := name == h.key && gap >= 0 && gap < heldGap
	h.key, h.last = name, now
	switch {
	case !again:
		return append(h.over(heldMsg(h.n)), k), nil
	case gap < bounce:
		h.waits = nil // it is held, or it bounces
	default:
		before := h.over(heldMsg(h.n))
		h.waits = &k
		h.n++
		n := heldMsg(h.n)
		return before, tea.Tick(repeatGap, func(time.Time) tea.Msg { return n })
	}
	return nil, nil
}

// over ends a wait: what waited was a press of its own.
func (h *held) over(n heldMsg) []tea.KeyMsg {
	if h.waits == nil || int(n) != h.n {
		return nil
	}
	k := *h.waits
	h.waits = nil
	return []tea.KeyMsg{k}
}

// key is one key that came. What was one press with the one before it, and neither a
// contact of it nor a key that is held, is heard as a dull tick.
func (m *Model) key(k tea.KeyMsg) tea.Cmd {
	name, now := k.String(), m.desk.Hand()
	alone := name != m.held.came || now.Sub(m.held.cameAt) >= bounceGap
	m.held.came, m.held.cameAt, m.tap = name, now, false
	cmd := m.once(k)
	if m.held.late = m.tap && alone; !m.held.late {
		return cmd
	}
	return tea.Batch(cmd, tea.Tick(repeatGap, func(time.Time) tea.Msg { return tapMsg(now) }))
}

// once takes a key once however long it is held, except where a held key is what moves
// a cursor, writes a letter or sets the volume.
func (m *Model) once(k tea.KeyMsg) tea.Cmd {
	if k.Type == tea.KeyCtrlJ {
		k.Type = tea.KeyEnter // typed before the keeper had the terminal: it came as a line's end
	}
	if !m.typing() {
		if k = m.bound(lower(k)); k.String() == "" {
			return nil
		}
	} else if do := m.pressTyping(k); do != nil {
		name, now := k.String(), m.desk.Hand()
		if name == m.held.typed && now.Sub(m.held.typedAt) < bounceGap {
			do = func() tea.Cmd { m.tap = true; return nil }
		}
		m.held.typed, m.held.typedAt = name, now
		return m.answered(k, do)
	}
	if m.mayRepeat(k) {
		m.held.key, m.held.last = k.String(), m.desk.Hand()
		before := m.held.over(heldMsg(m.held.n))
		return m.presses(append(before, k))
	}
	bounce := bounceGap
	if k.String() == "[" || k.String() == "]" || k.Type == tea.KeyUp || k.Type == tea.KeyDown {
		bounce = repeatGap // steps of the light and of a time are pressed fast, and meant
	}
	ks, wait := m.held.take(k, m.desk.Hand(), bounce)
	return tea.Batch(m.presses(ks), wait)
}

func (m *Model) presses(ks []tea.KeyMsg) tea.Cmd {
	var cmds []tea.Cmd
	for _, k := range ks {
		cmds = append(cmds, m.answered(k, func() tea.Cmd { return m.press(k) }))
	}
	m.light() // before the next frame: a key may have brought paper out
	return tea.Batch(cmds...)
}

func (m *Model) mayRepeat(k tea.KeyMsg) bool {
	switch k.Type {
	case tea.KeyUp, tea.KeyDown:
		return m.screen != Trays || m.ask != nil || m.help // there they are deeds
	case tea.KeyLeft, tea.KeyRight, tea.KeyTab, tea.KeyShiftTab,
		tea.KeyHome, tea.KeyEnd, tea.KeyPgUp, tea.KeyPgDown:
		return true
	case tea.KeyEnter, tea.KeyEsc:
		return false // they end the typing
	case tea.KeySpace:
		// Where it moves a sheet it has a rule of its own, which is stricter.
		return m.typing() || m.ask == nil && (m.screen == Field || m.screen == Trays)
	case tea.KeyRunes:
		switch k.String() {
		case "+", "=", "-", "_":
			return true
		}
	}
	return m.typing()
}

// bound is the key that the screens know the pressed one by; empty when it does
// nothing.
func (m *Model) bound(k tea.KeyMsg) tea.KeyMsg {
	if m.ask != nil && slices.Contains([]string{"y", "n", "esc", "enter"}, k.String()) {
		return k // an answer
	}
	if m.ask == nil && m.up().takes(m) == everyKey {
		if to, d := m.keymap.press(k, m.screen, len(m.desk.M.Sheets())); d != nil && d.Name == "move" {
			return to // a clock may call
		}
		return k
	}
	if m.help && key.Matches(k, helpKeys.Up, helpKeys.Down, helpKeys.PageUp, helpKeys.PageDown, keys.CloseHelp) {
		return k
	}
	if k.String() == "b" && len(m.hands.Asked()) > 0 { // a clicker's, which has no numbers
		return keyMsg(".")
	}
	if m.maybeDigit(k) {
		return tea.KeyMsg{}
	}
	to, _ := m.keymap.press(k, m.screen, len(m.desk.M.Sheets()))
	if to.String() == "" {
		m.nothing()
	}
	return to
}

// maybeDigit tells of a key that is a digit in another layout, and does nothing here.
func (m *Model) maybeDigit(k tea.KeyMsg) bool {
	switch {
	case m.keymap.layout == "" && k.String() == "+" && len(m.hands.Asked()) > 0: // the 1 of one layout
		m.desk.Key(false)
		m.answer("+ may be a digit on your keyboard: f1 picks sheet 1, u is louder", say.KeyIs.Of("f1", "pick a sheet"), say.KeyIs.Of("u", "louder, softer"))
	case m.keymap.doubtful(k):
		m.desk.Key(false)
		m.answer(fmt.Sprintf("%s may be a digit on your keyboard: %s is softer, f6 picks sheet 6", k, "z"), say.MaybeDigit.Of("z"))
	default:
		return false
	}
	return true
}

// nothing answers a key that does nothing here.
func (m *Model) nothing() {
	m.desk.Key(false)
	m.aloud(say.NothingHere.Of())
}

// answered does what a key does, and lets it be heard where it says nothing by
// itself: a tick when it was taken, a dull one when nothing is other than before,
// and in words who does not look what it does.
func (m *Model) answered(k tea.KeyMsg, do func() tea.Cmd) (cmd tea.Cmd) {
	if m.tap = false; m.done {
		return do()
	}
	said := m.said
	m.said = ""
	m.desk.Together(func() {
		mark, before := m.desk.Mark(), m.draw()
		cmd = do()
		if m.tap {
			m.said = said // what was answered to the press still stands
		}
		switch {
		case m.done, m.tap, m.desk.Heard(mark):
		case m.desk.Mark() == mark && m.draw() == before:
			m.nothing()
		default:
			m.desk.Key(true)
			if m.speaks() && !m.typing() {
				m.sayKey(k)
			}
		}
	})
	return cmd
}

// pressTyping is what a key does that is no letter while a line of text is open: the
// large key, a number and backspace by their other names do what they always do.
func (m *Model) pressTyping(k tea.KeyMsg) func() tea.Cmd {
	if m.line() == "" {
		if do := m.pressCalled(k); do != nil {
			return do
		}
	}
	clicked := isMouse(k.String())
	switch k.Type {
	case tea.KeyRunes, tea.KeySpace, tea.KeyEnter, tea.KeyBackspace, tea.KeyTab, tea.KeyShiftTab, tea.KeyEsc,
		tea.KeyUp, tea.KeyDown, tea.KeyLeft, tea.KeyRight, tea.KeyHome, tea.KeyEnd, tea.KeyDelete:
		if !clicked {
			return nil
		}
	}
	n, err := 0, strconv.ErrSyntax
	_, d := m.keymap.Named(k, m.screen, len(m.desk.M.Sheets()))
	if d != nil {
		n, err = strconv.Atoi(d.Name)
	}
	switch {
	case d == nil:
	case err == nil:
		return func() tea.Cmd { return m.pickNumber(n) }
	case d.Name == "move":
		return m.act
	case d.Name == "back":
		return m.back
	case clicked:
		return func() tea.Cmd { m.nothing(); return nil } // it is no letter
	}
	return nil
}

// pressCalled is the large key, or the number that answers it, before anything is
// typed: a clock called, and a line begins with no blank.
func (m *Model) pressCalled(k tea.KeyMsg) func() tea.Cmd {
	now := m.desk.Hand()
	_, d := m.keymap.Named(k, m.screen, len(m.desk.M.Sheets()))
	switch {
	case d == nil:
	case d.Name == "move" && m.mustAnswer():
		return m.act
	case d.Name == "move" && m.held.typed == k.String() && now.Sub(m.held.typedAt) < heldGap:
		return func() tea.Cmd { m.tap = true; return nil }
	case len(m.hands.Asked()) > 0:
		if n, err := strconv.Atoi(d.Name); err == nil {
			return func() tea.Cmd { return m.pickNumber(n) }
		}
	}
	return nil
}

// line is what stands in the line of text that is open.
func (m *Model) line() string {
	if m.ask != nil {
		return m.ask.input.Value()
	}
	if m.screen == Bench && m.form.editing() {
		return m.form.fields[m.form.at].input.Value()
	}
	return ""
}

// lower makes a letter the key that it stands on, whatever Caps Lock says.
func lower(k tea.KeyMsg) tea.KeyMsg {
	if k.Type == tea.KeyRunes && len(k.Runes) == 1 {
		k.Runes = []rune{unicode.ToLower(k.Runes[0])}
	}
	return k
}
