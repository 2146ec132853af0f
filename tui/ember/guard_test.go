package ember

import (
	"bytes"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/charmbracelet/x/ansi"
	"github.com/charmbracelet/x/vt"

	"wetside/session/words"
	"wetside/tui/termtest"
)

// screen is a terminal emulator behind a guard: the oracle. It is not a part
// of this project and shares no code with the guard but the tokenizer's table.
type screen struct {
	*vt.Emulator
	guard *Guard
	sent  bytes.Buffer
	level Level
}

func newScreen(w, h int, opts Options) *screen {
	return reuse(vt.NewEmulator(w, h), opts)
}

// reuse puts a fresh guard before an emulator.
func reuse(e *vt.Emulator, opts Options) *screen {
	s := &screen{Emulator: e, level: opts.Level}
	s.guard = NewGuard(io.MultiWriter(s.Emulator, &s.sent), opts)
	return s
}

// dark is [termtest.Dark] at the level.
func (s *screen) dark() error {
	return termtest.Dark(s.Emulator, s.level.Red(Strong), func(r rune) bool { return pictured(r) || words.Unseen(r) })
}

// allowed is what may be in a guarded stream after first light, besides text:
// written down a second time, as a plain expression.
var allowed = regexp.MustCompile(`^(?:[\r\n\x08\t]|\x1b[78DEM]|` +
	`\x1b\[[0-9]{1,4}[A-GHIJKLMSTXZade` + "`" + `]|\x1b\[[0-9]{1,4};[0-9]{1,4}[Hr]|\x1b\[[0-9]{0,4}r|` +
	`\x1b\[\?(?:25l|2004[hl]|1004[hl]|2026[hl])|` +
	`\x1b\[0;(?:38;2;[0-9]{1,3};0;0;48;2;0;0;0|38;5;(?:16|52|88|124|160|196);48;5;16|3[0-5];40)m)$`)

func onlyAllowed(stream []byte) error {
	var state byte
	for len(stream) > 0 {
		seq, width, n, next := ansi.DecodeSequence(stream, state, nil)
		if n == 0 {
			return fmt.Errorf("cannot read on at %q", stream)
		}
		state, stream = next, stream[n:]
		if width > 0 || seq[0] >= 0xa0 && utf8.Valid(seq) {
			continue
		}
		if !allowed.Match(seq) {
			return fmt.Errorf("the sequence %q passed", seq)
		}
	}
	return nil
}

