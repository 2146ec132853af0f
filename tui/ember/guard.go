package ember

import (
	"errors"
	"io"
	"strconv"
	"strings"
	"sync"
	"unicode/utf8"

	"github.com/charmbracelet/x/ansi"
	"github.com/charmbracelet/x/ansi/parser"
)

// Guard is the gate between everything that writes to the terminal and the
// terminal. It reads the stream as a terminal would and writes a new one, in
// which only this can occur:
//
//   - text, without control characters and without pictures that fonts paint
//     in colours of their own;
//   - carriage return, line feed, backspace and tab;
//   - cursor movement, erasure, insertion and deletion of lines, scrolling;
//   - one kind of SGR, a red on black, no brighter than the level allows;
//   - bracketed paste, focus reports, synchronised output.
//
// Everything else vanishes: it is a list of what may pass, not of what may
// not. The cursor is never shown, and the alternate screen is neither entered
// nor left by what passes through; both belong to first and last light
// ([Guard.Begin], [Guard.Restore]).
//
// From Begin on every cell of the window has an explicit black background,
// and an explicit red foreground where something is drawn.
//
// A Guard keeps nothing of what passed but the state of a sequence that a
// write broke off in, and the pen. It is safe for use by several goroutines;
// what one Write sends stays together.
//
// It is a file in the sense of charmbracelet/x/term (Read, Write, Close, Fd),
// so that bubbletea finds the terminal behind it.
type Guard struct {
	mu      sync.Mutex
	w       io.Writer
	opts    Options
	parser  *ansi.Parser
	buf     []byte
	pen     pen
	shown   int  // red channel last set in the terminal, -1 if not known
	begun   bool // first light has been written
	mute    bool
	width   int
	height  int
	failure error
}

// Options of a [Guard].
type Options struct {
	// Profile is what the terminal can show; with None everything written is
	// swallowed.
	Profile Profile
	// Mux is what stands between this program and the terminal.
	Mux Mux
	// Level is the most light that may pass.
	Level Level
	// Kept says that a [Keeper] has a guard of its own on the same terminal, and
	// has given first light already.
	Kept bool
	// Focus has the terminal report when its window comes to the front.
	Focus bool
	// Told is called with each new level; may be nil.
	Told func(Level)
	// Terminal is its name, if it is known ([Window]): some have ways of their own.
	Terminal string
	// Again says that a guard was killed in this window: its modes are not its own, and
	// those that were are still put away.
	Again bool
	// Own puts colours of its own back into a terminal that cannot do so by itself: what
	// follows OSC, each. See [OwnColours].
	Own []string
}

// flushAt bounds the buffer: a longer write goes out in pieces, each of whole
// sequences.
const flushAt = 64 << 10

// NewGuard makes a guard that writes to w. Nothing is written until [Guard.Begin]
// or the first Write.
func NewGuard(w io.Writer, opts Options) *Guard {
	g := &Guard{w: w, opts: opts, pen: freshPen, shown: -1}
	g.parser = ansi.NewParser()
	g.parser.SetDataSize(1) // the data of strings is never looked at
	g.parser.SetHandler(ansi.Handler{
		Print:     g.print,
		Execute:   g.execute,
		HandleCsi: g.csi,
		HandleEsc: g.esc,
	})
	return g
}

// Write guards p on its way. It reports len(p) unless the terminal could not
// be written to.
func (g *Guard) Write(p []byte) (int, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.opts.Profile == None {
		return len(p), nil
	}
	g.buf = g.buf[:0]
	for i := 0; i < len(p); {
		if len(g.buf) >= flushAt {
			if err := g.flush(); err != nil {
				return i, err
			}
		}
		if c := p[i]; c >= 0x20 && c < 0x7f && g.parser.State() == parser.GroundState {
			j := i + 1
			for j < len(p) && p[j] >= 0x20 && p[j] < 0x7f {
				j++
			}
			g.ink()
			g.buf = append(g.buf, p[i:j]...)
			i = j
			continue
		}
		g.parser.Advance(p[i])
		i++
	}
	if err := g.flush(); err != nil {
		return 0, err
	}
	return len(p), nil
}

// Mute lets nothing through while the terminal is somebody else's, to whom the mouse
// would type. [Guard.Blacken] takes it again.
func (g *Guard) Mute(on bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if on && !g.mute && g.begun {
		g.buf = append(g.buf[:0], reportsOff...)
		_ = g.flush()
	}
	g.mute = on
}

