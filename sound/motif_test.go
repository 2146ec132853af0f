package sound

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/dsp/fourier"

	"wetside/session"
	"wetside/sound/voice"
)

// The weights of IEC 61672-1, table 3 (A, nominal frequencies; from memory).
func TestAWeightAgainstTheStandardsTable(t *testing.T) {
	for hz, want := range map[float64]float64{
		31.5: -39.4, 63: -26.2, 125: -16.1, 250: -8.6, 400: -4.8, 500: -3.2, 630: -1.9, 800: -0.8,
		1000: 0, 1250: 0.6, 1600: 1.0, 2000: 1.2, 2500: 1.3, 3150: 1.2, 4000: 1.0, 8000: -1.1,
	} {
		// The table's frequencies are rounded: 31.5 stands for 31.62.
		exact := 1000 * math.Pow(10, math.Round(10*math.Log10(hz/1000))/10)
		if got := aWeight(exact); math.Abs(got-want) > 0.06 {
			t.Errorf("A(%g Hz) = %.2f dB, want %.1f", hz, got, want)
		}
	}
}

// heardLevel measures a motif's samples as a sound level meter would: weighted
// in the spectrum, then the greatest of the mean with time weighting F.
func heardLevel(x []float32) float64 {
	n := 1 << 17
	in := make([]float64, n)
	for i, v := range x {
		in[i] = float64(v)
	}
	fft := fourier.NewFFT(n)
	c := fft.Coefficients(nil, in)
	for i := range c {
		f := fft.Freq(i) * Rate
		// IEC 61672-1 again, written out differently on purpose: poles at
		// 20.6 Hz (twice), 107.7, 737.9 and 12194 Hz (twice).
		h := 1.0
		if f == 0 {
			h = 0
		} else {
			h = f * f / (f*f + 20.598997*20.598997) * f / math.Hypot(f, 107.65265) * f / math.Hypot(f, 737.86223) *
				(12194.217 * 12194.217) / (f*f + 12194.217*12194.217) * math.Pow(10, 2.000/20)
		}
		c[i] *= complex(h, 0)
	}
	y := fft.Sequence(nil, c)
	keep := math.Exp(-1 / (0.125 * Rate))
	var mean, most float64
	for _, v := range y {
		v /= float64(n)
		mean = keep*mean + (1-keep)*v*v
		most = max(most, mean)
	}
	return 10 * math.Log10(most)
}

func TestMotifsAreEquallyLoud(t *testing.T) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, m := range motifs {
		l := heardLevel(m.render())
		if m.Soft { // below
			continue
		}
		lo, hi = min(lo, l), max(hi, l)
	}
	t.Logf("A-weighted, F, maximum: %.2f to %.2f dB re full scale", lo, hi)
	if hi-lo > 3 {
		t.Errorf("the motifs differ by %.1f dB, more than 3", hi-lo)
	}
	for _, m := range motifs {
		if !m.Soft {
			continue
		}
		if l := heardLevel(m.render()); l > lo-6 || l < lo-12 {
			t.Errorf("%s is meant to be soft: %.1f dB, the others from %.1f on", m.Name, l, lo)
		}
	}
}

func TestMotifsKeepTheirRules(t *testing.T) {
	owner := map[float64]string{}
	shapes := map[string]string{}
	for _, m := range motifs {
		if l := m.Len(); l > 1200*time.Millisecond || l <= 0 {
			t.Errorf("%s lasts %v", m.Name, l)
		}
		for _, n := range m.Notes {
			if k := (n.Hz - GridLow) / GridStep; n.Hz < GridLow || n.Hz > GridHigh || k != math.Round(k) {
				t.Errorf("%s: %g Hz is no place of the grid. %s", m.Name, n.Hz, free())
			}
			if n.Len < attack+release {
				t.Errorf("%s: a note of %v is shorter than its edges", m.Name, n.Len)
			}
		}
		for _, f := range m.Frequencies() {
			if o := owner[f]; o != "" {
				t.Errorf("%g Hz belongs to %s and to %s. %s", f, o, m.Name, free())
			}
			owner[f] = m.Name
		}
		peak := float32(0)
		x := m.render()
		for _, v := range x {
			peak = max(peak, v, -v)
		}
		if peak > 0.5 {
			t.Errorf("%s peaks at %.2f", m.Name, peak)
		}
		// Attacks are soft: nothing in the first milliseconds.
		for i := range samples(time.Millisecond) {
			if v := x[i]; v > peak*0.03 || v < -peak*0.03 {
				t.Errorf("%s begins with %g of its peak within 1 ms", m.Name, v/peak)
				break
			}
		}
		shape := shapeOf(m)
		if o := shapes[shape]; o != "" {
			t.Errorf("%s and %s have the same contour and rhythm", o, m.Name)
		}
		shapes[shape] = m.Name
	}
}

