package desk

import (
	"cmp"
	"slices"
	"time"

	"wetside/session"
)

// This file is the rule by which a press has its meaning: what the one large key
// does at an instant, as a function of the calls that were made and of nothing
// else. It holds for every face.

// A Place is where the user works: what a press is for when nothing was called.
type Place int

const (
	InTrays Place = iota
	InField
)

// A CallKind says how a target was called for.
type CallKind int

const (
	NotCalled CallKind = iota
	May                // the next may go in, the image may be judged
	Must               // cover the pinhole, move now, change the water
)

// A Target is a deed with a sheet (or with the water it lies in), and the call
// for it. The zero value is nothing to do.
type Target struct {
	Deed  session.Kind // ExposureBegun, ExposureEnded, PinholeCovered and PinholeUncovered of a test, Moved, WaterChanged, Confirmed; empty: nothing
	Sheet string       // identity
	Num   int
	From  int    // Moved: the visit that is left; Confirmed: the one it was led into
	Bath  string // WaterChanged: the tray; Moved: the water that it lies in with others
	Call  CallKind
	Since time.Duration // session time of the call, which may be to come
}

// Is reports whether t and u are the same deed, however it was called for.
func (t Target) Is(u Target) bool {
	if t.Deed == session.WaterChanged {
		return u.Deed == t.Deed && u.Bath == t.Bath
	}
	return t.Deed == u.Deed && t.Sheet == u.Sheet && t.From == u.From
}

// together reports whether t and u are sheets that come out of one wash: they are
// taken out one after another, and it makes no odds which is the first.
func (t Target) together(u Target) bool {
	return t.Deed == session.Moved && u.Deed == session.Moved && t.Bath != "" && t.Bath == u.Bath && t.Call == Must && u.Call == Must
}

// An Aim is what a press means at an instant.
type Aim struct {
	// Target stands beside the key.
	Target
	// Ask: it cannot be told which of these is meant. A press is answered with
	// the question, a number answers it.
	Ask []Target
	// Soon: this will be called within seconds, and is another deed than what the
	// key stood for until now. A press is answered by voice and not acted on.
	Soon *Target
}

// How near to each other calls may lie before a press is asked about. A person
// answers a call after half a second to four; common practice, no source. They
// are session time: in a rehearsal faster than life what is asked about is what
// would be in life.
const (
	askWithin   = 4 * time.Second
	mayYields   = 5 * time.Second        // a may-call does not hold the key so shortly before a must-call
	handOver    = 3 * time.Second        // nor is a press acted on that may be for what comes
	stoodBefore = 400 * time.Millisecond // nobody answers a call sooner
)

// span is a length of the user's own time, in session time: in a rehearsal at
// twenty times life the user is not faster.
func (d *Desk) span(x time.Duration) time.Duration {
	_, pace := d.M.Rehearsal()
	return time.Duration(float64(x) * max(1, pace))
}

// calls returns every call that stands unanswered, and the next one to come of
// each sheet, in the order of time.
func (d *Desk) calls(v session.View) []Target {
	var out []Target
	for _, s := range v.Sheets {
		switch {
		case d.doubt[s.ID]: // what became of it is being asked
		case s.Phase == session.Exposing && s.Open:
			out = append(out, fieldCalls(s, v.T)...)
		case s.Phase == session.Wet && s.Stage != session.Hold && !s.ByClock:
			out = append(out, d.trayCalls(s, v.T)...)
		}
	}
	out = append(append(out, d.nextCalls(v.T)...), d.ledCalls(v.T)...)
	slices.SortStableFunc(out, func(a, b Target) int { return cmp.Or(cmp.Compare(a.Since, b.Since), cmp.Compare(a.Num, b.Num)) })
	// Sheets that share a tray of water share its calls.
	return slices.CompactFunc(out, func(a, b Target) bool { return a.Is(b) && a.Since == b.Since })
}

