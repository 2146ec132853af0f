package bench_test

import (
	"fmt"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"pgregory.net/rapid"

	"wetside/session/bench"
)

// A line is one sheet for the oracle: its steps, and the moves it makes. For a
// running sheet moves[0] is the move into step first, which is past.
type line struct {
	steps []bench.Op
	first int
	moves []int
	due   int // of a running sheet's present step
	runs  bool
}

// illegal says what is wrong with schedules put side by side, from the meaning
// of the words alone and second by second; empty when nothing is.
func illegal(shop bench.Shop, ls []line) string {
	for i, a := range ls {
		for k := 1; k < len(a.moves); k++ {
			o := a.steps[a.first+k-1]
			stay, want := a.moves[k]-a.moves[k-1], int(o.Time/time.Second)
			if a.runs && k == 1 {
				stay, want = a.moves[1], a.due
			}
			if stay < want || stay > want && !o.Flexible && !o.Batch {
				return fmt.Sprintf("sheet %d is in step %d for %d s, not %d", i, a.first+k-1, stay, want)
			}
			for u, b := range ls {
				if u == i || !o.Batch {
					continue
				}
				for q := 0; q+1 < len(b.moves); q++ {
					c := b.steps[b.first+q]
					if c.Batch && c.Tray == o.Tray && b.moves[q] < a.moves[k] && a.moves[k] < b.moves[q]+int(o.Time/time.Second) {
						return fmt.Sprintf("sheet %d leaves the batch too soon after sheet %d came", i, u)
					}
				}
			}
		}
		for u, b := range ls[:i] {
			if at, ok := handsMeet(shop, a, b); ok {
				return fmt.Sprintf("sheets %d and %d both need the hands at %d", i, u, at)
			}
		}
	}
	end := 0
	for _, a := range ls {
		end = max(end, a.moves[len(a.moves)-1])
	}
	for t := range end {
		in := map[string]int{}
		for _, a := range ls {
			for k := 0; k+1 < len(a.moves); k++ {
				if a.moves[k] <= t && t < a.moves[k+1] {
					in[a.steps[a.first+k].Tray]++
				}
			}
		}
		for tray, n := range in {
			if n > max(1, shop.Trays[tray]) {
				return fmt.Sprintf("%d sheets in %s at %d", n, tray, t)
			}
		}
	}
	return ""
}

// A grip is what the hands do for a sheet in one second.
type grip struct {
	rocks string // the tray, or
	past  bool   // a move that lies behind: two of them are past help
}

// grips says second by second what the hands do for a sheet.
func grips(shop bench.Shop, l line) map[int]grip {
	out := map[int]grip{}
	move := int(shop.Move / time.Second)
	for k, at := range l.moves {
		lift := move
		if k > 0 {
			o := l.steps[l.first+k-1]
			lift = max(move, int(o.Drain/time.Second))
			rock := o.Rock
			stay := int(o.Time / time.Second)
			if l.runs && k == 1 {
				stay = l.due - l.moves[0]
			}
			for sec := range stay - lift {
				t := time.Duration(sec) * time.Second
				inSpell := rock.Continuous || t < rock.First || rock.Every > 0 && t >= rock.Every && t%rock.Every < rock.For && !(rock.First > 0 && t-t%rock.Every <= rock.First)
				if inSpell {
					out[l.moves[k-1]+sec] = grip{rocks: o.Tray}
				}
			}
		}
		for t := at - lift; t < at; t++ {
			out[t] = grip{past: l.runs && k == 0}
		}
	}
	return out
}

// handsMeet reports whether two sheets need the hands in the same second, and
// which. Rocking one tray serves both.
func handsMeet(shop bench.Shop, a, b line) (int, bool) {
	x, y := grips(shop, a), grips(shop, b)
	for t, g := range x {
		h, both := y[t]
		if !both || g.past && h.past || g.rocks != "" && g.rocks == h.rocks {
			continue
		}
		return t, true
	}
	return 0, false
}