// free tells which places of the grid no motif has taken.
func free() string {
	taken := map[float64]bool{}
	for _, m := range motifs {
		for _, f := range m.Frequencies() {
			taken[f] = true
		}
	}
	var out []string
	for hz := float64(GridLow); hz <= GridHigh; hz += GridStep {
		if !taken[hz] {
			out = append(out, fmt.Sprint(hz))
		}
	}
	return "Free places, in Hz: " + strings.Join(out, ", ")
}

// The grid tells neighbours apart in a window of 64 ms, and has room: a new cue
// or stage takes two places at most.
func TestTheGridHasRoom(t *testing.T) {
	if GridStep < 33 {
		t.Errorf("places %d Hz apart are too near for a window of 64 ms", GridStep)
	}
	if n := strings.Count(free(), ",") - 1; n < 4 {
		t.Errorf("%d places are free, too few for two motifs more: widen the grid, and see that the listener's tests follow. %s", n, free())
	}
	t.Log(free())
}

// What each motif means, and how it sounds, written down once more: whoever
// learned them has learned this table. Its notes are frequency, begin and
// length in ms.
func TestWhichMotifMeansWhat(t *testing.T) {
	type meaning struct {
		kinds             []session.CueKind
		stage             session.Stage
		name, says, notes string
	}
	table := []meaning{
		{kinds(session.CueLightOn), "", "exposure begins", "the pinhole is open, the exposure runs", "435 0+110, 575 130+230"},
		{kinds(session.CueBegin), session.Develop, "develop begins", "the sheet is in: develop", "505 0+70, 505 130+70, 680 220+180"},
		{kinds(session.CueBegin), session.Stop, "stop begins", "the sheet is in: stop", "610 0+200, 820 220+70"},
		{kinds(session.CueBegin), session.Fix, "fix begins", "the sheet is in: fix", "715 0+120, 960 140+70, 960 270+110"},
		{kinds(session.CueBegin), session.Fix2, "second fix begins", "the sheet is in: second fix", "785 0+60, 1065 80+60, 785 160+60, 1065 240+160"},
		{kinds(session.CueBegin), session.Rinse, "rinse begins", "the sheet is in: rinse", "890 0+50, 1205 60+200"},
		{kinds(session.CueBegin), session.Clear, "hypo-clear begins", "the sheet is in: hypo-clear", "1030 0+160, 1380 180+60, 1380 300+60"},
		{kinds(session.CueBegin), session.Hold, "hold begins", "the sheet is in: hold", "1135 0+200, 1520 220+200"},
		{kinds(session.CueBegin), session.Wash, "wash begins", "the sheet is in: wash", "1275 0+60, 1275 120+60, 1695 190+60, 1695 310+130"},
		{kinds(session.CueRockOn), "", "agitate", "rock the tray", "645 0+90, 925 110+90, 645 220+90"},
		{kinds(session.CueRock), "", "rock", "one soft tick at the rhythm of rocking", "2360 0+45, 2465 0+45"},
		{kinds(session.CueRockOff), "", "agitation off", "let the sheet rest", "995 0+90, 750 110+220"},
		{kinds(session.CueTen), "", "ten seconds left", "ten seconds to the end of this bath or exposure", "1590 0+50, 1590 110+50, 1590 220+50"},
		{kinds(session.CueAtLeast), "", "may be judged", "the least time is over: judge the sheet by eye", "1240 0+120, 1660 0+120, 1240 200+120, 1660 200+120"},
		{kinds(session.CueDrain), "", "lift and drain", "lift the sheet and let it drip", "1940 0+130, 1450 150+240"},
		{kinds(session.CueMove), "", "move now", "the time is over: move the sheet on", "1415 0+60, 1905 80+100, 1415 240+60, 1905 320+100"},
		{kinds(session.CueCall), "", "call again", "the sheet still waits to be moved", "1800 0+50, 2255 60+50, 1800 120+50, 2255 180+50, 1800 240+50"},
		{kinds(session.CueBack), "", "move taken back", "the last move was taken back", "1310 0+60, 540 70+80, 540 210+120"},
		{kinds(session.CueDone, session.CueSpoiled), "", "sheet done", "the sheet is finished (or given up)", "470 0+120, 1170 140+120, 2010 280+300"},
		{kinds(session.CueWashAnew), "", "wash begins again", "an unwashed sheet came into the water: the wash counts anew", "1870 0+80, 1485 100+80, 1870 200+160"},
		{kinds(session.CueChange), "", "change the water", "change the wash water", "1765 0+40, 2185 50+40, 1765 180+40, 2185 230+40"},
		{kinds(session.CueAlive), "", "alive", "nothing to do, the clock runs", "855 0+60, 2430 0+60, 855 150+60, 2430 150+60"},
		{kinds(session.CueLightOff), "", "exposure done", "cover the pinhole", "2395 0+70, 2080 90+70, 2395 180+70, 2080 270+250"},
		{kinds(session.CueCovered), "", "pinhole covered", "the exposure stands still", "2150 0+60, 1625 70+120"},
		{kinds(session.CueUncovered), "", "pinhole open", "the exposure goes on", "1555 0+60, 2115 70+120"},
		{kinds(session.CueMayGoIn), "", "may go in", "the next sheet may go into the first bath", "1100 0+300, 1730 150+150"},
		{kinds(session.CueError, session.CueSafeAll, session.CueBathSpent), "", "error", "something is wrong: the screen says what (safe time used up, bath spent, error)", "1835 0+70, 1345 90+70, 1345 220+70, 1345 350+70"},
		{kinds(session.CuePip), "", "pip", "three, two, one: then move, or cover the pinhole", "2535 0+70, 2710 0+70"},
		{kinds(session.CueTaken), "", "key taken", "a key was taken", "2570 0+35, 2675 0+35"},
		{kinds(session.CueIdle), "", "key does nothing", "a key does nothing here", "2500 0+45, 2745 0+45, 2500 110+45, 2745 110+45"},
		{kinds(session.CueHello), "", "hello", "the program has begun, and this is how loud it is", "400 0+160, 2605 180+160"},
		{kinds(session.CueMinutes), "", "minutes left", "a whole number of minutes is left", "1975 0+100, 1975 180+50"},
		{kinds(session.CueThirty), "", "thirty seconds left", "thirty seconds left", "2045 0+40, 2045 110+40, 2045 220+100"},
		{kinds(session.CueOver), "", "over by", "another minute over time", "2220 0+100, 2220 180+100"},
		{kinds(session.CueHalf, session.CueSafeHalf), "", "half-way", "half of the exposure, or of the safe time, is over", "2290 0+160, 2290 240+50"},
		{kinds(session.CueSeen, session.CueRelight, session.CueConflict, session.CueBathHigh), "", "word of change", "something changed ahead: image seen, light changed, two sheets at once, bath nearly spent", "2325 0+70, 2325 150+160"},
	}
	told := map[string]bool{}
	for _, x := range table {
		for _, k := range x.kinds {
			m, ok := MotifFor(session.Cue{Kind: k, Stage: x.stage})
			if !ok {
				t.Errorf("%s has no motif", k)
				continue
			}
			told[m.Name] = true
			var notes []string
			for _, n := range m.Notes {
				notes = append(notes, fmt.Sprintf("%g %d+%d", n.Hz, n.At.Milliseconds(), n.Len.Milliseconds()))
			}
			if got := strings.Join(notes, ", "); m.Name != x.name || m.Says != x.says || got != x.notes {
				t.Errorf("%s %s is %q (%s), %s;\nit was learned as %q (%s), %s", k, x.stage, m.Name, m.Says, got, x.name, x.says, x.notes)
			}
		}
	}
	for _, m := range motifs {
		if !told[m.Name] {
			t.Errorf("the motif %q is not in the table: write down here what it means and how it sounds", m.Name)
		}
	}
	for _, f := range session.CueFacts {
		if !f.Spoken && !slices.ContainsFunc(table, func(x meaning) bool { return slices.Contains(x.kinds, f.Kind) }) {
			t.Errorf("the cue %q is not in the table: write down here which motif it has", f.Kind)
		}
	}
}

