package soundtest_test

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"wetside/session"
	"wetside/sound"
	"wetside/sound/soundtest"
	"wetside/sound/voice"
)

// mix plays the cues with nothing but the mixer.
func mix(cues []soundtest.Want, length time.Duration, volume float64, words func(session.Cue) []float32) []float32 {
	m := sound.NewMixer(volume)
	for i, d := range cues {
		d.Cue.Key = fmt.Sprint(i)
		var w []float32
		if words != nil {
			w = words(d.Cue)
		}
		m.Put(d.Cue, d.At, w)
	}
	out := make([]float32, int(length.Seconds()*sound.Rate))
	for at := 0; at < len(out); at += 960 {
		m.Fill(out[at:min(at+960, len(out))], int64(at), 0)
	}
	return out
}

// addNoise adds white noise db below the root mean square of what sounds.
func addNoise(x []float32, db float64) {
	var sum float64
	n := 0
	for _, v := range x {
		if v != 0 {
			sum += float64(v) * float64(v)
			n++
		}
	}
	amp := math.Sqrt(sum/float64(n)) * math.Pow(10, db/20)
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range x {
		x[i] += float32(amp * rng.NormFloat64())
	}
}

// check wants nothing missing and nothing extra.
func check(t *testing.T, what string, cues []soundtest.Want, heard []soundtest.Heard, within time.Duration) {
	t.Helper()
	m := soundtest.Match(cues, heard, within)
	for _, s := range m.Complain() {
		t.Errorf("%s: %s", what, s)
	}
	t.Logf("%s: %v", what, m)
}

// session1 is what one sheet sounds like, pace times faster than real time.
func session1(sheet string, start time.Duration, pace float64) (cues []soundtest.Want) {
	at := func(sec float64, k session.CueKind, st session.Stage) {
		cues = append(cues, soundtest.Want{Cue: session.Cue{Kind: k, Stage: st, Sheet: sheet}, At: start + time.Duration(sec/pace*float64(time.Second))})
	}
	at(0, session.CueBegin, session.Develop)
	at(1, session.CueRockOn, session.Develop)
	for s := 3.0; s < 170; s += 3 {
		at(s, session.CueRock, session.Develop)
	}
	at(60, session.CueMinutes, session.Develop)
	at(90, session.CueAtLeast, session.Develop)
	at(120, session.CueMinutes, session.Develop)
	at(150, session.CueThirty, session.Develop)
	at(170, session.CueDrain, session.Develop)
	at(180, session.CueMove, session.Develop)
	at(188, session.CueCall, session.Develop)
	at(200, session.CueCall, session.Develop)
	at(205.3, session.CueBegin, session.Stop)
	at(215.3, session.CueMove, session.Stop)
	at(217, session.CueBegin, session.Fix)
	at(227, session.CueBack, session.Stop)
	at(229, session.CueBegin, session.Fix)
	at(259, session.CueThirty, session.Fix)
	at(279, session.CueTen, session.Fix)
	at(289, session.CueMove, session.Fix)
	at(291, session.CueBegin, session.Clear)
	at(321, session.CueRockOff, session.Clear)
	at(351, session.CueMove, session.Clear)
	at(355, session.CueBegin, session.Wash)
	at(385, session.CueAlive, session.Wash)
	at(415, session.CueMinutes, session.Wash)
	at(430, session.CueChange, session.Wash)
	at(445, session.CueAlive, session.Wash)
	at(455, session.CueWashAnew, session.Wash)
	at(475, session.CueMinutes, session.Wash)
	at(490, session.CueDone, session.Wash)
	return cues
}

func TestEachMotifAlone(t *testing.T) {
	var cues []soundtest.Want
	for i, n := range sound.Names() {
		cues = append(cues, soundtest.Want{Cue: n.Cue, At: 300*time.Millisecond + time.Duration(i)*900*time.Millisecond})
	}
	for _, volume := range []float64{1, 0.1} {
		x := mix(cues, cues[len(cues)-1].At+2*time.Second, volume, nil)
		check(t, fmt.Sprintf("volume %g", volume), cues, soundtest.Listen(x), 40*time.Millisecond)
		addNoise(x, -20)
		check(t, fmt.Sprintf("volume %g, noise", volume), cues, soundtest.Listen(x), 40*time.Millisecond)
	}
}

func TestOneSheetAtTwentyTimesItsPace(t *testing.T) {
	cues := session1("1", time.Second, 20)
	x := mix(cues, 27*time.Second, 0.8, nil)
	check(t, "clean", cues, soundtest.Listen(x), 40*time.Millisecond)
	addNoise(x, -20)
	heard := soundtest.Listen(x)
	check(t, "noise", cues, heard, 40*time.Millisecond)

	var got []string
	for _, s := range soundtest.Stages(heard) {
		got = append(got, fmt.Sprintf("%d %s %.0f-%.0f", s.Sheet, s.Stage,
			math.Abs((s.Begin-time.Second).Seconds()*20), (s.End-time.Second).Seconds()*20))
	}
	want := []string{"1 develop 0-205", "1 stop 205-229", "1 fix 229-291", "1 hypo-clear 291-355", "1 wash 355-490"}
	if !slices.Equal(got, want) {
		t.Errorf("stages: %q\nwant %q", got, want)
	}
}

