package soundtest

import (
	"cmp"
	"math"
	"slices"
	"sync"
	"time"

	"gonum.org/v1/gonum/dsp/fourier"

	"wetside/session/say"
	"wetside/sound/voice"
)

// This file is the listener's ear for words. It knows how each phrase of the voice
// sounds, as somebody does who has used the program, and nothing of when or in what
// order any is said: it looks for whatever phrase is most like what it hears, at any
// instant, and then for what follows.

// A Word is one phrase of the voice that was heard.
type Word struct {
	Text    string
	At, End time.Duration
	Score   float64 // cosine, 0..1
}

// A phrase is one clip as the ear keeps it, at the ear's rate.
type phrase struct {
	text  string
	x     []float64
	sum   []float64 // of squares, up to each sample
	off   int       // where its loudest stretch near its begin is, by which it is looked for
	head  []complex128
	power float64 // of that stretch, at half the rate
}

const (
	headLen = rate * 30 / 100 // of the stretch by which a phrase is looked for
	headIn  = rate * 60 / 100 // within which it begins
	// It is looked for in what is left at half the rate: that takes half the time.
	fftLen = 4096
	// alike is the least cosine of a phrase with what is heard. In water as loud as
	// the voice it is 0.7 and more; of another phrase at its best place it is below
	// 0.45.
	alike = 0.47
	// nearly is within how much two phrases are equally alike.
	nearly = 0.85
)

var phrases = sync.OnceValue(func() (out []phrase) {
	v, err := voice.New(voice.Config{})
	if err != nil {
		panic(err)
	}
	fft := fourier.NewFFT(fftLen)
	for _, c := range say.Clips() {
		p := phrase{text: c, x: slow(v.Say([]string{c}))}
		p.sum = sums(p.x)
		in := make([]float64, fftLen)
		for i := 0; i <= min(headIn, len(p.x)-headLen); i += 8 {
			if p.sum[i+headLen]-p.sum[i] > p.sum[p.off+headLen]-p.sum[p.off] {
				p.off = i
			}
		}
		for i, v := range half(p.x)[p.off/2 : min(len(p.x), p.off+headLen)/2] {
			in[i] = v
			p.power += v * v
		}
		p.head = fft.Coefficients(nil, in)
		out = append(out, p)
	}
	return out
})

// half is what is left at half the rate.
func half(x []float64) []float64 { return thin(x, 2, lowpass(49, 1400.0/rate)) }

// sums are the sums of squares up to each sample.
func sums(x []float64) []float64 {
	out := make([]float64, len(x)+1)
	for i, v := range x {
		out[i+1] = out[i] + v*v
	}
	return out
}

// cosine is how alike the samples of a phrase from one on to another are to what is
// heard, of which the phrase's first is at a place.
func (p *phrase) cosine(x, sum []float64, at, from, to int) float64 {
	to = min(to, len(p.x))
	if at+from < 0 || at+to > len(x) {
		return 0
	}
	c := 0.0
	for i := from; i < to; i++ {
		c += p.x[i] * x[at+i]
	}
	return c / math.Sqrt((p.sum[to]-p.sum[from])*(sum[at+to]-sum[at+from])+1e-12)
}

// A hearer looks for phrases in one recording.
type hearer struct {
	x, sum   []float64 // at the ear's rate, and the sums of its squares
	y, ysum  []float64 // at half of it
	fft      *fourier.FFT
	in, back []float64
	co, prod []complex128
}

// A place is where a phrase may be.
type place struct {
	p  *phrase
	at int
	c  float64 // cosine
	e  float64 // how much of what is heard it accounts for
}

func (a place) end() int { return a.at + len(a.p.x) }

// better reports whether a rather than b was said. One may be the begin of the other.
func (a place) better(b place) bool {
	if b.p == nil || a.c*nearly > b.c || b.c*nearly > a.c {
		return b.p == nil || a.c > b.c
	}
	return a.e > b.e
}

// Words writes down what is said in a recording, phrase by phrase; what it makes out
// no phrase in is passed over. The motifs of the recording, where they are known, are
// not looked into for the begin of a phrase.
func Words(samples []float32, motifs []Heard) (out []Word) {
	h := hearer{x: slow(samples), fft: fourier.NewFFT(fftLen), in: make([]float64, fftLen), back: make([]float64, fftLen),
		co: make([]complex128, fftLen/2+1), prod: make([]complex128, fftLen/2+1)}
	h.y = half(h.x)
	h.sum, h.ysum = sums(h.x), sums(h.y)
	loud := speech(h.x)
	for _, m := range motifs {
		for k := max(0, int(m.At/hopLen)-2); k < min(len(loud), int((m.At+lengths[m.Motif])/hopLen)+6); k++ {
			loud[k] = false
		}
	}
	for k := 0; k < len(loud); {
		if !loud[k] {
			k++
			continue
		}
		got := h.first(max(0, k*hop-rate/8))
		if got.p == nil {
			k += 35
			continue
		}
		if near := (got.at - rate/16) / hop; near > k+35 {
			k = near // what is more alike may end beyond what was looked into
			continue
		}
		for ; got.p != nil; got = h.next(got) {
			out = append(out, Word{got.p.text, atRate(got.at), atRate(got.end()), got.c})
			k = max(k+1, got.end()/hop)
		}
	}
	return out
}

