package bench

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"wetside/session/words"
)

// A Put is the planned way of one sheet of the queue.
type Put struct {
	ID  string
	Num int
	// Moves are the session times of all its moves: into its first tray, from
	// each tray to the next, out of the last one.
	Moves []time.Duration
}

// Start is its first move: when a sheet of the queue goes in. 0 without moves.
func (p Put) Start() time.Duration {
	if len(p.Moves) == 0 {
		return 0
	}
	return p.Moves[0]
}

// End is its last move: when it leaves its last tray. 0 without moves.
func (p Put) End() time.Duration {
	if len(p.Moves) == 0 {
		return 0
	}
	return p.Moves[len(p.Moves)-1]
}

// A Schedule is a plan for the whole queue.
type Schedule struct {
	// Puts are the queue's sheets in the order they go in.
	Puts []Put
	// Running says when the sheets that are in the trays now make the moves
	// still ahead of them, in the order they were given; one that is out has none.
	Running []Put
	// Done is when the last sheet of the queue leaves its last tray.
	Done time.Duration
	// Bound is the textbook's lower bound on Done: the load of the busiest
	// tray, or of the hands.
	Bound time.Duration
	// Best: no schedule is done sooner; either Done is the bound, or all
	// others were ruled out.
	Best bool
}

// Plan finds the schedule of the queue that is done soonest, over all orders
// and instants, beside the sheets that are running. For up to exactJobs sheets
// it is the best there is, unless the search gives up (Best says so); for more
// it is a good one.
//
// Sheets in the trays that will collide among themselves, whatever is done with
// the queue, are left to collide: see [Conflicts].
func Plan(shop Shop, running []Running, queue []Job, now time.Duration) Schedule {
	p := newProblem(shop, running, queue, now)
	sch := p.schedule(p.solve(-1))
	if len(queue) > exactJobs && !sch.Best {
		// Of a long queue, each in its turn as soon as it may is often better
		// than what a search of so many orders comes upon.
		if each, clean := follow(shop, running, queue, now); (clean || p.jammed) && each.Done < sch.Done {
			each.Bound, each.Best = sch.Bound, each.Done <= sch.Bound
			return each
		}
	}
	return sch
}

// Earliest returns the soonest session time, not before now, at which the job
// may go in so that it never meets another sheet: no tray overfull and no two
// moves closer than the hands allow. Why says what stands in the way of its
// going in sooner; empty when it may go in now.
func Earliest(shop Shop, running []Running, job Job, now time.Duration) (start time.Duration, why string) {
	p, x := earliest(shop, running, job, now, now)
	s := p.first(len(running))
	at := p.time(x[s])
	if at <= now {
		return now, ""
	}
	return at, p.why(x, len(running), s)
}

// earliest solves for a job that may not go in before from.
func earliest(shop Shop, running []Running, job Job, now, from time.Duration) (*problem, []int64) {
	p := newProblem(shop, running, []Job{job}, now)
	s := p.first(len(running))
	if later := int64((from - now + p.unit - 1) / p.unit); later > 0 {
		for _, i := range p.of[len(running)] {
			p.segs[i].min += later
		}
	}
	x, _ := p.solve(s)
	return p, x
}

// Up to exactJobs sheets a queue is searched to the end; up to searchJobs the
// search goes some way, for a better schedule than the first one.
const (
	exactJobs  = 5
	searchJobs = 12
)

// A seg is a run of moves of one job that follow one another without slack. A
// flexible stay parts two of them.
type seg struct {
	job    int
	first  int     // index of its first move within the job
	off    []int64 // of its moves, from its start; off[0] is 0
	hands  []busy  // what needs the hands, from its start
	pinned bool    // it cannot be shifted: the sheet is in a rigid step
	min    int64   // not before
	reach  int64   // from its start on, when nothing that begins meets it any more
	tail   int64   // least time from its start to the job's end
	shape  int     // segs of one shape have the same forbidden differences
}

// A stay is one job in one tray: from a move of one seg to a move of the same
// (rigid) or the next one (flexible).
type stay struct {
	job, op     int
	tray        int
	in, out     int // segs
	inOff, outO int64
}

type span struct{ lo, hi int64 } // open interval

// A busy span is one in which the hands are on a sheet: for one of its moves, or
// to rock the tray it is in.
type busy struct {
	span
	move int // index within the job; unused if rocks
	tray int // rocked
	rock bool
}

