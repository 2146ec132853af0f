package sound

import (
	"math"
	"slices"
	"time"

	"wetside/session"
)

const (
	// duckTo is what remains of the voice's amplitude under a sound it does not
	// wait for: a tick, a pip, or a motif that came while it could not wait.
	duckTo = 0.5
	// duckIn and duckOut are the times of the ramps.
	duckIn  = 20 * time.Millisecond
	duckOut = 60 * time.Millisecond
	// cutRamp takes away a voice that is cut off.
	cutRamp = 30 * time.Millisecond
	// voiceGap parts a motif from the words that belong to it, and one
	// announcement from the next.
	voiceGap = 100 * time.Millisecond
	// pieceGap is the least silence inside an announcement at which it may wait
	// for a motif; no word has as long a one.
	pieceGap = 12 * time.Millisecond
	// waitMost is how long an announcement waits for motifs once it has begun.
	waitMost = 4 * time.Second
	// sameGap parts two soundings of one motif: their sines would otherwise
	// add to something that is neither.
	sameGap = 70 * time.Millisecond
	// lateness a cue without urgency may have and still be begun: after a lost
	// device nobody needs to hear that ten minutes ago a minute began.
	maxLate = 1200 * time.Millisecond
	// askedLate is the same for what the user asked for.
	askedLate = 4 * time.Second
	// arrangedLate is how long words may wait, though their cue was moved already.
	arrangedLate = 2 * time.Second
	// beatLate is how late a number may be that is counted on the beat: a hand would act
	// on the one that comes behind it.
	beatLate = 500 * time.Millisecond
	// voiceLevel is the root mean square every announcement is brought to: as
	// loud as a motif, see TestTheVoiceIsAsLoudAsTheMotifs.
	voiceLevel = 0.1
	// ceiling is where the limiter holds the sum.
	ceiling = 0.97
)

// stale is how long after its instant an announcement may begin, at pace 1. Urgent ones
// are never too late; what else ends an announcement is a cue ([ends]) or the desk's to
// say. Common practice, no source.
func stale(c session.Cue) time.Duration {
	switch c.Kind {
	case session.CueTen:
		return 3 * time.Second
	case session.CueThirty:
		return 5 * time.Second
	case session.CueMinutes, session.CueOver, session.CueHalf, session.CueRockOff:
		return 8 * time.Second
	case session.CueSay:
		return 20 * time.Second
	case session.CueMayGoIn:
		if c.Left > 0 {
			return 8 * time.Second
		}
		return time.Minute // it is as true then
	case session.CueSafeHalf, session.CueBathHigh, session.CueDone, session.CueSpoiled:
		return time.Minute // and so is this
	}
	return 12 * time.Second
}

// patience is how long after the instant that it was moved to an announcement may begin.
func patience(c session.Cue) time.Duration {
	if c.Kind == session.CuePip {
		return beatLate
	}
	p := max(stale(c)-c.Late, arrangedLate)
	if c.Kind == session.CueRockOn && c.For > 0 {
		p = min(p, c.For-c.Late-time.Second) // behind that it is hardly rocked any more
	}
	return p
}

// ends reports whether what o asks of the hands is over with c: a tray is rocked, or
// rests, until the next word of it, and a sheet drains until it is to move.
func ends(c, o session.Cue) bool {
	rocks := o.Kind == session.CueRockOn || o.Kind == session.CueRockOff
	switch c.Kind {
	case session.CueRockOn, session.CueRockOff:
		return rocks && c.Stage == o.Stage && c.Label == o.Label
	case session.CueDrain:
		return rocks && o.Numbers()&^c.Numbers() == 0
	case session.CueMove:
		return (rocks || o.Kind == session.CueDrain) && o.Numbers()&^c.Numbers() == 0
	}
	return false
}

// supersedes reports whether c says that its sheet has moved on, so that what
// was still to be spoken about the bath before is no longer true.
func supersedes(c session.Cue) bool {
	switch c.Kind {
	case session.CueBegin, session.CueBack, session.CueDone, session.CueSpoiled, session.CueLightOn:
		return true
	}
	return false
}

