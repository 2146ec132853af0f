package soundtest

import (
	"fmt"
	"slices"
	"time"

	"wetside/session"
	"wetside/sound"
)

// A Want is a cue that should be heard.
type Want struct {
	Cue session.Cue
	At  time.Duration // from the begin of the recording
}

// Matched is a comparison of what should be heard with what was.
type Matched struct {
	Off     []time.Duration // heard minus wanted, for each that was found, in the order wanted
	Missing []Want
	Extra   []Heard
}

// Match pairs each wanted cue that has a motif with the first like it that was
// heard within so much of its time and is not taken yet. Cues without a motif
// are passed over.
func Match(want []Want, heard []Heard, within time.Duration) Matched {
	var m Matched
	left := slices.Clone(heard)
	for _, w := range want {
		motif, ok := sound.MotifFor(w.Cue)
		if !ok {
			continue
		}
		i := slices.IndexFunc(left, func(h Heard) bool {
			d := h.At - w.At
			return h.Motif == motif.Name && d >= -within && d <= within
		})
		if i < 0 {
			m.Missing = append(m.Missing, w)
			continue
		}
		m.Off = append(m.Off, left[i].At-w.At)
		left = slices.Delete(left, i, i+1)
	}
	m.Extra = left
	return m
}

// Complain lists what is missing and what is extra, one a line; empty if
// nothing is.
func (m Matched) Complain() (out []string) {
	for _, w := range m.Missing {
		motif, _ := sound.MotifFor(w.Cue)
		out = append(out, fmt.Sprintf("not heard: %s at %v (key %s)", motif.Name, w.At.Round(time.Millisecond), w.Cue.Key))
	}
	for _, h := range m.Extra {
		out = append(out, fmt.Sprintf("heard and not wanted: %s at %v (score %.2f, gain %.2f)", h.Motif, h.At.Round(time.Millisecond), h.Score, h.Gain))
	}
	return out
}

// Errors are the errors of onset around their median, as amounts, ascending.
func (m Matched) Errors() []time.Duration {
	if len(m.Off) == 0 {
		return nil
	}
	s := slices.Sorted(slices.Values(m.Off))
	mid := s[len(s)/2]
	for i, d := range s {
		s[i] = (d - mid).Abs()
	}
	slices.Sort(s)
	return s
}

// String describes the errors of onset: around their median (the delay of the
// recorder is the same for all), and as they stand.
func (m Matched) String() string {
	if len(m.Off) == 0 {
		return "nothing heard of what was wanted"
	}
	s := slices.Sorted(slices.Values(m.Off))
	mid := s[len(s)/2]
	abs := m.Errors()
	r := func(d time.Duration) time.Duration { return d.Round(100 * time.Microsecond) }
	return fmt.Sprintf("%d cues; onset error around the median: p50 %v, p99 %v, worst %v; as it stands: %v to %v, median %v",
		len(s), r(abs[len(abs)/2]), r(abs[(len(abs)*99-1)/100]), r(abs[len(abs)-1]), r(s[0]), r(s[len(s)-1]), r(mid))
}
