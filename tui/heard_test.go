package tui

import (
	"fmt"
	"strings"
	"testing"

	"wetside/session"
	"wetside/session/desk"
)

// What the screen says of the loudspeaker is no more than is heard, at the top
// and when somebody has answered whether they heard the sound at the start.
func TestNoMoreIsPromisedThanIsHeard(t *testing.T) {
	for _, x := range []struct {
		name     string
		is       desk.SoundState
		top, yes string
		no       string
	}{
		{"a loudspeaker", desk.SoundState{Device: "pulse: tray", OK: true, Volume: 70}, "sound 70%", "good: every cue will be heard", "sound goes to pulse: tray"},
		{"turned down", desk.SoundState{Device: "pulse: tray", OK: true}, "sound 0%", "turn it up with +", "turn it up with +"},
		{"elsewhere", desk.SoundState{Device: "pulse: tray", OK: true, Volume: 70, Moved: "the sound goes to the lid now"}, "OTHER OUTPUT 70%", "goes to the lid", "sound goes to pulse: tray"},
		{"switched off", desk.SoundState{Device: "none", OK: true, Heard: desk.HeardNot, Volume: 70}, "sound off", "no cue will be heard", "no cue will be heard"},
		{"beeps", desk.SoundState{Device: "beep", OK: true, Heard: desk.HeardBeeps, Volume: 70}, "only beeps", "nothing is spoken", "nothing is spoken"},
		{"gone", desk.SoundState{Device: "none", Reason: "no server", Volume: 70}, "NO SOUND", "no sound: no server", "no sound: no server"},
	} {
		t.Run(x.name, func(t *testing.T) {
			speaks := x.is.OK && x.is.Heard == desk.HeardAll
			ask := func(answer func(number int) string) string {
				w, m := newWorld(t, func(c *Config) { c.ConfirmSound = true })
				w.sound = &x.is
				if q := m.View(); strings.Contains(q, "Which number was spoken") != speaks {
					t.Errorf("the question:\n%s", q)
				}
				n := 0
				for _, c := range w.played {
					if c.Kind == session.CueHello {
						fmt.Sscanf(aloud(c), "the number is %d", &n)
					}
				}
				if n < 1 || n > 9 {
					t.Fatalf("the number spoken is %d", n)
				}
				m.keys(t, answer(n))
				return m.View()
			}
			yes := ask(func(n int) string { return fmt.Sprint(n) })
			// A number that was not spoken, and that none was heard, are a no; that
			// something was heard is no answer where words can be spoken.
			no := ask(func(int) string { return "n" })
			if wrong := ask(func(n int) string { return fmt.Sprint(n%9 + 1) }); wrong != no {
				t.Errorf("after a wrong number it says\n%s\nand after a no\n%s", wrong, no)
			}
			if vague := ask(func(int) string { return "y" }); strings.Contains(vague, "Which number") != speaks {
				t.Errorf("after a y it says\n%s", vague)
			}
			top, _, _ := strings.Cut(yes, "\n")
			if !strings.Contains(top, x.top) || strings.Contains(top, "%") != strings.Contains(x.top, "%") {
				t.Errorf("at the top: %s", top)
			}
			if !strings.Contains(yes, x.yes) || strings.Contains(yes, "good") != strings.Contains(x.yes, "good") {
				t.Errorf("after a yes it says\n%s", yes)
			}
			if !strings.Contains(no, x.no) {
				t.Errorf("after a no it says\n%s", no)
			}
		})
	}
}
