//go:build unix

package main

import (
	"strings"
	"testing"

	"wetside/sound/soundtest"
)

// What wetside sounds plays is heard, in the order asked for, and nothing else:
// recorded from the output's monitor by a listener that knows the table of
// motifs alone.
func TestSoundsAreHeardAsNamed(t *testing.T) {
	rig := soundtest.NewRig(t)
	h := newHome(t, "PULSE_SERVER="+rig.Server)
	want := []string{"move now", "lift and drain", "call again", "develop begins", "exposure done"}
	rec := rig.Record()
	out := h.wetside(t, append([]string{"sounds", "--sound", "pulse", "--volume", "0.7"}, want...)...)
	var got []string
	for _, x := range soundtest.Listen(rec.Stop()) {
		got = append(got, x.Motif)
	}
	if strings.Join(got, ", ") != strings.Join(want, ", ") {
		t.Errorf("heard %q, asked for %q; it printed:\n%s", got, want, out)
	}
	for _, w := range want {
		if !strings.Contains(out, w) {
			t.Errorf("%q was played and not named:\n%s", w, out)
		}
	}
}
