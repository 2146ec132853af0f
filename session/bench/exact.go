package bench

import (
	"cmp"
	"math"
	"slices"
)

// The exact search. It begins with every move as soon as its own sheet allows,
// and asks what collides. Of two moves, or of the stays that overfill a tray,
// one must come after another: each way is tried, as one more difference that
// must hold, and all that follows from it is pushed later. What cannot end
// sooner than the best schedule known is left. When nothing collides, the
// starts are the least that these differences allow, so no schedule of that
// branch is sooner.

// How many collisions the search looks into before it gives up: for few sheets,
// for more, and for the next one alone, which is asked for while somebody looks
// at the screen. They count work and not time, so that the same question always
// has the same answer; one takes in the order of a microsecond.
const (
	exactLimit  = 200_000
	searchLimit = 2_000
	nextLimit   = 10_000
)

type edge struct {
	to int
	w  int64
}

type search struct {
	p      *problem
	obj    int
	x      []int64
	adj    [][]edge
	trail  []change
	ub     int64 // only what is less than this is sought
	lb     int64
	best   []int64
	nodes  int
	limit  int
	rounds []int
	stamp  []int
	tick   int
	queue  []int
	inq    []bool
	visits []visit
	later  []bool // segs that are left out, to be put where there is room
}

// A visit is a stay in a tray of one place, for the bound.
type visit struct{ head, load, rest int64 }

type change struct {
	v   int // a start that was raised from old, or
	old int64
	e   int // an edge that was added from seg e; -1: none
}

// exact returns the best starts, or nil when there are none below ub, and
// whether the search came to its end. Aside leaves out the last take-outs that
// stand in nobody's way, and puts them where there is room in what was found.
func (p *problem) exact(objective int, ub, lb int64, limit int, aside bool) ([]int64, bool) {
	n := len(p.segs)
	s := &search{p: p, obj: objective, x: make([]int64, n), adj: make([][]edge, n), ub: ub, lb: lb, limit: limit,
		rounds: make([]int, n), stamp: make([]int, n), inq: make([]bool, n), later: make([]bool, n)}
	ok := true
	for i := range p.segs {
		s.x[i] = p.segs[i].min
		s.later[i] = aside && i != objective && p.canWait(i)
		if i > 0 && p.segs[i].job == p.segs[i-1].job {
			s.adj[i-1] = append(s.adj[i-1], edge{i, last(p.segs[i-1].off) + p.gap(i-1)})
		}
	}
	// Of equal sheets the first in line goes first.
	prev := map[int]int{}
	for j := p.runs; j < len(p.jobs); j++ {
		k := p.class[j]
		if p.shop.InOrder {
			k = 0
		}
		if i, is := prev[k]; is {
			s.adj[p.first(i)] = append(s.adj[p.first(i)], edge{p.first(j), p.move})
		}
		prev[k] = j
	}
	for i := range p.segs {
		ok = ok && s.spread(i)
	}
	if ok {
		s.dive()
	}
	if s.best != nil && aside {
		p.squeezeIn(s.best, s.later)
	}
	return s.best, s.nodes < s.limit
}

// canWait reports whether seg i is the take-out of a sheet from water that holds
// them all: it can be put off for as long as the hands have something better to
// do, and nothing waits for it.
func (p *problem) canWait(i int) bool {
	s := &p.segs[i]
	if s.pinned || len(s.off) > 1 || i != last64(p.of[s.job]) || i == p.first(s.job) {
		return false
	}
	for _, k := range p.segStays[i] {
		if st := &p.stays[k]; p.caps[st.tray] < len(p.byTray[st.tray]) {
			return false
		}
	}
	return true
}

// squeezeIn puts the segs that were left out where there is room in x, one after
// another, the soonest first.
func (p *problem) squeezeIn(x []int64, later []bool) {
	var near, out []int
	for i := range p.segs {
		if later[i] {
			out = append(out, i)
		} else {
			near = append(near, i)
		}
	}
	slices.SortStableFunc(out, func(a, b int) int { return cmp.Compare(p.least(x, a), p.least(x, b)) })
	for _, i := range out {
		x[i], _, _ = p.fit(x, near, i, p.least(x, i))
		near = append(near, i)
	}
}

// raise lets seg v begin no sooner than t, and reports whether it can.
func (s *search) raise(v int, t int64) bool {
	sg := &s.p.segs[v]
	if sg.pinned || s.late(v, t) {
		return false
	}
	if s.stamp[v] != s.tick {
		s.stamp[v], s.rounds[v] = s.tick, 0
	}
	if s.rounds[v]++; s.rounds[v] > len(s.x) {
		return false // pushed round in a circle
	}
	s.trail = append(s.trail, change{v, s.x[v], -1})
	s.x[v] = t
	return true
}

