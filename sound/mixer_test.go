package sound

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"wetside/session"
)

// play runs a mixer over the time, in blocks of the sizes given in turn.
func play(m *Mixer, length time.Duration, zero time.Duration, blocks ...int) []float32 {
	out := make([]float32, samples(length))
	for at, i := 0, 0; at < len(out); i++ {
		n := min(blocks[i%len(blocks)], len(out)-at)
		m.Fill(out[at:at+n], int64(at), zero)
		at += n
	}
	return out
}

func cueItem(k session.CueKind, key string, due time.Duration) item {
	c := session.Cue{Key: key, Kind: k, Sheet: "s"}
	return item{cue: c, due: due, motif: motifIndex(c), said: true}
}

// words is a voice that is easy to find: a square wave of 0.5 and of a length, in
// pieces of half a second.
func words(l time.Duration) []float32 {
	v := make([]float32, samples(l))
	for i := range v {
		if i%(Rate/2) > Rate/2-samples(20*time.Millisecond) {
			continue
		}
		v[i] = 0.5
		if i/100%2 == 1 {
			v[i] = -0.5
		}
	}
	return v
}

func speaking(it item, l time.Duration) item {
	it.voice = words(l)
	it.vgain, it.parts = level(it.voice), pieces(it.voice)
	return it
}

func keys(m *Mixer) string {
	var ks []string
	for _, p := range m.begun {
		ks = append(ks, p.Key)
	}
	return strings.Join(ks, " ")
}

func TestACueBeginsAtItsSample(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		zero := time.Duration(rapid.Int64Range(0, 5e9).Draw(t, "zero"))
		due := zero + time.Duration(rapid.Int64Range(0, 1e9).Draw(t, "due"))
		blocks := rapid.SliceOfN(rapid.IntRange(20, 6000), 1, 5).Draw(t, "blocks")
		m := NewMixer(1)
		m.put(cueItem(session.CueMove, "k", due))
		out := play(m, 1600*time.Millisecond, zero, blocks...)
		want := make([]float32, len(out))
		copy(want[index(due, zero):], m.clips[motifIndex(session.Cue{Kind: session.CueMove})])
		for i := range out {
			if math.Abs(float64(out[i]-want[i])) > 1e-6 {
				t.Fatalf("sample %d is %g, want %g", i, out[i], want[i])
			}
		}
		if got := m.begun[0].heard - due; got < -time.Second/Rate || got > time.Second/Rate {
			t.Fatalf("recorded %v from its due instant", got)
		}
	})
}

// A stream that runs dry in the middle of a call, or of its words, has them
// begin again behind the gap; the tick of the rocking rhythm is let go.
func TestWhatAGapSwallowedSoundsAgain(t *testing.T) {
	move := cueItem(session.CueMove, "move", 0)
	clip := NewMixer(1).clips[move.motif]
	for _, c := range []struct {
		name  string
		heard int // samples, before the gap
		it    item
		again bool
	}{
		{"in the motif", len(clip) / 2, move, true},
		{"in the words", len(clip) + samples(voiceGap) + samples(300*time.Millisecond), speaking(move, time.Second), true},
		{"behind both", 2 * Rate, move, false},
		{"in a tick", 200, cueItem(session.CueRock, "rock-2", 0), false},
	} {
		m := NewMixer(1)
		m.put(c.it)
		for at := 0; at < c.heard; at += 960 {
			m.Fill(make([]float32, min(960, c.heard-at)), int64(at), 0)
		}
		end := int64(c.heard + samples(400*time.Millisecond))
		for at := int64(c.heard); at < end; at += 2400 { // as many calls as it takes
			m.miss(at, min(end, at+2400))
		}
		rest := make([]float32, 2*Rate)
		m.Fill(rest, end, 0)
		var want []float32
		switch {
		case c.again && c.it.voice == nil:
			want = clip
		case c.again:
			for _, x := range c.it.voice {
				want = append(want, x*c.it.vgain)
			}
		}
		want = append(want, make([]float32, len(rest)-len(want))...)
		for i := range rest {
			if math.Abs(float64(rest[i]-want[i])) > 1e-6 {
				t.Errorf("%s: sample %d behind the gap is %g, want %g", c.name, i, rest[i], want[i])
				break
			}
		}
		if len(m.begun) != 1 {
			t.Errorf("%s: begun %q", c.name, keys(m))
		}
	}
}

