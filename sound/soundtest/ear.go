// Package soundtest is a second listener: a program that has nothing but a recording
// and the published table of motifs, and writes down what it heard and when.
//
// It never sees the samples that were played, the schedule or a log. For each
// frequency of the table it follows the amplitude through the recording (a Hann
// window of 64 ms, each 8 ms), and looks where the amplitudes of one motif's
// frequencies rise and fall together in the motif's rhythm. The measure is the
// cosine between what was measured and what the table's notes would give, over
// the motif's length and a little silence before and after; overlapping motifs
// do not disturb each other because no two of them share a frequency.
//
// The package is used by tests alone.
package soundtest

import (
	"cmp"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"math/cmplx"
	"slices"
	"time"

	"gonum.org/v1/gonum/dsp/fourier"

	"wetside/session"
	"wetside/sound"
)

// A Heard is one motif that was found.
type Heard struct {
	Motif string // its name in the table
	Kind  session.CueKind
	Stage session.Stage
	At    time.Duration // of its begin, from the begin of the recording
	Score float64       // squared cosine, 0..1
	Gain  float64       // loudness against the table's, as a factor of amplitude
}

const (
	decimate = 8
	rate     = sound.Rate / decimate
	window   = 64 * rate / 1000
	hop      = 8 * rate / 1000
	guard    = 45 * time.Millisecond
	// accept is the least squared cosine; quiet and loud bound the gain
	// against that of the recording as a whole.
	accept = 0.8
	quiet  = 0.5
	loud   = 2.0
)

var hopLen = time.Second * hop / rate

// lowpass is a windowed sinc of so many taps that halves the signal at cut, a
// share of the sampling rate.
func lowpass(taps int, cut float64) []float64 {
	h := make([]float64, taps)
	sum := 0.0
	for i := range h {
		x := float64(i - taps/2)
		h[i] = 2 * cut
		if x != 0 {
			h[i] = math.Sin(2*math.Pi*cut*x) / (math.Pi * x)
		}
		h[i] *= 0.54 + 0.46*math.Cos(2*math.Pi*x/float64(taps))
		sum += h[i]
	}
	for i := range h {
		h[i] /= sum
	}
	return h
}

// slow brings 48 kHz down to 6 kHz in two steps, without delay. The grid of
// motifs passes and what would fold onto it is kept away.
func slow(in []float32) []float64 {
	x := make([]float64, len(in))
	for i, v := range in {
		x[i] = float64(v)
	}
	x = thin(x, 4, lowpass(31, 6000.0/sound.Rate))
	return thin(x, 2, lowpass(97, 3000.0/12000))
}

func thin(in []float64, by int, h []float64) []float64 {
	out := make([]float64, len(in)/by)
	mid := len(h) / 2
	for i := range out {
		from := i*by - mid
		sum := 0.0
		if from >= 0 && from+len(h) <= len(in) {
			for k, v := range in[from : from+len(h)] {
				sum += h[k] * v
			}
		} else {
			for k, c := range h {
				if j := from + k; j >= 0 && j < len(in) {
					sum += c * in[j]
				}
			}
		}
		out[i] = sum
	}
	return out
}

var hann = func() []float64 {
	w := make([]float64, window)
	sum := 0.0
	for i := range w {
		w[i] = 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/window)
		sum += w[i]
	}
	for i := range w {
		w[i] /= sum
	}
	return w
}()

// follow measures the amplitude at each of the frequencies each hop; the k-th
// value is centred at k hops. The window is padded with zeros, so that the
// nearest bin of the transform is never 4 Hz away.
func follow(x []float64, hz []float64) map[float64][]float32 {
	const size = 2 * window
	fft := fourier.NewFFT(size)
	out := make(map[float64][]float32, len(hz))
	rows, bins := make([][]float32, len(hz)), make([]int, len(hz))
	hops := len(x)/hop + 1
	for i, f := range hz {
		rows[i], bins[i] = make([]float32, hops), int(math.Round(f*size/rate))
		out[f] = rows[i]
	}
	in, co := make([]float64, size), make([]complex128, size/2+1)
	for k := range hops {
		from := k*hop - window/2
		for i, w := range hann {
			in[i] = 0
			if j := from + i; j >= 0 && j < len(x) {
				in[i] = w * x[j]
			}
		}
		fft.Coefficients(co, in)
		for i, b := range bins {
			rows[i][k] = float32(2 * cmplx.Abs(co[b]))
		}
	}
	return out
}