// most is the rank of a call to move.
const most = 3

// rank says whose words go before whose: a call for the hands at this instant, or
// one that is urgent, cuts in on what ranks lower.
func rank(c session.Cue) int {
	switch c.Kind {
	case session.CueMove, session.CueLightOff:
		return most
	case session.CueSay:
		return 1
	case session.CueHello:
		return 2 // what is asked about it comes behind its words
	}
	if c.Urgent() {
		return 2
	}
	return 0
}

// ofItsBath reports whether a cue is about the bath its sheet is in, so that it
// is no longer true when the sheet has moved on. A spent bath, the account of
// the safelight, what lies ahead of the bench stay true.
func ofItsBath(c session.Cue) bool {
	switch c.Kind {
	case session.CueSay, session.CueTell, session.CueError, session.CueHello, session.CueBathHigh, session.CueBathSpent,
		session.CueSafeHalf, session.CueSafeAll, session.CueMayGoIn, session.CueConflict, session.CueWashAnew:
		return false
	}
	return !supersedes(c)
}

// An item is one cue on its way to the loudspeaker.
type item struct {
	cue   session.Cue
	due   time.Duration // when it is to be heard, on the mixer's time line
	motif int           // index into motifs, -1: only spoken
	voice []float32     // nil: nothing to say, or not ready
	vgain float32
	parts []int // where in voice its pieces begin, each after a silence
	said  bool  // the voice is ready, or there is none
	now   bool  // asked for by the user: no Schedule takes it away
	gone  bool  // it holds no more
	// gaveWay is how often its words were cut by those of a later call.
	gaveWay int
}

// A sounding is one cue that has begun.
type sounding struct {
	Played
	heard time.Duration // when its begin is heard, on the mixer's time line
}

type active struct {
	buf   []float32
	at    int64 // sample at which it begins
	motif int   // which it is; of words nothing
}

// A speech is an announcement being made.
type speech struct {
	item
	on     bool
	at     int64 // sample at which it begins
	pos    int   // the next sample of voice
	from   int   // where the piece that pos lies in begins,
	to     int   // and where the next one does
	waits  bool  // for a motif, at the begin of a piece
	waited int   // samples it has waited since it began
	cutAt  int64 // sample at which it is cut off; math.MaxInt64: it is not
	ramp   int   // samples left of the ramp that takes it away
	then   afterCut
	by     session.Cue // that cut it
}

// An afterCut is what becomes of a speech that was cut off.
type afterCut int

const (
	dropped afterCut = iota
	again            // it is made again, if it still may be
	retaken          // its piece is said again behind the motif that came into it
)

// seek sets the next sample of voice.
func (s *speech) seek(pos int) {
	s.pos, s.from, s.to = pos, 0, len(s.voice)
	for _, p := range s.parts {
		if p > pos {
			s.to = p
			return
		}
		s.from = p
	}
}

// A Mixer turns cues into one stream of samples. It has no clock, takes no
// lock and does no I/O: what Fill writes depends on what was asked before and
// on Fill's arguments alone.
type Mixer struct {
	Rock  Rock
	Alive bool
	Pace  float64 // how much faster than real time a rehearsal runs; 0: 1

	volume float64     // of the program's own stream, 0..1
	clips  [][]float32 // rendered motifs

	pending []item // not begun, by due
	tail    []item // motif begun (or none), voice waiting; in the order to be spoken

	motifs []active
	lastAt []int64 // where the last sounding of each motif ends, plus sameGap

	speaking speech
	freeAt   int64 // before this sample no new voice begins
	gaveWay  int   // calls in a row whose words were cut by a later one's

	duck  float32 // present gain of the voice under motifs
	vol   float32 // present volume, ramped
	limit float32 // present gain of the limiter

	begun   []sounding // since last taken
	ended   []Speech
	dropped []Dropped
}

// A Dropped is a cue that was not sounded, and why.
type Dropped struct {
	Cue session.Cue
	Why string
	due time.Duration
}

