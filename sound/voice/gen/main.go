// Command gen makes the voice's clips: it has flite speak every phrase of package
// say, as clips.txt says or as it is written, trims the silence, keeps what a laptop's loudspeaker can give,
// brings all to one loudness and writes clips.pack. Run it by
//
//	go generate wetside/sound/voice
//
// Two runs with the same flite on the same kind of machine give the same bytes.
package main

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"flag"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"strings"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/dsp/fourier"

	"wetside/session/say"
)

const (
	rate  = 16000 // Hz, what flite's voices give
	level = -18.0 // dBFS, A-weighted, of the spoken part of each clip
	peak  = 0.70  // no sample is larger: room for a motif beside it
	low   = 300.0 // Hz: below, a laptop's loudspeaker only moves
	high  = 7000.0
)

func main() {
	list := flag.String("list", "clips.txt", "what to speak")
	out := flag.String("o", "clips.pack", "file to write")
	voice := flag.String("voice", "", "use this voice of flite for all clips")
	flag.Parse()
	data, err := build(*list, *voice, nil)
	if err == nil {
		err = os.WriteFile(*out, data, 0o644)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "gen:", err)
		os.Exit(1)
	}
}

// A line of the list.
type line struct {
	name, text, voice string
	pace, low         float64
}

// The voice used where a line asks for no other.
const voiceDefault = "slt"

func readList(path string) ([]line, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	var lines []line
	seen := map[string]int{}
	sc := bufio.NewScanner(f)
	for n := 1; sc.Scan(); n++ {
		t := strings.TrimSpace(sc.Text())
		if t == "" || strings.HasPrefix(t, "#") {
			continue
		}
		p := strings.Split(t, "|")
		l := line{name: strings.TrimSpace(p[0]), voice: voiceDefault, pace: 1, low: low}
		l.text = l.name
		if len(p) > 1 && strings.TrimSpace(p[1]) != "" {
			l.text = strings.TrimSpace(p[1])
		}
		if len(p) > 2 {
			for _, o := range strings.Fields(p[2]) {
				k, v, _ := strings.Cut(o, "=")
				switch k {
				case "voice":
					l.voice = v
				case "pace":
					if l.pace, err = strconv.ParseFloat(v, 64); err != nil {
						return nil, fmt.Errorf("%s:%d: pace wants a number, as in pace=1.2", path, n)
					}
				case "low":
					if l.low, err = strconv.ParseFloat(v, 64); err != nil {
						return nil, fmt.Errorf("%s:%d: low wants a number, as in low=150", path, n)
					}
				default:
					return nil, fmt.Errorf("%s:%d: unknown option %q: voice=NAME, pace=N or low=HZ", path, n, k)
				}
			}
		}
		if seen[l.name] != 0 {
			return nil, fmt.Errorf("%s:%d: %q stands in line %d already", path, n, l.name, seen[l.name])
		}
		seen[l.name] = n
		lines = append(lines, l)
	}
	return lines, sc.Err()
}

// withAll gives a line for every clip there is to be: what the list says nothing
// of is spoken as it is written.
func withAll(listed []line, names []string) ([]line, error) {
	by := map[string]line{}
	for _, l := range listed {
		by[l.name] = l
	}
	var out []line
	for _, n := range names {
		l, ok := by[n]
		if !ok {
			l = line{name: n, text: n, voice: voiceDefault, pace: 1, low: low}
		}
		delete(by, n)
		out = append(out, l)
	}
	for n := range by {
		return nil, fmt.Errorf("%q is said nowhere: take its line out", n)
	}
	return out, nil
}

// Made is the line a pack carries about its origin.
func made() (string, error) {
	out, err := exec.Command("flite", "--version").CombinedOutput()
	if err != nil && len(out) == 0 {
		return "", fmt.Errorf("flite is needed to make the clips (Debian package flite): %w", err)
	}
	v := regexp.MustCompile(`flite-\S+`).FindString(string(out))
	if v == "" {
		return "", errors.New("flite --version names no version")
	}
	return v + " " + runtime.GOOS + "/" + runtime.GOARCH, nil
}

// build makes the pack of all clips, or of those that only says.
func build(list, voice string, only func(i int, l line) bool) ([]byte, error) {
	lines, err := readList(list)
	if err != nil {
		return nil, err
	}
	if lines, err = withAll(lines, say.Clips()); err != nil {
		return nil, fmt.Errorf("%s: %w", list, err)
	}
	if only != nil {
		var some []line
		for i, l := range lines {
			if only(i, l) {
				some = append(some, l)
			}
		}
		lines = some
	}
	from, err := made()
	if err != nil {
		return nil, err
	}
	dir, err := os.MkdirTemp("", "clips")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	clips := make([]clip, len(lines))
	var some errgroup.Group
	some.SetLimit(runtime.NumCPU())
	for i, l := range lines {
		if voice != "" {
			l.voice = voice
		}
		some.Go(func() error {
			s, err := speak(l, filepath.Join(dir, fmt.Sprintf("%d.wav", i)))
			if err != nil {
				return fmt.Errorf("%q: %w", l.name, err)
			}
			clips[i] = clip{l.name, shape(s, l.low)}
			return nil
		})
	}
	if err := some.Wait(); err != nil {
		return nil, err
	}
	return write(rate, from, clips), nil
}

