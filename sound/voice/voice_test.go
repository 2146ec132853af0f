package voice

import (
	"math"
	"testing"
	"time"

	"wetside/session"
)

func TestFirst(t *testing.T) {
	v, err := New(Config{})
	if err != nil {
		t.Fatal(err)
	}
	c := session.Cue{Kind: session.CueBegin, Num: 4, Named: true, Stage: session.Develop, For: 90 * time.Second}
	t.Log(Words(c, Normal), len(v.Phrase(c, Normal)))
}

func pow10(x float64) float64 { return math.Pow(10, x) }
