package sound

import (
	"math"
	"slices"
	"sync"
	"time"

	"wetside/session"
)

// Rate is the number of samples in a second, everywhere in the project.
const Rate = 48000

// The edges of each note: a raised cosine, so that nothing clicks or startles.
const (
	attack  = 10 * time.Millisecond
	release = 15 * time.Millisecond
)

// A Note is one steady sine.
type Note struct {
	Hz   float64
	At   time.Duration // from the motif's begin
	Len  time.Duration // its edges included
	Gain float64       // peak amplitude; full scale is 1
}

// A Motif is a short sound that says one thing. No two motifs share a
// frequency, so that those sounding at once can still be told apart, by a
// person by pitch and rhythm and by a program by spectrum.
type Motif struct {
	Name  string            // as `wetside sounds` shows it
	Says  string            // what it tells the user, as it is shown there
	Kinds []session.CueKind // the cues it stands for; the first names it
	Stage session.Stage     // for CueBegin
	Soft  bool              // meant to lie below the others: heard when listened for
	Notes []Note            // in the order of At
}

// Kind is the cue the motif is named by.
func (m Motif) Kind() session.CueKind { return m.Kinds[0] }

// Len is the motif's length, from its first attack to its last release.
func (m Motif) Len() time.Duration {
	var l time.Duration
	for _, n := range m.Notes {
		l = max(l, n.At+n.Len)
	}
	return l
}

// Frequencies lists the motif's frequencies in Hz, ascending, each once.
func (m Motif) Frequencies() []float64 {
	var fs []float64
	for _, n := range m.Notes {
		fs = append(fs, n.Hz)
	}
	slices.Sort(fs)
	return slices.Compact(fs)
}

func n(hz float64, at, length int) Note {
	return Note{Hz: hz, At: time.Duration(at) * time.Millisecond, Len: time.Duration(length) * time.Millisecond, Gain: 1}
}

func kinds(ks ...session.CueKind) []session.CueKind { return ks }

// The frequencies lie on a grid, so that a window of 64 ms tells neighbours
// apart: GridLow, GridLow + GridStep, ... up to GridHigh, in Hz. Below it small
// loudspeakers are silent, above it old ears are.
const (
	GridLow  = 400
	GridStep = 35
	GridHigh = 2885
)