// late reports whether seg v at t is too late to be better than the best.
func (s *search) late(v int, t int64) bool {
	if s.obj >= 0 {
		return v == s.obj && t >= s.ub
	}
	return s.p.segs[v].job >= s.p.runs && t+s.p.segs[v].tail >= s.ub
}

// spread pushes what must follow seg v.
func (s *search) spread(v int) bool {
	s.tick++
	s.queue = append(s.queue[:0], v)
	s.inq[v] = true
	ok := true
	for h := 0; h < len(s.queue); h++ {
		v := s.queue[h]
		s.inq[v] = false
		if !ok {
			continue
		}
		for _, e := range s.adj[v] {
			if t := s.x[v] + e.w; t > s.x[e.to] {
				if !s.raise(e.to, t) {
					ok = false
					break
				}
				if !s.inq[e.to] {
					s.inq[e.to] = true
					s.queue = append(s.queue, e.to)
				}
			}
		}
	}
	return ok
}

// after demands that seg b begin w after seg a, or later.
func (s *search) after(a, b int, w int64) bool {
	s.adj[a] = append(s.adj[a], edge{b, w})
	s.trail = append(s.trail, change{e: a, v: -1})
	return s.spread(a)
}

func (s *search) undo(to int) {
	for len(s.trail) > to {
		c := s.trail[len(s.trail)-1]
		s.trail = s.trail[:len(s.trail)-1]
		if c.v >= 0 {
			s.x[c.v] = c.old
		} else {
			s.adj[c.e] = s.adj[c.e][:len(s.adj[c.e])-1]
		}
	}
}

// An option is one way to part what collides.
type option struct {
	a, b int
	w    int64
	inc  int64 // how far b is pushed
}

// can reports whether nothing forbids the option at first sight.
func (s *search) can(o option) bool {
	t := s.x[o.a] + o.w
	return t <= s.x[o.b] || !s.p.segs[o.b].pinned && !s.late(o.b, t)
}

func (s *search) dive() {
	mark := len(s.trail)
	defer s.undo(mark)
	for {
		if s.nodes++; s.nodes >= s.limit {
			return
		}
		if s.bound() >= s.ub {
			return
		}
		opts, state := s.collision()
		switch state {
		case nothing:
			s.best = slices.Clone(s.x)
			s.ub = s.p.value(s.x, s.obj)
			return
		case hopeless:
			return
		}
		if len(opts) == 1 { // forced
			if !s.after(opts[0].a, opts[0].b, opts[0].w) {
				return
			}
			continue
		}
		s.branch(opts)
		return
	}
}

// branch tries one way after the other.
func (s *search) branch(opts []option) {
	for i, o := range opts {
		m := len(s.trail)
		ok := true
		for _, no := range opts[:i] {
			// The ways tried before are ruled out here: turned round.
			if ok && len(opts) > 2 {
				ok = s.after(no.b, no.a, max(s.p.move, 1)-no.w+s.p.move)
			}
		}
		if ok && s.after(o.a, o.b, o.w) {
			s.dive()
		}
		s.undo(m)
		if s.ub <= s.lb || s.best != nil && s.p.runs == len(s.p.jobs) && s.obj < 0 || s.nodes >= s.limit {
			return
		}
	}
}

type outcome int

const (
	nothing outcome = iota // collides
	some
	hopeless
)

// collision returns the ways to part one thing that collides: the one that
// leaves least choice.
func (s *search) collision() ([]option, outcome) {
	if opts, state := s.meeting(); state != nothing {
		return opts, state
	}
	return s.crowd()
}

// meeting is a collision of two segs.
func (s *search) meeting() (best []option, state outcome) {
	p := s.p
	most := int64(-1)
	for a := range p.segs {
		if s.later[a] {
			continue
		}
		for b := last64(p.of[p.segs[a].job]) + 1; b < len(p.segs); b++ {
			if p.segs[a].pinned && p.segs[b].pinned || s.later[b] {
				continue
			}
			d := s.x[b] - s.x[a]
			f, bad := hit(p.forbidden(a, b), d)
			if !bad {
				continue
			}
			o1 := option{a, b, f.hi, f.hi - d}
			o2 := option{b, a, -f.lo, d - f.lo}
			switch c1, c2 := s.can(o1), s.can(o2); {
			case !c1 && !c2:
				return nil, hopeless
			case !c2:
				return []option{o1}, some
			case !c1:
				return []option{o2}, some
			}
			if o2.inc < o1.inc {
				o1, o2 = o2, o1
			}
			if o1.inc > most {
				most, best, state = o1.inc, []option{o1, o2}, some
			}
		}
	}
	return best, state
}