// The words of a motif that sounds again wait until it is over.
func TestWordsStayBehindAMotifThatSoundsAgain(t *testing.T) {
	it := speaking(cueItem(session.CueMove, "move", 0), time.Second)
	m := NewMixer(1)
	m.put(it)
	clip := len(m.clips[it.motif])
	heard := clip - 480 // all but its last 10 ms
	m.Fill(make([]float32, heard), 0, 0)
	end := int64(heard + samples(400*time.Millisecond))
	m.miss(int64(heard), end)
	var spoken int64 = -1
	for at := end; at < end+3*Rate && spoken < 0; at += 960 {
		m.Fill(make([]float32, 960), at, 0)
		if m.speaking.on {
			spoken = m.speaking.at
		}
	}
	if free := end + int64(clip) + int64(samples(voiceGap)); spoken < free {
		t.Errorf("the words begin %v before their motif is over, at %.0f %% of their loudness", duration(free-spoken), 100*duckTo)
	}
}

// However the stream is cut into blocks, the samples are the same (the words of
// an announcement begin at the block's next chance, so they are left out here).
func TestBlocksDoNotMatter(t *testing.T) {
	all := motifs
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 12).Draw(t, "cues")
		var its []item
		for i := range n {
			k := rapid.IntRange(0, len(all)-1).Draw(t, "motif")
			it := item{cue: session.Cue{Key: fmt.Sprint(i), Kind: all[k].Kind(), Stage: all[k].Stage}, motif: k, said: true,
				due: time.Duration(rapid.IntRange(0, 1000).Draw(t, "ms")) * time.Millisecond}
			its = append(its, it)
		}
		run := func(blocks ...int) []float32 {
			m := NewMixer(0.7)
			for _, it := range its {
				m.put(it)
			}
			return play(m, 2*time.Second, 0, blocks...)
		}
		a, b := run(480), run(rapid.SliceOfN(rapid.IntRange(20, 5000), 1, 6).Draw(t, "blocks")...)
		for i := range a {
			// Sums of several motifs may be rounded in another order.
			if d := a[i] - b[i]; d > 1e-5 || d < -1e-5 {
				t.Fatalf("sample %d: %g or %g", i, a[i], b[i])
			}
		}
	})
}

func TestTheSumNeverClips(t *testing.T) {
	m := NewMixer(1)
	for i := range motifs {
		m.put(item{cue: session.Cue{Key: fmt.Sprint(i), Kind: motifs[i].Kind(), Stage: motifs[i].Stage}, motif: i, said: true, due: 100 * time.Millisecond})
	}
	m.put(speaking(item{cue: session.Cue{Key: "say", Kind: session.CueSay}, motif: -1, said: true}, 2*time.Second))
	peak := float32(0)
	for _, v := range play(m, 2*time.Second, 0, 960) {
		peak = max(peak, v, -v)
	}
	if peak > 1 || peak < 0.9 {
		t.Errorf("all motifs at once peak at %.3f", peak)
	}
}