func TestNothingButRedPasses(t *testing.T) {
	for _, c := range []struct{ name, in, drawn string }{
		{"plain text", "basin", "basin"},
		{"white", "\x1b[37mwhite\x1b[97mer", "whiteer"},
		{"green, blue, cyan by index", "\x1b[32mg\x1b[34mb\x1b[36mc\x1b[92mG", "gbcG"},
		{"true colour", "\x1b[38;2;0;255;0mg\x1b[48;2;0;0;255mb", "gb"},
		{"colour with colons", "\x1b[38:2::0:255:255mc\x1b[48:5:51md\x1b[38:2:9:9:9me", "cde"},
		{"256 colours", "\x1b[38;5;46mg\x1b[48;5;231mw", "gw"},
		{"reset to defaults", "a\x1b[0mb\x1b[mc\x1b[39;49md", "abcd"},
		{"inverse video", "\x1b[7minverse\x1b[27m", "inverse"},
		{"bold that brightens", "\x1b[1;32mbold", "bold"},
		{"blink, underline, its colour, italic", "\x1b[5;4;3mx\x1b[58;2;0;255;0my\x1b[4:3mz", "xyz"},
		{"overflowing parameters", "\x1b[38;2;999999;999999999999999999999;1mx", "x"},
		{"sub-parameters gone wrong", "\x1b[38:5mx\x1b[38;5my\x1b[38mz\x1b[48:2:1mw", "xyzw"},
		{"reverse screen", "\x1b[?5hx", "x"},
		{"bell", "a\ab", "ab"},
		{"palette", "\x1b]4;1;rgb:00/ff/00\x1b\\\x1b]104\x07x", "x"},
		{"default colours of others", "\x1b]10;#00ff00\x07\x1b]11;#ffffff\x1b\\\x1b]110\x07\x1b]111\x07x", "x"},
		{"title", "\x1b]2;hat box\x07x", "x"},
		{"link", "\x1b]8;;http://example.org\x1b\\link\x1b]8;;\x1b\\", "link"},
		{"notification", "\x1b]9;done\x07\x1b]777;notify;a;b\x07x", "x"},
		{"clipboard", "\x1b]52;c;AAAA\x07x", "x"},
		{"sixel", "\x1bPq#0;2;0;100;0#0~~\x1b\\x", "x"},
		{"kitty image", "\x1b_Ga=T,f=24;AAAA\x1b\\x", "x"},
		{"inline image", "\x1b]1337;File=inline=1:AAAA\x07x", "x"},
		{"tmux passthrough", "\x1bPtmux;\x1b\x1b]11;#fff\x07\x1b\\x", "x"},
		{"full reset", "\x1bcx", "x"},
		{"soft reset", "\x1b[!px", "x"},
		{"screen alignment", "\x1b#8x", "x"},
		{"cursor shown", "\x1b[?25hx\x1b[2 q", "x"},
		{"screen left", "\x1b[?1049lx\x1b[?47l\x1b[?1047l", "x"},
		{"screen entered again", "abc\x1b[?1049h", ""},
		{"line drawing set", "\x1b(0qqq\x0e\x1b)0q", "qqqq"},
		{"repeat", "x\x1b[5by", "xy"},
		{"erasures", "abcdef\x1b[3D\x1b[K\x1b[1K\x1b[2Kx\x1b[J\x1b[1J\x1b[2J\x1b[3J", ""},
		{"characters inserted", "水abc\r\x1b[@\x1b[P", "水abc"},
		{"lines inserted and deleted", "abc\x1b[1;1H\x1b[2@\x1b[1P\x1b[3X\x1b[L\x1b[M\x1b[S\x1b[Tx", "x"},
		{"cursor restored, never saved", "\x1b8x\x1b[uy", "y"},
		{"C1 controls", "\x9b32mx\x9d11;#fff\x9cy", "xy"},
		{"broken UTF-8", "a\xffb\xc0\x80c\xe2\x82", "abc"},
		{"watches and hearts in colour", "\u231a\U0001f600\u2764\ufe0fx", "****" + "*x"},
		{"directional override", "ab\u202ecd\u2066ef", "abcdef"},
		{"window operations", "\x1b[8;50;100tx\x1b[21tx", "xx"},
		{"questions", "\x1b[cx\x1b[6n\x1b[>q\x1b[?1$p\x1b]11;?\x07", "x"},
		{"the mouse's modes", "\x1b[?1000l\x1b[?1002h\x1b[?1003l\x1b[?1006l\x1b[?9hx", "x"},
		{"the window's modes", "\x1b[?30h\x1b[?30s\x1b[?30r\x1b[>0px", "x"},
		{"pointer and selection of others", "\x1b]13;#fff\x1b\\\x1b]14;#0f0\x1b\\\x1b]17;#00f\x1b\\\x1b]19;#fff\x1b\\\x1b]117\x1b\\x", "x"},
		{"kitty keyboard", "\x1b[>1ux\x1b[=1;1u", "x"},
		{"string never ended", "x\x1b]11;#ffffff", "x"},
	} {
		t.Run(c.name, func(t *testing.T) {
			for _, split := range []int{0, 1, 2, 3, 7} {
				s := newScreen(20, 4, Options{Profile: TrueColor, Level: Ember})
				if err := s.guard.Begin(20, 4); err != nil {
					t.Fatal(err)
				}
				s.sent.Reset()
				in := []byte(c.in)
				for len(in) > 0 {
					n := len(in)
					if split > 0 {
						n = min(split, n)
					}
					if m, err := s.guard.Write(in[:n]); m != n || err != nil {
						t.Fatalf("Write = %d, %v", m, err)
					}
					in = in[n:]
					if err := s.dark(); err != nil {
						t.Fatalf("in pieces of %d: %v", split, err)
					}
				}
				if err := onlyAllowed(s.sent.Bytes()); err != nil {
					t.Error(err)
				}
				if got := strings.TrimSpace(s.String()); got != c.drawn {
					t.Errorf("in pieces of %d drawn %q, want %q", split, got, c.drawn)
				}
			}
		})
	}
}

