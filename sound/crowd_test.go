package sound

import (
	"cmp"
	"fmt"
	"math/rand"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"wetside/session"
	"wetside/session/say"
	"wetside/sound/voice"
)

// Crowd lives through an hour's work in minutes: sheets that go in one after
// another, each moved so long after it was called. It returns every cue that was
// heard of, as it stood when it was due.
func Crowd(t *testing.T, sheets int, each, late time.Duration) []session.Cue {
	t.Helper()
	step := func(s session.Stage, d, drain time.Duration, a session.Agitation) session.Step {
		return session.Step{Stage: s, Bath: string(s), AtLeast: d, AtMost: d, Drain: drain, Agitation: a, Batch: s == session.Wash}
	}
	const sec = time.Second
	p := session.Process{Steps: []session.Step{
		step(session.Develop, 90*sec, 5*sec, session.Agitation{Continuous: true}),
		step(session.Stop, 15*sec, 3*sec, session.Agitation{Continuous: true}),
		step(session.Fix, 2*time.Minute, 5*sec, session.Agitation{First: 20 * sec, For: 5 * sec, Every: 15 * sec}),
		step(session.Wash, 2*time.Minute, 0, session.Agitation{}),
	}}
	p.Steps[0].AtLeast = 70 * sec
	m := session.New()
	zero := session.Instant{Wall: time.Date(2026, 5, 1, 10, 0, 0, 0, time.UTC), BootID: "b"}
	apply := func(at time.Duration, e session.Event) {
		e.At = zero.Add(at)
		if err := m.Apply(e); err != nil {
			t.Fatal(err)
		}
	}
	apply(0, session.Event{Kind: session.Opened})
	for i := range sheets {
		apply(0, session.Event{Kind: session.SheetAdded, Sheet: fmt.Sprint(i), Spec: &session.SheetSpec{Process: p}})
	}
	var out []session.Cue
	seen := map[string]bool{}
	in, press := 0, time.Duration(-1<<40)
	const tick = 100 * time.Millisecond
	for now := time.Duration(0); ; now += tick {
		for _, v := range m.View(zero.Add(now)).Sheets {
			if v.Phase == session.Wet && now >= v.Ends+late && now >= press+1500*time.Millisecond {
				if v.Stage != session.Wash { // all come out of it together
					press = now
				}
				apply(now, session.Event{Kind: session.Moved, Sheet: v.ID, From: v.Visit})
			}
		}
		if in < sheets && now >= time.Duration(in)*each {
			apply(now, session.Event{Kind: session.Moved, Sheet: fmt.Sprint(in)})
			in++
		}
		for _, c := range m.Cues(zero.Add(now), zero.Add(now+tick)) {
			if !seen[c.Key] {
				seen[c.Key] = true
				out = append(out, c)
			}
		}
		if in == sheets && !m.Running() {
			return out
		}
	}
}

// Perform plays cues and answers offline; each block goes to hear as it is mixed.
func Perform(t *testing.T, cues []session.Cue, answers []time.Duration, hear func(m *Mixer, block []float32)) {
	v, err := voice.New(voice.Config{})
	if err != nil {
		t.Fatal(err)
	}
	m := NewMixer(1)
	last := time.Duration(0)
	for _, c := range cues {
		if last = max(last, c.T); !pressed(c) {
			m.Put(c, c.T, v.Phrase(c, Normal))
		}
	}
	answer := v.Phrase(session.Cue{Kind: session.CueSay, Lines: &[]say.Line{
		say.StandsLeft.Of("fix", say.Left(47*time.Second)).To(say.Num(4)), say.AndMore.Of(3), say.KeysOf.Of("trays"), say.AskQuitRunning.Of()}}, Normal)
	refusal := v.Phrase(session.Cue{Kind: session.CueError, Lines: &[]say.Line{say.NotInField.Of(4)}}, Normal)
	buf := make([]float32, 960)
	for at := int64(0); duration(at) < last+8*time.Second; at += int64(len(buf)) {
		for len(answers) > 0 && answers[0] <= duration(at) {
			if c := (session.Cue{Key: fmt.Sprint("say/", at), Kind: session.CueSay}); len(answers)%3 > 0 {
				m.Put(c, duration(at), answer)
			} else { // with its motif
				c.Kind = session.CueError
				m.Put(c, duration(at), refusal)
			}
			answers = answers[1:]
		}
		for _, c := range cues { // what a press brings is not known before
			if pressed(c) && c.T >= duration(at) && c.T < duration(at+int64(len(buf))) {
				m.Put(c, c.T, v.Phrase(c, Normal))
			}
		}
		m.Fill(buf, at, 0)
		hear(m, buf)
	}
}

// spoken tells when the words of each cue began; if a motif came into them, and they
// were begun anew, when they began for the last time.
func spoken(t *testing.T, cues []session.Cue, answers []time.Duration) map[string]time.Duration {
	begun := map[string]time.Duration{}
	at, key, pos := time.Duration(0), "", 0
	Perform(t, cues, answers, func(m *Mixer, block []float32) {
		sp := &m.speaking
		anew := sp.cue.Key == key && sp.pos < pos && sp.from == 0
		if _, ok := begun[sp.cue.Key]; sp.on && sp.pos > 0 && (!ok || anew) {
			begun[sp.cue.Key] = max(at, duration(sp.at))
		}
		if key = sp.cue.Key; sp.pos > 0 || !anew {
			pos = sp.pos
		}
		at += duration(int64(len(block)))
	})
	return begun
}

