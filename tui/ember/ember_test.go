package ember

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"unicode"

	"github.com/charmbracelet/lipgloss"
	"github.com/charmbracelet/x/ansi"
	"github.com/charmbracelet/x/vt"
	"pgregory.net/rapid"

	"wetside/session/words"
)

// Values of the sRGB transfer function and of the luminance of its primaries,
// IEC 61966-2-1 (the linear toe ends at 0.04045; mid grey 0x80 is 0.2159 in
// published tables; the Y row is 0.2126, 0.7152, 0.0722).
func TestLuminance(t *testing.T) {
	for _, c := range []struct {
		hex  string
		want float64
	}{
		{"#000000", 0}, {"#ffffff", 1}, {"#ff0000", 0.2126}, {"#00ff00", 0.7152}, {"#0000ff", 0.0722},
		{"#808080", 0.21586}, {"#0a0a0a", 10.0 / 255 / 12.92},
	} {
		got, err := luminance(c.hex)
		if err != nil || math.Abs(got-c.want) > 1e-5 {
			t.Errorf("luminance(%s) = %v, %v, want %v", c.hex, got, err, c.want)
		}
	}
	for _, bad := range []string{"", "red", "#12345", "#gg0000", "000000#"} {
		if _, err := luminance(bad); err == nil {
			t.Errorf("%q was taken for a colour", bad)
		}
	}
}

func TestPaletteIsPureRed(t *testing.T) {
	for _, l := range []Level{Dark, Ember, Torch} {
		last := -1
		for _, r := range []Role{Border, Large, Faint, Normal, Strong} {
			hex := hexRed(l.Red(r))
			y, err := luminance(hex)
			if err != nil || !strings.HasSuffix(hex, "0000") {
				t.Errorf("%v %v is %s, %v", l, r, hex, err)
			}
			if red := int(l.Red(r)); l != Dark && red <= last {
				t.Errorf("%v: role %v is no brighter than the one before", l, r)
			} else {
				last = red
			}
			if l == Dark && y != 0 {
				t.Errorf("dark is lit: %s", hex)
			}
			t.Logf("%-6v role %v %s luminance %.4f", l, r, hex, y)
		}
		back, err := ParseLevel(l.String())
		if err != nil || back != l {
			t.Errorf("ParseLevel(%q) = %v, %v", l.String(), back, err)
		}
	}
	// A cell wholly lit in the strongest red of ember gives a tenth of white's
	// light: a window with one pixel in thirty lit so stays within 0.3 %.
	if y, _ := luminance(hexRed(Ember.Red(Strong))); y > 0.1 || y < 0.05 {
		t.Errorf("ember's strong red has luminance %.4f: unreadable, or a lamp", y)
	}
	if Level(9).Red(Strong) != 0 || Ember.Red(Role(9)) != 0 {
		t.Error("what is not a level or a role is lit")
	}
	if _, err := ParseLevel("white"); err == nil {
		t.Error("white is no level")
	}
}

func TestStylesAlwaysSayBothColours(t *testing.T) {
	for _, p := range []Profile{TrueColor, ANSI256, LinuxConsole} {
		for _, l := range []Level{Dark, Ember, Torch} {
			st := NewStyles(l, p)
			for role, style := range map[Role]lipgloss.Style{Border: st.Border, Large: st.Large, Faint: st.Faint, Normal: st.Normal, Strong: st.Strong} {
				out := style.Render("x")
				want := fmt.Sprintf("\x1b[38;2;%d;0;0;48;2;0;0;0mx\x1b[0m", p.nearest(l.Red(role)))
				// lipgloss may write its colours in its own rounding; what
				// counts is what the pen makes of it.
				s := newScreen(1, 1, Options{Profile: TrueColor, Level: l})
				_ = s.guard.Begin(1, 1)
				_, _ = s.guard.WriteString(out)
				if err := s.dark(); err != nil || out != want {
					t.Errorf("%v %v %v: %q, want %q (%v)", p, l, role, out, want, err)
				}
			}
		}
	}
}

