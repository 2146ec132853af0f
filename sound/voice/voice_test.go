package voice

import (
	"bytes"
	"encoding/binary"
	"errors"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"pgregory.net/rapid"

	"wetside/session"
	"wetside/session/say"
	"wetside/session/sessiontest"
	"wetside/session/words"
)

func pow10(x float64) float64 { return math.Pow(10, x) }

var levels = []Talk{Few, Normal, Full}

func mustVoice(t testing.TB, cfg Config) *Voice {
	t.Helper()
	v, err := New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestWhatIsSaid(t *testing.T) {
	const s, m = time.Second, time.Minute
	for _, c := range []struct {
		cue               session.Cue
		few, normal, full string
	}{
		{session.Cue{Kind: session.CueBegin, Num: 4, Named: true, Among: true, Stage: session.Develop, For: 90 * s},
			"four in the developer", "four in the developer", "four in the developer one minute thirty"},
		{session.Cue{Kind: session.CueBegin, Num: 4, Named: true, Stage: session.Develop, For: 90 * s},
			"four in the developer", "four in the developer one minute thirty", "four in the developer one minute thirty"},
		{session.Cue{Kind: session.CueBegin, Num: 4, Stage: session.Fix, For: 5 * m},
			"in the fixer", "in the fixer five minutes", "four in the fixer five minutes"},
		{session.Cue{Kind: session.CueBegin, Stage: session.Fix, Label: "fixer of the hat box", For: 5 * m},
			"into the fixer", "into the fixer five minutes", "into the fixer five minutes"},
		{session.Cue{Kind: session.CueRockOn, Num: 1}, "", "", "one agitate"},
		{session.Cue{Kind: session.CueRockOn, Num: 2, Named: true}, "two agitate", "two agitate", "two agitate"},
		{session.Cue{Kind: session.CueRock, Num: 1, Named: true}, "", "", ""},
		{session.Cue{Kind: session.CueAlive, Num: 1, Named: true}, "", "", ""},
		{session.Cue{Kind: session.CuePip, Num: 1, N: 3}, "", "", ""},
		{session.Cue{Kind: session.CuePip, N: 3, Led: true}, "three", "three", "three"},
		{session.Cue{Kind: session.CueMinutes, Left: 2 * m}, "", "two minutes left", "two minutes left"},
		{session.Cue{Kind: session.CueTen, Left: 10 * s}, "", "ten seconds left", "ten seconds left"},
		{session.Cue{Kind: session.CueDrain, For: 10 * s}, "lift and drain", "lift and drain", "lift and drain ten seconds"},
		{session.Cue{Kind: session.CueMove, Next: session.Stop}, "stop bath now", "stop bath now", "stop bath now"},
		{session.Cue{Kind: session.CueMove, Num: 2, Named: true, Next: session.Stop}, "two stop bath now", "two stop bath now", "two stop bath now"},
		{session.Cue{Kind: session.CueMove}, "take it out now", "take it out now", "take it out now"},
		{session.Cue{Kind: session.CueMove, Nums: say.Num(2) | say.Num(5), Named: true}, "two five take it out now", "two five take it out now", "two five take it out now"},
		{session.Cue{Kind: session.CueCall, Next: session.Wash, Over: 75 * s}, "wash now",
			"wash now overdue by one minute", "wash now overdue by one minute fifteen"},
		{session.Cue{Kind: session.CueCall, Stage: session.Exposure, Over: 75 * s}, "cover the pinhole",
			"cover the pinhole overdue by one minute", "cover the pinhole overdue by one minute fifteen"},
		{session.Cue{Kind: session.CueMayGoIn, Num: 3, Named: true}, "three may go in now", "three may go in now", "three may go in now"},
		{session.Cue{Kind: session.CueBathSpent, Stage: session.Fix}, "the fixer is spent", "the fixer is spent", "the fixer is spent"},
		{session.Cue{Kind: session.CueBathHigh, Label: "no sheet's"}, "", "the bath is nearly spent", "the bath is nearly spent"},
	} {
		for i, want := range []string{c.few, c.normal, c.full} {
			if got := heard(script(c.cue, levels[i], none)...); got != want {
				t.Errorf("%s, %v: says %q, want %q", c.cue.Kind, levels[i], got, want)
			}
		}
	}
}

// Every cue at every level is said in clips that are there, an urgent one
// always, and more is said at a fuller level. With several sheets, whatever has
// a sound of its own carries the sheet's number at every level.
func TestEveryCueIsInTheVocabulary(t *testing.T) {
	for _, f := range session.CueFacts {
		if said := len(Lines(f.Example, Full)) > 0; said == f.Ticks {
			t.Errorf("the cue %q has words: %v; give it some in line, or say in session.CueFacts that it only ticks", f.Kind, said)
		}
	}
	for _, c := range storyCues() {
		before := 0
		for _, talk := range levels {
			w := script(c, talk, none)
			for _, token := range w {
				if _, pause := pauses[token]; !pause && !Known(token) {
					t.Errorf("%s, %v: no clip %q", c.Kind, talk, token)
				}
			}
			if c.Urgent() && len(w) == 0 {
				t.Errorf("%s, %v: urgent, and nothing is said", c.Kind, talk)
			}
			if c.Named && !c.Ticks() && c.Lines == nil && (len(w) == 0 || w[0] != say.Numeral(c.Numbers().All()[0])[0]) {
				t.Errorf("%s, %v: with several sheets it says %q, and not whose it is", c.Kind, talk, w)
			}
			if len(w) < before {
				t.Errorf("%s: %v says less than the level under it: %q", c.Kind, talk, w)
			}
			before = len(w)
		}
	}
}

// A time in words, read again, is the time.
// ones and tens are the words that numbers are made of.
var ones, tens = func() (ones, tens []string) {
	for i := range 20 {
		ones = append(ones, words.Cardinal(i)...)
	}
	tens = []string{"-", "-"}
	for i := 20; i < 100; i += 10 {
		tens = append(tens, words.Cardinal(i)...)
	}
	return ones, tens
}()

func TestTimeInWords(t *testing.T) {
	value := map[string]int{"hundred": 100}
	for i, w := range ones {
		value[w] = i
	}
	for i, w := range tens {
		value[w] = 10 * i
	}
	rapid.Check(t, func(t *rapid.T) {
		secs := rapid.IntRange(0, 99*3600).Draw(t, "seconds")
		sum, n := 0, 0
		minutes := false
		for _, w := range strings.Fields(strings.Join(say.Overdue.Of(say.Left(time.Duration(secs)*time.Second)).Clips(none), " ")) {
			switch strings.TrimSuffix(w, "s") {
			case "hour":
				sum, n = sum+3600*n, 0
			case "minute":
				sum, n, minutes = sum+60*n, 0, true
			case "second":
				sum, n = sum+n, 0
			default:
				n += value[w]
			}
		}
		if minutes {
			sum += n
		}
		want := secs
		if want >= 3600 {
			want = (want + 59) / 60 * 60 // what runs is rounded up
		}
		if sum != want {
			t.Fatalf("%d s is said as %v", secs, say.Overdue.Of(say.Left(time.Duration(secs)*time.Second)).Clips(none))
		}
	})
}

func TestClips(t *testing.T) {
	v := mustVoice(t, Config{})
	t.Logf("%d clips", len(Vocabulary()))
	for _, name := range Vocabulary() {
		s := v.clip(name)
		if d := float64(len(s)) / Rate; d < 0.15 || d > 3.5 {
			t.Errorf("%q lasts %.2f s", name, d)
		}
		top := 0.0
		for _, x := range s {
			top = max(top, math.Abs(float64(x)))
		}
		if top > Peak || top < 0.2 {
			t.Errorf("%q: peak %.2f", name, top)
		}
		// Silence trimmed: within 60 ms of either end something is heard.
		const edge = Rate * 60 / 1000
		for _, end := range [][]float32{s[:edge], s[len(s)-edge:]} {
			sum := 0.0
			for _, x := range end {
				sum += float64(x) * float64(x)
			}
			if db := 10 * math.Log10(sum/edge+1e-12); db < -75 {
				t.Errorf("%q: silence left at an end (%.0f dBFS)", name, db)
			}
		}
		// Both ends at nothing, so that a join cannot click.
		if a, b := math.Abs(float64(s[0])), math.Abs(float64(s[len(s)-1])); a > 0.004 || b > 0.004 {
			t.Errorf("%q begins at %.4f and ends at %.4f", name, a, b)
		}
	}
}

// At no join does the sound jump by more than clips do inside.
func TestJoinsDoNotClick(t *testing.T) {
	v := mustVoice(t, Config{})
	for _, l := range lines(true) {
		s := l.Clips(none)
		out := v.Say(s)
		if len(out) == 0 {
			t.Fatalf("%q is silent", s)
		}
		at := 0
		var lastClip bool
		pause := 0
		for _, k := range s {
			if p, ok := pauses[k]; ok {
				pause = max(pause, p)
				continue
			}
			n := len(v.clip(k))
			if lastClip {
				gap := max(pause, joint)
				for i := at - 2; i <= at+gap+2; i++ {
					if jump := math.Abs(float64(out[i] - out[i-1])); jump > 0.01 {
						t.Fatalf("%q: a jump of %.3f before %q", s, jump, k)
					}
				}
				at += gap
			}
			at += n
			lastClip, pause = true, 0
		}
		if at != len(out) {
			t.Fatalf("%q: %d samples, want %d", s, len(out), at)
		}
	}
}

func TestSameCueSameSamples(t *testing.T) {
	c := session.Cue{Kind: session.CueSeen, Num: 12, Named: true, Left: 83 * time.Second}
	a, b := mustVoice(t, Config{}), mustVoice(t, Config{})
	if !reflect.DeepEqual(a.Phrase(c, Full), b.Phrase(c, Full)) || !reflect.DeepEqual(a.Phrase(c, Full), a.Phrase(c, Full)) {
		t.Error("the same cue gave two sounds")
	}
}

// tone is a 16-bit WAV of a 440 Hz tone with silence before and after.
func tone(rate, channels int, amp float64) []byte {
	n := rate
	var b bytes.Buffer
	le := func(v any) { _ = binary.Write(&b, binary.LittleEndian, v) }
	b.WriteString("RIFF")
	le(uint32(36 + 2*n*channels))
	b.WriteString("WAVEfmt ")
	le(uint32(16))
	le([]uint16{1, uint16(channels)})
	le([]uint32{uint32(rate), uint32(rate * channels * 2)})
	le([]uint16{uint16(2 * channels), 16})
	b.WriteString("data")
	le(uint32(2 * n * channels))
	for i := range n {
		x := 0.0
		if i > n/4 && i < n*3/4 {
			x = amp * math.Sin(2*math.Pi*440*float64(i)/float64(rate))
		}
		for range channels {
			le(int16(x * 32767))
		}
	}
	return b.Bytes()
}

func TestTheUsersOwnVoice(t *testing.T) {
	user := fstest.MapFS{
		"Tea_Caddy.wav": {Data: tone(44100, 2, 0.1)},
		"rinse.WAV":     {Data: tone(8000, 1, 0.9)},
		"notes.txt":     {Data: []byte("no sound")},
		"broken.wav":    {Data: []byte("RIFFxxxxWAVE")},
		"quiet.wav":     {Data: tone(22050, 1, 0)},
	}
	asked := map[string]int{}
	v, err := New(Config{User: user, Say: func(s string) ([]float32, error) {
		asked[s]++
		if s == "hat box" {
			return slices.Repeat([]float32{0.5, -0.5}, Rate/4), nil
		}
		return nil, errors.New("no")
	}})
	if v == nil || err == nil || !strings.Contains(err.Error(), "voices/broken.wav") || !strings.Contains(err.Error(), "voices/quiet.wav") {
		t.Fatalf("a voice and both faults were due, got %v and %v", v, err)
	}
	caddy := v.clip("tea caddy")
	if d := float64(len(caddy)) / Rate; d < 0.49 || d > 0.55 {
		t.Errorf("half a second of tone was left to %.3f s", d)
	}
	if got := mustVoice(t, Config{}).clip("rinse"); slices.Equal(got, v.clip("rinse")) {
		t.Error("the user's recording did not take the clip's place")
	}
	cue := func(label string) session.Cue {
		return session.Cue{Kind: session.CueBegin, Stage: session.Wash, Label: label}
	}
	for label, want := range map[string][]string{
		"tea caddy":   {"into", "tea caddy"}, // recorded
		"hat box":     {"into", "hat box"},   // the system's voice
		"biscuit tin": {"into", "the wash"},  // nobody can: the bath stands for it
		"second fix":  {"into", "the wash"},  // no clip takes a name's place
	} {
		if got := v.Phrase(cue(label), Few); !slices.Equal(got, v.Say(want)) {
			t.Errorf("stage %q is not said as %q", label, want)
		}
	}
	if asked["biscuit tin"] != 1 || asked["hat box"] != 1 {
		t.Errorf("the system's voice was asked %v, want each name once", asked)
	}
	for _, s := range [][]float32{caddy, v.clip("hat box")} {
		for _, x := range s {
			if math.Abs(float64(x)) > Peak {
				t.Fatalf("a sample of %.2f", x)
			}
		}
	}
}

// A tone keeps its pitch and size through a change of rate, and what the lower
// rate cannot hold is gone.
func TestResample(t *testing.T) {
	for _, c := range []struct {
		from, to int
		hz, want float64
	}{{16000, Rate, 1000, 1}, {44100, Rate, 3000, 1}, {22050, Rate, 8000, 1}, {8000, Rate, 300, 1}, {Rate, 16000, 1000, 1}, {Rate, 16000, 9000, 0}, {96000, Rate, 30000, 0}} {
		in := make([]float32, c.from)
		for i := range in {
			in[i] = float32(math.Sin(2 * math.Pi * c.hz * float64(i) / float64(c.from)))
		}
		out := resample(in, c.from, c.to)
		if len(out) != c.to {
			t.Errorf("%d to %d: a second has %d samples", c.from, c.to, len(out))
		}
		worst := 0.0
		for i := c.to / 4; i < c.to*3/4; i++ {
			want := c.want * math.Sin(2*math.Pi*c.hz*float64(i)/float64(c.to))
			worst = max(worst, math.Abs(float64(out[i])-want))
		}
		if worst > 0.001 {
			t.Errorf("%d to %d at %.0f Hz: off by %.5f", c.from, c.to, c.hz, worst)
		}
	}
}

func FuzzWAV(f *testing.F) {
	f.Add(tone(8000, 2, 0.5)[:400])
	f.Add([]byte("RIFF\x00\x00\x00\x00WAVEfmt \x10\x00\x00\x00"))
	f.Fuzz(func(t *testing.T, b []byte) {
		if s, rate, err := decodeWAV(b); err == nil && (rate < 4000 || len(s) > len(b)) {
			t.Fatalf("%d samples at %d Hz of %d bytes", len(s), rate, len(b))
		}
	})
}

func TestSystemVoice(t *testing.T) {
	if SystemVoice(Host{}) != nil || SystemVoice(Host{Find: func(string) (string, error) { return "", exec.ErrNotFound }}) != nil {
		t.Error("a voice out of nothing")
	}
	path := sessiontest.Need(t, "espeak-ng")[0]
	say := SystemVoice(Host{Find: func(name string) (string, error) {
		if name == "espeak-ng" {
			return path, nil
		}
		return "", exec.ErrNotFound
	}})
	s, err := say("tea caddy; $(rm -r x) --help")
	if err != nil {
		t.Fatal(err)
	}
	if d := float64(len(s)) / Rate; d < 0.5 || d > 10 || len(fit(s)) == 0 {
		t.Errorf("%.1f s were spoken", d)
	}
	if _, err := say(" - "); err == nil {
		t.Error("there was nothing to say")
	}
}

// A voice that hangs, or talks nonsense, is an error and no more.
func TestSystemVoiceThatFails(t *testing.T) {
	if runtime.GOOS == "windows" {
		sessiontest.Skip(t, "no shell scripts", "run it on Linux or macOS")
	}
	for name, script := range map[string]string{
		"nonsense": "#!/bin/sh\necho hello\n",
		"fails":    "#!/bin/sh\nexit 3\n",
		"hangs":    "#!/bin/sh\nsleep 60\n",
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := filepath.Join(t.TempDir(), "espeak-ng")
			if err := os.WriteFile(p, []byte(script), 0o755); err != nil {
				t.Fatal(err)
			}
			if s, err := SystemVoice(Host{Find: func(string) (string, error) { return p, nil }})("tin"); err == nil {
				t.Errorf("%d samples and no error", len(s))
			}
		})
	}
}

func BenchmarkFirstPhrase(b *testing.B) {
	c := session.Cue{Kind: session.CueBegin, Num: 4, Named: true, Stage: session.Develop, For: 90 * time.Second}
	for b.Loop() {
		v := mustVoice(b, Config{})
		v.Phrase(c, Normal)
	}
}
