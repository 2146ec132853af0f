package main

import (
	"bytes"
	"math"
	"slices"
	"testing"

	"wetside/sound/voice/pack"
)

func clips() []clip {
	a := make([]float32, 4001)
	for i := range a {
		a[i] = float32(0.5 * math.Sin(float64(i)*0.15) * math.Sin(float64(i)*0.001))
	}
	return []clip{{"a", a}, {"empty", nil}, {"b b", a[:7]}}
}

func TestRoundTrip(t *testing.T) {
	data := write(16000, "test", clips())
	if !bytes.Equal(data, write(16000, "test", clips())) {
		t.Error("two runs, two packs")
	}
	p, err := pack.Decode(data)
	if err != nil {
		t.Fatal(err)
	}
	if p.Rate != 16000 || p.Made != "test" || !slices.Equal(p.Names(), []string{"a", "empty", "b b"}) {
		t.Errorf("read back %d %q %q", p.Rate, p.Made, p.Names())
	}
	var noise, signal float64
	for i, x := range p.Samples("a") {
		want := float64(clips()[0].samples[i])
		signal += want * want
		noise += (float64(x) - want) * (float64(x) - want)
	}
	if db := 10 * math.Log10(signal/noise); db < 25 {
		t.Errorf("the coding's noise is only %.1f dB down", db)
	}
	if len(p.Samples("b b")) != 7 || p.Samples("none") != nil || !p.Has("empty") || p.Has("none") {
		t.Error("clips lost or made up")
	}
}

func TestDamage(t *testing.T) {
	data := write(16000, "test", clips())
	for n := range data {
		if _, err := pack.Decode(data[:n]); err == nil {
			t.Fatalf("cut to %d bytes and taken for whole", n)
		}
	}
	data[len(pack.Magic)-1]++
	if _, err := pack.Decode(data); err == nil {
		t.Error("a later version was taken for this one")
	}
}