type problem struct {
	shop     Shop
	jobs     []Job
	runs     int // so many of jobs are running
	base     time.Duration
	unit     time.Duration
	move     int64
	lead     int64 // the longest move, its drain included
	segs     []seg
	of       [][]int // segs of each job
	stays    []stay
	byTray   [][]int // stays by tray
	segStays [][]int // stays each seg begins or ends
	caps     []int
	names    []string
	class    []int    // jobs of one class have the same steps
	forbid   [][]span // by shapes a*shapes+b; nil: not reckoned yet
	shapes   int
	work     int     // segs looked at, the measure of effort
	water    []bool  // trays with flexible stays
	jammed   bool    // the running sheets will collide whatever is done
	beside   []span  // scratch
	ran      []int64 // starts of the running sheets, when only a search finds them
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	if a < 0 {
		return -a
	}
	return a
}

func newProblem(shop Shop, running []Running, queue []Job, now time.Duration) *problem {
	shop.Move = max(shop.Move, 0)
	p := &problem{shop: shop, runs: len(running), base: now}
	for _, r := range running {
		p.jobs = append(p.jobs, r.Job)
	}
	p.jobs = append(p.jobs, queue...)
	p.unit = p.divisor(running)
	p.move = p.units(shop.Move)
	p.lead = p.move
	m := modeller{problem: p, running: running, trays: map[string]int{}, classes: map[string]int{}, shapeOf: map[int]int{}}
	for _, j := range p.jobs {
		for _, o := range j.Steps {
			p.lead = max(p.lead, p.units(shop.lead(o)))
			if o.Batch {
				m.longest = max(m.longest, p.units(o.Time))
			}
		}
	}
	for j := range p.jobs {
		m.job(j)
	}
	p.segStays = make([][]int, len(p.segs))
	p.water = make([]bool, len(p.caps))
	for i, st := range p.stays {
		p.water[st.tray] = p.water[st.tray] || st.in != st.out
		p.segStays[st.in] = append(p.segStays[st.in], i)
		if st.out != st.in {
			p.segStays[st.out] = append(p.segStays[st.out], i)
		}
	}
	p.forbid = make([][]span, p.shapes*p.shapes)
	p.settle()
	return p
}

// divisor is the longest time that divides every time that is given.
func (p *problem) divisor(running []Running) time.Duration {
	g := gcd(0, int64(p.shop.Move))
	for _, r := range running {
		g = gcd(gcd(g, int64(r.Since-p.base)), int64(r.due()-p.base))
	}
	for _, j := range p.jobs {
		for _, o := range j.Steps {
			for _, d := range []time.Duration{o.Time, o.Drain, o.Rock.First, o.Rock.For, o.Rock.Every} {
				g = gcd(g, int64(d))
			}
		}
	}
	return time.Duration(max(g, 1))
}

// units is a time in units.
func (p *problem) units(d time.Duration) int64 { return int64(d / p.unit) }

// A modeller makes segs and stays of jobs.
type modeller struct {
	*problem
	running []Running
	longest int64 // of all washes: an arrival concerns the others' time
	trays   map[string]int
	classes map[string]int
	shapeOf map[int]int // the first shape of each class
}

func (m *modeller) tray(name string) int {
	i, ok := m.trays[name]
	if !ok {
		i = len(m.caps)
		m.trays[name] = i
		m.caps = append(m.caps, m.shop.places(name))
		m.names = append(m.names, name)
		m.byTray = append(m.byTray, nil)
	}
	return i
}

// classOf is the class of a job; a running one is like no other.
func (m *modeller) classOf(ji int) int {
	if ji < m.runs {
		return -1 - ji
	}
	key := fmt.Sprintf("%v", m.jobs[ji].Steps)
	c, ok := m.classes[key]
	if !ok {
		c = len(m.classes)
		m.classes[key] = c
	}
	return c
}

// seg adds a seg that begins with the job's k-th move, from its first on.
func (m *modeller) seg(ji, k, from, shape int) int {
	i := len(m.segs)
	m.segs = append(m.segs, seg{job: ji, first: k, off: []int64{0}, shape: shape})
	m.of[ji] = append(m.of[ji], i)
	m.handle(i, k, from, 0)
	return i
}

// handle notes the hands for move k, at off from the start of seg i.
func (m *modeller) handle(i, k, from int, off int64) {
	lead := m.move
	if k > from {
		lead = m.units(m.shop.lead(m.jobs[m.segs[i].job].Steps[k-1]))
	}
	m.segs[i].hands = append(m.segs[i].hands, busy{span: span{off - lead, off}, move: k})
}

