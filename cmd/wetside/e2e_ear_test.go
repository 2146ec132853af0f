//go:build unix

package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"wetside/session"
	"wetside/session/sessiontest"
	"wetside/sound"
	"wetside/sound/soundtest"
)

// shortWash is a process of the user's own that has what the shortest of the
// defaults has not, a second fix and changes of water, and a wash of minutes.
var shortWash = []string{
	`develop; at_least = "1m10s"; at_most = "1m40s"; drain = "10s"; agitate = "continuous"`,
	`stop; target = "20s"; drain = "5s"; agitate = "continuous"`,
	`fix; target = "1m"; drain = "10s"; agitate = "first 30s, then 5s every 15s"`,
	`second fix; target = "1m"; drain = "10s"; agitate = "first 30s, then 5s every 15s"`,
	`wash; target = "2m30s"; changes = 3`,
}

// The crib sheet and the loudspeaker agree: a rehearsal at twenty times life is
// recorded from the output's monitor, and a listener that knows the table of
// motifs and nothing else hears every cue of the crib sheet, at its time, none
// missing, none extra.
//
//	WETSIDE_SOAK=1 go test ./cmd/wetside -run HeardAsItsCribSheet -v
//
// does so with every process of the defaults.
func TestRehearsalIsHeardAsItsCribSheet(t *testing.T) {
	byProcess(t)
	processes := []string{"short-wash", "three-trays-clear"}
	if os.Getenv("WETSIDE_SOAK") != "" {
		processes = append(processes, "three-trays", "two-bath-fix")
	}
	for _, process := range processes {
		t.Run(process, func(t *testing.T) {
			t.Parallel()
			byEar(t, func(t testing.TB) string { return asItsCribSheet(t, process, 20) })
		})
	}
}

// The same at the pace of life, with every process of the defaults, the times of
// its wash alone cut to a minute: what rehearsals at twenty times life might
// hide in their haste.
//
//	WETSIDE_LIFE=1 go test ./cmd/wetside -run PaceOfLife -v -timeout 40m
func TestPaceOfLife(t *testing.T) {
	if os.Getenv("WETSIDE_LIFE") == "" {
		sessiontest.Leave(t, "it takes a quarter of an hour (TestRehearsalIsHeardAsItsCribSheet does the same twenty times as fast)", "set WETSIDE_LIFE=1")
	}
	for _, process := range []string{"three-trays", "three-trays-clear", "two-bath-fix"} {
		t.Run(process, func(t *testing.T) {
			t.Parallel()
			byEar(t, func(t testing.TB) string { return asItsCribSheet(t, "life-"+process, 1) })
		})
	}
}

