package bench

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"wetside/session"
)

// A Clash is what two sheets cannot share.
type Clash string

const (
	Hands Clash = "hands" // two moves closer than the hands allow
	Room  Clash = "room"  // a sheet is due in a tray that is full
)

// A Conflict is two sheets that will be in each other's way as things stand.
type Conflict struct {
	// Key is the same for the same conflict as long as both sheets stay in the
	// trays they are in: what was foretold once need not be again.
	Key   string
	Clash Clash
	At    time.Duration // session time: of the later move, or of the one into the full tray
	First int           // number of the sheet that is there, or due, first
	Then  int           // number of the one that comes in its way
	IDs   [2]string     // of both, in that order
	Tray  string        // Hands: where Then is to go (empty: out of its last); Room: the full tray
	Short time.Duration // by how much they are too close
}

// A move is one of the sheets' as foretold: when, for how long before it the hands
// are on the sheet, and into which tray (empty: out).
type move struct {
	of       *Running
	at, lead time.Duration
	into     string
}

// Lying is a sheet in a tray as foretold. A flexible one can wait its turn there.
type lying struct {
	of       *Running
	tray     string
	in, out  time.Duration
	flexible bool
}

// foretell is where the sheets will be if each is moved when it is due, as far as
// that cannot wait its turn.
func foretell(shop Shop, running []Running, now time.Duration) (moves []move, all []lying) {
	for i := range running {
		r := &running[i]
		in := r.Since
		for k := r.Step; k < len(r.Job.Steps); k++ {
			o := r.Job.Steps[k]
			out := in + o.Time
			if k == r.Step {
				out = max(r.due(), now)
			}
			all = append(all, lying{r, o.Tray, in, out, o.flexible()})
			if o.flexible() {
				break
			}
			next := ""
			if k+1 < len(r.Job.Steps) {
				next = r.Job.Steps[k+1].Tray
			}
			moves = append(moves, move{r, out, shop.lead(o), next})
			in = out
		}
	}
	return moves, all
}

func (c Conflict) between(first, then *Running) Conflict {
	c.First, c.Then = first.Job.Num, then.Job.Num
	c.IDs = [2]string{first.Job.ID, then.Job.ID}
	a, b := first, then
	if b.Job.ID < a.Job.ID {
		a, b = b, a
	}
	c.Key = fmt.Sprintf("conflict/%s/%s@%d/%s@%d", c.Clash, a.Job.ID, a.Since.Milliseconds(), b.Job.ID, b.Since.Milliseconds())
	return c
}

// meets is the conflict of two moves that the hands cannot make one after the other.
func (a move) meets(b move) (c Conflict, is bool) {
	first, then := a, b
	if b.at < a.at {
		first, then = b, a
	}
	lead := then.lead
	if a.at == b.at {
		lead = max(a.lead, b.lead)
	}
	short := lead - (then.at - first.at)
	if a.of == b.of || short <= 0 {
		return c, false
	}
	return Conflict{Clash: Hands, At: then.at, Tray: then.into, Short: short}.between(first.of, then.of), true
}

// crowd is who will be in the tray when s comes, how many, and which of them leaves
// first. Who may leave still needs the hands for it before the other comes.
func (s lying) crowd(shop Shop, all []lying) (n int, leaves *lying) {
	for k := range all {
		o := &all[k]
		gone := o.out
		if o.flexible {
			gone += shop.Move
		}
		if o.of == s.of || o.tray != s.tray || o.in > s.in || gone <= s.in {
			continue
		}
		n++
		if leaves == nil || o.out < leaves.out {
			leaves = o
		}
	}
	return n, leaves
}