// job models one job, a running one from the step it is in.
func (m *modeller) job(ji int) {
	j := m.jobs[ji]
	m.of = append(m.of, nil)
	runs := ji < m.runs
	from := 0
	if runs {
		from = m.running[ji].Step
	}
	class := m.classOf(ji)
	m.class = append(m.class, class)
	shape, known := m.shapeOf[class]
	if !known {
		shape = m.shapes
		m.shapeOf[class] = shape
	}
	cur := m.seg(ji, from, from, shape)
	if runs {
		s := &m.segs[cur]
		s.pinned, s.min = true, m.units(m.running[ji].Since-m.base)
	}
	for k := from; k < len(j.Steps); k++ {
		o := j.Steps[k]
		st := stay{job: ji, op: k, tray: m.tray(o.Tray), in: cur, inOff: last(m.segs[cur].off)}
		t := m.units(o.Time)
		s := &m.segs[cur]
		if o.Batch {
			s.reach = max(s.reach, st.inOff+m.longest)
		}
		if runs && k == from {
			t = max(m.units(m.running[ji].due()-m.base), 0) - s.min
		}
		for _, x := range o.Rock.Spells(time.Duration(t)*m.unit - m.shop.lead(o)) {
			s.hands = append(s.hands, busy{span: span{st.inOff + m.units(x.From), st.inOff + m.units(x.To)}, tray: st.tray, rock: true})
		}
		if o.flexible() {
			shape++
			cur = m.seg(ji, k+1, from, shape)
			m.segs[cur].min = m.segs[st.in].min + st.inOff + t
			st.out = cur
		} else {
			s.off = append(s.off, st.inOff+t)
			st.out, st.outO = cur, st.inOff+t
			m.handle(cur, k+1, from, st.inOff+t)
		}
		m.byTray[st.tray] = append(m.byTray[st.tray], len(m.stays))
		m.stays = append(m.stays, st)
	}
	if !known {
		m.shapes = shape + 1
	}
	m.tails(m.of[ji])
}

// tails sets what the segs of a job need to its end, from the last one back.
func (m *modeller) tails(segs []int) {
	for i := len(segs) - 1; i >= 0; i-- {
		s := &m.segs[segs[i]]
		s.tail = last(s.off)
		for _, x := range s.hands {
			s.reach = max(s.reach, x.hi+m.lead)
		}
		if i+1 < len(segs) {
			s.tail += m.gap(segs[i]) + m.segs[segs[i+1]].tail
		}
	}
}

func last(x []int64) int64 { return x[len(x)-1] }

// first returns the first seg of job j.
func (p *problem) first(j int) int { return p.of[j][0] }

// gap is the least flexible stay after seg s, which is not its job's last.
func (p *problem) gap(s int) int64 {
	n := p.segs[s+1]
	return n.min - p.segs[s].min - last(p.segs[s].off)
}

// forbidden returns the open intervals, sorted and apart, in which the start of
// seg b less the start of seg a may not lie.
func (p *problem) forbidden(a, b int) []span {
	sa, sb := &p.segs[a], &p.segs[b]
	key := sa.shape*p.shapes + sb.shape
	if f := p.forbid[key]; f != nil {
		return f
	}
	f := append(handsClash(sa, sb), p.traysClash(a, b)...)
	f = slices.DeleteFunc(f, func(s span) bool { return s.lo >= s.hi })
	slices.SortFunc(f, func(x, y span) int { return cmp.Compare(x.lo, y.lo) })
	m := []span{}
	for _, s := range f {
		// Open intervals that only touch leave the point between them free.
		if n := len(m); n > 0 && s.lo < m[n-1].hi {
			m[n-1].hi = max(m[n-1].hi, s.hi)
		} else {
			m = append(m, s)
		}
	}
	p.forbid[key] = m
	return m
}

// handsClash is where both segs need the hands.
func handsClash(a, b *seg) (f []span) {
	for _, x := range a.hands {
		for _, y := range b.hands {
			if x.lo >= x.hi || y.lo >= y.hi || x.rock && y.rock && x.tray == y.tray {
				continue // what takes no time, and rocking one tray for both
			}
			f = append(f, span{x.lo - y.hi, x.hi - y.lo})
		}
	}
	return f
}