// Two sheets, the second a little later: their motifs overlap in every way but
// with themselves, which the mixer does not let happen.
func TestTwoSheetsOverlapping(t *testing.T) {
	for _, lag := range []time.Duration{1313 * time.Millisecond, 3700 * time.Millisecond, 6030 * time.Millisecond} {
		a := session1("1", time.Second, 20)
		b := session1("2", time.Second+lag, 20)
		cues := append(slices.Clone(a), b...)
		// The soft tick of the second would fall into that of the first.
		cues = slices.DeleteFunc(cues, func(d soundtest.Want) bool { return d.Cue.Sheet == "2" && d.Cue.Kind == session.CueRock })
		x := mix(cues, 36*time.Second, 0.8, nil)
		addNoise(x, -20)
		heard := soundtest.Listen(x)
		check(t, fmt.Sprint("lag ", lag), cues, heard, 500*time.Millisecond)
	}
}

func TestWordsUnderTheMotifs(t *testing.T) {
	v, err := voice.New(voice.Config{})
	if err != nil {
		t.Fatal(err)
	}
	cues := session1("1", time.Second, 6)
	for i := range cues {
		cues[i].Cue.Num, cues[i].Cue.Named = 4, true
		cues[i].Cue.For, cues[i].Cue.Left = 90*time.Second, 2*time.Minute
	}
	words := 0
	x := mix(cues, 84*time.Second, 0.8, func(c session.Cue) []float32 {
		if c.Kind == session.CueRock || c.Kind == session.CueAlive {
			return nil
		}
		w := v.Phrase(c, voice.Full)
		words += len(w)
		return w
	})
	if words == 0 {
		t.Fatal("the voice says nothing: this test would prove nothing")
	}
	check(t, "with words", cues, soundtest.Listen(x), 40*time.Millisecond)
	addNoise(x, -20)
	check(t, "with words and noise", cues, soundtest.Listen(x), 40*time.Millisecond)
}

// Words are not taken for motifs: a minute and a half of announcements one
// after another, with their motifs taken away, and one motif now and then that
// tells how loud the program is.
func TestWordsAreNotTakenForMotifs(t *testing.T) {
	v, err := voice.New(voice.Config{})
	if err != nil {
		t.Fatal(err)
	}
	var cues []soundtest.Want
	spoken := map[string][]float32{}
	at := 500 * time.Millisecond
	for i, n := range sound.Names() {
		for num := range 2 {
			c := n.Cue
			c.Num, c.Named, c.Next, c.N = i%9+num+1, true, session.Stages[i%len(session.Stages)], i
			c.For, c.Left, c.Over = time.Duration(i+1)*17*time.Second, time.Duration(i+num+1)*time.Minute, time.Duration(i)*time.Minute
			w := v.Phrase(c, voice.Full)
			if len(w) == 0 {
				continue
			}
			key := fmt.Sprint(len(cues))
			spoken[key] = w
			cues = append(cues, soundtest.Want{Cue: session.Cue{Kind: session.CueSay, Sheet: key}, At: at})
			at += time.Duration(len(w))*time.Second/sound.Rate + 200*time.Millisecond
		}
	}
	if len(spoken) < 30 {
		t.Fatalf("only %d announcements", len(spoken))
	}
	for k := time.Second; k < at; k += 9 * time.Second {
		cues = append(cues, soundtest.Want{Cue: session.Cue{Kind: session.CueTen}, At: k})
	}
	slices.SortStableFunc(cues, func(a, b soundtest.Want) int { return int(a.At - b.At) })
	for _, volume := range []float64{0.8, 0.3} {
		x := mix(cues, at+time.Second, volume, func(c session.Cue) []float32 { return spoken[c.Sheet] })
		check(t, fmt.Sprintf("%d announcements in %v", len(spoken), at.Round(time.Second)), cues, soundtest.Listen(x), 40*time.Millisecond)
	}
}

func TestNothingIsHeardInNoiseAlone(t *testing.T) {
	x := make([]float32, 20*sound.Rate)
	rng := rand.New(rand.NewPCG(3, 4))
	for i := range x {
		x[i] = float32(0.1 * rng.NormFloat64())
	}
	if h := soundtest.Listen(x); len(h) != 0 {
		t.Errorf("in noise: %+v", h)
	}
	if h := soundtest.Listen(make([]float32, sound.Rate)); len(h) != 0 {
		t.Errorf("in silence: %+v", h)
	}
}

func TestReadingARecording(t *testing.T) {
	pcm := []int16{0, 16384, -32768, 32767}
	var b bytes.Buffer
	b.WriteString("RIFF\x00\x00\x00\x00WAVEfmt \x10\x00\x00\x00")
	for _, v := range []any{uint16(1), uint16(1), uint32(48000), uint32(96000), uint16(2), uint16(16)} {
		_ = binary.Write(&b, binary.LittleEndian, v)
	}
	b.WriteString("data\xff\xff\xff\x7f") // the size a stopped recorder leaves
	_ = binary.Write(&b, binary.LittleEndian, pcm)
	x, err := soundtest.WAV(&b)
	if err != nil || !slices.Equal(x, []float32{0, 0.5, -1, 32767.0 / 32768}) {
		t.Errorf("%v, %v", x, err)
	}
	if _, err := soundtest.WAV(bytes.NewReader([]byte("RIFFxxxxWAVEdata"))); err == nil {
		t.Error("a file without format was read")
	}
}