// shapeOf writes down a motif's contour and rhythm without its register: which
// note is higher than which, and their times in units of 20 ms.
func shapeOf(m Motif) string {
	fs := m.Frequencies()
	var b strings.Builder
	for _, n := range m.Notes {
		i, _ := slices.BinarySearch(fs, n.Hz)
		b.WriteString(strings.Join([]string{string(rune('a' + i)), string(rune('0' + n.At/(20*time.Millisecond))), string(rune('0' + n.Len/(20*time.Millisecond))), " "}, ""))
	}
	return b.String()
}

func TestStageMotifsClimb(t *testing.T) {
	low, high := 0.0, 0.0
	for _, s := range session.Stages {
		m, ok := MotifFor(session.Cue{Kind: session.CueBegin, Stage: s})
		if !ok {
			t.Fatalf("%s has no motif", s)
		}
		fs := m.Frequencies()
		if fs[0] <= low || fs[len(fs)-1] <= high {
			t.Errorf("%s (%v Hz) does not lie above the stage before (%g, %g)", s, fs, low, high)
		}
		if m.Notes[0].Hz != fs[0] {
			t.Errorf("%s does not rise", s)
		}
		low, high = fs[0], fs[len(fs)-1]
	}
}

// Every cue and every stage has a motif, and every motif tells what it means.
func TestEveryCueHasItsSound(t *testing.T) {
	for _, f := range session.CueFacts {
		_, ok := MotifFor(f.Example)
		if f.Spoken && ok {
			t.Errorf("%s: what is only spoken has a motif", f.Kind)
		}
		if !f.Spoken && !ok {
			t.Errorf("the cue %q has no motif: add its kind to one in motifs, or a new one. %s", f.Kind, free())
		}
	}
	for _, s := range session.Stages {
		if _, ok := MotifFor(session.Cue{Kind: session.CueBegin, Stage: s}); !ok {
			t.Errorf("the begin of the stage %q has no motif: add one to motifs, between those of the stages beside it. %s", s, free())
		}
	}
	names := Names()
	if len(names) != len(motifs) {
		t.Errorf("%d names for %d motifs", len(names), len(motifs))
	}
	for i, n := range names {
		if n.Name == "" || n.Says == "" {
			t.Errorf("the motif of %q has no name, or does not say what it means: %q, %q", n.Cue.Kind, n.Name, n.Says)
		}
		if m, ok := MotifFor(n.Cue); !ok || m.Name != n.Name || motifs[i].Name != n.Name {
			t.Errorf("%q plays %q", n.Name, m.Name)
		}
	}
}