// Two voices never overlap, no piece of an announcement is begun that a motif
// which is known of would sound into, and one that a motif comes into unforeseen
// is said again behind it.
func TestNoWordIsTrampledByAMotif(t *testing.T) {
	for _, foreseen := range []bool{true, false} {
		m := NewMixer(1)
		m.put(speaking(cueItem(session.CueMinutes, "a", 0), 2*time.Second))
		m.put(speaking(cueItem(session.CueHalf, "b", 100*time.Millisecond), 2*time.Second))
		c := cueItem(session.CueDrain, "c", 1500*time.Millisecond)
		if foreseen {
			m.put(c)
		}
		var order []string
		var last *float32
		var out []float32
		said := map[string][]bool{} // by announcement: which of its samples were heard with nothing over them
		buf := make([]float32, 480)
		for at := int64(0); at < 9*Rate; at += 480 {
			if !foreseen && at == 3*Rate/2 {
				m.put(c)
			}
			m.Fill(buf, at, 0)
			out = append(out, buf...)
			if sp := &m.speaking; sp.on {
				if &sp.voice[0] != last {
					last = &sp.voice[0]
					order = append(order, sp.cue.Key)
					said[sp.cue.Key] = make([]bool, len(sp.voice))
				}
				if any, _ := m.under(at + 479); !any && sp.cutAt > at {
					for i := max(0, sp.pos-480); i < sp.pos; i++ {
						said[sp.cue.Key][i] = true
					}
				}
			}
		}
		if got := strings.Join(order, " "); got != "a b" {
			t.Errorf("foreseen %t: spoken %s", foreseen, got)
		}
		for k, heard := range said {
			missed := 0
			for _, h := range heard {
				if !h {
					missed++
				}
			}
			if missed > 2*480 { // the blocks that its begin and its end lie in
				t.Errorf("foreseen %t: of %s %v were never heard by themselves", foreseen, k, duration(int64(missed)))
			}
		}
		// The ramps are smooth: what is added to the words' own steps stays small.
		step := float32(0)
		for i := 1; i < len(out); i++ {
			step = max(step, out[i]-out[i-1])
		}
		if most := float32(2*voiceLevel + 0.1); step > most {
			t.Errorf("a step of %.3f: a click", step)
		}
	}
}

func TestStaleWordsAreDroppedAndCallsNever(t *testing.T) {
	m := NewMixer(1)
	m.put(speaking(cueItem(session.CueSeen, "long", 0), 20*time.Second))
	m.put(speaking(cueItem(session.CueMinutes, "minute", time.Second), time.Second))
	m.put(speaking(cueItem(session.CueOver, "over", 20*time.Second), time.Second))
	var order []string
	buf := make([]float32, 480)
	last := ""
	for at := int64(0); at < 32*Rate; at += 480 {
		if at == 2*Rate { // not foreseen
			m.put(speaking(cueItem(session.CueMove, "move", 2*time.Second), 3*time.Second))
		}
		m.Fill(buf, at, 0)
		if m.speaking.on && m.speaking.cue.Key != last {
			last = m.speaking.cue.Key
			order = append(order, last)
		}
	}
	if got := strings.Join(order, " "); got != "long move long over" {
		t.Errorf("spoken: %s; want: long move long over", got)
	}
	if got := keys(m); got != "long minute move over" {
		t.Errorf("sounded: %s", got)
	}
	if len(m.dropped) != 1 || m.dropped[0].Cue.Key != "minute" {
		t.Errorf("dropped: %+v", m.dropped)
	}
}

// What a call that is known would cut off is said behind it, or not at all.
func TestWordsAreNotBegunThatACallWouldCut(t *testing.T) {
	m := NewMixer(1)
	m.put(speaking(cueItem(session.CueSeen, "long", 0), 3*time.Second))
	m.put(speaking(cueItem(session.CueTen, "ten", 0), 3*time.Second))
	m.put(speaking(cueItem(session.CueMove, "move", 2*time.Second), 3*time.Second))
	buf := make([]float32, 480)
	for at := int64(0); at < 20*Rate; at += 480 {
		m.Fill(buf, at, 0)
	}
	var said []string
	for _, s := range m.ended {
		said = append(said, fmt.Sprint(s.Cue.Key, " ", s.Cut))
	}
	if got := strings.Join(said, ", "); got != "move false, long false" {
		t.Errorf("said: %s", got)
	}
	if len(m.dropped) != 1 || m.dropped[0].Cue.Key != "ten" {
		t.Errorf("dropped: %+v", m.dropped)
	}
}