// What a reader is meant to see stays legible, and what is meant to be unseen
// stays so.
func TestEmphasisBecomesBrightness(t *testing.T) {
	for _, c := range []struct {
		in   string
		want uint8
	}{
		{"x", 0x87},
		{"\x1b[1mx", 0xaf},
		{"\x1b[2mx", 0x5f},
		{"\x1b[31mx", 0x87},
		{"\x1b[91mx", 0xaf},
		{"\x1b[30;47mx", 0x87},        // black on white
		{"\x1b[7mx", 0x87},            // inverse of the default
		{"\x1b[30;40mx", 0},           // black on black
		{"\x1b[8mx", 0},               // concealed
		{"\x1b[38;2;72;0;0mx", 72},    // the palette's own
		{"\x1b[38;2;255;0;0mx", 0xaf}, // more than the level allows
		{"\x1b[38;5;16mx", 0},
		{"\x1b[38;5;52mx", 0x5f},
		{"\x1b[38;5;232mx", 8},
	} {
		s := newScreen(4, 1, Options{Profile: TrueColor, Level: Ember})
		_ = s.guard.Begin(4, 1)
		_, _ = s.guard.WriteString(c.in)
		r, _, _, _ := s.CellAt(0, 0).Style.Fg.RGBA()
		if uint8(r>>8) != c.want {
			t.Errorf("%q is drawn in red %#x, want %#x", c.in, r>>8, c.want)
		}
	}
}

func TestDarkLetsNothingShine(t *testing.T) {
	for _, p := range []Profile{TrueColor, ANSI256} {
		s := newScreen(10, 3, Options{Profile: p, Level: Dark})
		_ = s.guard.Begin(10, 3)
		_, _ = s.guard.WriteString("\x1b[97;1mshine\x1b[38;2;255;0;0mred\x1b[2J\x1b[41mx")
		if err := s.dark(); err != nil {
			t.Error(err)
		}
	}
	s := newScreen(10, 3, Options{Profile: TrueColor, Level: Ember})
	_ = s.guard.Begin(10, 3)
	_, _ = s.guard.WriteString("ember")
	_ = s.guard.SetLevel(Dark)
	s.level = Dark
	if err := s.dark(); err != nil {
		t.Error("after going dark: ", err)
	}
	_, _ = s.guard.WriteString("more")
	if err := s.dark(); err != nil {
		t.Error("written in the dark: ", err)
	}
}

func TestEveryCellIsPaintedAtEverySize(t *testing.T) {
	s := newScreen(1, 1, Options{Profile: TrueColor, Level: Ember})
	_ = s.guard.Begin(1, 1)
	for _, size := range [][2]int{{1, 1}, {80, 24}, {120, 40}, {3, 2}, {200, 60}, {200, 10}, {10, 60}} {
		s.Resize(size[0], size[1])
		_ = s.guard.Resize(size[0], size[1])
		if err := s.dark(); err != nil {
			t.Errorf("%v: %v", size, err)
		}
		_, _ = s.guard.WriteString(strings.Repeat("wide 水 line ", 40))
		if err := s.dark(); err != nil {
			t.Errorf("%v, written on: %v", size, err)
		}
	}
}