const (
	tooLate   = "too late"
	overtaken = "too late, and no longer true"
)

// NewMixer makes a mixer at the given volume.
func NewMixer(volume float64) *Mixer {
	m := &Mixer{volume: volume, Rock: On, Alive: true, duck: 1, vol: float32(volume), limit: 1}
	m.clips = rendered()
	m.lastAt = make([]int64, len(motifs))
	m.pending = make([]item, 0, 256)
	m.tail = make([]item, 0, 64)
	m.motifs = make([]active, 0, 64)
	m.begun = make([]sounding, 0, 1024)
	m.ended = make([]Speech, 0, 64)
	m.dropped = make([]Dropped, 0, 1024)
	m.reset()
	return m
}

// reset forgets what is sounding, as when the stream it was meant for is lost.
// What has not begun stays.
func (m *Mixer) reset() {
	m.motifs = m.motifs[:0]
	m.speaking, m.freeAt = speech{}, 0
	for i := range m.lastAt {
		m.lastAt[i] = math.MinInt64
	}
}

// Put adds a cue that is to be heard at due on the mixer's time line, with its
// words (mono, 48 kHz; nil: none).
func (m *Mixer) Put(c session.Cue, due time.Duration, words []float32) {
	if len(words) == 0 {
		words = nil
	}
	m.put(item{cue: c, due: due, motif: motifIndex(c), voice: words, vgain: level(words), parts: pieces(words), said: true})
}

// setVolume sets the volume of the program's own stream, 0..1; it is ramped.
func (m *Mixer) setVolume(v float64) { m.volume = v }

// replace takes in a schedule for all that has not begun. What is due at now
// already stays, so that a cue asked for at its own instant is not lost to the
// next call; unless its sheet has moved on since. It returns the earliest due of
// what is new.
func (m *Mixer) replace(items []item, now time.Duration, begun func(key string) bool) (first time.Duration) {
	first = math.MaxInt64
	moved := map[string]time.Duration{} // sheet: when it last moved on
	for _, it := range items {
		if supersedes(it.cue) && it.due <= now {
			moved[it.cue.Sheet] = max(moved[it.cue.Sheet], it.due)
		}
	}
	seen := map[string]bool{}
	made := map[session.Cue]item{} // words that need not be made again
	for _, it := range m.pending {
		if it.voice != nil {
			made[wordsOf(it.cue)] = it
		}
	}
	m.pending = slices.DeleteFunc(m.pending, func(it item) bool {
		stays := it.now || (it.due <= now && (it.due >= moved[it.cue.Sheet] || !ofItsBath(it.cue)))
		if stays && !it.now {
			seen[it.cue.Key] = true
		}
		return !stays
	})
	for _, it := range items {
		if it.gone {
			m.withdraw(it.cue.Key)
			continue
		}
		if begun(it.cue.Key) || seen[it.cue.Key] {
			continue
		}
		seen[it.cue.Key] = true
		if w, ok := made[wordsOf(it.cue)]; ok && !it.said {
			it.said, it.voice, it.vgain, it.parts = true, w.voice, w.vgain, w.parts
		}
		m.put(it)
		first = min(first, it.due)
	}
	return first
}

// withdraw takes back what a cue says or is to say.
func (m *Mixer) withdraw(key string) {
	is := func(it item) bool { return it.cue.Key == key }
	m.pending = slices.DeleteFunc(m.pending, is)
	m.tail = slices.DeleteFunc(m.tail, is)
	if m.speaking.on && is(m.speaking.item) {
		m.cut(0, dropped, session.Cue{})
	}
}

// again puts back what was begun and not heard.
func (m *Mixer) again(it item) {
	m.tail = slices.DeleteFunc(m.tail, func(o item) bool { return o.cue.Key == it.cue.Key })
	m.put(it)
}

// last is when the last of what is pending is due.
func (m *Mixer) last() (due time.Duration) {
	if n := len(m.pending); n > 0 {
		due = m.pending[n-1].due
	}
	return due
}

