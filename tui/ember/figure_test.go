package ember

import (
	"math"
	"strings"
	"testing"
	"unicode/utf8"
)

// Whatever the size, digits have the same width and height, no two look alike,
// and the 1 stands in the middle of its cell.
func TestFiguresOfEqualWidth(t *testing.T) {
	for _, s := range sizes {
		if s.Stroke == 0 {
			continue
		}
		seen := map[string]rune{}
		for _, r := range "0123456789" {
			rows := Figure(string(r), s)
			if len(rows) != s.Rows() {
				t.Fatalf("%v: %c has %d rows", s, r, len(rows))
			}
			for _, l := range rows {
				if n := utf8.RuneCountInString(l); n != 5*s.Stroke {
					t.Errorf("%v: %c is %d cells wide: %q", s, r, n, l)
				}
				if left := len(l) - len(strings.TrimLeft(l, " ")); r == '1' && strings.TrimSpace(l) != "" && left != len(l)-len(strings.TrimRight(l, " ")) {
					t.Errorf("%v: the 1 is not in the middle: %q", s, l)
				}
			}
			all := strings.Join(rows, "\n")
			if other := seen[all]; other != 0 {
				t.Errorf("%v: %c and %c look alike", s, r, other)
			}
			seen[all] = r
		}
	}
}

// The largest size that fits is taken, in cells and in light.
func TestFitTakesTheLargestThatFits(t *testing.T) {
	for _, c := range []struct {
		w, h int
		lit  float64
		want Size
	}{
		{80, 9, 1000, Size{2, 9}}, {80, 8, 1000, Size{2, 7}}, {30, 9, 1000, Size{1, 9}}, {80, 4, 1000, Size{1, 7}},
		{80, 9, 100, Size{1, 9}}, {80, 3, 1000, Size{1, 5}}, {80, 2, 1000, Size{}}, {300, 40, 1e6, Size{8, 9}},
	} {
		if got := Fit("12:34", c.w, c.h, c.lit); got != c.want {
			t.Errorf("%dx%d, %v lit: %v, want %v", c.w, c.h, c.lit, got, c.want)
		}
	}
}

// At full screen on a panel 310 mm wide a stroke is seen under at least three
// minutes of arc from two metres, at 80 columns and 9 rows of figures.
func TestAStrokeIsSeenFromTwoMetres(t *testing.T) {
	s := Fit("12:34", 54, 9, 1000)
	mm := float64(s.Stroke) * 310 / 80
	if minutes := math.Atan(mm/2000) * 180 * 60 / math.Pi; minutes < 3 {
		t.Errorf("a stroke of %.1f mm is seen under %.1f minutes of arc", mm, minutes)
	}
}

func TestLettersAreThreeRows(t *testing.T) {
	seen := map[string]rune{}
	for r := range font {
		rows, ok := Letters(string(r))
		if !ok || len(rows) != 3 {
			t.Fatalf("%c: %v", r, rows)
		}
		all := strings.Join(rows, "\n")
		if other := seen[all]; other != 0 && (r != '0' && r != 'O') && (r != '5' && r != 'S') {
			t.Errorf("%c and %c look alike", r, other)
		}
		seen[all] = r
	}
	if _, ok := Letters("漢"); ok {
		t.Error("a letter there is none for")
	}
	if rows, ok := Letters("2 fix"); !ok || strings.TrimRight(rows[0], " ") != "▀▀█    █▀▀ █ █ █" {
		t.Errorf("%q", rows)
	}
}
