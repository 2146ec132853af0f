package desk

import (
	"fmt"
	"slices"
	"time"

	"wetside/session"
	"wetside/session/bench"
	"wetside/session/words"
)

// This file is what several sheets at once ask of the desk: when the next may
// go in, what the baths have seen.

// shop is the room as the plan needs it.
func (d *Desk) shop() bench.Shop {
	ps := words.Each(d.M.Sheets(), func(sh *session.Sheet) session.Process { return sh.Spec.Process })
	return bench.ShopFor(d.Move, ps...)
}

// mayGoIn returns the sheet that is next and the session time at which it may
// go in, as things stood at the last event; nil when none waits or no tray is
// in use.
func (d *Desk) mayGoIn(next *session.Sheet, now time.Duration) (start time.Duration, why string, ok bool) {
	if next == nil {
		return 0, "", false
	}
	running, _ := bench.FromMachine(d.M, now)
	if len(running) == 0 {
		return now, "", true
	}
	start, why = bench.Earliest(d.shop(), running, bench.JobOf(next), now)
	return start, why, true
}

// Soon is mayGoIn for what asks at every tick: it looks once a second.
func (d *Desk) Soon(next *session.Sheet, now time.Duration) (start time.Duration, why string, ok bool) {
	if next == nil {
		return 0, "", false
	}
	s := &d.soonest
	if n, sec := d.M.Applied(), now.Truncate(time.Second); s.events != n || s.sec != sec || s.id != next.ID {
		*s = soonest{events: n, sec: sec, id: next.ID}
		if s.start, s.why, s.ok = d.mayGoIn(next, now); s.start <= now {
			s.start = sec // who asks of an earlier instant of this second is told the same
		}
	}
	return s.start, s.why, s.ok
}

// Evening is the plan for all that waits, while some tray is in use; ok is
// false when there is nothing to plan. It stands until the next event, or until
// somebody is late by it.
func (d *Desk) Evening(now time.Duration) (p *Plan, ok bool) {
	p = &d.planned
	if n := d.M.Applied(); p.events != n || now >= p.at+planFor && p.late(now) {
		*p = Plan{events: n, at: now, Goes: map[string]time.Duration{}, Moves: map[string][]time.Duration{}}
		if d.Wet() {
			sch := bench.Evening(d.M, d.shop(), now)
			p.waits = len(sch.Puts)
			for _, x := range append(sch.Running, sch.Puts...) {
				if len(x.Moves) > 0 {
					p.Goes[x.ID], p.Done = x.Start(), max(p.Done, x.End())
					p.Moves[x.ID] = x.Moves
				}
			}
		}
	}
	return p, p.waits > 0
}

// Next returns the sheet that goes into the trays next: the first exposed one
// in, first out; else the first that is known and has no exposure to come.
func (d *Desk) Next() *session.Sheet {
	if w := bench.Waiting(d.M.Sheets(), d.M.Now()); len(w) > 0 {
		return w[0].Sheet
	}
	for _, s := range d.M.Sheets() {
		if s.Phase == session.Fresh && !Unexposed(s) {
			return s
		}
	}
	return nil
}

// Outside returns the sheet that is in the field and needs the hands first: of
// those being exposed, else of those that wait for it; nil when none is.
func (d *Desk) Outside() *session.Sheet {
	for _, id := range d.M.View(d.Now()).Need {
		if s := d.M.Sheet(id); s.Phase == session.Exposing {
			return s
		}
	}
	if i := slices.IndexFunc(d.M.Sheets(), Unexposed); i >= 0 {
		return d.M.Sheets()[i]
	}
	return nil
}

// benchCues are the cues of several sheets at once. They depend on the events
// so far alone, so they are reckoned once for each event.
func (d *Desk) benchCues(from, to session.Instant) []session.Cue {
	f, t := d.M.T(from), d.M.T(to)
	var out []session.Cue
	for _, c := range d.foreseen(t) {
		if c.T >= f && c.T < t {
			c.At = d.M.At(c.T)
			out = append(out, c)
		}
	}
	return out
}

