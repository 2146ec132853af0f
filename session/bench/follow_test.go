package bench_test

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"wetside/session"
	"wetside/session/bench"
	"wetside/session/words"
)

// Large queues of any processes: no tray holds more than fits, no two moves are
// closer than the hands allow, everyone is planned, and nothing is done before
// the textbook's bound.
func TestPlanIsLegalAtAnySize(t *testing.T) {
	repeat(t, 1, func(t *rapid.T) {
		trays := []string{"a", "b", "c", "d"}
		shop := anyShop(t, trays)
		shop.InOrder = rapid.Bool().Draw(t, "in order")
		n := rapid.IntRange(6, 25).Draw(t, "sheets")
		var ps [][]bench.Op
		for range rapid.IntRange(1, 3).Draw(t, "kinds") {
			ps = append(ps, anySteps(t, trays, 60, true))
		}
		var queue []bench.Job
		for i := range n {
			queue = append(queue, bench.Job{ID: fmt.Sprint(i), Num: i + 1, Steps: rapid.SampledFrom(ps).Draw(t, "process")})
		}
		sch := bench.Plan(shop, nil, queue, 0)
		ls := linesOf(sch, nil, queue, 0)
		if len(ls) != n {
			t.Fatalf("%d sheets planned of %d", len(ls), n)
		}
		if why := illegal(shop, ls); why != "" {
			t.Fatal(why)
		}
		if sch.Done < sch.Bound {
			t.Fatalf("done at %v, below the bound %v", sch.Done, sch.Bound)
		}
		if shop.InOrder {
			for i, p := range sch.Puts {
				if p.ID != queue[i].ID {
					t.Fatalf("not in order: %v", sch.Puts)
				}
			}
		}
	})
}

// The queues of the benchmark, of forty sheets too, and beside sheets that run.
func TestPlanOfLongQueues(t *testing.T) {
	for _, q := range queues {
		for _, n := range []int{5, 8, 13, 40} {
			queue := q.q(n)
			var running []bench.Running
			for i, r := range queue[:2] {
				r.ID, r.Num = fmt.Sprint("r", i), 90+i
				running = append(running, bench.Running{Job: r, Step: 2 * i, Since: time.Duration(1000-30*i) * s})
			}
			for _, running := range [][]bench.Running{nil, running} {
				sch := bench.Plan(room(n), running, queue, 1010*s)
				ls := linesOf(sch, running, queue, 1010*s)
				if why := illegal(room(n), ls); why != "" || len(ls) != n+len(running) {
					t.Errorf("%s, %d sheets: %s", q.name, n, why)
				}
				if n > 8 {
					continue // of these one plan takes a second
				}
				if again := bench.Plan(room(n), running, queue, 1010*s); !reflect.DeepEqual(sch, again) {
					t.Errorf("%s, %d sheets: planned twice, two plans", q.name, n)
				}
			}
		}
	}
}

// The bound on a line where it is reached: one tray, one place. Three sheets of
// 60 s with a move of 8 s between them: 3 x 60 + 2 x 8.
func TestBoundByHand(t *testing.T) {
	q := queueOf(3, []bench.Op{{Tray: "a", Time: 60 * s}})
	sch := bench.Plan(bench.Shop{Move: 8 * s}, nil, q, 0)
	if sch.Done != 196*s || sch.Bound != 196*s || !sch.Best {
		t.Errorf("%+v", sch)
	}
	// Two places: the first two a move apart, the third when the first is out.
	sch = bench.Plan(bench.Shop{Move: 8 * s, Trays: map[string]int{"a": 2}}, nil, q, 0)
	if sch.Done != (60+8+60)*s || !sch.Best {
		t.Errorf("%+v", sch)
	}
	if sch := bench.Plan(bench.Shop{}, nil, nil, 7*s); sch.Done != 7*s || len(sch.Puts) != 0 {
		t.Errorf("an empty queue: %+v", sch)
	}
}