// Retake wipes a window that another has written to meanwhile. What is written next
// begins in its upper left corner, in red.
func (g *Guard) Retake() error {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.pen = freshPen
	g.reink()
	g.blank(1, g.height)
	g.buf = append(g.buf, "\x1b[1;1H"...)
	return g.flush()
}

// WriteString is Write for a string.
func (g *Guard) WriteString(s string) (int, error) { return g.Write([]byte(s)) }

// flush sends the buffer and forgets it.
func (g *Guard) flush() error {
	if len(g.buf) == 0 {
		return nil
	}
	if g.mute {
		g.shown = -1
		g.buf = g.buf[:0]
		return nil
	}
	n, err := g.w.Write(g.buf)
	if err == nil && n < len(g.buf) {
		err = io.ErrShortWrite
	}
	if err != nil {
		g.failure = err
		g.shown = -1
	}
	clear(g.buf)
	g.buf = g.buf[:0]
	return err
}

// Err is the first thing that went wrong in writing to the terminal, such as
// a broken pipe; nil if nothing did.
func (g *Guard) Err() error {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.failure
}

// ink makes sure the terminal draws and erases in the pen's red on black.
func (g *Guard) ink() {
	if red := int(g.pen.red(g.opts.Level)); red != g.shown {
		g.buf = appendSGR(g.buf, g.opts.Profile, uint8(red))
		g.shown = red
	}
}

// reink does so even if nothing seems to have changed.
func (g *Guard) reink() {
	g.shown = -1
	g.ink()
}

func (g *Guard) print(r rune) {
	if r == utf8.RuneError {
		return
	}
	g.ink()
	if r >= 0x1100 && ansi.StringWidth(string(r)) > 1 {
		// A wide character that lands on halves of two others leaves a half
		// that terminals fill as they please; so its ground is cleared first.
		g.buf = append(g.buf, "\x1b[2X"...)
	}
	g.buf = appendRune(g.buf, r)
}

func (g *Guard) execute(c byte) {
	switch c {
	case '\r', '\b', '\t':
		g.buf = append(g.buf, c)
	case '\n', '\v', '\f':
		g.ink() // a line scrolled in is black only if the pen is
		g.buf = append(g.buf, '\n')
	}
}

func (g *Guard) esc(cmd ansi.Cmd) {
	if cmd.Intermediate() != 0 {
		return
	}
	switch cmd.Final() {
	case '7': // DECSC
		g.ink()
		g.buf = append(g.buf, "\x1b7"...)
	case '8': // DECRC brings its own pen along, and its own cursor
		g.restoreCursor()
	case 'D', 'E', 'M': // IND, NEL, RI
		g.ink()
		g.buf = append(g.buf, '\x1b', cmd.Final())
	case 'c': // RIS
		g.softReset()
		g.blank(1, g.height)
		g.buf = append(g.buf, "\x1b[1;1H"...)
	}
}

func (g *Guard) restoreCursor() {
	g.buf = append(g.buf, "\x1b8\x1b[?25l"...)
	g.reink()
}

func (g *Guard) softReset() {
	g.buf = append(g.buf, "\x1b[r"...)
	g.pen = freshPen
	g.reink()
}

func (g *Guard) csi(cmd ansi.Cmd, params ansi.Params) {
	final := cmd.Final()
	switch {
	case cmd.Prefix() == '?' && cmd.Intermediate() == 0 && (final == 'h' || final == 'l'):
		for i := range params {
			if v, more, _ := params.Param(i, -1); !more {
				g.mode(v, final)
			}
		}
		return
	case cmd.Prefix() == 0 && cmd.Intermediate() == '!' && final == 'p': // DECSTR
		g.softReset()
		return
	case cmd.Prefix() != 0 || cmd.Intermediate() != 0:
		return
	}
	if do := controls[final]; do != nil {
		do(g, final, params)
	}
}

// param is a control's parameter, within what a window can have.
func param(params ansi.Params, i, def int) int {
	v, _, _ := params.Param(i, def)
	return max(0, min(v, 9999))
}

