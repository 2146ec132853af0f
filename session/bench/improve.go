package bench

import (
	"cmp"
	"math/rand/v2"
	"slices"
)

// improveWork is how much is looked at to better the plan of a long queue. It
// counts work and not time, so that the same queue has the same plan.
const improveWork = 400_000

// improve betters a schedule of the queue by small changes: another order, or a
// put-in a little later, so that those after it fit the better.
func (p *problem) improve(x []int64, lb int64) []int64 {
	n := len(p.jobs) - p.runs
	order := make([]int, 0, n)
	for j := p.runs; j < len(p.jobs); j++ {
		order = append(order, j)
	}
	alike := true
	for _, j := range order {
		alike = alike && p.class[j] == p.class[order[0]]
	}
	p.fair(x)
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(x[p.first(a)], x[p.first(b)]) })
	hold := make([]int64, n)
	best, now := p.value(x, -1), p.value(x, -1)
	rnd := rand.New(rand.NewPCG(1, 2))
	stop := p.work + improveWork
	for p.work < stop && best > lb {
		o, h := slices.Clone(order), slices.Clone(hold)
		if i := 1 + rnd.IntN(n-1); alike || p.shop.InOrder || rnd.IntN(3) == 0 {
			if h[i] > 0 && rnd.IntN(2) == 0 {
				h[i] = 0
			} else {
				// As close as it was, and up to three moves later.
				h[i] = x[p.first(o[i])] - x[p.first(o[i-1])] + 1 + rnd.Int64N(max(1, 3*p.move))
			}
		} else {
			from, to := rnd.IntN(n), rnd.IntN(n)
			j := o[from]
			o = slices.Insert(slices.Delete(o, from, from+1), to, j)
		}
		y, ok := p.dispatch(len(p.jobs), o, h)
		if !ok {
			continue
		}
		if v := p.value(y, -1); v <= now {
			now, order, hold = v, o, h
			if v <= best {
				best, x = v, y
			}
		}
	}
	return x
}
