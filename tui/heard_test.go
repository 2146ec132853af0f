package tui

import (
	"strings"
	"testing"

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
		{"switched off", desk.SoundState{Device: "none", OK: true, Heard: desk.HeardNot, Volume: 70}, "sound off", "no cue will be heard", "no cue will be heard"},
		{"beeps", desk.SoundState{Device: "beep", OK: true, Heard: desk.HeardBeeps, Volume: 70}, "only beeps", "nothing is spoken", "nothing is spoken"},
		{"gone", desk.SoundState{Device: "none", Reason: "no server", Volume: 70}, "NO SOUND", "no sound: no server", "no sound: no server"},
	} {
		t.Run(x.name, func(t *testing.T) {
			ask := func(key string) string {
				w, m := newWorld(t, func(c *Config) { c.ConfirmSound = true })
				w.sound = &x.is
				if q := m.View(); strings.Contains(q, "was played") != x.is.OK {
					t.Errorf("the question:\n%s", q)
				}
				m.keys(t, key)
				return m.View()
			}
			yes, no := ask("y"), ask("n")
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
