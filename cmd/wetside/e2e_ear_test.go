package main

import (
	"slices"
	"testing"

	"wetside/session"
	"wetside/sound"
	"wetside/sound/ear"
)

// The crib sheet and the loudspeaker agree: a rehearsal at twenty times life is
// recorded from the output's monitor, and a listener that knows the table of
// motifs and nothing else hears every cue of the crib sheet, in its order, none
// missing, none extra.
func TestRehearsalIsHeardAsItsCribSheet(t *testing.T) {
	rig := ear.NewRig(t)
	for _, process := range []string{"three-trays-clear"} {
		t.Run(process, func(t *testing.T) {
			const pace = 20
			h := newHome(t, "PULSE_SERVER="+rig.Server)
			rec := rig.Record()
			h.wetside(t, "rehearse", "--pace", "20", "--self", "--blind", "--process", process, "--talk", "few", "--sound", "pulse")
			heard := ear.Listen(rec.Stop())
			compareWithCrib(t, h.crib(t, process), heard, pace)
		})
	}
}

// compareWithCrib matches what was heard with the crib sheet, kind by kind.
func compareWithCrib(t *testing.T, crib []cribLine, heard []ear.Heard, pace float64) {
	t.Helper()
	type item struct {
		name string
		at   float64
	}
	var want, got []item
	for _, l := range crib {
		c := session.Cue{Kind: session.CueKind(l.Kind), Stage: session.Stage(l.Stage), Next: session.Stage(l.Next)}
		if m, ok := sound.MotifFor(c); ok {
			want = append(want, item{m.Name, l.At / pace})
		}
	}
	for _, x := range heard {
		got = append(got, item{x.Motif, x.At.Seconds()})
	}
	count := func(xs []item) map[string]int {
		n := map[string]int{}
		for _, x := range xs {
			n[x.name]++
		}
		return n
	}
	w, g := count(want), count(got)
	for name, n := range w {
		if g[name] != n {
			t.Errorf("%s: %d on the crib sheet, %d heard", name, n, g[name])
		}
	}
	for name, n := range g {
		if w[name] == 0 {
			t.Errorf("%s: heard %d times, not on the crib sheet", name, n)
		}
	}
	if t.Failed() || len(got) == 0 {
		for _, x := range got {
			t.Logf("heard %7.3f s %s", x.at, x.name)
		}
		t.FailNow()
	}
	// In order of time, each kind's n-th heard is its n-th on the crib sheet.
	// The hands of a rehearsal act a little after a call, so times drift by a
	// fraction of a second at each move; the figure is reported.
	nth := map[string]int{}
	var off []float64
	for _, x := range want {
		k := 0
		for _, y := range got {
			if y.name == x.name {
				if k == nth[x.name] {
					off = append(off, y.at-got[0].at-(x.at-want[0].at))
					break
				}
				k++
			}
		}
		nth[x.name]++
	}
	slices.Sort(off)
	t.Logf("%d cues; heard against the crib sheet: median %+.0f ms, from %+.0f to %+.0f ms", len(off), 1000*off[len(off)/2], 1000*off[0], 1000*off[len(off)-1])
}