// exhaust tries every second for every put-in and for every stay in water, all
// of it, and reports whether some schedule is legal with all the queue's sheets
// out by limit. It knows nothing of bounds, orders or differences; it only
// stops to extend what is illegal already. A rare draw has more schedules than can
// be tried in minutes: whole is false, and nothing is known.
func exhaust(shop bench.Shop, running, queue []line, limit int) (can, whole bool) {
	left := 20_000_000
	var all []line
	todo := append(slices.Clone(running), queue...)
	// Running sheets may be held in water for as long as it takes the others.
	slack := limit
	for _, r := range running {
		for _, o := range r.steps {
			slack += int(o.Time/time.Second) + int(shop.Move/time.Second)
		}
	}
	var sheet func(n int) bool
	var steps func(n int, l line) bool
	steps = func(n int, l line) bool {
		if left--; left < 0 {
			return true // to the end
		}
		k := len(l.moves)
		if k == len(l.steps)-l.first+1 {
			for _, o := range all {
				if _, ok := handsMeet(shop, o, l); ok {
					return false
				}
			}
			all = append(all, l)
			ok := illegal(shop, all) == "" && sheet(n+1)
			all = all[:len(all)-1]
			return ok
		}
		o := l.steps[l.first+k-1]
		t := l.moves[k-1] + int(o.Time/time.Second)
		if l.runs && k == 1 {
			t = max(l.due, 0)
		}
		end := limit
		if l.runs {
			end = slack
		}
		for _, rest := range l.steps[l.first+k:] {
			end -= int(rest.Time / time.Second) // it could not be out by then
		}
		for ; t <= end; t++ {
			m := l
			m.moves = append(slices.Clone(l.moves), t)
			if steps(n, m) {
				return true
			}
			if !o.Flexible && !o.Batch {
				break
			}
		}
		return false
	}
	sheet = func(n int) bool {
		if n == len(todo) {
			return true
		}
		l := todo[n]
		if l.runs {
			return steps(n, l)
		}
		whole := 0
		for _, o := range l.steps {
			whole += int(o.Time / time.Second)
		}
		for t := 0; t <= limit-whole; t++ {
			l.moves = []int{t}
			if steps(n, l) {
				return true
			}
		}
		return false
	}
	can = sheet(0)
	return can, left >= 0
}

const s = time.Second

// anyShop draws trays and a process or two through them.
func anySteps(t *rapid.T, trays []string, longest int, flexible bool) []bench.Op {
	most := 3
	if flexible && longest == 1 {
		most = 2 // every second of every stay is tried
	}
	n := rapid.IntRange(1, most).Draw(t, "steps")
	var ops []bench.Op
	for i := range n {
		o := bench.Op{Tray: rapid.SampledFrom(trays).Draw(t, "tray"), Time: time.Duration(rapid.IntRange(1, longest).Draw(t, "time")) * s}
		handle(t, &o, longest)
		if flexible && i > 0 {
			switch rapid.IntRange(0, 5).Draw(t, "water") {
			case 0:
				o.Flexible = true
			case 1:
				o.Tray, o.Flexible, o.Batch = "wash", true, true
			}
		}
		ops = append(ops, o)
	}
	return ops
}

// handle draws what the hands do in a step: in half of them nothing.
func handle(t *rapid.T, o *bench.Op, longest int) {
	sec := func(lo, hi int, what string) time.Duration {
		return time.Duration(rapid.IntRange(lo, hi).Draw(t, what)) * s
	}
	switch rapid.IntRange(0, 9).Draw(t, "hands") {
	case 0, 1:
		o.Drain = sec(0, int(o.Time/s), "drain")
	case 2:
		o.Rock.Continuous = true
	case 3:
		o.Rock.First = sec(1, 2, "first")
	case 4:
		o.Rock.Every = sec(2, 4, "every")
		o.Rock.For = s
		o.Drain = sec(0, 1, "drain")
	}
}

func anyShop(t *rapid.T, trays []string) bench.Shop {
	sh := bench.Shop{Trays: map[string]int{}, Move: time.Duration(rapid.IntRange(0, 2).Draw(t, "move")) * s}
	for _, x := range trays {
		sh.Trays[x] = rapid.IntRange(1, 2).Draw(t, "places")
	}
	sh.Trays["wash"] = rapid.IntRange(1, 4).Draw(t, "wash")
	return sh
}

