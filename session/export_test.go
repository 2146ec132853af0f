package session

import (
	"maps"
	"slices"
)

// Tells is what the table of events says of how a sheet's record tells each kind.
func Tells() map[Kind]string {
	out := map[Kind]string{}
	for k, r := range rules {
		out[k] = r.tells
	}
	return out
}

// Proper returns e without the fields that its kind does not have.
func Proper(e Event) Event {
	r := rules[e.Kind]
	all := r.needs | r.may
	p := Event{Kind: e.Kind, At: e.At}
	for f, copy := range map[fields]func(){
		hasSheet: func() { p.Sheet = e.Sheet }, hasFrom: func() { p.From = e.From }, hasSpec: func() { p.Spec = e.Spec },
		hasPlanned: func() { p.Planned = e.Planned }, hasStops: func() { p.Stops = e.Stops }, hasN: func() { p.N = e.N },
		hasNote: func() { p.Note = e.Note }, hasBath: func() { p.Bath = e.Bath }, hasInto: func() { p.Into = e.Into },
		hasMix: func() { p.Mix = e.Mix }, hasWhat: func() { p.What = e.What }, hasTold: func() { p.Told = e.Told },
	} {
		if all&f != 0 {
			copy()
		}
	}
	return p
}

// Deeds are the kinds of event that can be taken back.
func Deeds() []Kind { return slices.Collect(maps.Keys(backs)) }

// Own are the cues of every sheet, each at its own instant: none is moved or folded.
func (m *Machine) Own(from, to Instant) []Cue { return m.cues(m.T(from), m.T(to)) }