// A word of agitation that an error came into is said again as long as it is so, and no
// longer: the next word of it, and the call to lift, end it.
func TestAgitationIsSaidAgainWhileItIsSo(t *testing.T) {
	const s = time.Second
	for _, c := range []struct {
		said, next session.CueKind
		at         time.Duration
		want       string
	}{
		{session.CueRockOff, session.CueRockOn, 10 * s, "said true, error false, said false, next false"},
		{session.CueRockOff, session.CueRockOn, 4 * s, "said true, error false, next false"},
		{session.CueRockOff, session.CueDrain, 4 * s, "said true, error false, next false"},
		{session.CueRockOn, session.CueRockOff, 10 * s, "said true, error false, said false, next false"},
		{session.CueRockOn, session.CueRockOff, 4 * s, "said true, error false, next false"},
		{session.CueRockOn, session.CueDrain, 4 * s, "said true, error false, next false"},
	} {
		m := NewMixer(1)
		said, next := cueItem(c.said, "said", 0), cueItem(c.next, "next", c.at)
		said.cue.For, next.cue.For = 10*s, 10*s
		said.cue.Sheet, next.cue.Sheet = "s", "s"
		said.cue.Num, next.cue.Num = 1, 1
		m.put(speaking(said, s))
		m.put(speaking(next, s))
		buf := make([]float32, 480)
		for at := int64(0); at < 20*Rate; at += 480 {
			if at == Rate {
				m.put(speaking(cueItem(session.CueError, "error", s), 4*s))
			}
			m.Fill(buf, at, 0)
		}
		var got []string
		for _, x := range m.ended {
			got = append(got, fmt.Sprint(x.Cue.Key, " ", x.Cut))
		}
		if got := strings.Join(got, ", "); got != c.want {
			t.Errorf("%s, and %s at %v: %s", c.said, c.next, c.at, got)
		}
	}
}

// A number that is counted is said on its beat or not at all.
func TestACountKeepsItsBeat(t *testing.T) {
	const s = time.Second
	m := NewMixer(1)
	m.put(speaking(cueItem(session.CueDrain, "drain", 0), 1600*time.Millisecond))
	for n := 3; n > 0; n-- {
		m.put(speaking(cueItem(session.CuePip, fmt.Sprint(n), time.Duration(4-n)*s), 500*time.Millisecond))
	}
	said := map[string]time.Duration{}
	for at := int64(0); at < 5*Rate; at += 480 {
		m.Fill(make([]float32, 480), at, 0)
		if k := m.speaking.cue.Key; m.speaking.on && said[k] == 0 {
			said[k] = duration(m.speaking.at)
		}
	}
	if said["3"] != 0 {
		t.Errorf("three is said at %v, and belongs at 1s", said["3"])
	}
	for k, beat := range map[string]time.Duration{"2": 2 * s, "1": 3 * s} {
		if d := said[k] - beat; said[k] == 0 || d > 600*time.Millisecond {
			t.Errorf("%s is said at %v, and belongs at %v", k, said[k], beat)
		}
	}
}

// That a sheet may go in is as true half a minute later, when others have been heard.
func TestTheCallToGoInOutlastsAnswers(t *testing.T) {
	m := NewMixer(1)
	m.put(speaking(cueItem(session.CueMayGoIn, "may go in", time.Second), time.Second))
	said := false
	for at := int64(0); at < 40*Rate; at += 480 {
		if at%(4*Rate) == 0 && at < 24*Rate {
			m.put(speaking(cueItem(session.CueSay, fmt.Sprint("answer/", at), duration(at)), 5*time.Second))
		}
		m.Fill(make([]float32, 480), at, 0)
		said = said || m.speaking.on && m.speaking.cue.Kind == session.CueMayGoIn
	}
	if !said {
		t.Error("it is not said")
	}
}