// motifs is the whole set. A stage's motif goes up by about a fourth, and each
// stage's begins higher than the one's before; its rhythm is its own. What asks
// for the hands (lift, move, call) lies above running water; what goes wrong or
// goes back, falls. Where a new one must lie between others, one that need not
// lie there gives up its place, the chimes first, for a free one.
//
// The amplitudes are set in init, to the same A-weighted loudness.
var motifs = []Motif{
	{Name: "exposure begins", Says: "the pinhole is open, the exposure runs", Kinds: kinds(session.CueLightOn), Stage: session.Exposure, Notes: []Note{n(435, 0, 110), n(575, 130, 230)}},
	{Name: "develop begins", Says: "the sheet is in: develop", Kinds: kinds(session.CueBegin), Stage: session.Develop, Notes: []Note{n(505, 0, 70), n(505, 130, 70), n(680, 220, 180)}},
	{Name: "stop begins", Says: "the sheet is in: stop", Kinds: kinds(session.CueBegin), Stage: session.Stop, Notes: []Note{n(610, 0, 200), n(820, 220, 70)}},
	{Name: "fix begins", Says: "the sheet is in: fix", Kinds: kinds(session.CueBegin), Stage: session.Fix, Notes: []Note{n(715, 0, 120), n(960, 140, 70), n(960, 270, 110)}},
	{Name: "second fix begins", Says: "the sheet is in: second fix", Kinds: kinds(session.CueBegin), Stage: session.Fix2, Notes: []Note{n(785, 0, 60), n(1065, 80, 60), n(785, 160, 60), n(1065, 240, 160)}},
	{Name: "rinse begins", Says: "the sheet is in: rinse", Kinds: kinds(session.CueBegin), Stage: session.Rinse, Notes: []Note{n(890, 0, 50), n(1205, 60, 200)}},
	{Name: "hypo-clear begins", Says: "the sheet is in: hypo-clear", Kinds: kinds(session.CueBegin), Stage: session.Clear, Notes: []Note{n(1030, 0, 160), n(1380, 180, 60), n(1380, 300, 60)}},
	{Name: "hold begins", Says: "the sheet is in: hold", Kinds: kinds(session.CueBegin), Stage: session.Hold, Notes: []Note{n(1135, 0, 200), n(1520, 220, 200)}},
	{Name: "wash begins", Says: "the sheet is in: wash", Kinds: kinds(session.CueBegin), Stage: session.Wash, Notes: []Note{n(1275, 0, 60), n(1275, 120, 60), n(1695, 190, 60), n(1695, 310, 130)}},

	{Name: "agitate", Says: "rock the tray", Kinds: kinds(session.CueRockOn), Notes: []Note{n(645, 0, 90), n(925, 110, 90), n(645, 220, 90)}},
	{Name: "rock", Says: "one soft tick at the rhythm of rocking", Kinds: kinds(session.CueRock), Soft: true, Notes: []Note{n(2360, 0, 45), n(2465, 0, 45)}},
	{Name: "agitation off", Says: "let the sheet rest", Kinds: kinds(session.CueRockOff), Notes: []Note{n(995, 0, 90), n(750, 110, 220)}},
	{Name: "ten seconds left", Says: "ten seconds to the end of this bath or exposure", Kinds: kinds(session.CueTen), Notes: []Note{n(1590, 0, 50), n(1590, 110, 50), n(1590, 220, 50)}},
	{Name: "may be judged", Says: "the least time is over: judge the sheet by eye", Kinds: kinds(session.CueAtLeast), Notes: []Note{n(1240, 0, 120), n(1660, 0, 120), n(1240, 200, 120), n(1660, 200, 120)}},
	{Name: "lift and drain", Says: "lift the sheet and let it drip", Kinds: kinds(session.CueDrain), Notes: []Note{n(1940, 0, 130), n(1450, 150, 240)}},
	{Name: "move now", Says: "the time is over: move the sheet on", Kinds: kinds(session.CueMove), Notes: []Note{n(1415, 0, 60), n(1905, 80, 100), n(1415, 240, 60), n(1905, 320, 100)}},
	{Name: "call again", Says: "the sheet still waits to be moved", Kinds: kinds(session.CueCall), Notes: []Note{n(1800, 0, 50), n(2255, 60, 50), n(1800, 120, 50), n(2255, 180, 50), n(1800, 240, 50)}},
	{Name: "move taken back", Says: "the last move was taken back", Kinds: kinds(session.CueBack), Notes: []Note{n(1310, 0, 60), n(540, 70, 80), n(540, 210, 120)}},
	{Name: "sheet done", Says: "the sheet is finished (or given up)", Kinds: kinds(session.CueDone, session.CueSpoiled), Notes: []Note{n(470, 0, 120), n(1170, 140, 120), n(2010, 280, 300)}},
	{Name: "wash begins again", Says: "an unwashed sheet came into the water: the wash counts anew", Kinds: kinds(session.CueWashAnew), Notes: []Note{n(1870, 0, 80), n(1485, 100, 80), n(1870, 200, 160)}},
	{Name: "change the water", Says: "change the wash water", Kinds: kinds(session.CueChange), Notes: []Note{n(1765, 0, 40), n(2185, 50, 40), n(1765, 180, 40), n(2185, 230, 40)}},
	{Name: "alive", Says: "nothing to do, the clock runs", Kinds: kinds(session.CueAlive), Soft: true, Notes: []Note{n(855, 0, 60), n(855, 150, 60), n(2430, 0, 60), n(2430, 150, 60)}},

	{Name: "exposure done", Says: "cover the pinhole", Kinds: kinds(session.CueLightOff), Notes: []Note{n(2395, 0, 70), n(2080, 90, 70), n(2395, 180, 70), n(2080, 270, 250)}},
	{Name: "pinhole covered", Says: "the exposure stands still", Kinds: kinds(session.CueCovered), Notes: []Note{n(2150, 0, 60), n(1625, 70, 120)}},
	{Name: "pinhole open", Says: "the exposure goes on", Kinds: kinds(session.CueUncovered), Notes: []Note{n(1555, 0, 60), n(2115, 70, 120)}},
	{Name: "may go in", Says: "the next sheet may go into the first bath", Kinds: kinds(session.CueMayGoIn), Notes: []Note{n(1100, 0, 300), n(1730, 150, 150)}},
	{Name: "error", Says: "something is wrong: the screen says what (safe time used up, bath spent, error)", Kinds: kinds(session.CueError, session.CueSafeAll, session.CueBathSpent), Notes: []Note{n(1835, 0, 70), n(1345, 90, 70), n(1345, 220, 70), n(1345, 350, 70)}},

	{Name: "pip", Says: "three, two, one: then move, or cover the pinhole", Kinds: kinds(session.CuePip), Notes: []Note{n(2535, 0, 70), n(2710, 0, 70)}},
	{Name: "key taken", Says: "a key was taken", Kinds: kinds(session.CueTaken), Soft: true, Notes: []Note{n(2570, 0, 35), n(2675, 0, 35)}},
	{Name: "key does nothing", Says: "a key does nothing here", Kinds: kinds(session.CueIdle), Soft: true, Notes: []Note{n(2500, 0, 45), n(2745, 0, 45), n(2500, 110, 45), n(2745, 110, 45)}},
	{Name: "hello", Says: "the program has begun, and this is how loud it is", Kinds: kinds(session.CueHello), Notes: []Note{n(400, 0, 160), n(2605, 180, 160)}},

	// Chimes of the cues that are chiefly spoken.
	{Name: "minutes left", Says: "a whole number of minutes is left", Kinds: kinds(session.CueMinutes), Notes: []Note{n(1975, 0, 100), n(1975, 180, 50)}},
	{Name: "thirty seconds left", Says: "thirty seconds left", Kinds: kinds(session.CueThirty), Notes: []Note{n(2045, 0, 40), n(2045, 110, 40), n(2045, 220, 100)}},
	{Name: "over by", Says: "another minute over time", Kinds: kinds(session.CueOver), Notes: []Note{n(2220, 0, 100), n(2220, 180, 100)}},
	{Name: "half-way", Says: "half of the exposure, or of the safe time, is over", Kinds: kinds(session.CueHalf, session.CueSafeHalf), Notes: []Note{n(2290, 0, 160), n(2290, 240, 50)}},
	{Name: "word of change", Says: "something changed ahead: image seen, light changed, two sheets at once, bath nearly spent", Kinds: kinds(session.CueSeen, session.CueRelight, session.CueConflict, session.CueBathHigh), Notes: []Note{n(2325, 0, 70), n(2325, 150, 160)}},
}