// controls are the controls without a prefix that pass, by their final byte (ECMA-48
// 8.3; DECSTBM, SCOSC and SCORC as terminals have them), each made safe. Not ICH and
// DCH: they shift a part of a line, may cut a wide character in half, and terminals
// fill the halves as they please.
var controls = func() map[byte]func(*Guard, byte, ansi.Params) {
	all := map[byte]func(*Guard, byte, ansi.Params){
		'm': func(g *Guard, _ byte, p ansi.Params) { g.pen.apply(p) },
		'J': (*Guard).erase,
		'K': func(g *Guard, final byte, p ansi.Params) {
			if n := param(p, 0, 0); n <= 2 {
				g.ink()
				g.control(final, n)
			}
		},
		'r': (*Guard).margins,
		's': func(g *Guard, _ byte, p ansi.Params) {
			if len(p) == 0 {
				g.ink()
				g.buf = append(g.buf, "\x1b7"...)
			}
		},
		'u': func(g *Guard, _ byte, _ ansi.Params) { g.restoreCursor() },
	}
	for _, final := range []byte("ABCDEFG`adeIZ") {
		all[final] = func(g *Guard, final byte, p ansi.Params) { g.control(final, max(1, param(p, 0, 1))) }
	}
	for _, final := range []byte("Hf") {
		all[final] = func(g *Guard, _ byte, p ansi.Params) {
			g.control('H', max(1, param(p, 0, 1)), max(1, param(p, 1, 1)))
		}
	}
	for _, final := range []byte("LMSTX") {
		all[final] = func(g *Guard, final byte, p ansi.Params) {
			if final == 'T' && len(p) > 1 {
				return // highlight mouse tracking
			}
			g.ink()
			g.control(final, max(1, param(p, 0, 1)))
		}
	}
	return all
}()

func (g *Guard) erase(final byte, p ansi.Params) {
	switch n := param(p, 0, 0); n {
	case 0, 1:
		g.ink()
		g.control(final, n)
	case 2, 3:
		g.wipe()
	}
}

// wipe blackens the window and leaves the cursor where it was.
func (g *Guard) wipe() {
	g.ink()
	g.buf = append(g.buf, "\x1b7"...)
	g.blank(1, g.height)
	g.restoreCursor()
}

// margins are cut to the window: what a terminal makes of others is anyone's guess.
func (g *Guard) margins(_ byte, p ansi.Params) {
	bottom, _, _ := p.Param(1, 0)
	top := max(1, param(p, 0, 1))
	if bottom <= 0 || bottom > g.height {
		bottom = g.height
	}
	if top >= bottom || top == 1 && bottom == g.height {
		g.buf = append(g.buf, "\x1b[r"...)
		return
	}
	g.control('r', top, bottom)
}

func (g *Guard) control(final byte, ns ...int) {
	g.buf = append(g.buf, '\x1b', '[')
	for i, n := range ns {
		if i > 0 {
			g.buf = append(g.buf, ';')
		}
		g.buf = strconv.AppendInt(g.buf, int64(n), 10)
	}
	g.buf = append(g.buf, final)
}

func (g *Guard) mode(v int, final byte) {
	switch v {
	case 2004, 1004, 2026: // bracketed paste, focus, synchronised output
	case 25: // the cursor is a lamp: hide only
		if final == 'h' {
			return
		}
	case 47, 1047, 1049: // the screen is ours already; entering clears it
		if final == 'h' {
			g.wipe()
		}
		return
	default:
		return
	}
	g.buf = append(g.buf, "\x1b[?"...)
	g.buf = strconv.AppendInt(g.buf, int64(v), 10)
	g.buf = append(g.buf, final)
}

// blank writes black spaces over rows from to to, counted from 1. Spaces, not
// an erasure: a terminal that erases to its default background would show that.
func (g *Guard) blank(from, to int) { g.blankArea(from, to, 1) }

func (g *Guard) blankArea(from, to, column int) {
	g.ink()
	for y := from; y <= to; y++ {
		if column > g.width {
			return
		}
		g.control('H', y, column)
		g.spaces(g.width - column + 1)
	}
}

const sixtyFourSpaces = "                                                                "

func (g *Guard) spaces(n int) {
	for ; n > len(sixtyFourSpaces); n -= len(sixtyFourSpaces) {
		g.buf = append(g.buf, sixtyFourSpaces...)
	}
	g.buf = append(g.buf, sixtyFourSpaces[:max(0, n)]...)
}