// pressed reports whether a cue is what a press brought.
func pressed(c session.Cue) bool { return c.Kind == session.CueBegin || c.Kind == session.CueDone }

// With four sheets, and where, help and questions asked at any moment, the words
// of a move begin within 0.6 s of its call. WETSIDE_SOAK=1000 asks at so many moments.
func TestTheWordsOfAMoveAreNeverLate(t *testing.T) {
	moves, seeds := 0, int64(4)
	if n, err := strconv.ParseInt(os.Getenv("WETSIDE_SOAK"), 10, 64); err == nil {
		seeds = max(seeds, n)
	}
	worst := time.Duration(0)
	for seed := range seeds {
		r := rand.New(rand.NewSource(seed))
		cues := Crowd(t, 4, time.Duration(12000+r.Intn(10000))*time.Millisecond, time.Duration(500+r.Intn(4000))*time.Millisecond)
		var answers []time.Duration
		for at := time.Duration(0); at < cues[len(cues)-1].T; {
			at += time.Duration(r.Intn(5000)) * time.Millisecond
			answers = append(answers, at)
		}
		begun := spoken(t, cues, answers)
		for _, c := range cues {
			if c.Kind != session.CueMove {
				continue
			}
			at, ok := begun[c.Key]
			if slices.ContainsFunc(cues, func(p session.Cue) bool {
				return pressed(p) && p.T > c.T-500*time.Millisecond && p.T < max(at, c.T+600*time.Millisecond)
			}) {
				continue // the motif of a hand's own press came into them, and they were begun anew
			}
			moves++
			if late := at - c.T; !ok || late > 600*time.Millisecond {
				t.Errorf("seed %d: %s to %s at %v: its words begin %v after it (spoken: %t)", seed, c.Key, c.Next, c.T, late, ok)
			} else {
				worst = max(worst, late)
			}
		}
	}
	if moves < 10 {
		t.Errorf("%d calls to move", moves)
	}
	t.Logf("%d calls to move, the words at worst %v after the call", moves, worst)
}

// Three calls to move so close that the words of one would still be said when those of
// the next are due: each begins on time, and whichever was cut is said again, whole.
func TestCallsToMoveInARowAreOnTime(t *testing.T) {
	// Nearer ones are one call, or the motif of the second waits for the first's end.
	for apart := 500 * time.Millisecond; apart < 4*time.Second; apart += 100 * time.Millisecond {
		cues := []session.Cue{
			{Key: "a", Kind: session.CueMove, Sheet: "a", Num: 1, Nums: say.Num(1) | say.Num(2), Named: true, Stage: session.Wash, T: time.Second},
			{Key: "b", Kind: session.CueMove, Sheet: "b", Num: 4, Named: true, Stage: session.Fix, Next: session.Wash, T: time.Second + apart},
			{Key: "c", Kind: session.CueMove, Sheet: "c", Num: 5, Named: true, Stage: session.Develop, Next: session.Stop, T: time.Second + 2*apart},
		}
		begun, whole := map[string]time.Duration{}, map[string]int{}
		Perform(t, cues, nil, func(m *Mixer, _ []float32) {
			if sp := &m.speaking; sp.on && sp.pos > 0 {
				begun[sp.cue.Key] = cmp.Or(begun[sp.cue.Key], duration(sp.at))
			}
			for _, e := range m.ended {
				if !e.Cut {
					whole[e.Cue.Key]++
				}
			}
			m.ended = m.ended[:0]
		})
		for _, c := range cues {
			if late := begun[c.Key] - c.T; late < 0 || late > 600*time.Millisecond || whole[c.Key] != 1 {
				t.Errorf("%v apart: the words of %s begin %v after its call, and are said whole %d times", apart, c.Key, late, whole[c.Key])
			}
		}
	}
}

