package sound

import (
	"slices"
	"time"
)

// A clock keeps when sample 0 of a stream is, or would have been, heard, from
// observations that each are late or early by some milliseconds. It takes the
// median of the last ones, moves slowly, and jumps only when a run of them
// agrees that the stream has slipped.
type clock struct {
	seen  [9]time.Time
	n     int // how many of seen are valid
	next  int
	at    time.Time
	known bool
}

const (
	// slip is a difference that is not taken for wander.
	slip = 8 * time.Millisecond
	// pull is the share of the difference that is taken up at a time.
	pull = 0.1
)

// observe takes one measurement of zero.
func (c *clock) observe(zero time.Time) {
	c.seen[c.next] = zero
	c.next = (c.next + 1) % len(c.seen)
	c.n = min(c.n+1, len(c.seen))
	sorted := c.seen
	s := sorted[:c.n]
	slices.SortFunc(s, time.Time.Compare)
	med := s[len(s)/2]
	switch d := med.Sub(c.at); {
	case !c.known || c.n < len(c.seen) || d > slip || d < -slip:
		c.at, c.known = med, true
	default:
		c.at = c.at.Add(time.Duration(pull * float64(d)))
	}
}

// zero is when sample 0 is heard; only after a first observe.
func (c *clock) zero() time.Time { return c.at }

// forget begins anew, as after a stream was moved.
func (c *clock) forget() { *c = clock{} }