// A pattern is what a motif of gain 1 gives in each of its frequencies.
type pattern struct {
	m      sound.Motif
	before int // hops from the pattern's begin to the motif's
	rows   []row
	power  float64 // sum of squares
}

type row struct {
	hz   float64
	want []float64
}

func patternOf(m sound.Motif) pattern {
	p := pattern{m: m, before: int(guard / hopLen)}
	count := int((m.Len()+2*guard)/hopLen) + 1
	for _, hz := range m.Frequencies() {
		r := row{hz: hz, want: make([]float64, count)}
		for k := range r.want {
			centre := time.Duration(k-p.before) * hopLen
			for i, w := range hann {
				t := centre + time.Duration(i-window/2)*time.Second/rate
				for _, n := range m.Notes {
					if n.Hz == hz {
						r.want[k] += w * n.Envelope(t)
					}
				}
			}
			p.power += r.want[k] * r.want[k]
		}
		p.rows = append(p.rows, r)
	}
	return p
}

var patterns = func() []pattern {
	var ps []pattern
	for _, n := range sound.Names() {
		m, _ := sound.MotifFor(n.Cue)
		ps = append(ps, patternOf(m))
	}
	return ps
}()

// Listen finds every motif in a recording: mono, 48 kHz, full scale 1. What it
// returns is in the order of time.
func Listen(samples []float32) []Heard {
	x := slow(samples)
	var hz []float64
	for _, p := range patterns {
		for _, r := range p.rows {
			hz = append(hz, r.hz)
		}
	}
	bands := follow(x, hz)
	var found []Heard
	for _, p := range patterns {
		found = append(found, p.find(bands)...)
	}
	// How loud the program was set is not known: it is what most of the clear
	// findings agree on.
	var gains []float64
	for _, h := range found {
		if h.Score > 0.9 {
			gains = append(gains, h.Gain)
		}
	}
	if len(gains) == 0 {
		return nil
	}
	slices.Sort(gains)
	level := gains[len(gains)*3/4]
	found = slices.DeleteFunc(found, func(h Heard) bool {
		return h.Gain < quiet*level || h.Gain > loud*level
	})
	slices.SortFunc(found, func(a, b Heard) int { return cmp.Or(cmp.Compare(a.At, b.At), cmp.Compare(a.Motif, b.Motif)) })
	return found
}

// find slides one pattern along its bands.
func (p pattern) find(bands map[float64][]float32) []Heard {
	hops := len(bands[p.rows[0].hz])
	span := len(p.rows[0].want)
	score, gain := make([]float64, hops+span), make([]float64, hops+span)
	// The s-th place has the pattern's begin at hop s-span.
	for s := range score {
		var c, e float64
		for _, r := range p.rows {
			b := bands[r.hz]
			for k, w := range r.want {
				if j := s - span + k; j >= 0 && j < hops {
					v := float64(b[j])
					c += w * v
					e += v * v
				}
			}
		}
		gain[s] = c / p.power
		if e > 0 && gain[s] > 1e-3 {
			score[s] = c * c / (p.power * e)
		}
	}
	var out []Heard
	apart := max(1, int(p.m.Len()/hopLen))
	for s := 1; s+1 < len(score); s++ {
		v := score[s]
		if v < accept || v < score[s-1] || v <= score[s+1] {
			continue
		}
		// The best within a motif's length.
		best := true
		for d := -apart; d <= apart; d++ {
			if j := s + d; j >= 0 && j < len(score) && score[j] > v {
				best = false
				break
			}
		}
		if !best {
			continue
		}
		// The peak lies between hops: where a parabola through three has it.
		l, r := score[s-1], score[s+1]
		off := 0.0
		if q := l - 2*v + r; q < 0 {
			off = (l - r) / (2 * q)
		}
		at := time.Duration((float64(s-span+p.before) + off) * float64(hopLen))
		out = append(out, Heard{Motif: p.m.Name, Kind: p.m.Kind(), Stage: p.m.Stage, At: at, Score: v, Gain: gain[s]})
	}
	return out
}

// A Span is one stage of one sheet, as heard.
type Span struct {
	Sheet int // in the order in which they were first heard, from 1
	Stage session.Stage
	Begin time.Duration
	End   time.Duration // 0: it had not ended when the recording did
}

