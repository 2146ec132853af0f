package bench

import (
	"time"

	"wetside/session"
)

// A Wait is an exposed sheet that waits for the trays.
type Wait struct {
	Sheet *session.Sheet
	Since time.Duration // how long ago its exposure ended
}

// Waiting returns the exposed sheets that wait, the longest waiting first. The
// latent image keeps; the order is what people expect of a queue.
func Waiting(sheets []*session.Sheet, now time.Duration) []Wait {
	var out []Wait
	for _, s := range sheets {
		if s.Phase == session.Exposed {
			out = append(out, Wait{s, max(0, now-s.Light.EndedT)})
		}
	}
	sortBy(out, func(a, b Wait) bool { return a.Since > b.Since })
	return out
}

// A MakerSum is what one maker did in a session.
type MakerSum struct {
	Maker    string // empty: sheets without a maker
	Sheets   int
	Washed   int // finished, and may be called washed
	Unwashed int // finished, and may not
	Spoiled  int
	Waiting  int // exposed, not yet in the trays
	Wet      int
	Other    int // fresh, or in a camera
}

// ByMaker sums the sheets up by maker, in the order the makers first came.
func ByMaker(sheets []*session.Sheet) []MakerSum {
	var out []MakerSum
	at := map[string]int{}
	for _, s := range sheets {
		i, ok := at[s.Spec.Maker]
		if !ok {
			i = len(out)
			at[s.Spec.Maker] = i
			out = append(out, MakerSum{Maker: s.Spec.Maker})
		}
		m := &out[i]
		m.Sheets++
		switch s.Phase {
		case session.Finished:
			if ok, _ := Washed(s, sheets); ok {
				m.Washed++
			} else {
				m.Unwashed++
			}
		case session.Ruined:
			m.Spoiled++
		case session.Exposed:
			m.Waiting++
		case session.Wet:
			m.Wet++
		default:
			m.Other++
		}
	}
	return out
}
