package termtest

import (
	"math"
	"strings"
	"testing"
)

// A photograph is read right: a white window is 1, and of four pixels one in
// full red gives a quarter of red's share of white (IEC 61966-2-1: 0.2126).
func TestPicturesAreReadRight(t *testing.T) {
	for _, c := range []struct {
		pixels string
		want   float64
	}{
		{"\xff\xff\xff\x00\xff\xff\xff\x00\xff\xff\xff\x00\xff\xff\xff\x00", 1},
		{"\x00\x00\xff\x00" + strings.Repeat("\x00", 12), 0.2126 / 4},
		{strings.Repeat("\x00", 16), 0},
	} {
		if s := seen(2, 2, []byte(c.pixels)); math.Abs(s.MeanLuminance-c.want) > 1e-12 {
			t.Errorf("%v, want %v", s, c.want)
		}
	}
}

// The rig sees what there is to see: a terminal that lights up in green, and
// in white, is caught.
func TestTheRigSeesGreen(t *testing.T) {
	m := Start(t, Options{Cols: 20, Rows: 4, Command: []string{"printf", `\033]13;#000\033\\\033]14;#000\033\\\033[?30l\033[42m\033[2J\033[?25l`}})
	s := m.WaitShot("green", func(s Shot) bool { return s.Lit > 0.9 })
	if s.MaxGreen < 100 || s.MaxRed > 0 {
		t.Errorf("a green window photographed as %v", s)
	}
}

// The pointer is in the picture: over a black window that nobody told what
// colours it is to have, it shows.
func TestTheRigSeesThePointer(t *testing.T) {
	m := Start(t, Options{Cols: 20, Rows: 4, White: true, Command: []string{"printf", `\033]11;#000\033\\\033[?30l\033[?25l`}})
	s := m.WaitShot("the pointer alone", func(s Shot) bool { return s.Lit == 0 && s.MaxGreen > 200 })
	if p := m.Pointed(); p.Lit == 0 || p.Lit > 0.1 {
		t.Errorf("the pointer photographed as %v, in %v", p, s)
	}
}

// What the program says to press in an xterm that is not full screen by itself makes it
// so, and once more undoes it.
func TestXtermIsFullScreenByAltEnter(t *testing.T) {
	m := Start(t, Options{Kind: "xterm", Managed: true, Display: "1000x650", White: true, Command: []string{"sleep", "600"}})
	small := m.WaitShot("the terminal", func(s Shot) bool { return s.Width > 0 && s.MeanLuminance > 0.5 })
	m.Type("<alt+Return>")
	m.WaitShot("full screen", func(s Shot) bool { return s.Width == 1000 && s.Height == 650 })
	m.Type("<alt+Return>")
	m.WaitShot("the window as it was", func(s Shot) bool { return s.Width == small.Width && s.Height == small.Height })
}