// Stages rebuilds the begin and the end of each stage from what was heard. The
// motifs do not say which sheet is meant: with several, the one moves that has
// waited longest in the stage nearest before the one that begins. A move taken
// back is the last that was made.
func Stages(heard []Heard) []Span {
	var b book
	for _, h := range heard {
		switch h.Kind {
		case session.CueLightOn, session.CueBegin:
			b.begin(h)
		case session.CueLightOff:
			b.end(b.nearest(rank(session.Exposure)+1), h.At)
		case session.CueBack:
			b.back()
		case session.CueDone:
			if sh := b.nearest(len(session.Stages)); sh != nil {
				b.end(sh, h.At)
				sh.gone = true
			}
		}
	}
	var out []Span
	for _, s := range b.spans {
		if s.Sheet > 0 {
			out = append(out, *s)
		}
	}
	return out
}

// A book is what a hearer of motifs writes down.
type book struct {
	spans  []*Span // in the order in which they were heard
	sheets []*heardSheet
	last   *heardSheet // to be moved
}

type heardSheet struct {
	spans []*Span
	gone  bool
}

// open is the stage that a sheet is in; nil if all were taken back.
func (sh *heardSheet) open() *Span {
	if len(sh.spans) == 0 {
		return nil
	}
	return sh.spans[len(sh.spans)-1]
}

func rank(s session.Stage) int { return slices.Index(session.Stages, s) }

// nearest is the sheet that is, since longest, in the highest stage below r.
func (b *book) nearest(r int) (best *heardSheet) {
	for _, sh := range b.sheets {
		sp := sh.open()
		if sh.gone || sp == nil || rank(sp.Stage) >= r {
			continue
		}
		if best == nil || cmp.Or(cmp.Compare(rank(best.open().Stage), rank(sp.Stage)), cmp.Compare(sp.Begin, best.open().Begin)) < 0 {
			best = sh
		}
	}
	return best
}

func (b *book) begin(h Heard) {
	sh := b.nearest(rank(h.Stage))
	if sh == nil {
		sh = &heardSheet{}
		b.sheets = append(b.sheets, sh)
	}
	b.end(sh, h.At)
	sp := &Span{Sheet: slices.Index(b.sheets, sh) + 1, Stage: h.Stage, Begin: h.At}
	sh.spans, b.spans, b.last = append(sh.spans, sp), append(b.spans, sp), sh
}

// end ends the stage that a sheet is in, unless it has ended.
func (b *book) end(sh *heardSheet, at time.Duration) {
	if sh != nil && sh.open() != nil && sh.open().End == 0 {
		sh.open().End = at
	}
}

// back takes the last move back: what it began was no stage, and what it ended goes on.
func (b *book) back() {
	if b.last == nil || b.last.open() == nil {
		return
	}
	b.last.open().Sheet = 0
	b.last.spans = b.last.spans[:len(b.last.spans)-1]
	if sp := b.last.open(); sp != nil {
		sp.End = 0
	}
}

// PCM reads signed 16-bit little-endian mono samples, full scale 1.
func PCM(b []byte) []float32 {
	out := make([]float32, len(b)/2)
	for i := range out {
		out[i] = float32(int16(binary.LittleEndian.Uint16(b[2*i:]))) / 32768
	}
	return out
}

// WAV reads a RIFF/WAVE file of 16-bit PCM, mono, 48 kHz.
func WAV(r io.Reader) ([]float32, error) {
	b, err := io.ReadAll(r)
	if err != nil {
		return nil, err
	}
	if len(b) < 12 || string(b[:4]) != "RIFF" || string(b[8:12]) != "WAVE" {
		return nil, errors.New("not a RIFF/WAVE file")
	}
	good := false
	for b = b[12:]; len(b) >= 8; {
		size := int(binary.LittleEndian.Uint32(b[4:]))
		// A recorder that was stopped may have left the size open.
		body := b[8:min(len(b), 8+max(0, size))]
		switch string(b[:4]) {
		case "fmt ":
			if len(body) < 16 {
				return nil, errors.New("the format chunk is too short")
			}
			f, ch := binary.LittleEndian.Uint16(body), binary.LittleEndian.Uint16(body[2:])
			hz, bits := binary.LittleEndian.Uint32(body[4:]), binary.LittleEndian.Uint16(body[14:])
			if (f != 1 && f != 0xFFFE) || ch != 1 || hz != sound.Rate || bits != 16 {
				return nil, fmt.Errorf("format %d, %d channels, %d Hz, %d bits: want 16-bit PCM, mono, %d Hz", f, ch, hz, bits, sound.Rate)
			}
			good = true
		case "data":
			if !good {
				return nil, errors.New("data before the format")
			}
			return PCM(body), nil
		}
		b = b[min(len(b), 8+size+size&1):]
	}
	return nil, errors.New("no data chunk")
}
