package main

import (
	"syscall"
	"testing"

	"wetside/session/sessiontest"
	"wetside/tui/termtest"
)

// The same story in each terminal that runs here: a start in white, room, trays, paper
// out, the keeper killed, started again and left. What a terminal lights of its own, which
// no program can put out, is measured, and measured again when what the program says to
// press has been pressed.
func TestLightOfEveryTerminal(t *testing.T) {
	sessiontest.Need(t, "Xvfb=xvfb", "import=imagemagick", "xdotool")
	for _, c := range []struct {
		kind, conf string
		press      string // what the program says
		full       bool   // the program itself can ask for full screen
	}{
		{kind: "xterm", full: true},
		{kind: "urxvt"},
		{kind: "st"},
		{kind: "xfce4-terminal", conf: "ScrollingBar=TERMINAL_SCROLLBAR_NONE\nMiscMenubarDefault=FALSE\n", press: "<F11>"}, // its preferences
		{kind: "kitty", press: "<ctrl+shift+F11>"},
		{kind: "alacritty"},
	} {
		t.Run(c.kind, func(t *testing.T) {
			t.Parallel()
			h := newHome(t)
			past(t, h, false)
			s := newScene(t, c.kind, termtest.Options{Kind: c.kind, Managed: true, Display: "1000x650", Conf: c.conf}, h,
				"sh", "-c", `"$0" --sound none; "$0" --sound none`, binary(t))
			small := s.begin(emberLimit)
			if c.press != "" {
				s.press(c.press)
			}
			if c.press != "" || c.full {
				s.WaitShot("full screen", func(x termtest.Shot) bool {
					return x.Width > min(small.Width, 999) && x.MaxRed > 0 && x.MaxGreen|x.MaxBlue == 0
				})
			}
			s.judge("ember", "resume", s.rest(true))
			s.meddle()
			stop := s.Watch()
			s.on("y")
			s.judge("ember", "field", s.Shot())
			s.on("<Tab>")
			s.judge("ember", "trays", s.Shot())
			s.press("p")
			s.on("<Tab>")
			s.on("<Tab>")
			s.judge("ember", "room", s.Shot())
			s.meddle()
			keeper := childOf(t, s.PID())
			program := childOf(t, keeper)
			if err := syscall.Kill(keeper, syscall.SIGKILL); err != nil {
				t.Fatal(err)
			}
			until(t, "it was started again", func() bool { c := childOf(t, s.PID()); return c != keeper && childOf(t, c) != program })
			again := s.rest(true)
			s.judge("ember", "started again", again)
			worst, taken := stop()
			s.judge("ember", "worst on the way", worst)
			t.Logf("%d photographs", taken)
			s.on("y")
			s.on("q")
			s.press("y")
			s.WaitShot("the terminal as it was", func(x termtest.Shot) bool {
				return x.MaxGreen == 255 && x.MeanLuminance > 0.8
			})
		})
	}
}

// A desktop's VTE terminal, as it comes, lights a menu and a scrollbar, which the README
// says in figures.
func TestLightOfBars(t *testing.T) {
	sessiontest.Need(t, "Xvfb=xvfb", "import=imagemagick", "xdotool")
	t.Parallel()
	h := newHome(t)
	s := newScene(t, "xfce4-terminal", termtest.Options{Kind: "xfce4-terminal", Display: "1000x650"}, h, binary(t), "--sound", "none")
	s.open()
	x := s.WaitShot("the first frame", func(x termtest.Shot) bool { return x.MeanLuminance < 0.3 })
	if x.MeanLuminance < 0.03 || x.MeanLuminance > 0.06 {
		t.Errorf("its bars are no 3 to 6%% of the window in white: %v", x)
	}
	s.Type("qy")
}
