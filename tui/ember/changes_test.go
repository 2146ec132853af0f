package ember

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"github.com/charmbracelet/x/vt"
	"pgregory.net/rapid"
)

// Whatever is drawn, the window looks as if each frame had been drawn whole.
func TestTheWindowIsAsIfDrawnWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, h := rapid.IntRange(4, 30).Draw(t, "width"), rapid.IntRange(1, 6).Draw(t, "height")
		var one, two *vt.Emulator
		var guard, plain *Guard
		begin := func() {
			one, two = vt.NewEmulator(w, h), vt.NewEmulator(w, h)
			guard, plain = NewGuard(one, Options{Profile: TrueColor, Level: Ember}), NewGuard(two, Options{Profile: TrueColor, Level: Ember})
			guard.Begin(w, h)
			plain.Begin(w, h)
		}
		begin()
		s := NewChanges(guard)
		styles := NewStyles(Ember, TrueColor)
		letters := rapid.SampledFrom([]string{" ", " ", "a", "█", "界", "é", "-"})
		level := Ember
		for range rapid.IntRange(1, 8).Draw(t, "frames") {
			if rapid.IntRange(0, 9).Draw(t, "level") == 0 {
				level = map[Level]Level{Ember: Torch, Torch: Ember}[level]
				guard.SetLevel(level)
				plain.SetLevel(level)
				styles = NewStyles(level, TrueColor)
			}
			var view strings.Builder
			for y := range h {
				if y > 0 {
					view.WriteByte('\n')
				}
				for range rapid.IntRange(0, 3).Draw(t, "runs") {
					st := rapid.SampledFrom([]func(...string) string{styles.Strong.Render, styles.Faint.Render, styles.Large.Render}).Draw(t, "style")
					text := ""
					for range rapid.IntRange(0, w/2).Draw(t, "signs") {
						text += letters.Draw(t, "sign")
					}
					view.WriteString(st(text))
				}
			}
			frame := Paint(view.String(), w, h, level)
			s.Draw(frame)
			plain.WriteString(home + strings.ReplaceAll(frame, "\n", "\r\n"))
			for y := range h {
				for x := range w {
					a, b := one.CellAt(x, y), two.CellAt(x, y)
					if a.Content != b.Content || strings.TrimSpace(a.Content) != "" && !sameRed(a.Style.Fg, b.Style.Fg) {
						t.Fatalf("cell %d,%d: %q %v, drawn whole %q %v", x, y, a.Content, a.Style.Fg, b.Content, b.Style.Fg)
					}
				}
			}
		}
	})
}

func sameRed(a, b interface {
	RGBA() (r, g, b, a uint32)
}) bool {
	if a == nil || b == nil {
		return a == nil && b == nil
	}
	r1, g1, b1, _ := a.RGBA()
	r2, g2, b2, _ := b.RGBA()
	return r1 == r2 && g1 == g2 && b1 == b2
}

// A second of a clock costs a few bytes, and a frame that is the same none.
func TestASecondIsAFewBytes(t *testing.T) {
	var out bytes.Buffer
	g := NewGuard(&out, Options{Profile: TrueColor, Level: Ember})
	g.Begin(80, 24)
	s := NewChanges(g)
	st := NewStyles(Ember, TrueColor)
	draw := func(clock string) int {
		out.Reset()
		s.Draw(Paint(st.Large.Render(strings.Join(Figure(clock, Size{2, 9}), "\n"))+"\n"+st.Faint.Render("then stop"), 80, 24, Ember))
		return out.Len()
	}
	draw("29:59")
	s.Write([]byte(home + "\r \x1b[K")) // what a framework believes it draws
	if n := draw("29:59"); n != 0 {
		t.Errorf("the same once more: %d bytes, %q", n, out.String())
	}
	sum := 0
	for i := 58; i >= 0; i-- {
		sum += draw(fmt.Sprintf("29:%02d", i))
	}
	t.Logf("%d bytes a second", sum/59)
	if sum/59 > 150 {
		t.Errorf("%d bytes a second", sum/59)
	}
}