// What holds no more is taken back: what waits to be said, and what is being said.
func TestWhatHoldsNoMoreIsNotSaidToItsEnd(t *testing.T) {
	m := NewMixer(1)
	said, waits := cueItem(session.CueMinutes, "said", 0), cueItem(session.CueThirty, "waits", time.Second)
	m.put(speaking(said, 3*time.Second))
	m.put(speaking(waits, time.Second))
	buf := make([]float32, 480)
	for at := int64(0); at < 10*Rate; at += 480 {
		if at == 2*Rate {
			said.gone, waits.gone = true, true
			m.replace([]item{said, waits}, 2*time.Second, func(string) bool { return true })
		}
		m.Fill(buf, at, 0)
	}
	if len(m.ended) != 1 || !m.ended[0].Cut || m.ended[0].Lasts > 2100*time.Millisecond || m.sounding() || len(m.tail) > 0 {
		t.Errorf("it goes on: %+v", m.ended)
	}
}

func TestMovingOnWithdrawsTheWordsOfTheBathBefore(t *testing.T) {
	m := NewMixer(1)
	m.put(speaking(cueItem(session.CueTen, "ten", 0), 5*time.Second))
	m.put(speaking(cueItem(session.CueOver, "over", 2*time.Second), 5*time.Second))
	// What stays true when the sheet has moved on is said all the same.
	m.put(speaking(cueItem(session.CueBathHigh, "bath", 2*time.Second+500*time.Millisecond), time.Second))
	other := speaking(cueItem(session.CueHalf, "other", 3*time.Second), time.Second)
	other.cue.Sheet = "another"
	m.put(other)
	begin := speaking(cueItem(session.CueBegin, "begin", 4*time.Second), time.Second)
	begin.cue.Stage, begin.motif = session.Stop, motifIndex(session.Cue{Kind: session.CueBegin, Stage: session.Stop})
	m.put(begin)
	var order []string
	var cutAt int64
	buf := make([]float32, 480)
	last := ""
	for at := int64(0); at < 10*Rate; at += 480 {
		m.Fill(buf, at, 0)
		now := ""
		if m.speaking.on {
			now = m.speaking.cue.Key
		}
		if now != last && now != "" {
			order = append(order, now)
		}
		if last == "ten" && now != "ten" {
			cutAt = at
		}
		last = now
	}
	if got := strings.Join(order, " "); got != "ten bath other begin" {
		t.Errorf("spoken: %s; want: ten bath other begin", got)
	}
	if cutAt < 4*Rate || cutAt > 4*Rate+Rate/10 {
		t.Errorf("what was being said ended at %v, want at 4 s", duration(cutAt))
	}
}

func TestAskingAgainReplacesTheAnswer(t *testing.T) {
	m := NewMixer(1)
	m.put(speaking(cueItem(session.CueSay, "first", 0), 4*time.Second))
	m.put(speaking(cueItem(session.CueMinutes, "minute", 500*time.Millisecond), time.Second))
	m.put(speaking(cueItem(session.CueSay, "second", time.Second), 2*time.Second))
	var order []string
	buf := make([]float32, 480)
	last := ""
	for at := int64(0); at < 8*Rate; at += 480 {
		m.Fill(buf, at, 0)
		if m.speaking.on && m.speaking.cue.Key != last {
			last = m.speaking.cue.Key
			order = append(order, fmt.Sprintf("%s %.1f", last, float64(at)/Rate))
		}
	}
	if got := strings.Join(order, ", "); got != "first 0.0, second 1.1, minute 3.2" {
		t.Errorf("spoken: %s", got)
	}
}