func TestDetect(t *testing.T) {
	for _, c := range []struct {
		env  string
		tty  bool
		want Profile
		mux  Mux
		says string
	}{
		{"TERM=xterm-256color COLORTERM=truecolor", true, TrueColor, NoMux, ""},
		{"TERM=xterm-256color", true, ANSI256, NoMux, ""},
		{"TERM=xterm-kitty", true, TrueColor, NoMux, ""},
		{"TERM=linux CONSOLE=1", true, LinuxConsole, NoMux, ""},
		{"TERM=linux-16color CONSOLE=1 COLORTERM=truecolor", true, LinuxConsole, NoMux, ""},
		{"TERM=linux", true, None, NoMux, "and it is not"},
		{"TERM=linux COLORTERM=truecolor", true, TrueColor, NoMux, ""},
		{"TERM=linux TMUX=/tmp/x,1,0", true, ANSI256, Tmux, ""},
		{"TERM=linux TMUX=/tmp/x,1,0 CONSOLE=1", true, ANSI256, Tmux, ""},
		{"TERM=linux STY=1.pts CONSOLE=1", true, ANSI256, Screen, ""},
		{"TERM=xterm-256color CONSOLE=1", true, ANSI256, NoMux, ""},
		{"TERM=tmux-256color TMUX=/tmp/x,1,0 COLORTERM=truecolor", true, ANSI256, Tmux, ""},
		{"TERM=screen-256color TMUX=/tmp/x,1,0", true, ANSI256, Tmux, ""},
		{"TERM=tmux-direct TMUX=/tmp/x,1,0 COLORTERM=truecolor", true, TrueColor, Tmux, ""},
		{"TERM=screen STY=1.pts", true, ANSI256, Screen, ""},
		{"TERM=screen.xterm-256color STY=1.pts COLORTERM=truecolor", true, ANSI256, Screen, ""},
		{"TERM=dumb", true, None, NoMux, "--blind"},
		{"TERM=dumb COLORTERM=truecolor", true, None, NoMux, "--blind"},
		{"", true, None, NoMux, "--blind"},
		{"TERM=vt100", true, None, NoMux, "no colours"},
		{"TERM=xterm", true, None, NoMux, "xterm-256color"},
		{"TERM=xterm-mono", true, None, NoMux, "no colours"},
		{"TERM=xterm-256color NO_COLOR=1", true, None, NoMux, "NO_COLOR"},
		{"TERM=xterm-256color COLORTERM=truecolor", false, None, NoMux, "not a terminal"},
		{"OS=Windows_NT WT_SESSION=1", true, TrueColor, NoMux, ""},
	} {
		env := func(k string) string {
			for _, kv := range strings.Fields(c.env) {
				if n, v, _ := strings.Cut(kv, "="); n == k {
					return v
				}
			}
			return ""
		}
		got, why := Detect(env, c.tty, env("CONSOLE") != "") // what the kernel says of it
		if got != c.want || !strings.Contains(why, c.says) || why == "" {
			t.Errorf("%q: %v (%s), want %v", c.env, got, why, c.want)
		}
		if m := DetectMux(env); m != c.mux || (m == NoMux) != (m.Warning(false) == "") || (m == NoMux) != (m.Warning(true) == "") {
			t.Errorf("%q: mux %v, want %v", c.env, m, c.mux)
		}
	}
}

func TestSafeText(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"tea caddy 3", "tea caddy 3"},
		{"Blechdose Größe 2, ½ offen", "Blechdose Größe 2, ½ offen"},
		{"\x1b[32mgreen\x1b[0m\x1b]2;title\a", "green"},
		{"a\nb\tc\r", "a b c "},
		{"bell\a\x08\x7f", "bell"},
		{"\u202egnp.exe\u2066", "gnp.exe"},
		{"\u009b32mx", "32mx"},
		{"cafe\u0301 水", "cafe\u0301 水"},
		{"\u2764\ufe0f\U0001f4f7", "***"},
		{"broken \xff\xc3", "broken "},
		{"\u200bzero\ufeff", "zero"},
	} {
		if got := SafeText(c.in); got != c.want {
			t.Errorf("SafeText(%q) = %q, want %q", c.in, got, c.want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		in := rapid.OneOf(rapid.String(), rapid.Map(rapid.SliceOf(rapid.Byte()), func(b []byte) string { return string(b) })).Draw(t, "in")
		out := SafeText(in)
		for _, r := range out {
			if unicode.IsControl(r) || words.Unseen(r) || pictured(r) {
				t.Fatalf("%q is left in %q", r, out)
			}
		}
		if again := SafeText(out); again != out {
			t.Fatalf("not settled: %q, then %q", out, again)
		}
	})
}