// steady is the amplitude of a long note of 1 kHz; softer is by how much, in
// decibels, a Soft motif lies below the others.
const (
	steady = 0.15
	softer = 9.0
)

func init() {
	want := 20 * math.Log10(steady/math.Sqrt2)
	for i := range motifs {
		m := &motifs[i]
		slices.SortStableFunc(m.Notes, func(a, b Note) int { return int(a.At - b.At) })
		// Each note by its own weight first, so that a low note is not lost
		// beside a high one; then the whole.
		for k := range m.Notes {
			m.Notes[k].Gain *= math.Pow(10, -aWeight(m.Notes[k].Hz)/20)
		}
		up := want - loudness(m.Notes)
		if m.Soft {
			up -= softer
		}
		for k := range m.Notes {
			m.Notes[k].Gain *= math.Pow(10, up/20)
		}
	}
}

// aWeight is the A-weighting at hz in decibels, by the formula of IEC 61672-1
// (annex E), 0 dB at 1 kHz.
func aWeight(hz float64) float64 {
	ra := func(f float64) float64 {
		const f1, f2, f3, f4 = 20.598997, 107.65265, 737.86223, 12194.217
		q := f * f
		return f4 * f4 * q * q / ((q + f1*f1) * math.Sqrt((q+f2*f2)*(q+f3*f3)) * (q + f4*f4))
	}
	return 20 * math.Log10(ra(hz)/ra(1000))
}