func linesOf(sch bench.Schedule, running []bench.Running, queue []bench.Job, now time.Duration) []line {
	var out []line
	for i, r := range running {
		l := lineOf(r, now)
		for _, m := range sch.Running[i].Moves {
			l.moves = append(l.moves, int((m-now)/s))
		}
		out = append(out, l)
	}
	for _, j := range queue {
		for _, p := range sch.Puts {
			if p.ID != j.ID {
				continue
			}
			l := line{steps: j.Steps}
			for _, m := range p.Moves {
				l.moves = append(l.moves, int((m-now)/s))
			}
			out = append(out, l)
		}
	}
	return out
}

func lineOf(r bench.Running, now time.Duration) line {
	l := line{steps: r.Job.Steps, first: r.Step, moves: []int{int((r.Since - now) / s)}, runs: true}
	if r.Step < len(r.Job.Steps) {
		due := r.Due
		if due == 0 {
			due = r.Since + r.Job.Steps[r.Step].Time
		}
		l.due = max(0, int((due-now)/s))
	}
	return l
}

func bare(ls []line) (running, queue []line) {
	for _, l := range ls {
		if l.runs {
			l.moves = l.moves[:1]
			running = append(running, l)
		} else {
			l.moves = nil
			queue = append(queue, l)
		}
	}
	return
}

func proves(t *rapid.T, shop bench.Shop, running []bench.Running, queue []bench.Job, now time.Duration) bench.Schedule {
	sch := bench.Plan(shop, running, queue, now)
	ls := linesOf(sch, running, queue, now)
	if len(ls) != len(running)+len(queue) {
		t.Fatalf("%d sheets planned of %d", len(ls), len(running)+len(queue))
	}
	if why := illegal(shop, ls); why != "" {
		t.Fatalf("the plan is not legal: %s\n%+v", why, ls)
	}
	if !sch.Best {
		t.Fatalf("%d sheets, and the search gave up", len(queue))
	}
	if sch.Done < sch.Bound {
		t.Fatalf("done at %v, below the bound %v", sch.Done, sch.Bound)
	}
	r, q := bare(ls)
	done := int((sch.Done - now) / s)
	sooner, whole := exhaust(shop, r, q, done-1)
	if !whole {
		t.Logf("%d sheets: too many schedules to try them all, done at %d is not proved", len(queue), done)
		return sch
	}
	if sooner {
		t.Fatalf("done at %d, but it can be done sooner\n%+v", done, ls)
	}
	if can, whole := exhaust(shop, r, q, done); whole && !can {
		t.Fatalf("the search of everything misses the plan's own schedule, done at %d\n%+v", done, ls)
	}
	return sch
}

// cases multiplies the number of random cases, for a long run.
func cases(t *testing.T, n int) int {
	if x := os.Getenv("WETSIDE_SOAK"); x != "" {
		k, err := strconv.Atoi(x)
		if err != nil {
			t.Fatalf("WETSIDE_SOAK=%q: want a number, how many times the cases", x)
		}
		n *= k
	}
	return n
}

func repeat(t *testing.T, n int, f func(*rapid.T)) {
	for range cases(t, n) {
		rapid.Check(t, f)
		if t.Failed() {
			return
		}
	}
}

// Rigid processes, mixed or alike, up to five sheets.
func TestPlanEqualsExhaustive(t *testing.T) {
	repeat(t, 1, func(t *rapid.T) {
		trays := []string{"a", "b", "c"}
		shop := anyShop(t, trays)
		n := rapid.IntRange(1, 5).Draw(t, "sheets")
		longest := []int{0, 6, 6, 5, 3, 2}[n]
		kinds := rapid.IntRange(1, 3).Draw(t, "kinds")
		var ps [][]bench.Op
		for range kinds {
			ps = append(ps, anySteps(t, trays, longest, false))
		}
		var queue []bench.Job
		for i := range n {
			queue = append(queue, bench.Job{ID: fmt.Sprint(i), Num: i + 1, Steps: rapid.SampledFrom(ps).Draw(t, "process")})
		}
		proves(t, shop, nil, queue, 0)
	})
}