// traysClash is where both segs are in a tray for one, or one comes into a wash
// that the other has not ended.
func (p *problem) traysClash(a, b int) (f []span) {
	for _, i := range p.segStays[a] {
		si := &p.stays[i]
		for _, k := range p.segStays[b] {
			sk := &p.stays[k]
			if si.tray != sk.tray {
				continue
			}
			if p.caps[si.tray] == 1 && si.in == si.out && sk.in == sk.out {
				f = append(f, span{si.inOff - sk.outO, si.outO - sk.inOff})
			}
			// The exit of a batch and an entry into it.
			if w := p.wash(si); w > 0 && si.out == a && sk.in == b && p.batch(sk) {
				f = append(f, span{si.outO - sk.inOff - w, si.outO - sk.inOff})
			}
			if w := p.wash(sk); w > 0 && sk.out == b && si.in == a && p.batch(si) {
				f = append(f, span{si.inOff - sk.outO, si.inOff - sk.outO + w})
			}
		}
	}
	return f
}

func (p *problem) batch(st *stay) bool { return p.jobs[st.job].Steps[st.op].Batch }

// wash is the time of a stay in a batch, in which nothing may come in before it
// ends; 0 for any other stay.
func (p *problem) wash(st *stay) int64 {
	if o := &p.jobs[st.job].Steps[st.op]; o.Batch {
		return int64(o.Time / p.unit)
	}
	return 0
}

// hit returns the forbidden interval d lies in.
func hit(f []span, d int64) (span, bool) {
	if n := len(f); n == 0 || d >= f[n-1].hi || d <= f[0].lo {
		return span{}, false
	}
	for _, s := range f {
		if d <= s.lo {
			return span{}, false
		}
		if d < s.hi {
			return s, true
		}
	}
	return span{}, false
}

const unset = math.MinInt64

// solve returns the start of every seg, and whether no better ones exist.
// Objective -1 is the end of the queue; otherwise it is the start of that seg.
func (p *problem) solve(objective int) ([]int64, bool) {
	x, ok := p.dispatch(len(p.jobs), nil, nil)
	if !ok {
		x = p.oneByOne()
	}
	lb := p.lowerBound(objective)
	ub := p.value(x, objective)
	if ub <= lb || objective < 0 && len(p.jobs) == p.runs {
		return x, !p.jammed
	}
	limit := exactLimit
	if objective >= 0 {
		limit = nextLimit
	}
	if n := len(p.jobs) - p.runs; n > exactJobs {
		limit = searchLimit
		if objective < 0 {
			x = p.improve(x, lb)
			ub = p.value(x, objective)
		}
		if n > searchJobs || ub <= lb {
			return x, ub <= lb && !p.jammed
		}
	}
	y, end := p.exact(objective, ub, lb, limit, objective >= 0)
	if y == nil {
		return x, end && !p.jammed
	}
	return y, !p.jammed && (end || p.value(y, objective) <= lb)
}

// value is what is to be least.
func (p *problem) value(x []int64, objective int) int64 {
	if objective >= 0 {
		return x[objective]
	}
	var end int64
	for j := p.runs; j < len(p.jobs); j++ {
		s := last64(p.of[j])
		end = max(end, x[s]+last(p.segs[s].off))
	}
	return end
}

func last64(x []int) int { return x[len(x)-1] }

// dispatch commits one seg after another, each at the soonest instant at which
// it meets nothing that is committed; of all that could be next the soonest.
// Order, if not nil, is that of the queue, and hold the least time from each
// put-in to the one before it. It reports whether every seg found a
// place: trays of water that wait for each other can block it.
func (p *problem) dispatch(jobs int, order []int, hold []int64) ([]int64, bool) {
	d := &dispatcher{problem: p, order: order, hold: hold, x: make([]int64, len(p.segs)), put: unset,
		next: make([]candidate, jobs), waiting: make([]bool, len(p.jobs))}
	d.running()
	for j := range d.next {
		first := p.first(j)
		d.next[j] = candidate{seg: first, t: p.segs[first].min, clear: p.segs[first].min}
		d.advance(j)
	}
	for {
		best, at := d.soonest()
		if best < 0 {
			break
		}
		d.commit(best, at)
		d.forget()
	}
	for j := range jobs {
		if d.x[last64(p.of[j])] == unset {
			return d.x, false
		}
	}
	return d.x, true
}

// A dispatcher is one run of dispatch.
type dispatcher struct {
	*problem
	order   []int
	hold    []int64
	x       []int64
	near    []int // committed, and not over before anything that is to come
	next    []candidate
	place   int    // in order
	put     int64  // the last put-in, in order
	waiting []bool // by class: one of it stands in line
}

// A candidate is what is known of a job's next seg, until a commitment changes it.
type candidate struct {
	seg   int   // -1: the job has none left
	t     int64 // soonest start, or if not fresh something not above it
	clear int64 // below it the start is forbidden, whatever trays have room
	ok    bool
	fresh bool
}

