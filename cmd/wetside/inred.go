package main

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"slices"

	"github.com/charmbracelet/x/term"

	"wetside/tui/ember"
	"wetside/tui/lamps"
)

// darkFile is there while paper is out, for the other commands to know: from
// when the lamps are dimmed until they are put back, or longer if the program was
// killed, since nobody has covered the paper then.
func (h *host) darkFile() string { return filepath.Join(h.state, "paper-out") }

// markedLamps keep the mark.
type markedLamps struct {
	lamps.Lamps
	mark  string
	panel func() error // puts back what put the panel out
}

func (l markedLamps) Dim(low bool) error {
	if f, err := os.Create(l.mark); err == nil {
		f.Close()
	} // a disk that refuses is told elsewhere
	return l.Lamps.Dim(low)
}

func (l markedLamps) Restore() error {
	os.Remove(l.mark) // it may not be there
	return errors.Join(l.Lamps.Restore(), l.panel())
}

// inRed has what a command prints on a terminal go through the guard while paper
// is out. JSON is for programs, and stays as it is. It returns what gives the
// terminal its pen back.
func (h *host) inRed() (end func()) {
	if _, err := os.Stat(h.darkFile()); err != nil {
		return func() {}
	}
	var used []*ember.Inline
	through := func(w io.Writer) io.Writer {
		f, ok := w.(*os.File)
		if !ok || !term.IsTerminal(f.Fd()) {
			return w
		}
		r := ember.NewInline(f, h.getenv)
		used = append(used, r)
		return r
	}
	if !slices.Contains(h.args, "--json") {
		h.out = through(h.out)
	}
	if r, ok := through(h.err).(*ember.Inline); ok && r.CanDraw() {
		h.err = r // else one line in its own colours is the least there is
	}
	return func() {
		for _, r := range used {
			r.End()
		}
	}
}