// Begin is first light: the terminal's own colours become black and reds, the
// cursor, the scrollbar and what the mouse can light go, the alternate screen
// opens, and every cell of a window of width by height is painted black. Nothing
// readable is written before it. It may be called again, after the program was
// stopped and goes on.
func (g *Guard) Begin(width, height int) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.opts.Profile == None {
		return errors.New("nothing can be drawn on this terminal: run by sound alone (--blind)")
	}
	g.buf = g.buf[:0]
	g.size(width, height)
	g.firstLight()
	return g.flush()
}

// A Question is something to ask a terminal.
type Question int

// The questions.
const (
	// AskPalette asks for a colour that only a palette of 256 has (OSC 4).
	AskPalette Question = 1 << iota
	// AskOwn asks for the colours that it has of its own.
	AskOwn
	// AskName asks for its name and version (XTVERSION).
	AskName
)

// Interview gives first light as Begin does, and asks the terminal what is wanted: for
// its own colours before they go, and last of all what it is (DA1), which every terminal
// answers, so that one that does not know the rest need not be waited for.
func (g *Guard) Interview(q Question, width, height int) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.buf = g.buf[:0]
	if q&AskOwn != 0 {
		for _, c := range []string{"10;?", "11;?", "12;?"} {
			g.buf = append(g.buf, "\x1b]"+c+"\x1b\\"...)
		}
		for i := range 256 {
			g.buf = append(g.buf, "\x1b]4;"+strconv.Itoa(i)+";?\x1b\\"...)
		}
	}
	g.size(width, height)
	g.firstLight()
	if q&AskPalette != 0 {
		g.buf = append(g.buf, "\x1b]4;196;?\x1b\\"...)
	}
	g.ask(q)
	return g.flush()
}

// Ask asks, and changes nothing.
func (g *Guard) Ask(q Question) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.buf = g.buf[:0]
	g.ask(q)
	return g.flush()
}

func (g *Guard) ask(q Question) {
	if q&AskName != 0 {
		g.buf = append(g.buf, "\x1b[>0q"...)
	}
	g.buf = append(g.buf, "\x1b[c"...)
}

// PutBack has Restore put these colours back: see [Options].
func (g *Guard) PutBack(own []string) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.opts.Own = own
}

func (g *Guard) firstLight() {
	if !g.begun && !g.opts.Kept {
		if !g.opts.Again {
			g.owner(saveModes)
		}
		defer g.owner(fullScreen) // when all is black that it may gain
	}
	g.begun = true
	g.owner(ownerModes) // before the colours: see osc
	g.defaults()
	g.buf = append(g.buf, beginModes...)
	if g.opts.Mux != Screen { // it keeps the key esc back then, until another is pressed
		g.buf = append(g.buf, mouseModes...)
		if g.opts.Focus {
			g.buf = append(g.buf, focusMode...)
		}
	}
	g.pen = freshPen
	g.reink()
	g.blank(1, g.height)
	g.buf = append(g.buf, "\x1b[1;1H"...)
}

// beginModes: reverse screen off (DECSCNM), cursor hidden and not blinking,
// alternate screen, origin mode off, wrapping on, margins whole, the usual
// character set. The cursor is hidden on both screens: some terminals keep
// that state for each. The mouse is reported, so that no drag and no click
// selects anything in the colours of a selection, nor pastes; what is reported is
// acted on where a button is bound. Then it is reported too that the window comes to
// the front: the click that brings it there is no press.
const (
	beginModes = "\x1b[?25l\x1b[?5l\x1b[?1049h\x1b[?25l\x1b[?12l\x1b[?6l\x1b[?7h\x1b[r\x1b(B\x0f"
	mouseModes = "\x1b[?1000h\x1b[?1006h"
	focusMode  = "\x1b[?1004h"
	reportsOff = "\x1b[?2004l\x1b[?1004l\x1b[?1000l\x1b[?1006l" // of pastes too
)

// Modes of the window itself: whether the scrollbar shows, put away and brought
// back (XTSAVE, XTRESTORE); the scrollbar off; the pointer hidden while keys are
// pressed (XTSMPOINTER, 1 is what a terminal does of itself).
const (
	saveModes    = "\x1b[?30s"
	ownerModes   = "\x1b[?30l\x1b[>2p"
	restoreModes = "\x1b[?30r\x1b[>1p" + "\x1b[10;0t"
	// Full screen, where a program may ask for it: elsewhere it means nothing.
	fullScreen = "\x1b[10;1t"
)

