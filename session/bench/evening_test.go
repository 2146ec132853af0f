package bench_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"wetside/session"
	"wetside/session/bench"
)

// longWay is the two-bath process with all that the hands do in it.
func longWay() session.Process {
	p := steps("develop 180 developer", "stop 10 stop", "fix 60 fixer 1", "second-fix 60 fixer 2", "rinse 300 rinse", "hypo-clear 300 hypo-clear", "wash 3600 wash tray")
	drains := []int{10, 3, 10, 10, 5, 10, 0}
	for i, d := range drains {
		p.Steps[i].Drain = time.Duration(d) * s
	}
	p.Steps[0].Agitation.Continuous = true
	p.Steps[1].Agitation.Continuous = true
	for _, i := range []int{2, 3} {
		p.Steps[i].Agitation = session.Agitation{First: 30 * s, For: 5 * s, Every: 15 * s}
	}
	p.Steps[4].Agitation, p.Steps[4].MayRest = session.Agitation{For: 5 * s, Every: 30 * s}, true
	p.Steps[5].Agitation, p.Steps[5].MayRest = session.Agitation{For: 10 * s, Every: time.Minute}, true
	p.Steps[6].ShortAfter = 1200 * s
	return p
}

// The evening as it is foretold is the evening as it comes, for one who moves
// each sheet when it is said: after every move the rest is still as it was said.
// The next in line may go in at the instant that is called. What the hands do
// for one sheet never meets what they do for another, drains and rocking
// included.
func TestEveningComesAsItIsForetold(t *testing.T) {
	p := longWay()
	shop := bench.ShopFor(8*s, p)
	r := newRoom(t)
	ids := []string{"a", "b", "c", "d"}
	for _, id := range ids {
		r.wait(1)
		r.add(id, 108, p)
		if id != "d" { // a blank one, which needs no exposure
			r.expose(id)
		}
	}
	type move struct {
		at time.Duration
		id string
	}
	all := func(sch bench.Schedule) (out []move) {
		for _, x := range append(slices.Clone(sch.Running), sch.Puts...) {
			for _, at := range x.Moves {
				out = append(out, move{at, x.ID})
			}
		}
		slices.SortStableFunc(out, func(a, b move) int { return int(a.at - b.at) })
		return out
	}
	first := bench.Evening(r.m, shop, r.now())
	if len(first.Puts) != len(ids) || first.Puts[3].ID != "d" {
		t.Fatalf("%+v", first.Puts)
	}
	plan := all(first)
	if want := len(ids) * (len(p.Steps) + 1); len(plan) != want {
		t.Fatalf("%d moves are foretold, want %d", len(plan), want)
	}
	if end := plan[len(plan)-1].at; first.Done != end {
		t.Errorf("all done at %v, the last move at %v", first.Done, end)
	}
	var ls []line
	begun := r.now()
	for _, x := range first.Puts {
		l := line{steps: bench.JobOf(r.m.Sheet(x.ID)).Steps}
		for _, at := range x.Moves {
			l.moves = append(l.moves, int((at-begun)/s))
		}
		ls = append(ls, l)
	}
	if why := illegal(shop, ls); why != "" {
		t.Error(why)
	}
	for i := range plan {
		r.wait((plan[i].at - r.now()).Seconds())
		if next := bench.Waiting(r.m.Sheets(), r.now()); len(next) > 0 && next[0].Sheet.ID == plan[i].id && i > 0 {
			running, queue := bench.FromMachine(r.m, r.now())
			if at, why := bench.Earliest(shop, running, queue[0], r.now()); at != r.now() {
				t.Errorf("sheet %s goes in at %v, the call comes at %v: %s", plan[i].id, r.now(), at, why)
			}
		}
		r.move(plan[i].id)
		if got := all(bench.Evening(r.m, shop, r.now())); fmt.Sprint(got) != fmt.Sprint(plan[i+1:]) {
			t.Fatalf("after move %d, at %v, the rest is foretold as\n%v\nand was\n%v", i, r.now(), got, plan[i+1:])
		}
	}
}

// A process that says its agitation can be left has its hands free in between.
func TestAgitationThatCanBeLeft(t *testing.T) {
	p := steps("develop 100 developer", "fix 60 fixer")
	p.Steps[1].Agitation.Continuous = true
	second := func(rest bool) time.Duration {
		p.Steps[1].MayRest = rest
		r := newRoom(t)
		for _, id := range []string{"a", "b"} {
			r.add(id, 100, p)
			r.expose(id)
		}
		return bench.Evening(r.m, bench.ShopFor(8*s, p), 0).Puts[1].Start()
	}
	if at := second(true); at != 108*s {
		t.Errorf("the rocking can be left, and the second goes in at %v; want 1:48", at)
	}
	// Rocked to the lift of the first: out at 2:40, and the hands are free.
	if at := second(false); at != 168*s {
		t.Errorf("the rocking cannot be left, and the second goes in at %v; want 2:48", at)
	}
}