func speak(l line, wav string) ([]float64, error) {
	cmd := exec.Command("flite", "-voice", l.voice,
		"--setf", "duration_stretch="+strconv.FormatFloat(l.pace, 'f', -1, 64),
		"-t", l.text, "-o", wav)
	if out, err := cmd.CombinedOutput(); err != nil {
		return nil, fmt.Errorf("flite: %w: %s", err, out)
	}
	b, err := os.ReadFile(wav)
	if err != nil {
		return nil, err
	}
	i := bytes.Index(b, []byte("data"))
	if len(b) < 44 || i < 0 {
		return nil, errors.New("flite wrote no WAV file")
	}
	if r := binary.LittleEndian.Uint32(b[24:]); r != rate {
		return nil, fmt.Errorf("voice %s speaks at %d Hz, not at %d", l.voice, r, rate)
	}
	b = b[i+8:]
	s := make([]float64, len(b)/2)
	for i := range s {
		s[i] = float64(int16(binary.LittleEndian.Uint16(b[2*i:]))) / 32768
	}
	return s, nil
}

func shape(s []float64, low float64) []float32 {
	s = trim(band(s, low))
	g := math.Pow(10, (level-loudness(s))/20)
	out := make([]float32, len(s))
	for i, v := range s {
		out[i] = float32(limit(v * g))
	}
	const in, end = rate * 3 / 1000, rate * 8 / 1000
	for i := 0; i < in && i < len(out); i++ {
		out[i] *= float32(i) / in
	}
	for i := 0; i < end && i < len(out); i++ {
		out[len(out)-1-i] *= float32(i) / end
	}
	return out
}

// limit bends what is over half of the peak so that nothing passes it, without
// a corner.
func limit(v float64) float64 {
	const knee = peak / 2
	a := math.Abs(v)
	if a <= knee {
		return v
	}
	return math.Copysign(knee+(peak-knee)*math.Tanh((a-knee)/(peak-knee)), v)
}

// spectrum runs f over the spectrum of s: f gives the gain at a frequency.
func spectrum(s []float64, f func(hz float64) float64) []float64 {
	n := 1
	for n < len(s)+rate/10 {
		n *= 2
	}
	t := fourier.NewFFT(n)
	in := make([]float64, n)
	copy(in, s)
	c := t.Coefficients(nil, in)
	for i := range c {
		c[i] *= complex(f(t.Freq(i)*rate)/float64(n), 0)
	}
	return t.Sequence(nil, c)[:len(s)]
}

// band keeps what lies between low and high.
func band(s []float64, low float64) []float64 {
	return spectrum(s, func(hz float64) float64 {
		ease := func(a, b float64) float64 { // 0 at a, 1 at b
			x := min(max((hz-a)/(b-a), 0), 1)
			return 0.5 - 0.5*math.Cos(math.Pi*x)
		}
		return ease(low*0.6, low*1.2) * ease(high*1.1, high*0.95)
	})
}

// aWeight is the A-weighting of IEC 61672-1, as a factor.
func aWeight(hz float64) float64 {
	q := hz * hz
	return 1.2589 * 12194 * 12194 * q * q /
		((q + 20.6*20.6) * math.Sqrt((q+107.7*107.7)*(q+737.9*737.9)) * (q + 12194*12194))
}

// loudness is the A-weighted RMS of the spoken part in dBFS: the 20 ms frames
// that lie no more than 20 dB under the loudest.
func loudness(s []float64) float64 {
	w := spectrum(s, aWeight)
	e := energies(w, rate/50)
	top := 0.0
	for _, v := range e {
		top = max(top, v)
	}
	sum, n := 0.0, 0
	for _, v := range e {
		if v >= top/100 {
			sum += v
			n++
		}
	}
	return 10 * math.Log10(sum/float64(n))
}

func energies(s []float64, frame int) []float64 {
	var out []float64
	for i := 0; i < len(s); i += frame {
		e, f := 0.0, s[i:min(i+frame, len(s))]
		for _, v := range f {
			e += v * v
		}
		out = append(out, e/float64(len(f)))
	}
	return out
}

// trim cuts the silence before and behind. The thresholds are low, so that the
// breath of an "f", the hiss of an "s" or the burst of a "t" stays; before, of what
// is so soft no more than 60 ms, for a clip is to be heard at once.
func trim(s []float64) []float64 {
	const frame = rate / 200
	e := energies(s, frame)
	top := 0.0
	for _, v := range e {
		top = max(top, v)
	}
	db := func(x float64) float64 { return top * math.Pow(10, x/10) }
	a, b := 0, len(e)
	for a < b && e[a] < db(-38) {
		a++
	}
	for first := a; a > 0 && first-a < 12 && e[a-1] >= db(-54); {
		a--
	}
	for b > a && e[b-1] < db(-52) {
		b--
	}
	a, b = max(a-2, 0)*frame, min((b+2)*frame, len(s))
	return s[a:b]
}