// Words are large (192 kB a second), and at a rehearsal's pace a day of them
// lies within the next minute. They are made for what is due within horizon, and
// of that for the next ahead of speech: what lies behind it can't be spoken
// before all this is over.
const (
	horizon = 20 * time.Second
	ahead   = 10 * time.Second
)

// wordless is the cue whose words are to be made next, if one is; else how long
// that can wait.
func (m *Mixer) wordless(now time.Duration) (c session.Cue, ok bool, wait time.Duration) {
	lie := 0 // samples of speech that are ready
	for _, list := range [][]item{m.tail, m.pending} {
		for _, it := range list {
			switch {
			case it.due > now+horizon:
				return c, false, it.due - now - horizon
			case lie > samples(ahead):
				return c, false, ahead / 10 // some of it is spoken by then
			case !it.said:
				return it.cue, true, 0
			}
			lie += len(it.voice)
		}
	}
	return c, false, time.Hour
}

// sounding reports whether a motif or words are on their way.
func (m *Mixer) sounding() bool { return len(m.motifs) > 0 || m.speaking.on }

// taken hands over what has begun and what was dropped since it was last asked;
// good until the next Fill.
func (m *Mixer) taken() ([]sounding, []Dropped) {
	begun, dropped := m.begun, m.dropped
	m.begun, m.dropped, m.ended = begun[:0], dropped[:0], m.ended[:0]
	return begun, dropped
}

// put adds an item, in order of due.
func (m *Mixer) put(it item) {
	i, _ := slices.BinarySearchFunc(m.pending, it.due, func(a item, d time.Duration) int {
		if a.due <= d {
			return -1
		}
		return 1
	})
	m.pending = slices.Insert(m.pending, i, it)
}

// say hands over the words of a cue that was put before they were ready.
func (m *Mixer) say(words session.Cue, voice []float32) {
	for _, list := range [][]item{m.pending, m.tail} {
		for i := range list {
			if it := &list[i]; !it.said && wordsOf(it.cue) == words {
				it.voice, it.vgain, it.parts, it.said = voice, level(voice), pieces(voice), true
			}
		}
	}
}

// wordsOf is what of a cue decides its words.
func wordsOf(c session.Cue) session.Cue {
	c.Key, c.At, c.T, c.Late, c.Sheet = "", session.Instant{}, 0, 0, ""
	return c
}

// pieces are where the parts of an announcement begin: after each silence of
// pieceGap or more, which lies between clips and nowhere else.
func pieces(v []float32) []int {
	out := []int{0}
	quiet := 0
	for i, x := range v {
		if x == 0 {
			quiet++
			continue
		}
		if quiet >= samples(pieceGap) && i > quiet {
			out = append(out, i)
		}
		quiet = 0
	}
	return out
}

// level is the gain that brings a voice to voiceLevel.
func level(v []float32) float32 {
	if len(v) == 0 {
		return 0
	}
	sum, n := 0.0, 0
	for _, x := range v {
		if x > 0.005 || x < -0.005 { // not the pauses
			sum += float64(x) * float64(x)
			n++
		}
	}
	if n == 0 {
		return 1
	}
	return float32(min(8, voiceLevel/math.Sqrt(sum/float64(n))))
}

func (m *Mixer) pace() float64 { return max(1, m.Pace) }

// wanted reports whether the settings let the cue sound.
func (m *Mixer) wanted(c session.Cue) bool {
	switch c.Kind {
	case session.CueRock:
		if m.Rock == Off {
			return false
		}
		return m.Rock == On || c.N%2 == 0
	case session.CueAlive:
		return m.Alive
	}
	return true
}

// Fill writes the samples from the at-th on, of which sample 0 is heard at
// zero on the mixer's time line, and reports whether there is a sound in them.
// It does not allocate.
func (m *Mixer) Fill(buf []float32, at int64, zero time.Duration) bool {
	end := at + int64(len(buf))
	clear(buf)
	m.begin(at, end, zero)
	m.speak(buf, at, zero)
	if !m.sounding() { // nobody hears a ramp in silence
		m.duck, m.vol, m.limit = 1, m.wantedVolume(), 1
		return false
	}
	m.mixVoice(buf, at, zero)
	m.mixMotifs(buf, at)
	m.finish(buf)
	return true
}