// lifeProcess writes a process of the defaults into the user's folder, with a
// wash of one minute.
func lifeProcess(t testing.TB, h home, process string) {
	t.Helper()
	text := h.wetside(t, "profiles", "show", process)
	at := strings.LastIndex(text, `stage = "wash"`)
	if at < 0 {
		t.Fatalf("%s has no wash:\n%s", process, text)
	}
	text = strings.Replace(text[:at], `process = "`+process+`"`, `process = "life-`+process+`"`, 1) +
		regexp.MustCompile(`"\d+[mh]"`).ReplaceAllString(text[at:], `"1m"`)
	dir := filepath.Join(h.dir, ".config", "wetside", "profiles", "processes")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "life-"+process+".toml"), []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	// The crib sheet lists no ticks and no pulses.
	if err := os.WriteFile(filepath.Join(h.dir, ".config", "wetside", "settings.toml"), []byte("alive = false\nrock = \"off\"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
}

func asItsCribSheet(t testing.TB, process string, pace float64) (stood string) {
	rig := soundtest.NewRig(t)
	h := newHome(t, "PULSE_SERVER="+rig.Server)
	ownProcess(t, h, "short-wash", shortWash...)
	if real, ok := strings.CutPrefix(process, "life-"); ok {
		lifeProcess(t, h, real)
	}
	crib := h.crib(t, process)
	l := listen(t, rig, 0, false)
	s := newStrain(t)
	cmd := exec.CommandContext(t.Context(), binary(t), "rehearse", "--pace", fmt.Sprint(pace), "--self", "--blind", "--process", process,
		"--talk", "few", "--sound", "pulse", "--volume", fmt.Sprint(volume))
	cmd.Env = append(os.Environ(), h.env...)
	var said bytes.Buffer
	cmd.Stderr = &said
	if err := cmd.Run(); err != nil {
		t.Fatalf("wetside rehearse: %v\n%s", err, said.String())
	}
	x, start, hole := l.stop()
	stood = s.stood(said.String(), hole)
	heard := soundtest.Listen(x)
	_, real, ws := lived(t, h, true)
	if pace > 1 {
		// Pips are a second apart in life, and lie in one another and in the call at
		// this pace: TestPipsAreHeardASecondApart, TestPaceOfLife.
		heard = slices.DeleteFunc(heard, func(x soundtest.Heard) bool { return x.Kind == session.CuePip })
		crib = slices.DeleteFunc(crib, func(l cribLine) bool { return l.Kind == string(session.CuePip) })
		ws = slices.DeleteFunc(ws, func(w wanted) bool { return w.cue.Kind == session.CuePip })
	}
	compareWithCrib(t, crib, heard, pace, real(0).Sub(start.Round(0))+inAt(t, h, real))
	asTheDatabase(t, ws, heard, start)
	onsets(t, ws, heard, start)
	return stood
}

// What wetside sounds plays is heard, in the order asked for, and nothing else:
// recorded from the output's monitor by a listener that knows the table of
// motifs alone.
func TestSoundsAreHeardAsNamed(t *testing.T) {
	byEar(t, func(t testing.TB) (stood string) {
		rig := soundtest.NewRig(t)
		h := newHome(t, "PULSE_SERVER="+rig.Server)
		want := []string{"move now", "lift and drain", "call again", "develop begins", "exposure done"}
		l, s := listen(t, rig, 0, false), newStrain(t)
		out, errs, _ := h.told(t, 0, append([]string{"sounds", "--sound", "pulse", "--volume", fmt.Sprint(volume)}, want...)...)
		x, _, hole := l.stop()
		stood = s.stood(errs, hole)
		var got []string
		for _, x := range soundtest.Listen(x) {
			got = append(got, x.Motif)
		}
		if !slices.Equal(got, want) {
			t.Errorf("heard %q, asked for %q; it printed:\n%s%s", got, want, out, errs)
		}
		for _, w := range want {
			if !strings.Contains(out, w) {
				t.Errorf("%q was played and not named:\n%s", w, out)
			}
		}
		return stood
	})
}

// inAt is how long after its begin, in real time, the session's first sheet
// went into its first bath.
func inAt(t testing.TB, h home, real func(time.Duration) time.Time) time.Duration {
	m, _, _ := lived(t, h, true)
	s := m.Numbered(1)
	if s == nil || len(s.Visits) == 0 {
		t.Fatal("the notebook has no sheet that went into a bath")
	}
	return real(s.Visits[0].In).Sub(real(0))
}

// compareWithCrib finds each cue of the crib sheet among what was heard, each
// kind's n-th as its n-th, and each within half a second of its time, of which
// the first counts from zero of the recording.
func compareWithCrib(t testing.TB, crib []cribLine, heard []soundtest.Heard, pace float64, zero time.Duration) {
	t.Helper()
	want, got := map[string][]time.Duration{}, map[string][]time.Duration{}
	n := 0
	for _, l := range crib {
		c := session.Cue{Kind: session.CueKind(l.Kind), Stage: session.Stage(l.Stage), Next: session.Stage(l.Next)}
		if m, ok := sound.MotifFor(c); ok {
			want[m.Name] = append(want[m.Name], zero+time.Duration(l.At/pace*float64(time.Second)))
			n++
		}
	}
	for _, x := range heard {
		got[x.Motif] = append(got[x.Motif], x.At)
	}
	var wrong []string
	var off []time.Duration
	for name, ws := range want {
		gs := got[name]
		if len(gs) != len(ws) {
			wrong = append(wrong, fmt.Sprintf("%s: %d on the crib sheet (%v), %d heard (%v)", name, len(ws), rounded(ws), len(gs), rounded(gs)))
			continue
		}
		for i := range ws {
			d := gs[i] - ws[i]
			off = append(off, d)
			if d.Abs() > 500*time.Millisecond {
				wrong = append(wrong, fmt.Sprintf("%s is heard at %v, by the crib sheet it is at %v", name, rounded(gs[i:i+1]), rounded(ws[i:i+1])))
			}
		}
	}
	for name, gs := range got {
		if len(want[name]) == 0 {
			wrong = append(wrong, fmt.Sprintf("%s: heard at %v, not on the crib sheet", name, rounded(gs)))
		}
	}
	slices.Sort(wrong)
	if len(wrong) > 0 {
		t.Errorf("%s", strings.Join(wrong, "\n"))
	}
	t.Logf("%d cues on the crib sheet, %d heard; against it: %s", n, len(heard), spread(off))
}

func rounded(ds []time.Duration) (out []time.Duration) {
	for _, d := range ds {
		out = append(out, d.Round(time.Millisecond))
	}
	return out
}