func TestFirstAndLastLight(t *testing.T) {
	for _, c := range []struct {
		opts                  Options
		first, last, notFirst string
	}{
		{Options{Profile: TrueColor, Level: Ember}, "\x1b]11;#000000\x1b\\", "\x1b]111\x1b\\", "\x1bP"},
		{Options{Profile: ANSI256, Level: Ember, Mux: Tmux}, "\x1bPtmux;\x1b\x1b]11;#000000\x1b\x1b\\\x1b\\", "\x1bPtmux;\x1b\x1b]111\x1b\x1b\\\x1b\\", "38;2"},
		{Options{Profile: ANSI256, Level: Ember, Mux: Screen}, "\x1bP\x1b]11;#000000\x1b\x1b\\\x1bP\\\x1b\\", "\x1bP\x1b]111\x1b\x1b\\\x1bP\\\x1b\\", "tmux"},
		{Options{Profile: LinuxConsole, Level: Ember}, "\x1b]P0000000\x1b]P15f0000", "\x1b]R", "\x1b]11"},
	} {
		var out bytes.Buffer
		g := NewGuard(&out, c.opts)
		_ = g.Begin(5, 2)
		if !strings.Contains(out.String(), c.first) || strings.Contains(out.String(), c.notFirst) {
			t.Errorf("%v: first light is %q", c.opts.Profile, out.String())
		}
		visible := ansi.Strip(out.String())
		if c.opts.Profile != LinuxConsole && strings.Trim(visible, " \x0f") != "" {
			t.Errorf("%v: something readable in first light: %q", c.opts.Profile, visible)
		}
		out.Reset()
		_ = g.Restore()
		if strings.Contains(out.String(), "\a") {
			t.Errorf("%v: a bell in last light: %q", c.opts.Profile, out.String())
		}
		if !strings.Contains(out.String(), c.last) || !strings.HasSuffix(out.String(), "\x1b[?25h") {
			t.Errorf("%v: last light is %q", c.opts.Profile, out.String())
		}
		out.Reset()
		if _ = g.Restore(); out.Len() != 0 {
			t.Errorf("%v: last light was given twice", c.opts.Profile)
		}
	}
	var out bytes.Buffer
	g := NewGuard(&out, Options{Profile: None})
	if err := g.Begin(5, 2); err == nil {
		t.Error("a terminal with nothing but default colours was drawn on")
	}
	if _, err := g.WriteString("white"); err != nil || out.Len() != 0 {
		t.Errorf("written all the same: %q, %v", out.String(), err)
	}
}

// Each of the Linux console's entries holds a pure red, so that an index that
// slipped through would be red as well.
func TestConsolePaletteIsRed(t *testing.T) {
	var out bytes.Buffer
	g := NewGuard(&out, Options{Profile: LinuxConsole, Level: Torch})
	_ = g.Begin(4, 1)
	entries := regexp.MustCompile(`\x1b\]P([0-9a-f])([0-9a-f]{2})([0-9a-f]{4})`).FindAllStringSubmatch(out.String(), -1)
	if len(entries) != 16 {
		t.Fatalf("%d entries set, want 16", len(entries))
	}
	for _, e := range entries {
		if e[3] != "0000" {
			t.Errorf("entry %s is %s%s", e[1], e[2], e[3])
		}
	}
	_, _ = g.WriteString("\x1b[1;3;4;92mx")
	if !strings.HasSuffix(out.String(), "\x1b[0;35;40mx") {
		t.Errorf("drawn as %q", out.String())
	}
}