func (g *Guard) size(width, height int) {
	g.width, g.height = max(1, min(width, 9999)), max(1, min(height, 9999))
}

// consolePalette are the reds the sixteen entries of the Linux console's
// palette are set to: the steps of the cube, and for the entries that bold
// would turn the first eight into, the same again.
func consoleRed(entry int) uint8 {
	if entry %= 8; entry < len(cube) {
		return cube[entry]
	}
	return cube[2]
}

// defaults sets what the terminal shows where nothing has been said: OSC 10,
// 11, 12, what is drawn for the mouse: OSC 13, 14, 17, 19, and the palette: OSC 4,
// or that of the Linux console (console_codes(4): ESC ] P nrrggbb).
func (g *Guard) defaults() {
	if g.opts.Profile == LinuxConsole {
		for i := range 16 {
			g.buf = append(g.buf, "\x1b]P"...)
			g.buf = strconv.AppendInt(g.buf, int64(i), 16)
			g.buf = append(g.buf, hexRed(consoleRed(i))[1:]...)
		}
		return
	}
	red := func(r Role) string { return hexRed(g.opts.Profile.nearest(g.opts.Level.Red(r))) }
	// The text's background first. Then text, cursor, pointer and its edge, and
	// what is selected: brighter, and no area of light.
	commands := []string{"11;#000000", "10;" + hexRed(g.opts.Level.flash()), "12;#000000", "13;" + red(Faint), "14;#000000", "17;#000000", "19;" + red(Strong)}
	if g.opts.Terminal == rxvt {
		commands = append(commands, "708;#000000") // its border
	}
	at := 7 // alacritty takes sixteen words, or nothing; a multiplexer passes on no more
	if g.opts.Terminal == st {
		at = 1 // it takes no more
	}
	for i := 0; i < 256; i += at {
		c := "4"
		for j := i; j < min(i+at, 256); j++ {
			c += ";" + strconv.Itoa(j) + ";" + hexRed(g.opts.Level.paletteRed(uint8(j)))
		}
		commands = append(commands, c)
	}
	g.osc(commands...)
}

// share is the brightest red in which a whole window gives no more than this share of the
// level's budget.
func (l Level) share(of float64) (red uint8) {
	for red < 255 && 0.2126*linear(red+1) <= of*budgets[l] {
		red++
	}
	return red
}

// others is the most red of what is written past the guard, by a shell or a multiplexer,
// over all of the window and in reverse if it likes: what is left of a frame beside it is
// within the budget too.
func (l Level) others() uint8 { return l.share(2.0 / 3) }

// flash is the red of text in no colour. A visual bell lights the window in it for an
// instant, over a picture that has most of the budget: xterm flips its bits in all that is
// drawn, which this one makes no brighter.
func (l Level) flash() uint8 { return l.share(1.0 / 4) }

// paletteRed is the red that entry i of the 256 colours is set to: its own
// brightest channel, no brighter than others, so that whatever is written past
// the guard, a prompt after a kill, is red and dim. The pure reds of the cube, which the
// guard draws with, stay as they are up to the most that the level draws. All are
// reds of the cube, or dimmer than any: a multiplexer that looks for the nearest finds
// the same.
func (l Level) paletteRed(i uint8) uint8 {
	r, g, b, _ := ansi.IndexedColor(i).RGBA()
	own := uint8(max(r, g, b) >> 8)
	if i >= 16 && g|b == 0 {
		return cube[cubeStep(min(own, l.Red(Strong)))]
	}
	return min(own, l.others())
}

// osc writes operating system commands for the terminal or the multiplexer,
// and wrapped for the terminal behind it, which matters for what lies outside
// of the multiplexer's panes. A multiplexer that does not pass them on drops
// them; so does tmux while it has its window to draw anew, which is what the
// same commands make it do: the wrapped ones come first, all of them.
//
// They end with ST, not with the bell: a terminal that does not know them may
// ring.
func (g *Guard) osc(commands ...string) {
	for _, c := range commands {
		g.outer("\x1b]" + c + "\x1b\\")
	}
	for _, c := range commands {
		g.buf = append(g.buf, "\x1b]"+c+"\x1b\\"...)
	}
}

// owner writes modes of the window for the terminal that owns it. The Linux
// console has none, and may show what it does not know.
func (g *Guard) owner(modes string) {
	switch {
	case g.opts.Profile == LinuxConsole:
	case g.opts.Mux == NoMux:
		g.buf = append(g.buf, modes...)
	default:
		g.outer(modes)
	}
}