// Any view, at any size and level, gives a frame that covers the window to
// the cell, and shows nothing but red.
func TestPaintCoversTheWindow(t *testing.T) {
	piece := rapid.OneOf(
		rapid.StringN(0, 12, -1),
		rapid.SampledFrom([]string{"\n", "\n\n", "\t", "水", "水水", "e\u0301", "\x1b[0m", "\x1b[42m", "\x1b[2J", "\x1b[7m",
			"\x1b]8;;x\a", "\u231a", "한", "\u200d", "━━━", strings.Repeat("wide ", 30), "\x1b[", "\r", "\x1b[38;2;90;0;0m"}),
		rapid.Map(rapid.SliceOfN(rapid.Byte(), 0, 6), func(b []byte) string { return string(b) }),
	)
	emulator := vt.NewEmulator(1, 1)
	rapid.Check(t, func(t *rapid.T) {
		view := strings.Join(rapid.SliceOfN(piece, 0, 30).Draw(t, "view"), "")
		w, h := rapid.IntRange(1, 60).Draw(t, "width"), rapid.IntRange(1, 20).Draw(t, "height")
		level := Level(rapid.IntRange(0, 2).Draw(t, "level"))
		frame := Paint(view, w, h, level)
		lines := strings.Split(frame, "\n")
		if len(lines) != h {
			t.Fatalf("%d lines, want %d", len(lines), h)
		}
		for i, l := range lines {
			if got := lipgloss.Width(l); got != w {
				t.Fatalf("line %d is %d wide, want %d: %q", i, got, w, l)
			}
		}
		// Painted on a terminal that has had no guard before it: the frame
		// alone covers every cell.
		_, _ = emulator.WriteString("\x18\x1bc\x1b[?1049l\x1b[?1049h\x1b[?25l\x1b]11;#000000\a\x1b]10;#000000\a\x1b]12;#000000\a")
		emulator.Resize(w, h)
		s := &screen{Emulator: emulator, level: level}
		_, _ = emulator.WriteString("\x1b[2J\x1b[H" + strings.ReplaceAll(frame, "\n", "\r\n"))
		if err := s.dark(); err != nil {
			t.Fatalf("%v\nframe %q", err, frame)
		}
	})
	for _, size := range [][2]int{{0, 5}, {5, 0}, {-1, -1}} {
		if got := Paint("x", size[0], size[1], Ember); got != "" {
			t.Errorf("a window of %v was painted: %q", size, got)
		}
	}
	if got := ansi.Strip(Paint("a水b\nlonger than six", 6, 3, Ember)); got != "a水b  \nlonger\n      " {
		t.Errorf("painted %q", got)
	}
	if got := ansi.Strip(Paint("水水", 3, 1, Ember)); got != "水 " {
		t.Errorf("a wide character over the edge: %q", got)
	}
}

func BenchmarkPaint(b *testing.B) {
	st := NewStyles(Ember, TrueColor)
	view := strings.Repeat(st.Strong.Render("12:34")+st.Normal.Render(strings.Repeat(" develop", 20))+"\n", 60)
	b.ReportAllocs()
	for b.Loop() {
		Paint(view, 200, 60, Ember)
	}
}

// A frame with too much light is dimmed from the least important on; one within its
// budget is left alone.
func TestPaintKeepsTheBudget(t *testing.T) {
	s := NewStyles(Ember, TrueColor)
	clock := s.Large.Render(strings.Repeat("█", 20))
	words := s.Strong.Render("move now") + s.Normal.Render(strings.Repeat(" signal box", 5))
	red := func(role Role) string { return fmt.Sprintf("38;2;%d;0;0", Ember.Red(role)) }
	for _, c := range []struct {
		lines        int // of words
		want, unwant []Role
	}{
		{4, []Role{Large, Strong, Normal}, nil},
		{16, []Role{Large, Strong, Faint}, []Role{Normal}},
	} {
		frame := Paint(clock+"\n"+strings.Repeat(words+"\n", c.lines)+strings.Repeat("\n", 30), 80, 24, Ember)
		for _, r := range c.want {
			if !strings.Contains(frame, red(r)) {
				t.Errorf("%d lines of words: nothing is drawn in the red of role %d: %q", c.lines, r, frame)
			}
		}
		// The pen of an empty line is the text's, and gives no light.
		for _, r := range c.unwant {
			if i := strings.Index(frame, red(r)); i >= 0 && !strings.HasPrefix(strings.TrimLeft(frame[i+len(red(r)):], ";048m2"), " ") {
				t.Errorf("%d lines of words: role %d is as bright as ever", c.lines, r)
			}
		}
	}
}
