package exposure

import (
	"fmt"
	"math"

	"wetside/session/words"
)

// TestSheet plans a test of one sheet about the time that is reckoned: n strips, each
// step stops of light more than the one before, through the paper's reciprocity, the
// middle one near seconds. Times are what a hand can do. The whole sheet gets the first
// Add; before each further one a card is drawn over one more strip.
func TestSheet(seconds, step float64, n int, rec Reciprocity) ([]Patch, error) {
	if err := check("a time", seconds, minSeconds, MaxSeconds, "s"); err != nil {
		return nil, err
	}
	if err := check("a step", step, 1./3, 2, "stops"); err != nil {
		return nil, err
	}
	if n < 2 || n > 9 {
		return nil, fmt.Errorf("a test sheet has 2 to 9 strips, not %d", n)
	}
	metered := rec.Metered(seconds)
	var out []Patch
	last := 0.0
	for i := range n {
		total, _ := rec.Correct(metered * math.Exp2(step*(float64(i)-float64(n/2))))
		if total = Round(total); total > MaxSeconds {
			return nil, fmt.Errorf("strip %d would take %s, more than a day: fewer strips, or smaller steps", i+1, words.Long(total))
		}
		if total-last < 0.5 {
			return nil, fmt.Errorf("strip %d would be open for %s, less than a hand can do: larger steps, a smaller hole or a filter", i+1, words.Long(total-last))
		}
		out = append(out, Patch{i + 1, total, total - last})
		last = total
	}
	return out, nil
}