// loudness is the greatest A-weighted level of the notes with the time
// weighting F (an exponential mean of 125 ms, IEC 61672-1), in decibels
// relative to a square wave of full scale.
func loudness(notes []Note) float64 {
	var end time.Duration
	for _, n := range notes {
		end = max(end, n.At+n.Len)
	}
	const step = time.Millisecond
	keep := math.Exp(-step.Seconds() / 0.125)
	var mean, most float64
	for t := step / 2; t < end; t += step {
		p := 0.0
		for _, n := range notes {
			a := n.Gain * envelope(t-n.At, n.Len)
			p += a * a / 2 * math.Pow(10, aWeight(n.Hz)/10)
		}
		mean = keep*mean + (1-keep)*p
		most = max(most, mean)
	}
	return 10 * math.Log10(most)
}

// envelope is the amplitude of a note of length l at t after its begin, 0..1.
func envelope(t, l time.Duration) float64 {
	switch {
	case t <= 0 || t >= l:
		return 0
	case t < attack:
		return 0.5 - 0.5*math.Cos(math.Pi*float64(t)/float64(attack))
	case l-t < release:
		return 0.5 - 0.5*math.Cos(math.Pi*float64(l-t)/float64(release))
	}
	return 1
}

// Envelope is the amplitude of the note at t from the motif's begin.
func (n Note) Envelope(t time.Duration) float64 { return n.Gain * envelope(t-n.At, n.Len) }

// MotifFor is the motif of a cue; false for what is only spoken. What a sheet may do in
// half a minute is: with the call's motif before the words, the press that answers
// it would move another sheet.
func MotifFor(c session.Cue) (Motif, bool) {
	if i := motifIndex(c); i >= 0 {
		return motifs[i], true
	}
	return Motif{}, false
}

func motifIndex(c session.Cue) int {
	kind := c.Kind
	if kind == session.CueBegin && c.Stage == session.Exposure {
		kind = session.CueLightOn // the same fact
	}
	if kind == session.CueMayGoIn && c.Left >= time.Second {
		return -1
	}
	for i := range motifs {
		m := &motifs[i]
		if slices.Contains(m.Kinds, kind) && (kind != session.CueBegin || m.Stage == c.Stage) {
			return i
		}
	}
	return -1
}

// A Named is one motif and what it says, for a list.
type Named struct {
	Name string      // short, unique
	Says string      // what it tells the user
	Cue  session.Cue // plays it
}

// Names lists every motif with what it says, in the order a sheet meets them.
func Names() []Named {
	out := make([]Named, 0, len(motifs))
	for _, m := range motifs {
		out = append(out, Named{Name: m.Name, Says: m.Says, Cue: session.Cue{Key: "name/" + m.Name, Kind: m.Kind(), Stage: m.Stage}})
	}
	return out
}

// render gives the motif's samples: mono, Rate. Notes of one frequency keep
// their phase from one to the next.
func (m Motif) render() []float32 {
	buf := make([]float32, samples(m.Len()))
	for _, n := range m.Notes {
		w := 2 * math.Pi * n.Hz / Rate
		for i := samples(n.At); i < samples(n.At+n.Len) && i < len(buf); i++ {
			t := time.Duration(i) * time.Second / Rate
			buf[i] += float32(n.Envelope(t) * math.Sin(w*float64(i)))
		}
	}
	return buf
}

// rendered is every motif's samples, made once.
var rendered = sync.OnceValue(func() [][]float32 {
	out := make([][]float32, len(motifs))
	for i := range motifs {
		out[i] = motifs[i].render()
	}
	return out
})

// samples is how many samples d lasts.
func samples(d time.Duration) int { return int(int64(d) * Rate / int64(time.Second)) }

// duration is how long n samples last.
func duration(n int64) time.Duration {
	return time.Duration(n/Rate)*time.Second + time.Duration(n%Rate)*time.Second/Rate
}