// Conflicts foretells, as of session time now, what will collide among the
// sheets in the trays if each is moved when it is due: the soonest first, one
// for each pair of sheets. What can be had out of the way by leaving a sheet in
// water is no conflict, nor is what cannot be helped any more, nor is a tray that
// is not rocked while the other sheet is moved.
func Conflicts(shop Shop, running []Running, now time.Duration) []Conflict {
	moves, all := foretell(shop, running, now)
	var out []Conflict
	for i, a := range moves {
		for _, b := range moves[i+1:] {
			if c, is := a.meets(b); is {
				out = append(out, c)
			}
		}
	}
	for _, s := range all {
		if s.in < now || s.in == s.of.Since {
			continue // it is there already
		}
		if n, leaves := s.crowd(shop, all); leaves != nil && n >= shop.places(s.tray) {
			out = append(out, Conflict{Clash: Room, At: s.in, Tray: s.tray, Short: leaves.out - s.in}.between(leaves.of, s.of))
		}
	}
	slices.SortStableFunc(out, func(a, b Conflict) int { return cmp.Or(cmp.Compare(a.At, b.At), cmp.Compare(a.Key, b.Key)) })
	// One for each pair: the soonest says enough.
	seen := map[[2]string]bool{}
	return slices.DeleteFunc(out, func(c Conflict) bool {
		p := c.IDs
		if p[0] > p[1] {
			p[0], p[1] = p[1], p[0]
		}
		again := seen[p]
		seen[p] = true
		return again
	})
}

// conflictLead is how long ahead a conflict is foretold, if it was known then.
const conflictLead = time.Minute

// Cues returns what must be heard of the bench in [from, to), by their T, in
// order: baths nearly spent and spent, conflicts ahead, and the instant the
// next waiting sheet may go in. The keys are those of the same cue whenever it
// is asked for; a cue that is no longer among those of a span is withdrawn.
//
// What comes of an event is due at the event's own instant, so a host that has
// asked beyond it already asks again from there.
func Cues(m *session.Machine, shop Shop, from, to time.Duration) []session.Cue {
	out := BathCues(m.Trays(), m.Sheets(), from, to)
	now := m.Now()
	running, _ := FromMachine(m, now)
	for _, c := range Conflicts(shop, running, now) {
		// By when it was known, and not all too far ahead.
		t := max(now, c.At-conflictLead)
		if t >= from && t < to {
			out = append(out, session.Cue{Key: c.Key, Kind: session.CueConflict, T: t, Sheet: c.IDs[1], Num: c.Then,
				N: c.First, Left: max(0, c.At-t)})
		}
	}
	out = append(out, mayGoIn(m, shop, from, to)...)
	for i := range out {
		out[i].At = m.At(out[i].T)
		if s := m.Sheet(out[i].Sheet); s != nil && out[i].Num == 0 {
			out[i].Num = s.Num
		}
	}
	slices.SortStableFunc(out, func(a, b session.Cue) int { return cmp.Or(cmp.Compare(a.T, b.T), cmp.Compare(a.Key, b.Key)) })
	return out
}

// mayGoIn returns the cues of the next in line: half a minute ahead, and now. A
// sheet that is overdue is taken to be where it is until it was moved, so
// nothing is said that its being there would make false.
func mayGoIn(m *session.Machine, shop Shop, from, to time.Duration) []session.Cue {
	ref := max(from, m.Now())
	running, queue := FromMachine(m, ref)
	if len(queue) == 0 || len(running) == 0 {
		return nil
	}
	job := queue[0]
	start, _ := Earliest(shop, running, job, ref)
	if start == ref && LastMove(m) < ref {
		// It could go in before this, and that was said then.
		if before, _ := Earliest(shop, running, job, max(ref-1, 0)); before < ref {
			return nil
		}
	}
	var out []session.Cue
	for _, left := range []time.Duration{30 * time.Second, 0} {
		t := start - left
		if t < ref || t >= to || left > 0 && t == m.Now() {
			continue
		}
		out = append(out, session.Cue{Key: fmt.Sprintf("maygo/%s/%d/%d", job.ID, start.Milliseconds(), left/time.Second),
			Kind: session.CueMayGoIn, T: t, Sheet: job.ID, Num: job.Num, Named: true, Left: left})
	}
	return out
}

// LastMove returns when a move was last made or taken back, or a sheet became
// ready for the trays.
func LastMove(m *session.Machine) time.Duration {
	var t time.Duration
	for _, s := range m.Sheets() {
		t = max(t, s.Light.EndedT, s.EndedT)
		if n := len(s.Visits); n > 0 {
			t = max(t, s.Visits[n-1].In)
		}
		if n := len(s.Undone); n > 0 {
			t = max(t, s.Undone[n-1].T)
		}
	}
	return t
}
