package session

import (
	"time"

	"wetside/session/say"
)

// This file is the program that leads: after the press that puts a sheet into the
// first bath each move is counted in, and taken as done when it is due.

// Leading reports whether the program leads.
func (m *Machine) Leading() bool { return m.leading }

func (m *Machine) lead(_ *Sheet, e Event, t time.Duration) error {
	on := e.Kind == LeadBegun
	if m.leading == on {
		return refuse("that is done already").saying(say.LedSo.Of())
	}
	m.leading, m.ledFrom = on, t
	return nil
}

// leads reports whether the end of a sheet's visit is led. Never are the last bath's
// end, what is overdue when leading begins, and what was taken back since it was
// due: there the hands have something else in mind.
func (m *Machine) leads(s *Sheet, v *Visit) bool {
	if !m.leading || v == nil || !v.Open || v.Step == Holding || s.Phase != Wet || s.NextStep() < 0 || s.Spec.Process.Steps[v.Step].ByClock {
		return false
	}
	end := v.In + v.AtMost
	n := len(s.Undone)
	return end > m.ledFrom && (n == 0 || end > s.Undone[n-1].T)
}

// LedEnd is the session time at which the sheet's next move is led; ok is false where
// none is.
func (m *Machine) LedEnd(s *Sheet) (t time.Duration, ok bool) {
	v := s.open()
	if !m.leads(s, v) {
		return 0, false
	}
	return v.In + v.AtMost, true
}

// LedMove is the bath that a sheet was led into, while the press that tells when it
// truly went in can come; nil: none.
func (s *Sheet) LedMove() *Visit {
	if v := s.open(); v != nil && v.Led {
		return v
	}
	return nil
}

// confirm sets a led move to the instant that the user tells.
func (m *Machine) confirm(s *Sheet, e Event, t time.Duration) error {
	v, n := s.LedMove(), len(s.Visits)
	if v == nil || v.Serial != e.From || n < 2 {
		return s.movedOn()
	}
	before := &s.Visits[n-2]
	if s.FixedT > 0 && s.FixedT == before.Out {
		s.FixedT = t
	}
	if a := m.arrivalOf(s, v); a != nil {
		a.t = t
	}
	before.Out, before.OutAt, before.LedOut = t, e.At, false
	v.In, v.InAt, v.Led = t, e.At, false
	m.account(s)
	return nil
}