// Everything a terminal can be told to draw with is black or red after first
// light, at each level no brighter than what the level draws, and is given back
// at the end. What was there of a scrollbar is kept once, by who came first.
func TestEveryColourOfTheTerminalIsRed(t *testing.T) {
	osc := regexp.MustCompile(`\x1b\](\d+)((?:;[^\x07\x1b]*)?)\x1b\\`)
	entry := regexp.MustCompile(`;(\d+);#([0-9a-f]{2})([0-9a-f]{4})`)
	for _, p := range []Profile{ANSI256, TrueColor} {
		for _, level := range []Level{Dark, Ember, Torch} {
			var out bytes.Buffer
			g := NewGuard(&out, Options{Profile: p, Level: level})
			_ = g.Begin(4, 1)
			palette, set := map[string]int{}, map[string]bool{}
			for _, m := range osc.FindAllStringSubmatch(out.String(), -1) {
				set[m[1]] = true
				list := m[2]
				if m[1] != "4" {
					list = ";" + m[1] + m[2]
				}
				for _, e := range entry.FindAllStringSubmatch(list, -1) {
					red, _ := strconv.ParseUint(e[2], 16, 8)
					if e[3] != "0000" || uint8(red) > cube[cubeStep(level.Red(Strong))] {
						t.Errorf("%v, %v: OSC %s sets %s", p, level, m[1], e[0])
					}
					if m[1] == "4" {
						palette[e[1]] = int(red)
					}
				}
			}
			if len(palette) != 256 {
				t.Errorf("%v, %v: %d entries of the palette are set", p, level, len(palette))
			}
			for r := range cube { // what the guard draws with is what it means
				if want := min(cube[r], cube[cubeStep(level.Red(Strong))]); palette[strconv.Itoa(16+36*r)] != int(want) {
					t.Errorf("%v, %v: entry %d is %d, want %d", p, level, 16+36*r, palette[strconv.Itoa(16+36*r)], want)
				}
			}
			for _, c := range []string{"10", "11", "12", "13", "14", "17", "19"} {
				if !set[c] {
					t.Errorf("%v, %v: OSC %s is not set", p, level, c)
				}
			}
			first := out.String()
			_ = g.Blacken()
			_ = g.Begin(4, 1)
			if n := strings.Count(out.String(), "\x1b[?30s"); n != 1 || strings.Index(first, "\x1b[?30s") > strings.Index(first, "\x1b[?30l") {
				t.Errorf("%v, %v: the scrollbar's state was put away %d times", p, level, n)
			}
			out.Reset()
			_ = g.Restore()
			for _, want := range []string{"\x1b]104\x1b\\", "\x1b]110\x1b\\", "\x1b]111\x1b\\", "\x1b]112\x1b\\", "\x1b]113\x1b\\", "\x1b]114\x1b\\", "\x1b]117\x1b\\", "\x1b]119\x1b\\",
				"\x1b[?30r", "\x1b[>1p", "\x1b[?1000l", "\x1b[?1006l"} {
				if !strings.Contains(out.String(), want) {
					t.Errorf("%v, %v: not given back: %q", p, level, want)
				}
			}
		}
	}
	var out bytes.Buffer
	_ = NewGuard(&out, Options{Profile: TrueColor, Level: Ember, Kept: true}).Begin(4, 1)
	if strings.Contains(out.String(), "\x1b[?30s") {
		t.Error("a kept program puts away what the keeper has changed already")
	}
}

func TestBlackenAfterABrokenSequence(t *testing.T) {
	s := newScreen(12, 3, Options{Profile: TrueColor, Level: Ember})
	_ = s.guard.Begin(12, 3)
	_, _ = s.guard.WriteString("frame\x1b]2;never ended")
	// Someone else writes to the terminal directly: a stack trace.
	_, _ = s.Emulator.WriteString("\x1b[0;42mpanic: \x1b[?25h\x1b[?1049l\x1b]8;;")
	_ = s.guard.Blacken()
	if err := s.dark(); err != nil {
		t.Error(err)
	}
	_, _ = s.guard.WriteString("what happened")
	if err := s.dark(); err != nil {
		t.Error(err)
	}
	if got := strings.Join(strings.Fields(s.String()), " "); got != "what happene d" {
		t.Errorf("shown %q", got)
	}
}