// A led sheet's moves are counted in: what comes, then three, two, one each on its
// beat, then the move, its words within 0.6 s.
func TestALedMoveIsCountedIn(t *testing.T) {
	const sec = time.Second
	m := session.New()
	zero := session.Instant{Wall: time.Date(2026, 5, 1, 10, 0, 0, 0, time.UTC), BootID: "b"}
	step := func(s session.Stage, d, drain time.Duration) session.Step {
		return session.Step{Stage: s, Bath: string(s), AtLeast: d, AtMost: d, Drain: drain}
	}
	spec := &session.SheetSpec{Process: session.Process{Steps: []session.Step{step(session.Develop, 60*sec, 10*sec), step(session.Stop, 30*sec, 0), step(session.Wash, 60*sec, 0)}}}
	for _, e := range []session.Event{{Kind: session.Opened}, {Kind: session.SheetAdded, Sheet: "a", Spec: spec}, {Kind: session.LeadBegun}, {Kind: session.Moved, Sheet: "a"}} {
		e.At = zero
		if err := m.Apply(e); err != nil {
			t.Fatal(err)
		}
	}
	var cues []session.Cue
	seen := map[string]bool{}
	for now := time.Duration(0); now < 100*sec; now += 100 * time.Millisecond {
		if e, ok := m.AutoMove(zero.Add(now), nil); ok {
			if err := m.Apply(e); err != nil {
				t.Fatal(err)
			}
		}
		for _, c := range m.Cues(zero.Add(now-sec), zero.Add(now+sec)) {
			if !seen[c.Key] {
				seen[c.Key] = true
				cues = append(cues, c)
			}
		}
	}
	begun := spoken(t, cues, nil)
	var said []string
	for _, c := range cues {
		if c.T < 55*sec || c.T > 95*sec {
			continue
		}
		late := begun[c.Key] - c.T
		if _, ok := begun[c.Key]; !ok || late > 600*time.Millisecond {
			t.Errorf("%v %s: its words begin %v after it (at all: %t)", c.T, voice.Words(c, Normal), late, ok)
		}
		said = append(said, voice.Words(c, Normal))
	}
	want := "stop bath in, 3, 2, 1, stop bath now, in the stop bath, 0:30, 0:10 left, wash in, 3, 2, 1, wash now, in the wash, 1:00"
	if got := strings.Join(said, ", "); got != want {
		t.Errorf("said\n%s\nnot\n%s", got, want)
	}
}

// Of two that are led, the second's moves coming a little behind the first's, each move
// is called once and its words are heard to their end: the move that the program then
// writes down neither takes them back nor cuts them off.
func TestTheWordsOfALedPairAreHeardWhole(t *testing.T) {
	const sec = time.Second
	v, err := voice.New(voice.Config{})
	if err != nil {
		t.Fatal(err)
	}
	zero := session.Instant{Wall: time.Date(2026, 5, 1, 10, 0, 0, 0, time.UTC), BootID: "b"}
	step := func(s session.Stage, d, drain time.Duration) session.Step {
		return session.Step{Stage: s, Bath: string(s), AtLeast: d, AtMost: d, Drain: drain}
	}
	spec := &session.SheetSpec{Process: session.Process{Steps: []session.Step{step(session.Develop, 40*sec, 10*sec), step(session.Stop, 20*sec, 0), step(session.Wash, 60*sec, 0)}}}
	for behind := time.Duration(0); behind < 4*sec; behind += 300 * time.Millisecond {
		m := session.New()
		apply := func(e session.Event, at time.Duration) {
			e.At = zero.Add(at)
			if err := m.Apply(e); err != nil {
				t.Fatal(err)
			}
		}
		for _, e := range []session.Event{{Kind: session.Opened}, {Kind: session.SheetAdded, Sheet: "a", Spec: spec}, {Kind: session.SheetAdded, Sheet: "b", Spec: spec}, {Kind: session.LeadBegun}, {Kind: session.Moved, Sheet: "a"}} {
			apply(e, 0)
		}
		mixer, begun := NewMixer(1), map[string]bool{}
		words := map[session.Cue]item{}
		said := map[say.Nums]int{}
		in := false
		buf := make([]float32, 960)
		for at := int64(0); duration(at) < 80*sec; at += int64(len(buf)) {
			now := duration(at)
			if !in && now >= behind {
				in = true
				apply(session.Event{Kind: session.Moved, Sheet: "b"}, behind)
			}
			if at%4800 == 0 { // ten times a second, as the desk does
				for e, ok := m.AutoMove(zero.Add(now), nil); ok; e, ok = m.AutoMove(zero.Add(now), nil) {
					if err := m.Apply(e); err != nil {
						t.Fatal(err)
					}
				}
				var items []item
				for _, c := range m.Cues(zero.Add(now-3*sec), zero.Add(now+20*sec)) {
					it, ok := words[wordsOf(c)]
					if !ok {
						it.voice, it.said = v.Phrase(c, Normal), true
						it.vgain, it.parts = level(it.voice), pieces(it.voice)
						words[wordsOf(c)] = it
					}
					it.cue, it.due, it.motif = c, c.T, motifIndex(c)
					items = append(items, it)
				}
				mixer.replace(items, now, func(key string) bool { return begun[key] })
			}
			mixer.Fill(buf, at, 0)
			ended := mixer.ended
			started, _ := mixer.taken()
			for _, s := range started {
				begun[s.Key] = true
			}
			for _, s := range ended {
				if s.Cue.Kind == session.CueMove {
					if s.Cut {
						t.Errorf("%v behind: %q is cut off by %s after %v", behind, voice.Words(s.Cue, Normal), s.By, s.Lasts)
						continue
					}
					for _, n := range s.Cue.Numbers().All() {
						said[say.Num(n)]++
					}
				}
			}
		}
		for _, n := range []int{1, 2} {
			if said[say.Num(n)] != 2 {
				t.Errorf("%v behind: of the two moves of sheet %d the words of %d were heard", behind, n, said[say.Num(n)])
			}
		}
	}
}
