// Package lamps speaks to the lights of the laptop other than the window: the
// panel, the keyboard, and whatever would put the machine to sleep or lock it with
// a bright screen.
package lamps

import (
	"io/fs"

	"github.com/godbus/dbus/v5"
)

// Lamps are the lights of the laptop other than the window: the panel's
// backlight, the keyboard's, and whatever would light up by itself, such as a
// lock screen. A method may take two seconds where the session service does not
// answer, so it is called beside the picture and not between two frames. The
// methods may be called from several goroutines; one waits for the other.
type Lamps interface {
	// Dim turns the backlight to the user's dark level and the keyboard off; with low the
	// backlight as low as it goes, which may be off. Old values are on disk before
	// anything is changed.
	Dim(low bool) error
	// Raised reports whether a lamp gives more than Dim set it to, by now: somebody
	// pressed a key of its own, or plugged the mains in. It asks no service.
	Raised() bool
	// Panel reads what share of its most the panel's backlight gives now, 0 to 1, of
	// several the brightest; ok is false where it cannot be read. It asks no service.
	Panel() (share float64, ok bool)
	// Restore puts back what Dim changed, in this run or in an earlier one that
	// was killed. It does nothing if nothing is changed.
	Restore() error
	// Inhibit keeps the machine from idling, sleeping and minding its lid
	// until Release or the end of the process. why is shown to the user by
	// the desktop: one short clause.
	Inhibit(why string) error
	// Release ends Inhibit.
	Release() error
	// Report says what is known about each lamp, for the check before paper
	// is opened. It changes nothing.
	Report() []Finding
}

// Verdict is what is known about a lamp.
type Verdict int

// The verdicts.
const (
	// Unknown: the user has to look.
	Unknown Verdict = iota
	// Safe: verified to be off or as dim as asked for.
	Safe
	// Lit: verified to be brighter than that.
	Lit
)

// String gives the verdict in one word.
func (v Verdict) String() string {
	return [...]string{"look yourself", "verified", "lit"}[max(Unknown, min(v, Lit))]
}

// A Concern is what a finding is about.
type Concern int

// The concerns.
const (
	AboutOther Concern = iota // of none that has a line of its own in the check
	AboutPanel
	AboutKeyboard
	AboutSleep  // and the lock screen, and the lid
	AboutWindow // what the terminal draws round the picture, which is no lamp of this package
)

// Finding is one line of the check.
type Finding struct {
	About Concern
	// Lamp names it: "backlight intel_backlight", "lid".
	Lamp    string
	Verdict Verdict
	// Detail is one sentence for the user: what is so, and what to do about it.
	Detail string
	// Share of its most that a lamp gives now, 0 to 1, if it could be read.
	Share float64
	Read  bool
}

// Options say how to reach the lamps.
type Options struct {
	// Bus connects to the bus logind is on (dbus.ConnectSystemBus); nil means
	// there is none. It is called when first needed, and again when the
	// connection is lost. Linux only.
	Bus func(...dbus.ConnOption) (*dbus.Conn, error)
	// Sys is the root of sysfs (os.DirFS("/sys")). Linux only.
	Sys fs.FS
	// State is the file for the old values; its directory exists.
	State string
	// Session is the identity of the login session (XDG_SESSION_ID); empty
	// means the one of this process.
	Session string
	// Backlight is the dark level of the panel, 0 to 1 of its maximum. Some
	// panels go wholly dark at 0, so at least one step is kept lit, but where it is
	// to be as low as it goes.
	Backlight float64
	// PID is this process, for helpers that should end with it.
	PID int
	// Start runs a helper program and gives what stops it; nil means that
	// helpers may not be run. macOS only.
	Start func(name string, args ...string) (stop func() error, err error)
}