type brokenPipe struct{}

func (brokenPipe) Write([]byte) (int, error) { return 0, io.ErrClosedPipe }

func TestBrokenPipeIsToldNotLost(t *testing.T) {
	g := NewGuard(brokenPipe{}, Options{Profile: TrueColor, Level: Ember})
	if _, err := g.WriteString("x"); err != io.ErrClosedPipe {
		t.Errorf("Write: %v", err)
	}
	if g.Err() != io.ErrClosedPipe {
		t.Errorf("Err: %v", g.Err())
	}
}

// A shell, a multiplexer and a bell that flashes light what they like, in the terminal's
// own colours: all that the guard does not draw with is so dim that a whole window of it is
// within a frame's budget, and what the guard draws is as ever.
func TestWhatOthersDrawIsDim(t *testing.T) {
	entry := regexp.MustCompile(`(?:\x1b\]10|;(\d+));#([0-9a-f]{2})0000`)
	for level, budget := range budgets {
		level := Level(level)
		var out bytes.Buffer
		g := NewGuard(&out, Options{Profile: ANSI256, Level: level})
		_ = g.Begin(4, 1)
		seen := 0
		for _, m := range entry.FindAllStringSubmatch(out.String(), -1) {
			red, _ := strconv.ParseUint(m[2], 16, 8)
			i, _ := strconv.Atoi(m[1])
			if r, gr, b, _ := ansi.IndexedColor(uint8(i)).RGBA(); i >= 16 && gr|b == 0 { // the guard's
				if want := min(uint8(r>>8), level.Red(Strong)); uint8(red) != want {
					t.Errorf("%v: entry %d is %d, want %d", level, i, red, want)
				}
				continue
			}
			seen++
			light := 0.2126 * linear(uint8(red))
			if light > budget*2/3 {
				t.Errorf("%v: a window of %s gives %.3f %% of white", level, m[0], 100*light)
			}
			if m[1] == "" && light > budget/4 {
				t.Errorf("%v: a flash in %s gives %.3f %% of white", level, m[0], 100*light)
			}
		}
		if seen < 250 {
			t.Errorf("%v: %d colours are set", level, seen)
		}
	}
}

// The guard keeps nothing of what was written.
func TestGuardForgetsText(t *testing.T) {
	g := NewGuard(io.Discard, Options{Profile: TrueColor, Level: Ember})
	_, _ = g.WriteString("biscuit tin \x1b]2;biscuit tin\x07")
	if all := g.buf[:cap(g.buf)]; bytes.Contains(all, []byte("biscuit")) || bytes.Contains(g.parser.Data(), []byte("bi")) {
		t.Error("text stayed behind")
	}
}

