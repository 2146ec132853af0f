package ember

import (
	"strings"
	"testing"
	"unicode/utf8"
)

// A window of 80 by 24 holds 1920 cells. Solid block digits of the same
// height light every cell of their strokes' ground; a thin line lights about
// an eighth of a cell. Here the cells touched at all are counted, and the
// part of a cell each sign lights, reckoned from its arms: an arm of a line
// one eighth of a cell wide, half a cell long, lights a sixteenth.
func TestFiguresLightFewCells(t *testing.T) {
	for _, size := range []Size{Medium, Large, Huge} {
		lines := Figure("12:34", size)
		if len(lines) != size.Height() {
			t.Fatalf("size %d: %d lines, want %d", size, len(lines), size.Height())
		}
		touched, arms := 0, 0
		for _, l := range lines {
			if utf8.RuneCountInString(l) != utf8.RuneCountInString(lines[0]) {
				t.Errorf("size %d: lines of different width: %q", size, lines)
			}
			for _, r := range l {
				if r != ' ' {
					touched++
				}
				for a, g := range boxGlyphs {
					if g == r {
						arms += a&1 + a>>1&1 + a>>2&1 + a>>3&1
					}
				}
			}
		}
		area := float64(arms) / 16
		box := utf8.RuneCountInString(lines[0]) * len(lines)
		t.Logf("size %d: %d by %d cells, %d touched, %.1f cells' worth of light (%.1f%% of its box)\n%s",
			size, utf8.RuneCountInString(lines[0]), len(lines), touched, area, 100*area/float64(box), strings.Join(lines, "\n"))
		if area > float64(box)*0.08 {
			t.Errorf("size %d lights %.1f of %d cells: too much for a darkroom", size, area, box)
		}
	}
}

func TestFiguresCanBeToldApart(t *testing.T) {
	for _, draw := range []func(string, Size) []string{Figure, FigureASCII} {
		for _, size := range []Size{Medium, Large, Huge} {
			seen := map[string]rune{}
			for _, r := range "0123456789:.+- " {
				lines := draw(string(r), size)
				drawn := strings.Join(lines, "\n")
				if other, dup := seen[drawn]; dup {
					t.Errorf("size %d: %q and %q look the same", size, other, r)
				}
				seen[drawn] = r
			}
		}
	}
	for _, l := range FigureASCII("+0123456789-:.", Huge) {
		for _, r := range l {
			if r > 0x7e {
				t.Fatalf("%q is not ASCII", r)
			}
		}
	}
}

func TestFitTakesTheLargestThatFits(t *testing.T) {
	for _, c := range []struct {
		w, h int
		want Size
	}{{80, 24, Huge}, {80, 6, Large}, {20, 24, Large}, {15, 3, Medium}, {5, 1, Small}, {1, 1, Small}} {
		if got := Fit("12:34", c.w, c.h); got != c.want {
			t.Errorf("Fit in %dx%d = %d, want %d", c.w, c.h, got, c.want)
		}
	}
	if got := Figure("12m", Medium); !strings.Contains(got[1], "m") {
		t.Errorf("a letter is put on the middle line: %q", got)
	}
}