// crowd is a collision of more stays in a tray than it has places.
func (s *search) crowd() (best []option, state outcome) {
	for tray, places := range s.p.caps {
		for _, i := range s.p.byTray[tray] {
			set := s.together(tray, i)
			if len(set) <= places || !slices.ContainsFunc(set, func(k int) bool { return !s.pinned(k) }) {
				continue
			}
			// Keep one that can be shifted, and fill up with those that cannot.
			slices.SortStableFunc(set, func(a, b int) int { return cmp.Compare(s.shifts(a), s.shifts(b)) })
			if n := len(set); n > places+1 {
				set = append(slices.Clone(set[:places]), set[n-1])
			}
			opts := s.partings(set)
			if len(opts) == 0 {
				return nil, hopeless
			}
			if best == nil || len(opts) < len(best) {
				slices.SortStableFunc(opts, func(a, b option) int { return cmp.Compare(a.inc, b.inc) })
				best, state = opts, some
			}
		}
	}
	return best, state
}

// together are the stays in a tray at the moment at which stay i begins.
func (s *search) together(tray, i int) []int {
	p := s.p
	at, out, _ := p.when(s.x, i)
	at = max(at, 0) // what was is past help
	if at >= out {
		return nil
	}
	set := []int{i}
	for _, k := range p.byTray[tray] {
		if a, b, _ := p.when(s.x, k); k != i && p.stays[k].job != p.stays[i].job && a <= at && at < b {
			set = append(set, k)
		}
	}
	return set
}

// partings are the ways in which one of the stays can be over before another.
func (s *search) partings(set []int) (opts []option) {
	for _, u := range set {
		for _, v := range set {
			if u == v {
				continue
			}
			su, sv := &s.p.stays[u], &s.p.stays[v]
			w := su.outO - sv.inOff + s.p.move
			if o := (option{su.out, sv.in, w, s.x[su.out] + w - s.x[sv.in]}); s.can(o) {
				opts = append(opts, o)
			}
		}
	}
	return opts
}

// shifts is 1 for a stay of which an end can be shifted, and 0 for the others.
func (s *search) shifts(i int) int {
	if s.pinned(i) {
		return 0
	}
	return 1
}

// pinned reports whether neither end of a stay can be shifted.
func (s *search) pinned(i int) bool {
	st := &s.p.stays[i]
	return s.p.segs[st.in].pinned && s.p.segs[st.out].pinned
}

// bound is the least the objective can come to from here: for each tray of one
// place, its sheets one after another from the first that can be there.
func (s *search) bound() int64 {
	p := s.p
	if s.obj >= 0 {
		return s.x[s.obj]
	}
	var b int64
	for j := p.runs; j < len(p.jobs); j++ {
		for _, i := range p.of[j] {
			b = max(b, s.x[i]+p.segs[i].tail)
		}
	}
	for tray, c := range p.caps {
		if c != 1 || len(p.byTray[tray]) < 2 {
			continue
		}
		s.through(tray)
		var load int64
		rest := int64(math.MaxInt64)
		for _, v := range s.visits {
			load += v.load
			rest = min(rest, v.rest)
			b = max(b, v.head+load+rest)
		}
	}
	return b
}

// through puts into visits what has yet to go through a tray, the last to enter first.
func (s *search) through(tray int) {
	p, vs, lastJob := s.p, s.visits[:0], -1
	for _, i := range p.byTray[tray] {
		st := &p.stays[i]
		if st.job < p.runs || st.job == lastJob {
			continue // one visit of each sheet, to be on the safe side
		}
		lastJob = st.job
		stay := st.outO - st.inOff
		if st.in != st.out {
			stay = p.gap(st.in) + last(p.segs[st.in].off) - st.inOff
		}
		v := visit{s.x[st.in] + st.inOff, stay + p.move, p.segs[st.in].tail - st.inOff - stay - p.move}
		vs = append(vs, v)
		for k := len(vs) - 1; k > 0 && vs[k-1].head < vs[k].head; k-- {
			vs[k-1], vs[k] = vs[k], vs[k-1]
		}
	}
	s.visits = vs
}