// fieldCalls are those of a sheet in the light at now: to cover the pinhole after each
// strip of a test that is not covered yet, and at the end.
func fieldCalls(s session.SheetView, now time.Duration) (out []Target) {
	if strip, called := stripCalled(s, now); called {
		out = append(out, Target{session.PinholeCovered, s.ID, s.Num, 0, "", Must, strip})
	}
	for _, t := range s.Strips {
		if t > now {
			out = append(out, Target{session.PinholeCovered, s.ID, s.Num, 0, "", Must, t})
		}
	}
	return append(out, Target{session.ExposureEnded, s.ID, s.Num, 0, "", Must, s.Ends})
}

// nextCalls are those for the sheet that may go in next.
func (d *Desk) nextCalls(now time.Duration) (out []Target) {
	next := d.Next()
	if next == nil || !d.Wet() {
		return nil
	}
	t := Target{Deed: session.Moved, Sheet: next.ID, Num: next.Num, Call: May}
	for _, c := range d.foreseen(now) {
		if mayGoInNow(c) && c.Sheet == next.ID {
			t.Since = c.T
			out = append(out, t)
		}
	}
	// What was said before the last event is said no more, and holds.
	if start, _, ok := d.Soon(next, now); ok && len(out) == 0 && start <= now {
		t.Since = min(d.M.Now(), now) - askWithin
		out = append(out, t)
	}
	return out
}

// trayCalls are those of a sheet in a bath at now: to move it, to judge it, to change its
// water.
func (d *Desk) trayCalls(s session.SheetView, now time.Duration) (out []Target) {
	move := Target{session.Moved, s.ID, s.Num, s.Visit, "", Must, s.Ends}
	if s.Stage == session.Wash {
		move.Bath = s.Bath
	}
	if _, led := d.M.LedEnd(d.M.Sheet(s.ID)); led {
		move.Call = May // it needs no answer
	}
	out = append(out, move)
	if s.Judge && s.AtLeast > 0 && s.Left > 0 {
		move.Call, move.Since = May, now-s.Elapsed+s.AtLeast
		out = append(out, move)
	}
	// Of the changes of water only the last that was called stands, and none any more
	// when the sheet is to come out.
	var last time.Duration
	for _, t := range s.Water {
		switch {
		case t > now:
			out = append(out, Target{session.WaterChanged, s.ID, s.Num, 0, s.Bath, Must, t})
		case s.Left > 0 && s.Changed < t:
			last = t
		}
	}
	if last > 0 {
		out = append(out, Target{session.WaterChanged, s.ID, s.Num, 0, s.Bath, Must, last})
	}
	return out
}

// stripCalled is the last of a test's strips that was called and is not covered yet:
// none any more when all have their light.
func stripCalled(s session.SheetView, now time.Duration) (at time.Duration, called bool) {
	for _, t := range s.Strips {
		if t <= now && now < s.Ends {
			at, called = t, true
		}
	}
	return at, called
}

// rest is what a press is for when nothing was called.
func (d *Desk) rest(v session.View, at Place) Target {
	next, out := d.Next(), d.Outside()
	if at == InField {
		if out == nil {
			return Target{}
		}
		t := d.target(out)
		sv, _ := v.Sheet(out.ID)
		t.Since = sv.Ends
		return t
	}
	if s, wet := v.Sheet(v.Due); wet && (next == nil || wantsHands(s)) {
		return d.target(d.M.Sheet(s.ID))
	}
	next = cmp.Or(next, out) // it may be meant to go in as it is: that is asked about
	if next != nil && next.Phase != session.Exposing {
		return d.target(next)
	}
	return Target{}
}

// wantsHands reports whether a wet sheet goes before one that waits to go in: a wash
// that runs does not need hands.
func wantsHands(s session.SheetView) bool {
	return s.Stage != session.Hold && (s.Left == 0 || s.Stage != session.Wash)
}