// running commits what the sheets in the trays will do whatever else is done.
func (d *dispatcher) running() {
	for i, s := range d.segs {
		d.x[i] = unset
		switch {
		case s.pinned:
			d.x[i] = s.min
		case d.ran != nil && s.job < d.runs:
			d.x[i] = d.ran[i]
		default:
			continue
		}
		d.near = append(d.near, i)
	}
}

// advance steps on to the job's first seg that is not committed.
func (d *dispatcher) advance(j int) {
	c := &d.next[j]
	for c.seg >= 0 && d.x[c.seg] != unset {
		if c.seg++; c.seg > last64(d.of[j]) {
			c.seg = -1
			return
		}
		c.t, c.fresh = d.least(d.x, c.seg), false
		c.clear = c.t
	}
}

// putsIn reports whether the job's next seg is its way into the first tray.
func (d *dispatcher) putsIn(j int) bool { return j >= d.runs && d.next[j].seg == d.first(j) }

// soonest is the seg that can be committed first, and when; -1: none can.
func (d *dispatcher) soonest() (best int, at int64) {
	best, at = -1, math.MaxInt64
	clear(d.waiting)
	anyone := false
	for d.place < len(d.order) && d.x[d.first(d.order[d.place])] != unset {
		d.place++
	}
	for j := range d.next {
		c := &d.next[j]
		if c.seg < 0 {
			continue
		}
		if d.putsIn(j) {
			if !d.inLine(j) || d.shop.InOrder && anyone {
				continue
			}
			d.waiting[d.class[j]], anyone = true, true
		}
		if c.t > at || c.fresh && !c.ok {
			continue
		}
		if !c.fresh {
			d.refresh(j)
		}
		if c.ok && (c.t < at || c.t == at && d.segs[c.seg].first > d.segs[best].first) {
			best, at = c.seg, c.t
		}
	}
	return best, at
}

// refresh finds the soonest start of a job's next seg.
func (d *dispatcher) refresh(j int) {
	c := &d.next[j]
	notBefore := func(t int64) {
		c.t = max(c.t, t)
		c.clear = max(c.clear, c.t)
	}
	if d.putsIn(j) && d.shop.InOrder && j > d.runs {
		notBefore(d.x[d.first(j-1)] + d.move)
	}
	if d.order != nil && d.place > 0 && c.seg == d.first(j) {
		notBefore(d.x[d.first(d.order[d.place-1])] + d.hold[d.place])
	}
	from := c.t
	var clear int64
	c.t, clear, c.ok = d.fit(d.x, d.near, c.seg, from)
	if c.clear == from {
		c.clear = clear
	}
	c.fresh = true
}

// commit starts a seg, and looks which candidates that concerns.
func (d *dispatcher) commit(best int, at int64) {
	d.x[best] = at
	d.near = append(d.near, best)
	job := d.segs[best].job
	if d.order != nil && job >= d.runs && best == d.first(job) {
		d.put = at
	}
	d.advance(job)
	for j := range d.next {
		c := &d.next[j]
		if c.seg < 0 {
			continue
		}
		switch ended, shared := d.shares(best, c.seg); {
		case ended:
			// A tray has room again that had none.
			c.t, c.fresh = min(c.t, c.clear), false
		case shared && c.ok:
			c.fresh = false
		case c.fresh && c.ok:
			_, bad := hit(d.forbidden(best, c.seg), c.t-at)
			c.fresh = !bad
		}
	}
}

// forget lets go of what is over before anything that is to come.
func (d *dispatcher) forget() {
	soonest := int64(math.MaxInt64)
	for j := range d.next {
		c := &d.next[j]
		if c.seg < 0 {
			continue
		}
		t := min(c.t, c.clear)
		if d.order != nil && d.putsIn(j) {
			t = max(t, d.put) // those further back go in after it
		}
		soonest = min(soonest, t)
	}
	d.near = slices.DeleteFunc(d.near, func(a int) bool { return d.x[a]+d.segs[a].reach <= soonest })
}

// shares reports whether the room in some tray for seg b may depend on seg a,
// other than by what is forbidden between the two; and whether a ends a stay
// that until now had no end.
func (p *problem) shares(a, b int) (ended, shared bool) {
	for _, i := range p.segStays[a] {
		for _, k := range p.segStays[b] {
			si, sk := &p.stays[i], &p.stays[k]
			if si.tray == sk.tray && (p.caps[si.tray] > 1 || si.in != si.out || sk.in != sk.out) {
				shared = true
				ended = ended || si.in != a
			}
		}
	}
	return ended, shared
}

