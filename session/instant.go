package session

import "time"

// An Instant is one moment, read from two clocks at once.
//
// Wall is what a person would write down. Boot is the reading of a clock that
// keeps counting while the machine sleeps (CLOCK_BOOTTIME on Linux), and BootID
// names the boot it counts from. Durations come from Boot as long as BootID is
// the same, so that a stepped wall clock, a time zone or a night with the lid
// closed changes no countdown; across a reboot only Wall is left to go by.
type Instant struct {
	Wall   time.Time     `json:"wall"`
	Boot   time.Duration `json:"boot"`
	BootID string        `json:"boot_id"`
}

// Sub returns the time that passed from u to i. It can be negative.
func (i Instant) Sub(u Instant) time.Duration {
	if i.BootID != "" && i.BootID == u.BootID {
		return i.Boot - u.Boot
	}
	return i.Wall.Round(0).Sub(u.Wall.Round(0))
}

// Add returns the instant d later, on both clocks.
func (i Instant) Add(d time.Duration) Instant {
	i.Wall = i.Wall.Add(d)
	i.Boot += d
	return i
}

// IsZero reports whether i was never set.
func (i Instant) IsZero() bool { return i.Wall.IsZero() && i.Boot == 0 && i.BootID == "" }