// Eight sheets of two makers through the two-bath process, by someone who puts
// a sheet in when it may go in, moves each when it is due, and leaves it in
// water until it may go on.
func TestFollowingTheAdvice(t *testing.T) {
	shop := room(8)
	p := steps("develop 180 developer", "stop 30 stop bath", "fix 60 fixer 1", "second-fix 60 fixer 2",
		"rinse 60 rinse", "hypo-clear 120 hypo-clear", "wash 600 wash tray")
	r := newRoom(t)
	r.mix("f1", "fixer 1", 500, 5000, 0)
	ids := strings.Split("abcdefgh", "")
	for _, id := range ids {
		r.wait(1)
		r.add(id, 108, p)
		r.expose(id)
	}
	begun := r.now()
	plan := func() bench.Schedule {
		running, queue := bench.FromMachine(r.m, r.now())
		return bench.Plan(shop, running, queue, r.now())
	}()
	var moves []time.Duration
	for r.now() < 4*time.Hour {
		now := r.now()
		running, queue := bench.FromMachine(r.m, now)
		if over(r.m) {
			break
		}
		for _, c := range bench.Conflicts(shop, running, now) {
			t.Fatalf("%v: %+v", now, c)
		}
		act := ""
		for _, w := range running {
			if w.Step == len(w.Job.Steps) || w.Due > now {
				continue
			}
			if !w.Job.Steps[w.Step].Flexible && !w.Job.Steps[w.Step].Batch {
				act = w.Job.ID // it is due
				break
			}
			for i, on := range bench.Plan(shop, running, nil, now).Running {
				if running[i].Job.ID == w.Job.ID && on.Moves[0] <= now {
					act = w.Job.ID
				}
			}
			if act != "" {
				break
			}
		}
		if act == "" && len(queue) > 0 {
			if at, why := bench.Earliest(shop, running, queue[0], now); at <= now {
				act = queue[0].ID
			} else if why == "" {
				t.Fatalf("%v: sheet %s waits and nobody says why", now, queue[0].ID)
			}
		}
		if act != "" {
			r.move(act)
			moves = append(moves, now)
		}
		in := map[string]int{}
		for _, s := range r.m.Sheets() {
			if v := s.Visit(); v != nil {
				if in[v.Bath]++; in[v.Bath] > shop.Trays[v.Bath] {
					t.Fatalf("%v: %d sheets in the %s", now, in[v.Bath], v.Bath)
				}
				if st := v.Stage; st != session.Rinse && st != session.Wash && now > v.In+v.AtMost {
					t.Fatalf("%v: sheet %d stays too long in the %s", now, s.Num, v.Bath)
				}
			}
		}
		r.wait(1)
	}
	for i := 1; i < len(moves); i++ {
		if moves[i]-moves[i-1] < shop.Move {
			t.Errorf("moves at %v and %v: the hands need %v", moves[i-1], moves[i], shop.Move)
		}
	}
	if want := 8 * 8; len(moves) != want {
		t.Errorf("%d moves, want %d", len(moves), want)
	}
	for _, s := range r.m.Sheets() {
		if ok, why := bench.Washed(s, r.m.Sheets()); !ok || !s.Washed() {
			t.Errorf("sheet %d: %s", s.Num, why)
		}
	}
	if b := bench.Account(r.m.Trays(), r.m.Sheets(), r.now())[0]; b.AreaCM2 != 8*108 || b.Sheets != 8 {
		t.Errorf("fixer 1: %+v", b)
	}
	var said []string
	for _, x := range bench.ByMaker(r.m.Sheets()) {
		said = append(said, x.Words())
	}
	if got := strings.Join(said, "; "); got != "Ash: three sheets, three washed; Briar: five sheets, five washed" {
		t.Error(got)
	}
	end := moves[len(moves)-1]
	t.Logf("done after %v by the advice alone; the plan at the begin said %v, its bound %v", end-begun, plan.Done-begun, plan.Bound-begun)
	if end < plan.Bound {
		t.Errorf("done at %v, below the bound %v", end, plan.Bound)
	}
}