// A call cuts in on whatever is being said within 50 ms, its own words begin
// within 0.6 s, and of what was cut off the answer to a key is gone and the rest
// is said again.
func TestACallCutsIn(t *testing.T) {
	for _, c := range []struct {
		kind  session.CueKind
		again bool
	}{{session.CueSay, false}, {session.CueSeen, true}, {session.CueBathSpent, true}} {
		m := NewMixer(1)
		m.put(speaking(cueItem(c.kind, "talk", 0), 9*time.Second))
		move := speaking(cueItem(session.CueMove, "move", 2*time.Second), time.Second)
		move.cue.Sheet = "another"
		for at := int64(0); at < 2*Rate; at += 480 {
			m.Fill(make([]float32, 480), at, 0)
		}
		m.put(move)
		cut, words, again := int64(-1), int64(-1), false
		for at := int64(2 * Rate); at < 15*Rate; at += 480 {
			m.Fill(make([]float32, 480), at, 0)
			switch {
			case cut < 0 && (!m.speaking.on || m.speaking.cue.Kind != c.kind):
				cut = at + 480
			case words < 0 && m.speaking.cue.Key == "move":
				words = m.speaking.at
			case words > 0 && m.speaking.cue.Key == "talk":
				again = true
			}
		}
		if d := duration(cut - 2*Rate); cut < 0 || d > 50*time.Millisecond {
			t.Errorf("%s is cut off after %v", c.kind, d)
		}
		if d := duration(words - 2*Rate); words < 0 || d > 600*time.Millisecond {
			t.Errorf("over %s the words of the move begin %v after its motif", c.kind, d)
		}
		if again != c.again {
			t.Errorf("%s is said again: %t", c.kind, again)
		}
	}
}

func TestOneMotifDoesNotSoundIntoItself(t *testing.T) {
	m := NewMixer(1)
	m.put(cueItem(session.CueMove, "a", 0))
	m.put(cueItem(session.CueMove, "b", 100*time.Millisecond))
	m.put(cueItem(session.CueRock, "t/1", time.Second))
	m.put(cueItem(session.CueRock, "t/2", time.Second+20*time.Millisecond))
	m.put(cueItem(session.CueRock, "t/3", time.Second+150*time.Millisecond))
	play(m, 2*time.Second, 0, 480)
	var got []string
	for _, p := range m.begun {
		got = append(got, fmt.Sprint(p.Key, " ", p.heard.Milliseconds(), " ", p.Merged))
	}
	want := []string{"a 0 false", "b 490 false", "t/1 1000 false", "t/2 1020 true", "t/3 1150 false"}
	if !slices.Equal(got, want) {
		t.Errorf("got %q\nwant %q", got, want)
	}
}

func TestWhatIsLateAfterADeviceWasAway(t *testing.T) {
	m := NewMixer(1)
	m.put(cueItem(session.CueMinutes, "minute", time.Second))
	m.put(cueItem(session.CueMove, "move", 2*time.Second))
	m.put(cueItem(session.CueCall, "call/1", 3*time.Second))
	m.put(cueItem(session.CueCall, "call/2", 4*time.Second))
	gone := cueItem(session.CueMove, "moved long ago", 2*time.Second)
	gone.cue.Sheet = "z"
	m.put(gone)
	on := cueItem(session.CueBegin, "next begins", 5*time.Second)
	on.cue.Sheet, on.cue.Stage, on.motif = "z", session.Fix, motifIndex(session.Cue{Kind: session.CueBegin, Stage: session.Fix})
	m.put(on)
	// The stream begins ten seconds late.
	play(m, 2*time.Second, 10*time.Second, 480)
	if got := keys(m); got != "move call/2 next begins" {
		t.Errorf("sounded: %s", got)
	}
	if len(m.dropped) != 3 {
		t.Errorf("dropped: %+v", m.dropped)
	}
}

func TestTheSettingsOfRhythmAndPulse(t *testing.T) {
	for _, c := range []struct {
		rock  Rock
		alive bool
		want  string
	}{{On, true, "r/0 r/1 r/2 r/3 a"}, {Slow, false, "r/0 r/2"}, {Off, true, "a"}} {
		m := NewMixer(1)
		m.Rock, m.Alive = c.rock, c.alive
		for i := range 4 {
			it := cueItem(session.CueRock, fmt.Sprint("r/", i), time.Duration(i)*200*time.Millisecond)
			it.cue.N = i
			m.put(it)
		}
		m.put(cueItem(session.CueAlive, "a", 900*time.Millisecond))
		play(m, time.Second, 0, 480)
		if got := keys(m); got != c.want {
			t.Errorf("rock %d, alive %t: %s, want %s", c.rock, c.alive, got, c.want)
		}
	}
}