// miss says that the samples from at up to end are heard by nobody: the stream
// ran dry, and their time is over. What was sounding begins again behind them,
// for half a motif is none and half a sentence may be another; a soft tick that
// belongs to an instant does not.
func (m *Mixer) miss(at, end int64) {
	keep := m.motifs[:0]
	for _, a := range m.motifs {
		if a.at < end {
			if motifs[a.motif].Soft {
				continue
			}
			a.at = end
			over := end + int64(len(a.buf))
			m.lastAt[a.motif] = over + int64(samples(sameGap))
			m.freeAt = max(m.freeAt, over+int64(samples(voiceGap))) // its words wait for it
		}
		keep = append(keep, a)
	}
	m.motifs = keep
	if sp := &m.speaking; sp.on && sp.at < end && sp.cutAt == math.MaxInt64 {
		sp.at, sp.waits = end, false
		sp.seek(0)
	}
}

// index is the sample that is heard at due.
func index(due, zero time.Duration) int64 {
	d := due - zero
	return int64(d/time.Second)*Rate + int64(d%time.Second)*Rate/int64(time.Second)
}

// begin starts every pending cue whose sample lies before end.
func (m *Mixer) begin(at, end int64, zero time.Duration) {
	k := 0
	for k < len(m.pending) {
		it := &m.pending[k]
		start := index(it.due, zero)
		if start >= end {
			break
		}
		late := duration(at - start)
		start = max(start, at)
		switch {
		case !m.wanted(it.cue):
			m.drop(it, "switched off")
		case late > maxLate && m.overtaken(k, at, zero):
			m.drop(it, overtaken)
		case late > maxLate && !lasting(it.cue) && !(it.now && late < askedLate):
			m.drop(it, tooLate)
		default:
			if it.cue.Kind == session.CueError && m.calling() {
				k++ // a refusal: its motif would have the call said again behind it
				continue
			}
			if it.motif >= 0 && m.lastAt[it.motif] > start {
				if motifs[it.motif].Soft {
					m.note(it, start, zero, true)
					break
				}
				if wait := m.lastAt[it.motif]; wait >= end {
					k++ // sounds as soon as its like is over
					continue
				} else {
					start = wait
				}
			}
			m.start(it, start, zero)
		}
		m.pending = slices.Delete(m.pending, k, k+1)
	}
}

// calling reports whether the words of a call to move are being said, or come next.
func (m *Mixer) calling() bool {
	return m.speaking.on && rank(m.speaking.cue) == most || len(m.tail) > 0 && rank(m.tail[0].cue) == most
}

// lasting reports whether a cue still means something after its instant.
func lasting(c session.Cue) bool {
	return c.Urgent() || supersedes(c)
}

// overtaken reports whether something that is due by now as well has taken the
// place of the k-th pending cue: its sheet has moved on, or was called again.
func (m *Mixer) overtaken(k int, at int64, zero time.Duration) bool {
	c := m.pending[k].cue
	if !ofItsBath(c) {
		return false
	}
	now := zero + duration(at)
	for i := k + 1; i < len(m.pending) && m.pending[i].due <= now; i++ {
		o := m.pending[i].cue
		if o.Sheet == c.Sheet && (supersedes(o) || (c.Kind == session.CueCall && o.Kind == session.CueCall)) {
			return true
		}
	}
	return false
}

func (m *Mixer) drop(it *item, why string) {
	if len(m.dropped) < cap(m.dropped) {
		m.dropped = append(m.dropped, Dropped{it.cue, why, it.due})
	}
}

func (m *Mixer) note(it *item, start int64, zero time.Duration, merged bool) {
	if len(m.begun) == cap(m.begun) {
		return // nobody reads the record
	}
	p := sounding{Played: Played{Key: it.cue.Key, Cue: it.cue, Merged: merged}, heard: zero + duration(start)}
	if it.motif >= 0 {
		p.Motif = motifs[it.motif].Name
	}
	p.due = it.due
	m.begun = append(m.begun, p)
}

