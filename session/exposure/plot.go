package exposure

import (
	"fmt"
	"math"

	"wetside/session/words"
)

// A Point is one judged sheet in a plot.
type Point struct {
	ID     string
	X      float64 // log2 of seconds
	Y      float64 // stops wanted more than reckoned
	Camera string
}

// A Band is the model at one time.
type Band struct {
	X, Y, Low, High float64
}

// A Plot is stops against log time for one paper: its judged sheets, and what
// the model says for one camera, with its 80% interval. It is data alone.
type Plot struct {
	Camera      string
	Points      []Point
	Line        []Band
	Ticks       []Tick
	YLow, YHigh float64 // what holds all of it, in whole stops
}

// A Tick is a mark on the time axis.
type Tick struct {
	X     float64
	Label string
}

// Scatter is the plot of a model for a camera and a paper, on the day and in a
// light as much in doubt as of says, the line in n pieces. Points of other
// cameras on the same paper are shown too: they teach its
// slope. With no sheet of the paper the plot covers 10 s to 1 h.
func (m Model) Scatter(of Subject, n int) (Plot, error) {
	p := Plot{Camera: of.Camera}
	lo, hi := math.Log2(10), math.Log2(3600)
	for _, j := range m.judged {
		if j.Paper != of.Paper || j.Box != of.Box {
			continue
		}
		p.Points = append(p.Points, Point{j.ID, math.Log2(j.Seconds), j.Wanted, j.Camera})
		lo, hi = min(lo, math.Log2(j.Seconds)), max(hi, math.Log2(j.Seconds))
	}
	n = max(1, min(n, 1000))
	p.YLow, p.YHigh = -1, 1
	for i := range n + 1 {
		x := lo + (hi-lo)*float64(i)/float64(n)
		of.Seconds = math.Exp2(x)
		c, err := m.Predict(of)
		if err != nil {
			return Plot{}, fmt.Errorf("no plot: %w", err)
		}
		p.Line = append(p.Line, Band{x, c.Stops, c.Low, c.High})
		p.YLow, p.YHigh = min(p.YLow, c.Low), max(p.YHigh, c.High)
	}
	for _, q := range p.Points {
		p.YLow, p.YHigh = min(p.YLow, q.Y), max(p.YHigh, q.Y)
	}
	p.YLow, p.YHigh = math.Floor(p.YLow), math.Ceil(p.YHigh)
	for _, s := range []float64{1, 2, 5, 10, 30, 60, 120, 300, 600, 1800, 3600, 7200, 4 * 3600, 12 * 3600, 24 * 3600} {
		if x := math.Log2(s); x >= lo-1e-9 && x <= hi+1e-9 {
			p.Ticks = append(p.Ticks, Tick{x, words.Long(s)})
		}
	}
	return p, nil
}