func over(m *session.Machine) bool {
	for _, s := range m.Sheets() {
		if s.Phase != session.Finished {
			return false
		}
	}
	return true
}

// What is said of one sheet in the trays and one that waits.
func TestMayGoInStory(t *testing.T) {
	shop := bench.Shop{Move: 8 * s, Trays: map[string]int{"wash tray": 8}}
	r := newRoom(t)
	p := steps("develop 90 developer", "stop 10 stop bath", "fix 60 fixer 1", "wash 300 wash tray")
	for _, id := range []string{"a", "b"} {
		r.add(id, 108, p)
		r.expose(id)
	}
	r.move("a")
	r.wait(40)
	running, queue := bench.FromMachine(r.m, r.now())
	if len(running) != 1 || len(queue) != 1 || queue[0].Num != 2 {
		t.Fatalf("%+v %+v", running, queue)
	}
	at, why := bench.Earliest(shop, running, queue[0], r.now())
	// The developer is free at 1:30. At 1:40 the first goes into the fixer, so
	// the hands are free to put the second in at 1:48.
	if at != 108*s || why != "it would need your hands when sheet 1 leaves the stop bath" && why != "your hands are busy then: sheet 1 leaves the stop bath" {
		t.Errorf("at %v, for %q", at, why)
	}
	var said []string
	for _, c := range bench.Cues(r.m, shop, 0, time.Hour) {
		said = append(said, fmt.Sprint(c.T, " ", c.Kind, " ", c.Num, " ", c.Left))
	}
	want := []string{"1m18s may go in 2 30s", "1m48s may go in 2 0s"}
	if !slices.Equal(said, want) {
		t.Errorf("said %q", said)
	}
	// Asked second by second, as a host does, it is the same; and a note, or a
	// sheet that is not moved when it is due, brings nothing false.
	heard := func(from, to time.Duration) (out []string) {
		for ; from < to; from += s {
			for _, c := range bench.Cues(r.m, shop, from, from+s) {
				out = append(out, fmt.Sprint(c.T, " ", c.Kind, " ", c.Num, " ", c.Left))
			}
		}
		return out
	}
	if got := heard(40*s, 90*s); !slices.Equal(got, want[:1]) {
		t.Errorf("heard %q", got)
	}
	if got := heard(90*s, 200*s); len(got) != 0 {
		t.Errorf("the first is still in the developer, and %q was heard", got)
	}
	// The sheet is pulled sooner than its at-most: planned anew from there.
	r.move("a")
	running, queue = bench.FromMachine(r.m, r.now())
	if at, _ := bench.Earliest(shop, running, queue[0], r.now()); at != 58*s {
		t.Errorf("after the pull: %v", at)
	}
	if got := heard(40*s, 58*s); len(got) != 0 {
		t.Errorf("heard %q", got)
	}
	r.wait(10) // moved when due, into the fixer
	r.move("a")
	if got, want := heard(50*s, 70*s), []string{"58s may go in 2 0s"}; !slices.Equal(got, want) {
		t.Errorf("heard %q", got)
	}
	r.wait(30)
	r.do(session.Event{Kind: session.Noted, Note: "the kettle"})
	if got := heard(80*s, 100*s); len(got) != 0 {
		t.Errorf("after a note: %q", got)
	}
}

