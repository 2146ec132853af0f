package ember

import (
	"bytes"
	"errors"
	"io"
	"os"
)

// Inline is a terminal on which a few lines are printed in red on black, where
// the cursor stands: for a command that answers while paper is out. What was on
// the terminal before stays as it is.
type Inline struct {
	f     *os.File
	guard *Guard
	used  bool
}

// errNoRed is what writing to a terminal gives that shows only its own colours.
var errNoRed = errors.New("paper is out, and this terminal would show its own colours: use a pipe, or --json")

// NewInline prints on f, which is a terminal.
func NewInline(f *os.File, env func(string) string) *Inline {
	_ = EnableVT(f) // not a console of Windows: it knows the codes
	profile, _ := Detect(env, true, false)
	if OnConsole(f) {
		// Its palette stays, so a red by its number may be any colour. By its
		// channels it is the nearest there is, which is the usual palette's red.
		profile = TrueColor
	}
	return &Inline{f: f, guard: NewGuard(f, Options{Profile: profile, Level: Ember})}
}

// CanDraw reports whether anything can be printed at all.
func (i *Inline) CanDraw() bool { return i.guard.opts.Profile.CanDraw() }

// Write prints lines, each black to its end; an error if it cannot.
func (i *Inline) Write(p []byte) (int, error) {
	if !i.CanDraw() {
		return 0, errNoRed
	}
	i.used = true
	if _, err := i.guard.Write(bytes.ReplaceAll(p, []byte("\n"), []byte("\x1b[K\n"))); err != nil {
		return 0, err
	}
	return len(p), nil
}

// End gives the terminal back the pen it had, if it was used.
func (i *Inline) End() {
	if i.used {
		_, _ = io.WriteString(i.f, "\x1b[0m") // a terminal that is gone needs none
	}
}