func FuzzGuard(f *testing.F) {
	for _, seed := range []string{
		"plain", "\x1b[38;2;0;255;0mx\x1b[0my", "\x1b[?1049h\x1b[2J\x1b[?1049l", "水\x1b[1;1Hx\x1b[P\x1b[@",
		"\x1b[5;10r\n\n\n\x1bM\x1bD\x1b[3L\x1b[2M", "\x1b7\x1b[42m\x1b8\x1b[J\x1b[1J", "e\u0301\u0301\x1b[D\x1b[X",
		"\x1b]11;#fff\x07\x1bPq~\x1b\\\x1b_G\x1b\\", "\xe2\x1b[31m\xc2", "\u0301\u200d\u231a", "\x1bc\x1b[!p\x1b[?5h",
		"\x1b[999C水\x1b[999B水水", "\t\t\t\t\t\b\b\b水\b\x1b[K",
	} {
		f.Add([]byte(seed), uint8(3), uint8(10), uint8(4), uint8(7), uint8(6))
	}
	// An emulator sets aside megabytes for strings, so one is used throughout
	// and reset as a terminal is: cancel, main screen, colours, full reset.
	emulator := vt.NewEmulator(1, 1)
	emulator.SetScrollbackSize(1)
	f.Fuzz(func(t *testing.T, data []byte, split, w, h, w2, h2 uint8) {
		if len(data) > 512 { // every write is followed by a look at every cell
			return
		}
		size := func(v uint8) int { return 1 + int(v)%40 }
		for _, opts := range []Options{
			{Profile: TrueColor, Level: Ember},
			{Profile: ANSI256, Level: Torch, Mux: Tmux},
		} {
			_, _ = emulator.WriteString("\x18\x1b[?1049l\x1b]110\x07\x1b]111\x07\x1b]112\x07\x1bc")
			emulator.Resize(size(w), size(h))
			s := reuse(emulator, opts)
			if err := s.guard.Begin(size(w), size(h)); err != nil {
				t.Fatal(err)
			}
			if err := s.dark(); err != nil {
				t.Fatal("at first light: ", err)
			}
			s.sent.Reset()
			rest := data
			for turn := 0; len(rest) > 0; turn++ {
				n := min(1+int(split), len(rest))
				s.sent.Reset()
				if _, err := s.guard.Write(rest[:n]); err != nil {
					t.Fatal(err)
				}
				rest = rest[n:]
				if err := onlyAllowed(s.sent.Bytes()); err != nil {
					t.Fatal(err)
				}
				if err := s.dark(); err != nil {
					t.Fatalf("%v\nsent %q", err, s.sent.Bytes())
				}
				if turn == 3 {
					// In the midst of whatever has been half written.
					s.level = Dark
					_ = s.guard.SetLevel(Dark)
					if err := s.dark(); err != nil {
						t.Fatalf("gone dark: %v\nsent %q", err, s.sent.Bytes())
					}
				}
				if turn == 5 {
					s.level = opts.Level
					_ = s.guard.SetLevel(opts.Level)
				}
				if turn == 1 {
					s.Resize(size(w2), size(h2))
					if err := s.guard.Resize(size(w2), size(h2)); err != nil {
						t.Fatal(err)
					}
					if err := s.dark(); err != nil {
						t.Fatalf("after a resize: %v\nsent %q", err, s.sent.Bytes())
					}
				}
			}
			if err := s.guard.Blacken(); err != nil {
				t.Fatal(err)
			}
			if err := s.dark(); err != nil {
				t.Fatalf("blackened: %v", err)
			}
		}
		var sent bytes.Buffer
		_, _ = NewGuard(&sent, Options{Profile: LinuxConsole, Level: Ember}).Write(data)
		if err := onlyAllowed(sent.Bytes()); err != nil {
			t.Fatal(err)
		}
	})
}

// A frame of 200 by 60 as bubbletea sends it.
func benchFrame() []byte {
	st := NewStyles(Ember, TrueColor)
	var v strings.Builder
	for range 60 {
		v.WriteString(st.Strong.Render("12:34") + st.Faint.Render(" sheet 3 ") + st.Normal.Render(strings.Repeat("develop ", 20)) + "\n")
	}
	return []byte(strings.ReplaceAll(Paint(v.String(), 200, 60, Ember), "\n", "\r\n"))
}

func BenchmarkGuard(b *testing.B) {
	frame := benchFrame()
	g := NewGuard(io.Discard, Options{Profile: TrueColor, Level: Ember})
	_, _ = g.Write(frame)
	b.SetBytes(int64(len(frame)))
	b.ReportAllocs()
	for b.Loop() {
		_, _ = g.Write(frame)
	}
}

func TestGuardDoesNotAllocate(t *testing.T) {
	frame := benchFrame()
	g := NewGuard(io.Discard, Options{Profile: TrueColor, Level: Ember})
	_, _ = g.Write(frame)
	if n := testing.AllocsPerRun(20, func() { _, _ = g.Write(frame) }); n > 0 {
		t.Errorf("%v allocations for a frame of %d bytes", n, len(frame))
	}
}