// With water that may hold a sheet, and washes that begin again.
func TestPlanWithWaterEqualsExhaustive(t *testing.T) {
	repeat(t, 1, func(t *rapid.T) {
		trays := []string{"a", "b"}
		shop := anyShop(t, trays)
		n := rapid.IntRange(1, 4).Draw(t, "sheets")
		longest := []int{0, 5, 4, 2, 1}[n]
		var ps [][]bench.Op
		for range rapid.IntRange(1, 2).Draw(t, "kinds") {
			ps = append(ps, anySteps(t, trays, longest, true))
		}
		var queue []bench.Job
		for i := range n {
			queue = append(queue, bench.Job{ID: fmt.Sprint(i), Num: i + 1, Steps: rapid.SampledFrom(ps).Draw(t, "process")})
		}
		proves(t, shop, nil, queue, 0)
	})
}

// anyRunning draws a sheet that is somewhere in its process, perhaps overdue.
func anyRunning(t *rapid.T, id int, trays []string, now time.Duration) bench.Running {
	r := bench.Running{Job: bench.Job{ID: fmt.Sprint("r", id), Num: 90 + id, Steps: anySteps(t, trays, 4, true)}}
	r.Step = rapid.IntRange(0, len(r.Job.Steps)).Draw(t, "step")
	r.Since = now - time.Duration(rapid.IntRange(0, 5).Draw(t, "since"))*s
	return r
}

// compatible reports whether the running sheets by themselves can be led to
// their end; sheets that cannot are the conflicts' business.
func compatible(shop bench.Shop, running []bench.Running, now time.Duration) bool {
	var ls []line
	for _, r := range running {
		ls = append(ls, lineOf(r, now))
	}
	can, _ := exhaust(shop, ls, nil, 20)
	return can
}

// Sheets are in the trays already.
func TestPlanBesideRunningEqualsExhaustive(t *testing.T) {
	repeat(t, 1, func(t *rapid.T) {
		const now = 100 * s
		trays := []string{"a", "b", "c"}
		shop := anyShop(t, trays)
		var running []bench.Running
		for i := range rapid.IntRange(1, 2).Draw(t, "running") {
			running = append(running, anyRunning(t, i, trays, now))
		}
		if !compatible(shop, running, now) {
			t.Skip("they collide whatever is done")
		}
		n := rapid.IntRange(1, 2).Draw(t, "sheets")
		var queue []bench.Job
		for i := range n {
			queue = append(queue, bench.Job{ID: fmt.Sprint(i), Num: i + 1, Steps: anySteps(t, trays, 3, n == 1)})
		}
		sch := proves(t, shop, running, queue, now)

		// The earliest instant for the first of them alone: nothing is legal
		// that begins sooner, however long it takes to the end.
		start, why := bench.Earliest(shop, running, queue[0], now)
		if (start == now) != (why == "") {
			t.Fatalf("start %v, why %q", start-now, why)
		}
		if n == 1 && sch.Puts[0].Start() < start {
			t.Fatalf("planned at %v, before the earliest %v", sch.Puts[0].Start()-now, start-now)
		}
		for at := 0; at <= int((start-now)/s); at++ {
			r, q := bare(linesOf(bench.Plan(shop, running, queue[:1], now), running, queue[:1], now))
			q[0].moves = []int{at}
			found := startsAt(shop, r, q[0])
			if sooner := at < int((start-now)/s); found == sooner {
				t.Fatalf("earliest %v; a start at %d s is legal: %v", start-now, at, found)
			}
		}
	})
}

// startsAt reports whether the sheet, put in as its moves say, can go through
// beside the running ones.
func startsAt(shop bench.Shop, running []line, l line) bool {
	l.runs = true // its put-in is fixed; the rest is tried
	l.due = l.moves[0] + int(l.steps[0].Time/time.Second)
	put := l.moves[0]
	// As a running sheet its put-in would not need the hands: demand it.
	move := int(shop.Move / time.Second)
	for _, r := range running {
		if d := put - r.moves[0]; d < move {
			return false
		}
	}
	can, _ := exhaust(shop, append(slices.Clone(running), l), nil, 12)
	return can
}