// settle sees to it that the running sheets alone have a schedule. If they will
// collide whatever is done, each is taken to go its own way, and the queue is
// planned round them.
func (p *problem) settle() {
	x, ok := p.dispatch(p.runs, nil, nil)
	if ok {
		return
	}
	// Committing one after another can miss a way out that there is.
	alone := *p
	alone.jobs, alone.of = p.jobs[:p.runs], p.of[:p.runs]
	alone.segs = nil
	for _, s := range p.segs {
		if s.job < p.runs {
			alone.segs = append(alone.segs, s)
		}
	}
	alone.stays, alone.byTray = nil, make([][]int, len(p.caps))
	for i, st := range p.stays {
		if st.job < p.runs {
			alone.stays = append(alone.stays, st)
			alone.byTray[st.tray] = append(alone.byTray[st.tray], i)
		}
	}
	if y, _ := alone.exact(-1, math.MaxInt64/4, math.MinInt64, searchLimit, true); y != nil {
		p.ran = y
		return
	}
	p.jammed = true
	for j := range p.runs {
		for _, i := range p.of[j] {
			s := &p.segs[i]
			if x[i] == unset {
				x[i] = p.least(x, i)
			}
			s.pinned, s.min = true, x[i]
		}
	}
}

// oneByOne puts each sheet in when the one before it is done: the schedule that
// is always there.
func (p *problem) oneByOne() []int64 {
	x, _ := p.dispatch(p.runs, nil, nil)
	var end, wash int64
	for _, st := range p.stays {
		if o := p.jobs[st.job].Steps[st.op]; o.Batch {
			wash = max(wash, int64(o.Time/p.unit))
		}
	}
	for j := range p.jobs {
		for n, i := range p.of[j] {
			if j >= p.runs {
				x[i] = p.least(x, i)
				if n == 0 {
					x[i] = max(x[i], end+max(p.move, wash))
				}
			}
			end = max(end, x[i]+last(p.segs[i].off))
		}
	}
	return x
}

// least is the soonest seg s may begin by its own job.
func (p *problem) least(x []int64, s int) int64 {
	if i := p.segs[s]; s == p.of[i.job][0] {
		return i.min
	}
	t := x[s-1] + last(p.segs[s-1].off) + p.gap(s-1)
	return max(t, 0)
}

// fit returns the soonest instant not before t at which seg s meets none of the
// segs near it, which are set in x, and finds room in its trays. A flexible stay that has no end yet is taken to last; clear is
// the soonest it would be if every tray had room.
func (p *problem) fit(x []int64, near []int, s int, t int64) (at, clear int64, ok bool) {
	first := true
	for {
		moved := false
		p.work += len(near)
		for _, a := range near {
			if p.segs[a].job == p.segs[s].job {
				continue
			}
			if f, bad := hit(p.forbidden(a, s), t-x[a]); bad {
				t, moved = x[a]+f.hi, true
			}
		}
		if moved {
			continue
		}
		if first {
			first, clear = false, t
		}
		next, full := p.crowded(x, s, t)
		if !full {
			return t, clear, true
		}
		if next == unset {
			return clear, clear, false
		}
		t = next
	}
}

// crowded reports whether a tray is overfull when seg s is put at t, and the
// soonest later start at which the tray that is may have room.
func (p *problem) crowded(x []int64, s int, t int64) (int64, bool) {
	old := x[s]
	x[s] = t
	defer func() { x[s] = old }()
	for _, i := range p.segStays[s] {
		st := &p.stays[i]
		if p.caps[st.tray] == 1 && st.in == st.out && !p.water[st.tray] {
			continue // beside other rigid stays the forbidden differences say it all
		}
		if p.caps[st.tray] >= len(p.byTray[st.tray]) {
			continue // it holds them all
		}
		p.work += len(p.byTray[st.tray])
		if p.room(x, i) {
			continue
		}
		if st.in != s {
			return unset, true
		}
		return p.afterNext(x, st, t), true
	}
	return 0, false
}

// afterNext is when a sheet can go in behind the next that leaves its tray.
func (p *problem) afterNext(x []int64, st *stay, t int64) int64 {
	next := int64(unset)
	for _, k := range p.byTray[st.tray] {
		o := &p.stays[k]
		if o.job == st.job || x[o.in] == unset || x[o.out] == unset {
			continue
		}
		if c := x[o.out] + o.outO - st.inOff; c > t && (next == unset || c < next) {
			next = c
		}
	}
	return next
}