func (m *Mixer) start(it *item, start int64, zero time.Duration) {
	m.note(it, start, zero, false)
	m.silence(it.cue, start)
	if supersedes(it.cue) || it.cue.Kind == session.CueSay {
		m.hush(it.cue, start) // what was answered before a move may be true no more
	}
	if r := rank(it.cue); r >= 2 && rank(m.speaking.cue) < r {
		m.cut(start, again, it.cue)
	}
	after := start
	if it.motif >= 0 {
		clip := m.clips[it.motif]
		if len(m.motifs) < cap(m.motifs) {
			m.motifs = append(m.motifs, active{buf: clip, at: start, motif: it.motif})
		}
		m.lastAt[it.motif] = start + int64(len(clip)) + int64(samples(sameGap))
		after += int64(len(clip)) + int64(samples(voiceGap))
	}
	if !it.said || it.voice != nil {
		w := *it
		w.due = zero + duration(after) // the words' own due instant
		i := len(m.tail)
		for i > 0 && rank(m.tail[i-1].cue) < rank(w.cue) {
			i--
		}
		if len(m.tail) == cap(m.tail) {
			return // sixty-four announcements behind: the motif has said it
		}
		m.tail = slices.Insert(m.tail, i, w)
	}
}

// cut takes the present speech away from a sample on, for a cue's sake. An answer is
// not given again.
func (m *Mixer) cut(at int64, then afterCut, by session.Cue) {
	sp := &m.speaking
	if !sp.on || sp.cutAt != math.MaxInt64 && sp.then != retaken {
		return
	}
	if isAnswer(sp.item) && then == again {
		then = dropped
	}
	sp.cutAt, sp.ramp, sp.then, sp.by = at, samples(cutRamp), then, by
	if sp.waits { // it is silent: nothing is faded
		sp.cutAt, sp.ramp = 0, 0
	}
}

// hush takes back an answer to the user: they have asked again.
func (m *Mixer) hush(by session.Cue, at int64) {
	m.tail = slices.DeleteFunc(m.tail, isAnswer)
	if isAnswer(m.speaking.item) {
		m.cut(at, dropped, by)
	}
}

func isAnswer(it item) bool { return it.cue.Kind == session.CueSay }

// silence withdraws what a cue makes untrue: the agitation that it ends, and once the
// sheets have moved on all that would still be said about the bath before.
func (m *Mixer) silence(c session.Cue, at int64) {
	on := supersedes(c)
	of := func(o session.Cue) bool {
		n := o.Numbers()
		return ends(c, o) || on && (ofItsBath(o) || o.Kind == session.CueBegin || o.Kind == session.CueMayGoIn) && (o.Sheet == c.Sheet && n.Len() < 2 || n != 0 && n&^c.Numbers() == 0)
	}
	m.tail = slices.DeleteFunc(m.tail, func(it item) bool { return of(it.cue) })
	if of(m.speaking.cue) {
		m.cut(at, dropped, c)
	}
}

// speak begins the next announcement if none is being spoken.
func (m *Mixer) speak(buf []float32, at int64, zero time.Duration) {
	end := at + int64(len(buf))
	if m.speaking.on {
		m.giveWay(at, end, zero)
		return // the next begins in a later call
	}
	for k := 0; k < len(m.tail); {
		it := &m.tail[k]
		start := max(index(it.due, zero), at, m.freeAt)
		late := duration(start) + zero - it.due
		limit := time.Duration(float64(patience(it.cue)) / m.pace())
		switch {
		case it.said && it.voice == nil:
			m.tail = slices.Delete(m.tail, k, k+1)
		case late > limit && !it.cue.Urgent():
			m.drop(it, "its words came too late")
			m.tail = slices.Delete(m.tail, k, k+1)
		case (!it.said || start >= end) && rank(it.cue) >= 2:
			return // what is less urgent would be in its way
		case !it.said || start >= end:
			k++ // not ready, not due: another may be
		default:
			sp := speech{item: *it, on: true, at: start, cutAt: math.MaxInt64}
			sp.seek(0)
			if rank(it.cue) < 2 && !m.clear(start, int64(sp.to), zero) {
				return // a motif is about to sound: the words come after it
			}
			if rank(it.cue) == 0 && m.cutIn(sp.cue, start, int64(len(sp.voice)), zero) {
				k++ // it would be cut off
				continue
			}
			m.speaking = sp
			m.tail = slices.Delete(m.tail, k, k+1)
			return
		}
	}
}

