package voice

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
)

// longestWAV bounds a recording: what is longer than 15 s is no name.
const longestWAV = 15

// readUser reads one of the user's recordings, ready to be joined to clips.
func readUser(user fs.FS, name string) ([]float32, error) {
	f, err := user.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, 64<<20))
	if err != nil {
		return nil, err
	}
	s, rate, err := decodeWAV(b)
	if err != nil {
		return nil, err
	}
	if len(s) > longestWAV*rate {
		return nil, fmt.Errorf("the recording lasts %d s; cut it to %d s or less", len(s)/rate, longestWAV)
	}
	if s = fit(resample(s, rate, Rate)); len(s) == 0 {
		return nil, errors.New("nothing can be heard in this recording; record it again, closer")
	}
	return s, nil
}

var errWAV = errors.New("not a WAV file this program can read; save it as WAV, PCM, 16 bit")

// decodeWAV reads a RIFF/WAVE file of PCM (8, 16, 24, 32 bit) or 32-bit float
// samples, any rate, any number of channels, as mono. Layout: Microsoft and IBM,
// "Multimedia Programming Interface and Data Specifications 1.0" (1991). A data
// chunk that claims more than there is, as written by a program whose output
// was a pipe, is taken as far as it goes.
func decodeWAV(b []byte) (s []float32, rate int, err error) {
	if len(b) < 12 || string(b[:4]) != "RIFF" || string(b[8:12]) != "WAVE" {
		return nil, 0, errWAV
	}
	var kind, channels, bits int
	for b = b[12:]; len(b) >= 8; {
		id, n := string(b[:4]), int(binary.LittleEndian.Uint32(b[4:]))
		body := b[8:]
		if n > len(body) {
			n = len(body)
		}
		body = body[:n]
		switch id {
		case "fmt ":
			if n < 16 {
				return nil, 0, errWAV
			}
			kind = int(binary.LittleEndian.Uint16(body))
			channels = int(binary.LittleEndian.Uint16(body[2:]))
			rate = int(binary.LittleEndian.Uint32(body[4:]))
			bits = int(binary.LittleEndian.Uint16(body[14:]))
			if kind == 0xFFFE && n >= 26 { // extensible: the true kind opens the sub-format
				kind = int(binary.LittleEndian.Uint16(body[24:]))
			}
		case "data":
			return samples(body, kind, channels, bits, rate)
		}
		b = b[min(8+n+n&1, len(b)):]
	}
	return nil, 0, errWAV
}

// sampleOf reads one sample, by the kind of samples and their bits: 1 is PCM, 3 float.
var sampleOf = map[[2]int]func(p []byte) float64{
	{1, 8}:  func(p []byte) float64 { return (float64(p[0]) - 128) / 128 },
	{1, 16}: func(p []byte) float64 { return float64(int16(binary.LittleEndian.Uint16(p))) / (1 << 15) },
	{1, 24}: func(p []byte) float64 {
		return float64(int32(uint32(p[0])<<8|uint32(p[1])<<16|uint32(p[2])<<24)) / (1 << 31)
	},
	{1, 32}: func(p []byte) float64 { return float64(int32(binary.LittleEndian.Uint32(p))) / (1 << 31) },
	{3, 32}: func(p []byte) float64 {
		f := float64(math.Float32frombits(binary.LittleEndian.Uint32(p)))
		if math.IsNaN(f) || math.IsInf(f, 0) {
			return 0
		}
		return f
	},
}

func samples(b []byte, kind, channels, bits, rate int) ([]float32, int, error) {
	one := sampleOf[[2]int{kind, bits}]
	if one == nil || channels < 1 || channels > 8 || rate < 4000 || rate > 384000 {
		return nil, 0, errWAV
	}
	w := bits / 8
	out := make([]float32, len(b)/(w*channels))
	for i := range out {
		sum := 0.0
		for c := 0; c < channels; c++ {
			sum += one(b[(i*channels+c)*w:])
		}
		out[i] = float32(sum / float64(channels))
	}
	return out, rate, nil
}

// fit makes a foreign recording at Rate like a clip: silence cut, as loud as
// the clips are (by plain RMS of what is spoken, which is near enough to the
// clips' A-weighted level for speech), ends faded, under Peak. Nil when there
// is nothing in it.
func fit(s []float32) []float32 {
	const frame = Rate / 100
	var e []float64
	top := 0.0
	for i := 0; i < len(s); i += frame {
		sum, f := 0.0, s[i:min(i+frame, len(s))]
		for _, x := range f {
			sum += float64(x) * float64(x)
		}
		e = append(e, sum/float64(len(f)))
		top = max(top, e[len(e)-1])
	}
	if top < 1e-8 {
		return nil
	}
	a, b := 0, len(e)
	for a < b && e[a] < top*1e-4 {
		a++
	}
	for b > a && e[b-1] < top*1e-4 {
		b--
	}
	sum, n := 0.0, 0
	for _, v := range e[a:b] {
		if v >= top/100 {
			sum, n = sum+v, n+1
		}
	}
	gain := math.Pow(10, Level/20) / math.Sqrt(sum/float64(n))
	from := s[max(a-1, 0)*frame : min((b+1)*frame, len(s))]
	peak := 0.0
	for _, x := range from {
		peak = max(peak, math.Abs(float64(x)))
	}
	gain = min(gain, 0.98*Peak/peak)
	out := make([]float32, len(from))
	for i, x := range from {
		out[i] = float32(float64(x) * gain)
	}
	const in, end = Rate * 3 / 1000, Rate * 8 / 1000
	for i := 0; i < in && i < len(out); i++ {
		out[i] *= float32(i) / in
	}
	for i := 0; i < end && i < len(out); i++ {
		out[len(out)-1-i] *= float32(i) / end
	}
	return out
}

// resample changes the sample rate by a Kaiser-windowed sinc: the stop band
// lies some 80 dB down, the pass band reaches to 0.92 of the lower Nyquist
// frequency (Kaiser's formula for beta; Oppenheim and Schafer, Discrete-Time
// Signal Processing, section on FIR design by windowing).
func resample(s []float32, from, to int) []float32 {
	if from == to || len(s) == 0 {
		return append([]float32(nil), s...)
	}
	g := gcd(from, to)
	up, down := to/g, from/g
	const beta, zeros = 7.857, 32.0
	cut := 0.96 * min(1, float64(to)/float64(from)) // of the input's Nyquist frequency
	half := int(math.Ceil(zeros / cut))
	// One row of taps for each of the up places an output can have between
	// two inputs.
	taps := make([][]float32, up)
	for p := range taps {
		row := make([]float32, 2*half)
		total := 0.0
		for k := range row {
			x := float64(k-half+1) - float64(p)/float64(up)
			r := x / float64(half)
			if r < -1 || r > 1 {
				continue
			}
			v := cut * sinc(cut*x) * bessel(beta*math.Sqrt(1-r*r)) / bessel(beta)
			row[k] = float32(v)
			total += v
		}
		for k := range row { // each place passes a constant unchanged
			row[k] = float32(float64(row[k]) / total)
		}
		taps[p] = row
	}
	out := make([]float32, (len(s)*up+down-1)/down)
	for i := range out {
		at := i * down
		first, row := at/up-half+1, taps[at%up]
		var sum float32
		for k := max(0, -first); k < len(row) && first+k < len(s); k++ {
			sum += row[k] * s[first+k]
		}
		out[i] = sum
	}
	return out
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

// bessel is the modified Bessel function I0, by its power series.
func bessel(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > sum*1e-12; k++ {
		term *= x * x / (4 * k * k)
		sum += term
	}
	return sum
}