// when returns begin and end of a stay that is set in x; one without an end
// lasts for ever.
func (p *problem) when(x []int64, i int) (in, out int64, ok bool) {
	st := &p.stays[i]
	if x[st.in] == unset {
		return 0, 0, false
	}
	in = x[st.in] + st.inOff
	if x[st.out] == unset {
		return in, math.MaxInt64, true
	}
	return in, x[st.out] + st.outO, true
}

// room reports whether stay i has a place in its tray from begin to end,
// beside all others that are set.
func (p *problem) room(x []int64, i int) bool {
	st := &p.stays[i]
	in, out, ok := p.when(x, i)
	if !ok {
		return true
	}
	in = max(in, 0) // what was is past help
	if in >= out {
		return true
	}
	// Most of the time fewer than fill the tray are there at all in its stay.
	beside := p.beside[:0]
	for _, k := range p.byTray[st.tray] {
		if p.stays[k].job == st.job {
			continue
		}
		if a, b, ok := p.when(x, k); ok && a < out && in < b {
			beside = append(beside, span{a, b})
		}
	}
	p.beside = beside
	if len(beside) < p.caps[st.tray] {
		return true
	}
	// The tray is fullest just after some entry within the stay.
	if countAt(beside, in) >= p.caps[st.tray] {
		return false
	}
	for _, o := range beside {
		if o.lo >= in && countAt(beside, o.lo) >= p.caps[st.tray] {
			return false
		}
	}
	return true
}

// countAt counts the spans that an instant is in.
func countAt(spans []span, at int64) (n int) {
	for _, o := range spans {
		if o.lo <= at && at < o.hi {
			n++
		}
	}
	return n
}

// lowerBound is the textbook bound: for each tray, the soonest anything gets
// to it, its whole load shared among its places, and the least that is left
// after it; the same for the hands.
func (p *problem) lowerBound(objective int) int64 {
	if objective >= 0 {
		// What cannot be shifted is in its way for certain.
		x := make([]int64, len(p.segs))
		var near []int
		for i, s := range p.segs {
			x[i] = unset
			if s.pinned {
				x[i] = s.min
				near = append(near, i)
			}
		}
		_, clear, _ := p.fit(x, near, objective, max(p.segs[objective].min, 0))
		return clear
	}
	var bound int64
	for j := p.runs; j < len(p.jobs); j++ {
		bound = max(bound, p.segs[p.first(j)].tail)
	}
	for tray := range p.caps {
		bound = max(bound, p.trayLoad(tray))
	}
	return max(bound, p.handsLoad())
}

// trayLoad is how long what has yet to go through a tray takes at the least.
func (p *problem) trayLoad(tray int) int64 {
	var load int64
	jobs := map[int]bool{}
	head, tail := int64(math.MaxInt64), int64(math.MaxInt64)
	for _, i := range p.byTray[tray] {
		st := &p.stays[i]
		steps := p.jobs[st.job].Steps
		if st.job < p.runs || steps[st.op].Batch {
			continue // the sheets of a batch share their time
		}
		load += p.lasting(steps[st.op : st.op+1])
		jobs[st.job] = true
		head, tail = min(head, p.lasting(steps[:st.op])), min(tail, p.lasting(steps[st.op+1:]))
	}
	if len(jobs) == 0 {
		return 0
	}
	c := int64(p.caps[tray])
	if c == 1 {
		load += int64(len(jobs)-1) * p.move // the hands part the stays of two sheets
	}
	return head + (load+c-1)/c + tail
}

// lasting is how long steps take one after the other.
func (p *problem) lasting(steps []Op) (t int64) {
	for _, q := range steps {
		t += int64(q.Time / p.unit)
	}
	return t
}

// handsLoad is the bound by the hands: whatever they do for the queue they do
// one after another, and all but the first put-in between the begin and the end.
func (p *problem) handsLoad() int64 {
	var sum int64
	for j := p.runs; j < len(p.jobs); j++ {
		for n, i := range p.of[j] {
			end := int64(math.MinInt64)
			hands := slices.Clone(p.segs[i].hands)
			slices.SortFunc(hands, func(a, b busy) int { return cmp.Compare(a.lo, b.lo) })
			for k, x := range hands {
				if x.rock && p.caps[x.tray] > 1 {
					continue // it may serve others too
				}
				if n > 0 && k == 0 {
					x.lo = max(x.lo, x.hi-p.gap(p.of[j][n-1])) // the move before it may have been as late as that
				}
				sum += max(0, x.hi-max(x.lo, end))
				end = max(end, x.hi)
			}
		}
	}
	return sum - p.move
}

func (p *problem) time(t int64) time.Duration { return p.base + time.Duration(t)*p.unit }