// giveWay ends the words of a call to move where those of a later call are due: both
// begin on time, and the first are said again, whole. None gives way more than
// twice, nor more than three in a row: of calls that never cease all would be cut.
func (m *Mixer) giveWay(at, end int64, zero time.Duration) {
	sp := &m.speaking
	if rank(sp.cue) != most || sp.gaveWay == 2 || m.gaveWay == 3 {
		return
	}
	for _, it := range m.tail {
		due := index(it.due, zero) - int64(samples(voiceGap)+samples(cutRamp))
		if rank(it.cue) == most && it.voice != nil && at <= due && due < end {
			m.cut(due, again, it.cue)
			sp.gaveWay++
			m.gaveWay++
			return
		}
	}
}

// clear reports whether no motif sounds in the n samples from s on that words
// would have to be heard through.
func (m *Mixer) clear(s, n int64, zero time.Duration) bool {
	for _, a := range m.motifs {
		if e := a.at + int64(len(a.buf)); s < e && s+n > a.at && !m.quiet(a.motif) {
			return false
		}
	}
	for i := range m.pending {
		it := &m.pending[i]
		st := index(it.due, zero)
		if st >= s+n {
			break // they are in order
		}
		if it.motif >= 0 && !m.quiet(it.motif) && m.wanted(it.cue) {
			return false
		}
	}
	return true
}

// cutIn reports whether something that cuts in on the words of c comes in the n samples
// from s on.
func (m *Mixer) cutIn(c session.Cue, s, n int64, zero time.Duration) bool {
	for i := range m.pending {
		it := &m.pending[i]
		st := index(it.due, zero)
		if st >= s+n {
			break
		}
		if st > s && (rank(it.cue) >= 2 || ends(it.cue, c)) && m.wanted(it.cue) {
			return true
		}
	}
	return false
}

// quiet reports whether a motif is so short or so soft that words go on under it.
func (m *Mixer) quiet(motif int) bool {
	return motifs[motif].Soft || motifs[motif].Kind() == session.CuePip
}

// under reports whether a motif sounds at sample s, and whether words wait for
// it.
func (m *Mixer) under(s int64) (any, loud bool) {
	for _, a := range m.motifs {
		if s >= a.at && s < a.at+int64(len(a.buf)) {
			any = true
			loud = loud || !m.quiet(a.motif)
		}
	}
	return any, loud
}

// over ends the present speech at a sample.
func (m *Mixer) over(s int64) {
	sp := &m.speaking
	m.freeAt = s + int64(samples(voiceGap))
	if len(m.ended) < cap(m.ended) {
		m.ended = append(m.ended, Speech{sp.cue, duration(s - sp.at), sp.cutAt <= s && sp.then != retaken, sp.by.Kind})
	}
	if sp.cutAt > s {
		m.gaveWay = 0
	} else if sp.then == again && len(m.tail) < cap(m.tail) {
		i := 0
		for i < len(m.tail) && rank(m.tail[i].cue) > rank(sp.cue) {
			i++
		}
		if k := slices.IndexFunc(m.tail, func(it item) bool { return it.cue.Key == sp.by.Key }); k > i {
			by := m.tail[k]
			m.tail = slices.Insert(slices.Delete(m.tail, k, k+1), i, by)
		}
		if i < len(m.tail) && m.tail[i].cue.Key == sp.by.Key {
			i++
		}
		m.tail = slices.Insert(m.tail, i, sp.item)
	}
	m.speaking = speech{}
}