// first is the first phrase of which the hearer is sure near a place.
func (h *hearer) first(from int) (got place) {
	clear(h.in)
	copy(h.in, h.y[min(len(h.y), from/2):])
	h.fft.Coefficients(h.co, h.in)
	var all []place
	for i, p := range phrases() {
		if b := h.where(&phrases()[i], from); b.c >= alike {
			b.e = b.c * b.c * (h.sum[min(len(h.x), b.at+len(p.x))] - h.sum[max(0, b.at)])
			all = append(all, b)
		}
	}
	slices.SortFunc(all, func(a, b place) int { return cmp.Compare(a.at, b.at) })
	for _, b := range all {
		if got.p == nil || b.at < got.end() && b.better(got) {
			got = b
		}
	}
	return got
}

// where is the place behind one at which a phrase is most like what is heard: looked
// for by its head at half the rate, and then by the whole. What is transformed stands
// in co.
func (h *hearer) where(p *phrase, from int) place {
	for j := range h.prod {
		h.prod[j] = h.co[j] * complex(real(p.head[j]), -imag(p.head[j]))
	}
	h.fft.Sequence(h.back, h.prod)
	n := min(len(p.x)-p.off, headLen) / 2
	for lag := range h.back {
		if at := from/2 + lag; lag >= fftLen-headLen/2 || at+n > len(h.y) {
			h.back[lag] = 0
		} else {
			h.back[lag] /= fftLen * math.Sqrt(p.power*(h.ysum[at+n]-h.ysum[at])+1e-12)
		}
	}
	// At half the rate, half a sample off, a wrong place can be better.
	b := place{p: p}
	for lag, c := range h.back {
		if c < alike-0.1 || lag > 0 && h.back[lag-1] > c || lag+1 < len(h.back) && h.back[lag+1] > c {
			continue
		}
		for at := 2*(from/2+lag) - p.off - 2; at <= 2*(from/2+lag)-p.off+2; at++ {
			if c := p.cosine(h.x, h.sum, at, 0, len(p.x)); c > b.c {
				b.at, b.c = at, c
			}
		}
	}
	return b
}

// next is the phrase behind one: it follows after one of the voice's pauses, and is
// about as clear.
func (h *hearer) next(got place) (next place) {
	least := max(alike, 0.7*got.c)
	for i := range phrases() {
		p := &phrases()[i]
		for _, gap := range gaps {
			for at := got.end() + gap - 1; at <= got.end()+gap+1; at++ {
				if p.cosine(h.x, h.sum, at, p.off, p.off+headLen) < alike-0.1 {
					continue
				}
				if c := p.cosine(h.x, h.sum, at, 0, len(p.x)); c > least {
					if n := (place{p, at, c, c * c * (h.sum[at+len(p.x)] - h.sum[at])}); n.better(next) {
						next = n
					}
				}
			}
		}
	}
	return next
}

var gaps = func() (out []int) {
	for _, ms := range []int{15, 110, 220} {
		out = append(out, ms*rate/1000)
	}
	return out
}()

func atRate(n int) time.Duration { return time.Duration(n) * time.Second / rate }

// speech marks the hops in which something is louder than what is always there.
func speech(x []float64) []bool {
	power := make([]float64, len(x)/hop)
	for i := range power {
		for _, v := range x[i*hop : (i+1)*hop] {
			power[i] += v * v
		}
	}
	// Some hops together, for water is uneven.
	const wide = 4
	smooth := make([]float64, len(power))
	for i := range power {
		n := 0
		for j := max(0, i-wide); j <= min(len(power)-1, i+wide); j++ {
			smooth[i] += power[j]
			n++
		}
		smooth[i] /= float64(n)
	}
	sorted := slices.Sorted(slices.Values(smooth))
	floor := 1e-9
	if len(sorted) > 0 {
		floor += sorted[len(sorted)/10] * 1.6
	}
	out := make([]bool, len(power))
	for i, p := range smooth {
		out[i] = p > floor
	}
	return out
}

// lengths are those of the motifs, by name.
var lengths = func() map[string]time.Duration {
	out := map[string]time.Duration{}
	for _, p := range patterns {
		out[p.m.Name] = p.m.Len()
	}
	return out
}()
