// Package pack is the small file the voice's clips are kept in: an
// index of names and each clip as 4-bit IMA ADPCM at one sample rate.
//
// IMA ADPCM is the reference algorithm of the Interactive Multimedia
// Association's "Recommended Practices for Enhancing Digital Audio
// Compatibility in Multimedia Systems" (1992). It needs four bits a sample, no
// library, and for speech its noise lies some 25 dB under the voice.
package pack

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
)

// Magic opens a pack; its last byte is the version of the layout.
const Magic = "WSVP\x01"

// A Pack is a list of clips that share a sample rate, with a line on what made
// them.
type Pack struct {
	Rate  int    // Hz
	Made  string // program, version and machine the clips come from
	names []string
	clips map[string]coded
}

type coded struct {
	n    int
	data []byte
}

// Decode reads a pack as the generator of the clips writes it. The clips stay where
// they are in data, coded, until they are asked for.
func Decode(data []byte) (*Pack, error) {
	r := bytes.NewReader(data)
	head := make([]byte, len(Magic))
	if _, err := io.ReadFull(r, head); err != nil || string(head) != Magic {
		return nil, fmt.Errorf("voice clips: not a clip pack of this version; run go generate in sound/voice")
	}
	var fault error
	u32 := func() int {
		var v uint32
		if err := binary.Read(r, binary.LittleEndian, &v); err != nil && fault == nil {
			fault = err
		}
		return int(v)
	}
	block := func(n int) []byte {
		if fault != nil {
			return nil
		}
		if n < 0 || n > r.Len() {
			fault = io.ErrUnexpectedEOF
			return nil
		}
		at := len(data) - r.Len()
		_, fault = r.Seek(int64(n), io.SeekCurrent)
		return data[at : at+n]
	}
	p := &Pack{Rate: u32(), clips: map[string]coded{}}
	p.Made = string(block(u32()))
	for n := u32(); n > 0 && fault == nil; n-- {
		name := string(block(u32()))
		k := u32()
		p.names = append(p.names, name)
		p.clips[name] = coded{k, block((k + 1) / 2)}
	}
	if fault != nil {
		return nil, fmt.Errorf("voice clips: pack cut short or damaged: %w; run go generate in sound/voice", fault)
	}
	return p, nil
}

// Names lists the clips in their order in the pack.
func (p *Pack) Names() []string { return append([]string(nil), p.names...) }

// Has reports whether there is a clip of that name.
func (p *Pack) Has(name string) bool { _, ok := p.clips[name]; return ok }

// Samples decodes one clip at the pack's rate; nil when there is none.
func (p *Pack) Samples(name string) []float32 {
	c, ok := p.clips[name]
	if !ok {
		return nil
	}
	return decode(c.data, c.n)
}

// The step sizes and index changes of the IMA reference algorithm.
var steps = [89]int{
	7, 8, 9, 10, 11, 12, 13, 14, 16, 17, 19, 21, 23, 25, 28, 31, 34, 37, 41, 45,
	50, 55, 60, 66, 73, 80, 88, 97, 107, 118, 130, 143, 157, 173, 190, 209, 230,
	253, 279, 307, 337, 371, 408, 449, 494, 544, 598, 658, 724, 796, 876, 963,
	1060, 1166, 1282, 1411, 1552, 1707, 1878, 2066, 2272, 2499, 2749, 3024, 3327,
	3660, 4026, 4428, 4871, 5358, 5894, 6484, 7132, 7845, 8630, 9493, 10442,
	11487, 12635, 13899, 15289, 16818, 18500, 20350, 22385, 24623, 27086, 29794,
	32767,
}

var turn = [8]int{-1, -1, -1, -1, 2, 4, 6, 8}

// A Coder is the predictor that writer and reader walk through alike.
type Coder struct{ Value, index int }

// Step is the difference that the next code counts in.
func (c *Coder) Step() int { return steps[c.index] }

// Take goes on by a code, 0 to 15, and returns the sample it stands for.
func (c *Coder) Take(code int) int {
	step := c.Step()
	diff := step >> 3
	if code&4 != 0 {
		diff += step
	}
	if code&2 != 0 {
		diff += step >> 1
	}
	if code&1 != 0 {
		diff += step >> 2
	}
	if code&8 != 0 {
		diff = -diff
	}
	c.Value = min(max(c.Value+diff, -32768), 32767)
	c.index = min(max(c.index+turn[code&7], 0), len(steps)-1)
	return c.Value
}

func decode(data []byte, n int) []float32 {
	out := make([]float32, n)
	var c Coder
	for i := range out {
		code := int(data[i/2]>>(4*(i&1))) & 15
		out[i] = float32(c.Take(code)) / 32768
	}
	return out
}
