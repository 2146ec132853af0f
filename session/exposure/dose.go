package exposure

import (
	"fmt"
	"math"
	"time"
)

// A Dose is the share of one exposure already given, in a light that changes.
//
// The rule: in a light for which the whole exposure would take T, an open
// pinhole gives dt/T of it in a time dt; the shares add up, and the exposure is
// done at 1. Reciprocity failure is in each T. That is how a photographer
// reckons; the paper's memory for the order of dim and bright light is beyond
// what any of its makers publish.
//
// Times are counted from any common zero; they must not run backwards. The zero
// value is a covered pinhole that has seen nothing.
type Dose struct {
	full  time.Duration // whole exposure in the present light; 0: no light yet
	open  bool
	at    time.Duration
	given float64
}

// Uncover opens the pinhole. full is the whole exposure in the present light; 0
// keeps what it was.
func (d *Dose) Uncover(at, full time.Duration) error {
	if full == 0 {
		full = d.full
	}
	if full <= 0 {
		return fmt.Errorf("there is no time to count: give the full exposure in this light")
	}
	if err := d.advance(at); err != nil {
		return err
	}
	d.open, d.full = true, full
	return nil
}

// Cover stops the clock of light.
func (d *Dose) Cover(at time.Duration) error {
	if err := d.advance(at); err != nil {
		return err
	}
	d.open = false
	return nil
}

// Change: the light is now one in which the whole exposure takes full. The
// share already given is kept.
func (d *Dose) Change(at, full time.Duration) error {
	if full <= 0 {
		return fmt.Errorf("there is no time to count: give the full exposure in this light")
	}
	if err := d.advance(at); err != nil {
		return err
	}
	d.full = full
	return nil
}

func (d *Dose) advance(at time.Duration) error {
	if at < d.at {
		return fmt.Errorf("the clock ran backwards: this is before the last change of this exposure")
	}
	d.given = d.Share(at)
	d.at = at
	return nil
}

// Share is the part of the whole exposure given by then; more than 1 is
// overexposed.
func (d Dose) Share(at time.Duration) float64 {
	if !d.open || at <= d.at {
		return d.given
	}
	return d.given + float64(at-d.at)/float64(d.full)
}

// Open reports whether light is coming in.
func (d Dose) Open() bool { return d.open }

// Left is how long the pinhole must still be open in the present light; 0 when
// the exposure is done, or when no light was ever given.
func (d Dose) Left(at time.Duration) time.Duration {
	return max(0, time.Duration(math.Round((1-d.Share(at))*float64(d.full))))
}

// Ends forecasts when the exposure is done if the light stays as it is. It has
// no answer while the pinhole is covered.
func (d Dose) Ends(at time.Duration) (time.Duration, bool) {
	if !d.open {
		return 0, false
	}
	if d.Share(at) < 1 {
		return at + d.Left(at), true
	}
	return d.at + time.Duration(math.Round((1-d.given)*float64(d.full))), true
}

// Off is how far the exposure given by then is from the whole, in stops:
// positive is too much.
func (d Dose) Off(at time.Duration) float64 { return math.Log2(d.Share(at)) }

// Integral is the share of exposure given between two times by an open pinhole
// in a light that changes continuously: the integral of dt/T(t), where T gives
// the whole exposure in the light of that time, by Simpson's rule over n pairs
// of steps.
func Integral(from, to time.Duration, n int, full func(time.Duration) time.Duration) float64 {
	n = max(1, n)
	h := float64(to-from) / float64(2*n)
	sum := 0.0
	for i := range 2*n + 1 {
		w := 2.0
		switch {
		case i == 0 || i == 2*n:
			w = 1
		case i%2 == 1:
			w = 4
		}
		sum += w / float64(full(from+time.Duration(math.Round(float64(i)*h))))
	}
	return sum * h / 3
}