// outer writes a sequence for the terminal behind a multiplexer; without one
// there is no such terminal.
func (g *Guard) outer(seq string) {
	switch g.opts.Mux {
	case Tmux:
		g.buf = append(g.buf, ansi.TmuxPassthrough(seq)...)
	case Screen:
		// ST ends what screen passes on, so one that is to be passed on itself
		// goes in two halves.
		g.buf = append(g.buf, ansi.ScreenPassthrough(strings.ReplaceAll(seq, "\x1b\\", "\x1b\x1b\\\x1bP\\"), 0)...)
	}
}

// Resize tells the guard that the window now has width by height cells; cells
// that were not part of it before are painted black. What is drawn in the rest
// stays, so that a frame on its way is not wiped out.
func (g *Guard) Resize(width, height int) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	oldW, oldH := g.width, g.height
	g.size(width, height)
	if !g.begun || g.opts.Profile == None {
		return nil
	}
	g.buf = append(g.buf[:0], "\x1b[r"...) // a resize resets the margins in some terminals only
	g.reink()
	// The last column that was there is painted too: a wide character cut in
	// half by an earlier shrinking leaves a cell nobody has painted.
	if g.width > oldW {
		g.blankArea(1, min(oldH, g.height), max(1, oldW))
	}
	if g.height > oldH {
		g.blankArea(oldH+1, g.height, 1)
	}
	g.buf = append(g.buf, "\x1b[1;1H"...)
	return g.flush()
}

// SetLevel changes how much light may pass from now on. The window is painted
// black at once; the program draws it anew.
func (g *Guard) SetLevel(level Level) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.opts.Level = level
	if g.opts.Told != nil {
		g.opts.Told(level)
	}
	if !g.begun || g.opts.Profile == None {
		return nil
	}
	g.buf = g.buf[:0]
	if g.opts.Profile != LinuxConsole {
		g.defaults()
	}
	g.reink()
	g.buf = append(g.buf, "\x1b7"...)
	g.blank(1, g.height)
	g.restoreCursor()
	return g.flush()
}

// Level is the most light that may pass.
func (g *Guard) Level() Level {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.opts.Level
}

// Blacken paints the window black, puts the cursor in its upper left corner,
// and forgets any sequence that was broken off: for the way out after a panic
// or a signal. What is written afterwards is red.
func (g *Guard) Blacken() error {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.opts.Profile == None {
		return nil
	}
	g.parser.Reset()
	g.buf = append(g.buf[:0], "\x1b\\"...) // ends a string another writer left open
	g.firstLight()
	return g.flush()
}

// ownColours give back the palette, and every colour that OSC 10 to 19 can set.
var ownColours = []string{"104", "112", "110", "111", "113", "114", "115", "116", "117", "118", "119"}

// Restore is last light: the terminal gets back its own colours, its screen,
// its cursor and its scrollbar. The caller has asked the user whether paper is covered, and
// has been told so.
func (g *Guard) Restore() error {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.opts.Profile == None || !g.begun {
		return nil
	}
	g.begun = false
	g.parser.Reset()
	g.buf = append(g.buf[:0], "\x1b[?2026l"+reportsOff+"\x1b[r\x1b[0m"...)
	if g.opts.Profile == LinuxConsole {
		g.buf = append(g.buf, "\x1b]R"...)
	} else {
		g.owner(restoreModes)
		g.osc(ownColours...)
		g.osc(g.opts.Own...)
	}
	g.buf = append(g.buf, "\x1b[?1049l\x1b[0m\x1b[?25h"...)
	g.shown = -1
	return g.flush()
}

// Read reads from the terminal behind the guard, if it can be read.
func (g *Guard) Read(p []byte) (int, error) {
	if r, ok := g.w.(io.Reader); ok {
		return r.Read(p)
	}
	return 0, io.EOF
}

// Close does nothing: whoever opened the terminal closes it.
func (g *Guard) Close() error { return nil }

// Fd is the file descriptor of the terminal behind the guard, or an invalid
// one if it is not a file.
func (g *Guard) Fd() uintptr {
	if f, ok := g.w.(interface{ Fd() uintptr }); ok {
		return f.Fd()
	}
	return ^uintptr(0)
}