// mixVoice speaks, piece by piece: none begins that a motif would sound into, and
// one that a motif has come into is said again behind it.
func (m *Mixer) mixVoice(buf []float32, at int64, zero time.Duration) {
	sp := &m.speaking
	if !sp.on {
		m.duck = 1
		return
	}
	in := float32((1 - duckTo) / float64(samples(duckIn)))
	out := float32((1 - duckTo) / float64(samples(duckOut)))
	var any, loud bool
	for i := range buf {
		s := at + int64(i)
		if s < sp.at {
			continue
		}
		look := i%16 == 0 || s == sp.at
		if look {
			any, loud = m.under(s)
		}
		if any {
			m.duck = max(duckTo, m.duck-in)
		} else {
			m.duck = min(1, m.duck+out)
		}
		if s >= sp.cutAt && sp.ramp == 0 {
			if sp.then != retaken {
				m.over(s)
				return
			}
			sp.seek(sp.from)
			sp.cutAt, sp.waits = math.MaxInt64, true
		}
		if m.waits(s, look, loud, zero) {
			continue
		}
		if sp.pos >= len(sp.voice) {
			m.over(s)
			return
		}
		x := sp.voice[sp.pos] * sp.vgain * m.duck
		if s >= sp.cutAt {
			x *= float32(sp.ramp) / float32(samples(cutRamp))
			sp.ramp--
		}
		buf[i] += x
		if sp.pos++; sp.pos == sp.to {
			sp.seek(sp.pos)
		}
	}
}

// waits reports whether the next piece waits at sample s, for a motif; one that is being
// said while a motif comes begins to fade, and is said again.
func (m *Mixer) waits(s int64, look, loud bool, zero time.Duration) bool {
	sp := &m.speaking
	switch {
	case sp.cutAt != math.MaxInt64 || sp.waited >= samples(waitMost):
	case sp.pos == sp.from && (s > sp.at || rank(sp.cue) < 2):
		if look || !sp.waits {
			sp.waits = !m.clear(s, int64(sp.to-sp.from), zero)
		}
		if sp.waits {
			sp.waited++
		}
		return sp.waits
	case loud && sp.pos-sp.from > samples(cutRamp):
		sp.cutAt, sp.ramp, sp.then = s, samples(cutRamp), retaken
	}
	return false
}

func (m *Mixer) mixMotifs(buf []float32, at int64) {
	end := at + int64(len(buf))
	keep := m.motifs[:0]
	for _, a := range m.motifs {
		from, to := max(a.at, at), min(a.at+int64(len(a.buf)), end)
		for s := from; s < to; s++ {
			buf[s-at] += a.buf[s-a.at]
		}
		if a.at+int64(len(a.buf)) > end {
			keep = append(keep, a)
		}
	}
	m.motifs = keep
}

func (m *Mixer) wantedVolume() float32 { return float32(min(1, max(0, m.volume))) }

// finish sets the volume, ramped over about 20 ms, and holds the sum below the
// ceiling: down at once, up again within about a fifth of a second.
func (m *Mixer) finish(buf []float32) {
	want := m.wantedVolume()
	const step = 1.0 / (0.02 * Rate)
	const rise = 1.0 / (0.2 * Rate)
	for i, x := range buf {
		switch {
		case m.vol < want:
			m.vol = min(want, m.vol+step)
		case m.vol > want:
			m.vol = max(want, m.vol-step)
		}
		x *= m.vol
		m.limit = min(1, m.limit+rise)
		if a := x * m.limit; a > ceiling || a < -ceiling {
			if x < 0 {
				m.limit = -ceiling / x
			} else {
				m.limit = ceiling / x
			}
		}
		buf[i] = x * m.limit
	}
}

// idle reports whether nothing is sounding, waiting to be spoken, or pending
// before the instant.
func (m *Mixer) idle(before time.Duration) bool {
	if m.sounding() || len(m.tail) > 0 {
		return false
	}
	return len(m.pending) == 0 || m.pending[0].due > before
}
