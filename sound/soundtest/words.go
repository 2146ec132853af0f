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

// Words writes down what is said in a recording, phrase by phrase; what it makes out
// no phrase in is passed over. The motifs of the recording, where they are known, are
// not looked into for the begin of a phrase.
func Words(samples []float32, motifs []Heard) (out []Word) {
	x := slow(samples)
	sum := sums(x)
	y := half(x)
	ysum := sums(y)
	ps := phrases()
	loud := speech(x)
	for _, h := range motifs {
		for k := max(0, int(h.At/hopLen)-2); k < min(len(loud), int((h.At+lengths[h.Motif])/hopLen)+6); k++ {
			loud[k] = false
		}
	}
	fft := fourier.NewFFT(fftLen)
	in, co, prod, back := make([]float64, fftLen), make([]complex128, fftLen/2+1), make([]complex128, fftLen/2+1), make([]float64, fftLen)
	for k := 0; k < len(loud); {
		if !loud[k] {
			k++
			continue
		}
		// Something sounds from about here: which phrase begins near it?
		from := max(0, k*hop-rate/8)
		for i := range in {
			in[i] = 0
			if from/2+i < len(y) {
				in[i] = y[from/2+i]
			}
		}
		fft.Coefficients(co, in)
		type place struct {
			p  *phrase
			at int
			c  float64 // cosine
			e  float64 // how much of what is heard it accounts for
		}
		better := func(a, b place) bool {
			if b.p == nil || a.c*nearly > b.c || b.c*nearly > a.c {
				return b.p == nil || a.c > b.c
			}
			return a.e > b.e // one may be the begin of the other
		}
		var best []place
		for i := range ps {
			p := &ps[i]
			for j := range prod {
				prod[j] = co[j] * complex(real(p.head[j]), -imag(p.head[j]))
			}
			fft.Sequence(back, prod)
			n := min(len(p.x)-p.off, headLen) / 2
			top := 0.0
			for lag := range back {
				at := from/2 + lag
				if lag >= fftLen-headLen/2 || at+n > len(y) {
					back[lag] = 0
					continue
				}
				back[lag] /= fftLen * math.Sqrt(p.power*(ysum[at+n]-ysum[at])+1e-12)
				top = max(top, back[lag])
			}
			if top < alike-0.1 {
				continue
			}
			// At half the rate, half a sample off, a wrong place can be better.
			b := place{p: p}
			for lag, c := range back {
				if c < alike-0.1 || lag > 0 && back[lag-1] > c || lag+1 < len(back) && back[lag+1] > c {
					continue
				}
				for at := 2*(from/2+lag) - p.off - 2; at <= 2*(from/2+lag)-p.off+2; at++ {
					if c := p.cosine(x, sum, at, 0, len(p.x)); c > b.c {
						b.at, b.c = at, c
					}
				}
			}
			if b.c > 0 {
				b.e = b.c * b.c * (sum[min(len(x), b.at+len(b.p.x))] - sum[max(0, b.at)])
				best = append(best, b)
			}
		}
		// The first in time of those that are sure.
		slices.SortFunc(best, func(a, b place) int { return cmp.Compare(a.at, b.at) })
		var got place
		for _, b := range best {
			switch {
			case b.c < alike:
			case got.p == nil, b.at < got.at+len(got.p.x) && better(b, got):
				got = b
			}
		}
		if got.p == nil {
			k += 35
			continue
		}
		if near := (got.at - rate/16) / hop; near > k+35 {
			k = near // what is more alike may end beyond what was looked into
			continue
		}
		for got.p != nil {
			end := got.at + len(got.p.x)
			out = append(out, Word{got.p.text, atRate(got.at), atRate(end), got.c})
			// What follows follows after one of the voice's pauses, and is about as clear.
			least := max(alike, 0.7*got.c)
			next := place{}
			for i := range ps {
				p := &ps[i]
				for _, gap := range gaps {
					for d := -1; d <= 1; d++ {
						at := end + gap + d
						if p.cosine(x, sum, at, p.off, p.off+headLen) < alike-0.1 {
							continue
						}
						if c := p.cosine(x, sum, at, 0, len(p.x)); c > least {
							if n := (place{p, at, c, c * c * (sum[at+len(p.x)] - sum[at])}); better(n, next) {
								next = n
							}
						}
					}
				}
			}
			k = max(k+1, end/hop)
			got = next
		}
	}
	return out
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