// A user who ignores the plan is told once what will come of it.
func TestConflictStory(t *testing.T) {
	shop := bench.Shop{Move: 8 * s, Trays: map[string]int{"developer": 2, "wash tray": 8}}
	r := newRoom(t)
	p := steps("develop 90 developer", "stop 30 stop bath", "fix 60 fixer 1", "wash 300 wash tray")
	for _, id := range []string{"a", "b"} {
		r.add(id, 108, p)
		r.expose(id)
	}
	r.move("a")
	r.wait(20)
	r.move("b") // both in the stop bath from 1:50 to 2:00, and the stop bath holds one
	running, _ := bench.FromMachine(r.m, r.now())
	cs := bench.Conflicts(shop, running, r.now())
	if len(cs) != 1 || cs[0].Clash != bench.Room || cs[0].At != 110*s || cs[0].Tray != "stop bath" || cs[0].First != 1 || cs[0].Then != 2 || cs[0].Short != 10*s {
		t.Fatalf("%+v", cs)
	}
	told := map[string]int{}
	for from := time.Duration(0); from < 200*s; from += s {
		for _, c := range bench.Cues(r.m, shop, from, from+s) {
			if c.Kind == session.CueConflict {
				told[c.Key]++
				if c.T != 50*s || c.Left != time.Minute {
					t.Errorf("%+v", c)
				}
			}
		}
	}
	if len(told) != 1 || told[cs[0].Key] != 1 {
		t.Errorf("told %v", told)
	}
	// Taken back, there is none.
	r.undo("b")
	running, _ = bench.FromMachine(r.m, r.now())
	if cs := bench.Conflicts(shop, running, r.now()); len(cs) != 0 {
		t.Errorf("%+v", cs)
	}
	// Three seconds after the other: the hands.
	shop.Trays["stop bath"], shop.Trays["fixer 1"] = 2, 2
	apart := func(d float64) []bench.Conflict {
		r = newRoom(t)
		r.add("a", 108, p)
		r.add("b", 108, p)
		r.move("a")
		r.wait(d)
		r.move("b")
		running, _ = bench.FromMachine(r.m, r.now())
		return bench.Conflicts(shop, running, r.now())
	}
	cs = apart(3)
	if len(cs) != 1 || cs[0].Clash != bench.Hands || cs[0].At != 93*s || cs[0].Short != 5*s {
		t.Fatalf("%+v", cs)
	}
	// A move takes eight seconds, to the second; or a longer drain.
	for _, c := range []struct{ drain, apart, short time.Duration }{
		{0, 7 * s, s}, {0, 8 * s, 0}, {4 * s, 7 * s, s}, {4 * s, 8 * s, 0}, {10 * s, 9 * s, s}, {10 * s, 10 * s, 0},
	} {
		for i := range p.Steps {
			p.Steps[i].Drain = c.drain
		}
		cs := apart(c.apart.Seconds())
		if c.short == 0 && len(cs) != 0 || c.short > 0 && (len(cs) != 1 || cs[0].Clash != bench.Hands || cs[0].Short != c.short) {
			t.Errorf("drained for %v, %v apart: %+v, want %v too close", c.drain, c.apart, cs, c.short)
		}
	}
}

// First in, first out, whoever was added first.
func TestWaiting(t *testing.T) {
	r := newRoom(t)
	p := steps("develop 90 developer")
	r.add("a", 108, p)
	r.add("b", 108, p)
	r.expose("b")
	r.wait(60)
	r.expose("a")
	r.wait(60)
	w := bench.Waiting(r.m.Sheets(), r.now())
	if len(w) != 2 || w[0].Sheet.ID != "b" || w[0].Since != 2*time.Minute || w[1].Since != time.Minute {
		t.Errorf("%+v", w)
	}
}

func TestSpan(t *testing.T) {
	for d, want := range map[time.Duration]string{
		0: "no seconds", -s: "no seconds", time.Millisecond: "one second", 35 * s: "thirty-five seconds", 60 * s: "one minute",
		75 * s: "one minute fifteen seconds", 600 * s: "ten minutes", 601 * s: "ten minutes one second", 90 * time.Minute: "one hour thirty minutes",
	} {
		if got := words.Spoken(d); got != want {
			t.Errorf("%v: %q, want %q", d, got, want)
		}
	}
}