func TestFillDoesNotAllocate(t *testing.T) {
	m := NewMixer(1)
	at, key := int64(0), 0
	buf := make([]float32, 960)
	v := words(100 * time.Millisecond)
	n := testing.AllocsPerRun(500, func() {
		if at%4800 == 0 {
			it := cueItem(session.CueTen, "key", duration(at+1000))
			it.voice, it.vgain = v, 1
			m.pending = append(m.pending, it) // put may grow the list; Fill may not
			key++
		}
		m.Fill(buf, at, 0)
		m.begun, m.dropped = m.begun[:0], m.dropped[:0]
		at += 960
	})
	if n != 0 {
		t.Errorf("%v allocations in a call", n)
	}
}

func TestTheClockKeepsItsHead(t *testing.T) {
	base := time.Now()
	var c clock
	rng := uint32(7)
	jitter := func() time.Duration {
		rng = rng*1664525 + 1013904223
		return time.Duration(int(rng>>16)%6000-3000) * time.Microsecond
	}
	for i := range 100 {
		d := jitter()
		if i%10 == 9 {
			d += 60 * time.Millisecond // a busy moment
		}
		c.observe(base.Add(d))
		if off := c.zero().Sub(base); i >= 9 && (off > 3*time.Millisecond || off < -3*time.Millisecond) {
			t.Fatalf("after %d observations: %v off", i, off)
		}
	}
	// The stream slips by 50 ms: within nine observations the clock follows.
	for range 9 {
		c.observe(base.Add(50*time.Millisecond + jitter()))
	}
	if off := c.zero().Sub(base.Add(50 * time.Millisecond)); off > 4*time.Millisecond || off < -4*time.Millisecond {
		t.Errorf("after a slip: %v off", off)
	}
}

func BenchmarkFillSilence(b *testing.B) {
	m := NewMixer(1)
	buf := make([]float32, 960)
	at := int64(0)
	for b.Loop() {
		m.Fill(buf, at, 0)
		at += 960
	}
}

// What is asked about the number of the greeting is asked behind it.
func TestTheGreetingIsHeardBeforeItsQuestion(t *testing.T) {
	m := NewMixer(1)
	m.put(speaking(cueItem(session.CueHello, "hello", 0), time.Second))
	m.put(speaking(cueItem(session.CueSay, "question", 0), time.Second))
	var order []string
	for at := int64(0); at < 4*Rate; at += 960 {
		m.Fill(make([]float32, 960), at, 0)
		if k := m.speaking.cue.Key; m.speaking.on && !slices.Contains(order, k) {
			order = append(order, k)
		}
	}
	if !slices.Equal(order, []string{"hello", "question"}) {
		t.Errorf("spoken: %q", order)
	}
}

// A press while an answer is given: the answer ends, and what became of the press is
// said behind its motif.
func TestAMoveEndsTheAnswerBeforeIt(t *testing.T) {
	m := NewMixer(1)
	m.put(speaking(cueItem(session.CueSay, "answer", 0), 5*time.Second))
	m.put(speaking(item{cue: session.Cue{Key: "begin", Kind: session.CueBegin, Sheet: "s", Stage: session.Stop}, motif: motifIndex(session.Cue{Kind: session.CueBegin, Stage: session.Stop}), said: true, due: time.Second}, time.Second))
	var said time.Duration
	for at := int64(0); at < 5*Rate; at += 960 {
		m.Fill(make([]float32, 960), at, 0)
		if m.speaking.on && m.speaking.cue.Key == "answer" && duration(at) > 1050*time.Millisecond {
			t.Fatalf("the answer goes on at %v", duration(at))
		}
		if m.speaking.on && m.speaking.cue.Key == "begin" && said == 0 {
			said = duration(m.speaking.at)
		}
	}
	if said == 0 || said > 1600*time.Millisecond {
		t.Errorf("the words of the move begin at %v", said)
	}
}
