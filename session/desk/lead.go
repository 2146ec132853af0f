package desk

import (
	"slices"
	"time"

	"wetside/session"
	"wetside/session/bench"
	"wetside/session/say"
)

// This file is the program that leads: it takes each move as done when it is due,
// as long as somebody is there.

// The user's own time. Common practice, no source.
const (
	ledAlone   = 3                // moves without a press, after which it asks who is there
	ledAnswer  = 20 * time.Second // how long that waits for a key
	ledCorrect = 8 * time.Second  // within which a press sets a led move right
	// ledLate is how long after it was due a move can still be said to be led: what
	// is counted in is with the loudspeaker for longer, but not over a sleep.
	ledLate = 10 * time.Second
	// ledAhead is how long before a move, and before the call to lift for it, it is told
	// that it cannot be led: the call would cut it off.
	ledAhead = 8 * time.Second
)

// A lead is what the desk knows of who is led.
type lead struct {
	alone int // led moves since a key was pressed
	asked session.Instant
}

// Lead begins or ends leading, and says so.
func (d *Desk) Lead(on bool) error {
	e, l := session.Event{Kind: session.LeadBegun}, say.Leading.Of()
	if !on {
		e.Kind, l = session.LeadEnded, say.NotLeading.Of()
	}
	err := d.Do(e)
	if d.lead = (lead{}); err == nil {
		d.Say(l)
	}
	return err
}

// Here says that a key was pressed: whoever is led is there.
func (d *Desk) Here() {
	if asked := !d.lead.asked.IsZero(); asked && d.M.Leading() {
		d.Say(say.Leading.Of())
	}
	d.lead = lead{}
}

// mayLead reports whether a led move can be made. Where it cannot, leading ends,
// and why is said.
func (d *Desk) mayLead(e session.Event) bool {
	if d.ledIntoSpent(d.M.Sheet(e.Sheet)) {
		return false
	}
	if d.Now().Sub(e.At) >= d.span(ledLate) {
		d.endLead()
		return false
	}
	return true
}

// ledIntoSpent ends leading where the next bath of a sheet is spent, and says so.
func (d *Desk) ledIntoSpent(s *session.Sheet) bool {
	next := s.NextStep()
	if next < 0 {
		return false
	}
	st := s.Spec.Process.Steps[next]
	if b, ok := bench.Standing(d.Baths(), st.Bath); !ok || !b.Spent() {
		return false
	}
	d.endLead(say.BathSpent.Of(say.BathName(st.Bath, string(st.Stage))))
	return true
}

// endLead ends leading that nobody has ended.
func (d *Desk) endLead(why ...say.Line) {
	evs, err := d.Record.Append(session.Event{Kind: session.LeadEnded, At: d.Now()})
	d.trouble(err)
	d.take(evs)
	d.lead = lead{}
	d.unasked(append([]say.Line{say.NotLeading.Of()}, why...)...)
}

// unasked says what whoever is led must hear. It is no answer: those a move takes back,
// and the next call cuts off for good.
func (d *Desk) unasked(ls ...say.Line) { d.play("lead", session.CueTell, ls...) }

// led counts a led move, and asks who is there when there were some without a key.
func (d *Desk) led() {
	if d.lead.alone++; d.lead.alone == ledAlone {
		d.lead.asked = d.Hand()
		d.unasked(say.StillThere.Of())
	}
}

// watchLead ends leading where nobody answered, and before a move is counted in that
// cannot be led.
func (d *Desk) watchLead() {
	if !d.M.Leading() {
		return
	}
	if !d.lead.asked.IsZero() && d.Hand().Sub(d.lead.asked) > ledAnswer {
		d.endLead()
		return
	}
	now := d.M.T(d.Now())
	for _, s := range d.M.Sheets() {
		end, ok := d.M.LedEnd(s)
		if !ok {
			continue
		}
		if drain := s.Spec.Process.Steps[s.Visit().Step].Drain; end-drain-now < d.span(ledAhead) && d.ledIntoSpent(s) {
			return
		}
	}
}

// ledJust is the led move of a sheet that a press can still set right: until it is to
// come out again.
func (d *Desk) ledJust(s *session.Sheet, t time.Duration) (Target, bool) {
	v := s.LedMove()
	if v == nil || t-v.In > d.span(ledCorrect) || t >= v.In+v.AtMost {
		return Target{}, false
	}
	return Target{Deed: session.Confirmed, Sheet: s.ID, Num: s.Num, From: v.Serial, Call: May, Since: v.In}, true
}

// ledCalls are the led moves that a press may be for: the last one, and what was led
// so shortly before it that it may be meant.
func (d *Desk) ledCalls(t time.Duration) (out []Target) {
	var last time.Duration
	for _, s := range d.M.Sheets() {
		if c, ok := d.ledJust(s, t); ok {
			out, last = append(out, c), max(last, c.Since)
		}
	}
	return slices.DeleteFunc(out, func(c Target) bool { return last-c.Since > askWithin })
}
