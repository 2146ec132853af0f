package bench_test

import (
	"fmt"
	"testing"
	"time"

	"wetside/session/bench"
)

// twoBath is the two-bath process for fibre base through small trays.
func twoBath() []bench.Op {
	return []bench.Op{
		{Tray: "developer", Time: 180 * s},
		{Tray: "stop bath", Time: 30 * s},
		{Tray: "fixer 1", Time: 60 * s},
		{Tray: "fixer 2", Time: 60 * s},
		{Tray: "rinse", Time: 60 * s, Flexible: true},
		{Tray: "hypo-clear", Time: 120 * s},
		{Tray: "wash tray", Time: 600 * s, Flexible: true, Batch: true},
	}
}

func threeTrays() []bench.Op {
	return []bench.Op{
		{Tray: "developer", Time: 90 * s},
		{Tray: "stop bath", Time: 10 * s},
		{Tray: "fixer 1", Time: 60 * s},
		{Tray: "wash tray", Time: 1800 * s, Flexible: true, Batch: true},
	}
}

func room(sheets int) bench.Shop {
	return bench.Shop{Move: 8 * s, Trays: map[string]int{"developer": 1, "stop bath": 1, "fixer 1": 2, "fixer 2": 2, "rinse": 2, "hypo-clear": 1, "wash tray": sheets}}
}

func queueOf(n int, ps ...[]bench.Op) []bench.Job {
	var q []bench.Job
	for i := range n {
		q = append(q, bench.Job{ID: fmt.Sprint(i), Num: i + 1, Steps: ps[i%len(ps)]})
	}
	return q
}

func odd(i int) []bench.Op {
	return []bench.Op{
		{Tray: "developer", Time: time.Duration(90+i*7%60) * s},
		{Tray: "stop bath", Time: time.Duration(10+i%3*5) * s},
		{Tray: "fixer 1", Time: time.Duration(60+i*11%45) * s},
		{Tray: "rinse", Time: 30 * s, Flexible: true},
		{Tray: "wash tray", Time: 300 * s, Flexible: true, Batch: true},
	}
}

func oddQueue(n int) []bench.Job {
	var q []bench.Job
	for i := range n {
		q = append(q, bench.Job{ID: fmt.Sprint(i), Num: i + 1, Steps: odd(i)})
	}
	return q
}

var queues = []struct {
	name string
	q    func(n int) []bench.Job
}{
	{"alike", func(n int) []bench.Job { return queueOf(n, twoBath()) }},
	{"two-kinds", func(n int) []bench.Job { return queueOf(n, twoBath(), threeTrays()) }},
	{"all-different", oddQueue},
}

// BenchmarkPlan reports how long a plan takes and how far its end is from the
// bound, which no schedule can beat.
func BenchmarkPlan(b *testing.B) {
	for _, q := range queues {
		for _, n := range []int{5, 6, 8, 40} {
			b.Run(fmt.Sprintf("%s/%d", q.name, n), func(b *testing.B) {
				queue := q.q(n)
				var sch bench.Schedule
				for b.Loop() {
					sch = bench.Plan(room(n), nil, queue, 0)
				}
				best := 0.0
				if sch.Best {
					best = 1
				}
				b.ReportMetric(sch.Done.Seconds(), "s-done")
				b.ReportMetric(100*float64(sch.Done-sch.Bound)/float64(sch.Bound), "%-over-bound")
				b.ReportMetric(best, "proved")
			})
		}
	}
}

func BenchmarkEarliest(b *testing.B) {
	running := []bench.Running{
		{Job: bench.Job{ID: "1", Num: 1, Steps: twoBath()}, Step: 3, Since: 290 * s},
		{Job: bench.Job{ID: "2", Num: 2, Steps: twoBath()}, Step: 0, Since: 200 * s},
	}
	for b.Loop() {
		bench.Earliest(room(8), running, bench.Job{ID: "3", Num: 3, Steps: twoBath()}, 300*s)
	}
}

// BenchmarkEvening: eight sheets wait, two are in the trays, drains and rocking
// as in the built-in two-bath process.
func BenchmarkEvening(b *testing.B) {
	p := longWay()
	shop := bench.ShopFor(8*s, p)
	r := newRoom(b)
	for i := range 10 {
		id := fmt.Sprint(i)
		r.add(id, 108, p)
		r.expose(id)
	}
	r.move("0")
	for range 4 {
		r.wait(200)
		r.move("0")
	}
	r.wait(10)
	r.move("1")
	for b.Loop() {
		bench.Evening(r.m, shop, r.now())
	}
}