// foreseen are those cues from the last event on, until session time t and
// beyond it.
func (d *Desk) foreseen(t time.Duration) []session.Cue {
	if n := d.M.Applied(); d.ahead.events != n || t > d.ahead.to {
		now := d.M.Now()
		was := d.ahead.cues
		d.ahead = foresight{events: n, to: max(now, t) + foreseeFor}
		d.ahead.cues = append(bench.Cues(d.M, d.shop(), now-d.span(late), d.ahead.to), d.freshMayGoIn(now)...)
		// The next sheet could go in before this event as well: the call for it may still
		// wait for the words of a move.
		if next := d.Next(); next != nil && d.Wet() && !slices.ContainsFunc(d.ahead.cues, mayGoInNow) {
			for _, c := range was {
				if mayGoInNow(c) && c.Sheet == next.ID && c.T <= now {
					d.ahead.cues = append(d.ahead.cues, c)
				}
			}
		}
	}
	return d.ahead.cues
}

// mayGoInNow reports whether a cue calls a sheet in, and does not foretell it.
func mayGoInNow(c session.Cue) bool { return c.Kind == session.CueMayGoIn && c.Left == 0 }

// still reports whether what was said holds: of the bench by what is foreseen now, of a
// sheet's own bath or exposure by the machine.
func (d *Desk) still(c session.Cue) bool {
	is := func(o session.Cue) bool { return o.Key == c.Key }
	switch {
	case mayGoInNow(c):
		return slices.ContainsFunc(d.ahead.cues, is)
	case c.Kind == session.CueBathHigh, c.Kind == session.CueBathSpent:
		t := c.T - c.Late // its own instant
		return slices.ContainsFunc(bench.BathCues(d.M.Trays(), d.M.Sheets(), t, t+1), is)
	}
	return d.M.StillSo(c)
}

// freshMayGoIn is the call for a sheet that was not exposed here (a contact
// print, a blank one): the bench knows only of those that were.
func (d *Desk) freshMayGoIn(now time.Duration) []session.Cue {
	next := d.Next()
	if next == nil || next.Phase != session.Fresh || !d.Wet() {
		return nil
	}
	start, _, _ := d.mayGoIn(next, now)
	if start == now && bench.LastMove(d.M) < now && d.M.T(next.AddedAt) < now {
		// It could go in before this, and that was said then.
		if before, _, _ := d.mayGoIn(next, max(now-1, 0)); before < now {
			return nil
		}
	}
	return []session.Cue{{Key: fmt.Sprintf("maygo/%s/%d", next.ID, start.Milliseconds()), Kind: session.CueMayGoIn, T: max(start, now),
		Sheet: next.ID, Num: next.Num, Named: true}}
}

// Wet reports whether a sheet lies in a tray.
func (d *Desk) Wet() bool {
	return slices.ContainsFunc(d.M.Sheets(), func(s *session.Sheet) bool { return s.Phase == session.Wet })
}

// Baths is what every standing bath has seen.
func (d *Desk) Baths() []bench.BathState {
	var out []bench.BathState
	for _, b := range bench.Account(d.M.Trays(), d.M.Sheets(), d.M.T(d.Now())) {
		if !b.Retired {
			out = append(out, b)
		}
	}
	return out
}

// Used is the share of its capacity that the paper so far has taken out of the
// bath in a tray; 0 when none is noted there.
func (d *Desk) Used(tray string) float64 {
	b, _ := bench.Standing(d.Baths(), tray)
	return b.AreaShare
}

// Unexposed reports whether a sheet waits in its camera for its light.
func Unexposed(s *session.Sheet) bool {
	return s.Phase == session.Fresh && (s.Spec.Camera != "" || s.Spec.Exposure > 0)
}

// soonest is what mayGoIn said last.
type soonest struct {
	events int
	sec    time.Duration
	id     string
	start  time.Duration
	why    string
	ok     bool
}

// A Plan is the evening as it was last reckoned.
type Plan struct {
	events int
	at     time.Duration
	waits  int
	Goes   map[string]time.Duration // when each waiting sheet goes in, or one in water goes on
	Done   time.Duration            // all of it
	// Moves are the moves still ahead of each sheet in the trays and each that
	// waits, as session times: from tray to tray, out of the last.
	Moves map[string][]time.Duration
}

// planFor is how long a plan stands that nobody keeps to.
const planFor = 5 * time.Second

// foresight is what the plan says until the next event.
type foresight struct {
	events int
	to     time.Duration
	cues   []session.Cue
}

// foreseeFor is how far the plan is reckoned ahead at once.
const foreseeFor = 12 * time.Hour

func (p *Plan) late(now time.Duration) bool {
	for _, t := range p.Goes {
		if t < now {
			return true
		}
	}
	return false
}
