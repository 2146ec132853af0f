package main

import (
	"time"

	"wetside/session"
)

// A clock tells instants from two sources: the wall, and a clock that goes on
// while the machine sleeps. Both are functions, so that tests can put the
// machine to sleep, step its wall clock and boot it anew.
type clock struct {
	wall func() time.Time
	boot func() (reading time.Duration, id string)
	// From base on, instants run pace times as fast as life. A pace of 1 is
	// life itself.
	pace      float64
	realBase  session.Instant
	pacedBase session.Instant
}

// systemClock is the machine's own, at the pace of life.
func systemClock() *clock { return newClock(time.Now, bootClock, 1, session.Instant{}) }

// clock is the host's, at a pace.
func (h *host) clock(pace float64, from session.Instant) *clock {
	boot := h.boot
	if boot == nil {
		boot = bootClock
	}
	return newClock(time.Now, boot, pace, from)
}

// newClock makes a clock. A rehearsal that is gone on with starts from the
// instant it had come to, which at its pace lies ahead of the wall.
func newClock(wall func() time.Time, boot func() (time.Duration, string), pace float64, from session.Instant) *clock {
	c := &clock{wall: wall, boot: boot, pace: pace}
	c.realBase = c.real()
	c.pacedBase = c.realBase
	if pace != 1 && !from.IsZero() && from.Sub(c.realBase) > 0 {
		c.pacedBase = from
		c.pacedBase.BootID = c.realBase.BootID
	}
	return c
}

func (c *clock) real() session.Instant {
	d, id := c.boot()
	return session.Instant{Wall: c.wall(), Boot: d, BootID: id}
}

// Now returns the present instant.
func (c *clock) Now() session.Instant {
	r := c.real()
	if c.pace == 1 {
		return r
	}
	return c.pacedBase.Add(time.Duration(float64(r.Sub(c.realBase)) * c.pace))
}

// Real returns when in real time an instant is, with the monotonic reading that
// timers and the loudspeaker go by.
func (c *clock) Real(i session.Instant) time.Time {
	d := i.Sub(c.Now())
	return c.wall().Add(time.Duration(float64(d) / c.pace))
}