// What is spoken is as loud as a motif, as the mixer plays both.
func TestTheVoiceIsAsLoudAsTheMotifs(t *testing.T) {
	v, err := voice.New(voice.Config{})
	if err != nil {
		t.Fatal(err)
	}
	motif := heardLevel(motifs[motifIndex(session.Cue{Kind: session.CueMove})].render())
	for _, c := range []session.Cue{
		{Kind: session.CueMove, Next: session.Stop}, {Kind: session.CueMove, Next: session.Wash}, {Kind: session.CueMove, Next: session.Fix, Num: 5, Named: true},
		{Kind: session.CueBegin, Stage: session.Rinse}, {Kind: session.CueDrain}, {Kind: session.CueTen, Left: 10 * time.Second}, {Kind: session.CueLightOff},
	} {
		w := v.Phrase(c, Normal)
		m := NewMixer(1)
		m.Put(session.Cue{Kind: session.CueSay}, 0, w)
		out := make([]float32, len(w)+Rate/5)
		m.Fill(out, 0, 0)
		if l := heardLevel(out); l < motif-2 || l > motif+2 {
			t.Errorf("%s: %.1f dB, a motif %.1f dB re full scale (A-weighted, F, maximum)", voice.Words(c, Normal), l, motif)
		}
	}
}
