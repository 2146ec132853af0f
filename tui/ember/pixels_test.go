package ember

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/charmbracelet/x/term"

	"wetside/tui/termtest"
)

// sample is a frame as full as a screen of the program may be: a heading, the
// remaining time in large figures, and a table of sheets below.
func sample(w, h int, level Level) string {
	st := NewStyles(level, TrueColor)
	lines := []string{st.Faint.Render("develop  sheet 3  tea caddy"), ""}
	for _, l := range Figure("12:34", Fit("12:34", w, h/3, float64(w*h)/12)) {
		lines = append(lines, "  "+st.Large.Render(l))
	}
	lines = append(lines, "", st.Border.Render(strings.Repeat("─", w)))
	for i := 1; len(lines) < h-2 && i < 14; i++ {
		lines = append(lines, st.Normal.Render(fmt.Sprintf("%2d  hat box      fix 1    3:%02d left", i, i))+st.Faint.Render("   then rinse"))
	}
	return Paint(strings.Join(lines, "\n"), w, h, level)
}

// TestPixels draws frames at each level in a real terminal and reads the
// pixels. The limits are the project's own: at ember at most 0.3 % of the
// light of the same window in white, in the dark none at all, and never any
// green or blue.
func TestPixels(t *testing.T) {
	if os.Getenv("EMBER_TEST_CHILD") == "pixels" {
		paintForTheRig()
		return
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	sizes := [][2]int{{80, 24}, {120, 40}, {200, 60}}
	if testing.Short() {
		sizes = sizes[:1]
	}
	for _, size := range sizes {
		for _, mux := range []Mux{NoMux, Tmux, Screen} {
			name := fmt.Sprintf("%dx%d", size[0], size[1]) + [...]string{"", " with tmux", " with screen"}[mux]
			if mux == Screen && size[0] != 80 {
				continue
			}
			t.Run(name, func(t *testing.T) {
				m := termtest.Start(t, termtest.Options{
					Cols: size[0], Rows: size[1], Tmux: mux == Tmux, Screen: mux == Screen, White: true,
					TmuxConf: "set -g allow-passthrough on\n", // as the program asks for by itself
					Command:  []string{self, "-test.run=^TestPixels$"},
					Env:      []string{"EMBER_TEST_CHILD=pixels"},
				})
				// The window's colour comes first, that of the pointer a moment later.
				shot := m.WaitShot("first light", func(s termtest.Shot) bool { return s.Lit == 0 && s.MaxGreen|s.MaxBlue == 0 })
				shot.Judge(t, "first light", 0)
				for _, step := range []struct {
					key, what string
					limit     float64
				}{
					{"e", "ember", 0.003},
					{"g", "ember, ill-mannered text", 0.003}, // what a panic or a library would write
					{"d", "dark", 0},
					{"t", "torch", 0.02},
					{"b", "blackened", 0},
					{"e", "ember again", 0.003},
				} {
					m.Type(step.key)
					if step.limit == 0 {
						shot = m.Settled(true) // the pointer's going away is a change too
					} else {
						shot = m.Next(shot)
					}
					shot.Judge(t, step.what, step.limit)
					m.Meddle()
					m.Shot().Judge(t, step.what+", after a drag and clicks", 1)
					if p := m.Pointed(); step.key == "d" && p.Lit > 0 {
						t.Errorf("%s: the pointer shows: %v", step.what, p)
					}
				}
				m.Resize(size[0]-10, size[1]-4)
				shot = m.Next(shot)
				shot.Judge(t, "ember, made smaller", 0.003)
				m.Resize(size[0]+20, size[1]+6)
				m.Next(shot).Judge(t, "ember, made larger", 0.003)
				if dir := os.Getenv("EMBER_TEST_PICTURES"); dir != "" {
					m.Save(filepath.Join(dir, strings.ReplaceAll(name, " ", "-")+".png"))
				}
			})
		}
	}
}

// paintForTheRig is the program in the terminal: each key paints something.
func paintForTheRig() {
	profile, why := Detect(os.Getenv, true, false)
	if !profile.CanDraw() {
		fmt.Println(why)
		os.Exit(1)
	}
	_, _ = term.MakeRaw(os.Stdin.Fd())
	size := func() (int, int) {
		w, h, _ := term.GetSize(os.Stdout.Fd())
		return w, h
	}
	w, h := size()
	g := NewGuard(os.Stdout, Options{Profile: profile, Mux: DetectMux(os.Getenv), Level: Ember})
	_ = g.Begin(w, h)
	show := func(level Level) {
		w, h := size()
		_ = g.SetLevel(level)
		_, _ = g.WriteString("\x1b[H" + strings.ReplaceAll(sample(w, h, level), "\n", "\r\n"))
	}
	for {
		var key [1]byte
		if _, err := os.Stdin.Read(key[:]); err != nil {
			os.Exit(0)
		}
		switch key[0] {
		case 'd':
			show(Dark)
		case 'e':
			show(Ember)
		case 't':
			show(Torch)
		case 'g':
			_, _ = g.WriteString("\x1b[H\x1b[0mpanic: \x1b[1;32mgreen\x1b[7m\x1b[44m blue \a\x1b]11;#ffffff\x07\x1b[?5h\x1b[?25h\x1b[97;107mwhite\x1b[0m \U0001f600\u2764\ufe0f\x1b[4;58;2;0;255;0mlink\x1b[K")
		case 'b':
			_ = g.Blacken()
		}
	}
}