// target is what comes next in the life of a sheet; the zero value when nothing
// does that the key could do.
func (d *Desk) target(s *session.Sheet) Target {
	t := Target{Sheet: s.ID, Num: s.Num}
	switch {
	case Unexposed(s):
		t.Deed = session.ExposureBegun
	case s.Phase == session.Exposing:
		t.Deed = d.lightDeed(s)
	case s.Phase == session.Fresh, s.Phase == session.Exposed:
		t.Deed = session.Moved
	case s.Phase == session.Wet:
		t.Deed, t.From = session.Moved, s.Visit().Serial
	default:
		return Target{}
	}
	return t
}

// lightDeed is what comes next with a pinhole that was opened.
func (d *Desk) lightDeed(s *session.Sheet) session.Kind {
	v := d.M.View(d.Now())
	sv, _ := v.Sheet(s.ID)
	if _, called := stripCalled(sv, v.T); called {
		return session.PinholeCovered
	}
	if s.Spec.Test() != nil && !sv.Open && sv.Share < 1 {
		return session.PinholeUncovered // for the next strip
	}
	return session.ExposureEnded
}

// Aim says what a press means now, when no sheet was picked.
func (d *Desk) Aim(at Place) Aim {
	v := d.M.View(d.Now())
	calls, rest := d.calls(v), d.rest(v, at)
	a := d.aim(calls, rest, v.T)
	// What a press means does not change under the finger.
	for i := len(calls) - 1; i >= 0; i-- {
		c := calls[i]
		if c.Since > v.T || c.Since <= v.T-stoodBefore || c.Deed == session.Confirmed { // that was counted in
			continue
		}
		before := d.aim(calls, rest, c.Since-1)
		switch {
		case before.Soon != nil || before.Target.Is(a.Target):
			// Nobody can have heard the call yet: what may be meant is as before.
			if a.Soon == nil && before.Soon != nil {
				a.Soon = before.Soon
			}
		case before.Call != NotCalled:
			return before
		}
		break
	}
	return a
}

// aim is Aim as of session time t, by the calls alone.
func (d *Desk) aim(calls []Target, rest Target, t time.Duration) Aim {
	that := func(is func(Target) bool) []Target {
		return slices.DeleteFunc(slices.Clone(calls), func(c Target) bool { return !is(c) })
	}
	must := that(func(c Target) bool { return c.Since <= t && c.Call == Must })
	may := that(func(c Target) bool { return c.Since <= t && c.Call != Must })
	comes := that(func(c Target) bool { return c.Since > t && c.Since <= t+handOver })
	if len(must) > 0 {
		// A may-call that was made before may be meant as long as its answer is under
		// way; one that came after waits for its turn, as people know, and so does one
		// that was made in the same breath.
		lately := slices.DeleteFunc(may, func(c Target) bool {
			return t-c.Since > askWithin || c.Since > must[0].Since-stoodBefore
		})
		return Aim{Target: must[0], Ask: near(must[0], slices.Concat(must[1:], comes, lately)...)}
	}
	a := Aim{Target: rest}
	if n := len(may); n > 0 {
		a.Target = may[n-1]
		if t-a.Since <= askWithin {
			a.Ask = near(a.Target, may[:n-1]...)
		}
	}
	i := slices.IndexFunc(calls, func(c Target) bool {
		ahead := c.Since > t && (c.Since <= t+handOver || c.Call == Must && c.Since <= t+mayYields)
		return ahead && !(a.Deed == session.Confirmed && a.Sheet == c.Sheet) // a press for what comes has time
	})
	if i < 0 {
		return a
	}
	c := calls[i]
	switch {
	case a.Target.Is(c):
		a.Target, a.Ask = c, near(c, comes...)
	case c.Call == Must:
		a = Aim{Target: c, Soon: &c}
	default:
		a.Soon = &c
	}
	return a
}

// near are those of several calls that it cannot be told from first, and first; nil
// where there is none.
func near(first Target, among ...Target) []Target {
	ask := []Target{first}
	for _, c := range among {
		if (c.Since-first.Since).Abs() < askWithin && !slices.ContainsFunc(ask, func(o Target) bool { return c.Is(o) || c.together(o) }) {
			ask = append(ask, c)
		}
	}
	if len(ask) == 1 {
		return nil
	}
	return ask
}