// fair gives the starts of equal sheets to them in the order of the queue.
func (p *problem) fair(x []int64) {
	of := map[int][]int{}
	for j := p.runs; j < len(p.jobs); j++ {
		of[p.class[j]] = append(of[p.class[j]], j)
	}
	for _, js := range of {
		ways := make([][]int64, len(js))
		for i, j := range js {
			for _, s := range p.of[j] {
				ways[i] = append(ways[i], x[s])
			}
		}
		slices.SortStableFunc(ways, func(a, b []int64) int { return cmp.Compare(a[0], b[0]) })
		for i, j := range js {
			for k, s := range p.of[j] {
				x[s] = ways[i][k]
			}
		}
	}
}

func (p *problem) schedule(x []int64, best bool) Schedule {
	p.fair(x)
	out := Schedule{Best: best, Done: p.base, Bound: p.time(p.lowerBound(-1))}
	for j := range p.jobs {
		put := Put{ID: p.jobs[j].ID, Num: p.jobs[j].Num}
		for n, s := range p.of[j] {
			for i, o := range p.segs[s].off {
				if j < p.runs && n == 0 && i == 0 {
					continue // the past
				}
				put.Moves = append(put.Moves, p.time(x[s]+o))
			}
		}
		if j < p.runs {
			out.Running = append(out.Running, put)
			continue
		}
		out.Puts = append(out.Puts, put)
		out.Done = max(out.Done, put.End())
	}
	slices.SortStableFunc(out.Puts, func(a, b Put) int { return cmp.Compare(a.Start(), b.Start()) })
	return out
}

// why says what seg s of job j would meet, were it to begin one unit sooner
// than it does in x.
func (p *problem) why(x []int64, j, s int) string {
	t := x[s] - 1
	for _, own := range p.segs[s].hands {
		for a := range p.segs {
			if p.segs[a].job == j {
				continue
			}
			if i := slices.IndexFunc(p.segs[a].hands, func(q busy) bool { return own.clashes(t, q, x[a]) }); i >= 0 {
				return p.handsWhy(p.segs[a].job, p.segs[a].hands[i], !own.rock && own.move == p.segs[s].first)
			}
		}
	}
	x[s] = t
	defer func() { x[s] = t + 1 }()
	for i := range p.stays {
		if st := &p.stays[i]; st.job == j && !p.room(x, i) {
			if other := p.besideIn(x, i); other >= 0 {
				return fmt.Sprintf("%s is taken by %s", words.The(p.names[st.tray]), sheetName(p.jobs[other].Num))
			}
		}
	}
	return "a sheet further on would be in its way"
}

// handsWhy says what the hands do for another job; now: instead of making the
// move that is asked about, and not one that follows from it.
func (p *problem) handsWhy(job int, x busy, now bool) string {
	who := sheetName(p.jobs[job].Num)
	if x.rock {
		if now {
			return fmt.Sprintf("your hands rock %s for %s", words.The(p.names[x.tray]), who)
		}
		return fmt.Sprintf("it would need your hands while they rock %s for %s", words.The(p.names[x.tray]), who)
	}
	steps := p.jobs[job].Steps
	what := "goes into " + words.The(steps[0].Tray)
	if x.move > 0 {
		what = "leaves " + words.The(steps[x.move-1].Tray)
	}
	if now {
		return fmt.Sprintf("your hands are busy then: %s %s", who, what)
	}
	return fmt.Sprintf("it would need your hands when %s %s", who, what)
}

// clashes reports whether the hands are wanted by both, each from an instant on. Sheets
// in one tray are rocked together.
func (b busy) clashes(t int64, o busy, ot int64) bool {
	if b.rock && o.rock && b.tray == o.tray {
		return false
	}
	return t+b.lo < ot+o.hi && ot+o.lo < t+b.hi
}

// besideIn is the first sheet that is in the tray of a stay while it lasts; -1: none.
func (p *problem) besideIn(x []int64, i int) int {
	st := &p.stays[i]
	in, out, _ := p.when(x, i)
	for _, k := range p.byTray[st.tray] {
		if a, b, ok := p.when(x, k); ok && p.stays[k].job != st.job && a < out && in < b {
			return p.stays[k].job
		}
	}
	return -1
}

// inLine reports whether it is a sheet's turn: of equal sheets, and in order, only the
// first in line goes.
func (d *dispatcher) inLine(j int) bool {
	if d.order != nil && (d.place >= len(d.order) || d.order[d.place] != j) {
		return false
	}
	return !d.waiting[d.class[j]]
}
