package main

import (
	"bytes"
	"encoding/binary"

	"wetside/sound/voice/pack"
)

// A clip is one spoken piece, mono, samples in -1..1.
type clip struct {
	name    string
	samples []float32
}

// write makes a pack of the clips, in the order given; the same clips give the
// same bytes.
func write(rate int, made string, clips []clip) []byte {
	var b bytes.Buffer
	b.WriteString(pack.Magic)
	u32 := func(v int) { _ = binary.Write(&b, binary.LittleEndian, uint32(v)) }
	text := func(s string) { u32(len(s)); b.WriteString(s) }
	u32(rate)
	text(made)
	u32(len(clips))
	for _, c := range clips {
		text(c.name)
		u32(len(c.samples))
		b.Write(encode(c.samples))
	}
	return b.Bytes()
}

// give is the code of a sample.
func give(c *pack.Coder, sample int) int {
	step := c.Step()
	diff := sample - c.Value
	code := 0
	if diff < 0 {
		code, diff = 8, -diff
	}
	for bit := 4; bit > 0; bit >>= 1 {
		if diff >= step {
			code |= bit
			diff -= step
		}
		step >>= 1
	}
	c.Take(code)
	return code
}

func encode(s []float32) []byte {
	out := make([]byte, (len(s)+1)/2)
	var c pack.Coder
	for i, v := range s {
		f := v * 32767
		if f < 0 {
			f -= 0.5
		} else {
			f += 0.5
		}
		code := give(&c, min(max(int(f), -32768), 32767))
		out[i/2] |= byte(code << (4 * (i & 1)))
	}
	return out
}
