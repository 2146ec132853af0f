package main

import (
	"fmt"
	"strings"

	"wetside/session"
	"wetside/tui"
)

// WhereCmd says from the shell where each sheet of the running session stands.
type WhereCmd struct {
	Rehearsal bool `help:"Of the running rehearsal."`
	JSON      bool `help:"As JSON." name:"json"`
}

// Help shows how it is used.
func (WhereCmd) Help() string {
	return `Examples:

  wetside where
  wetside where --json

It reads the notebook and changes nothing; the program may be running or not.`
}

// A place is where one sheet stands.
type place struct {
	ID     string  `json:"id"`
	Sheet  int     `json:"sheet"`
	Name   string  `json:"name,omitempty"`
	Phase  string  `json:"phase"`
	Stage  string  `json:"stage,omitempty"`
	Spent  float64 `json:"elapsed_s,omitempty"`
	Left   float64 `json:"left_s"`
	Over   float64 `json:"over_s,omitempty"`
	Moves  int     `json:"moves"`
	Undone int     `json:"undone,omitempty"`
	// Behind: all this is of the last event; how long ago that was is not known.
	Behind bool `json:"clock_behind,omitempty"`
}

// Run prints it.
func (c *WhereCmd) Run(h *host) error {
	book, err := h.written()
	if err != nil {
		return err
	}
	m, live := session.New(), false
	if book != nil {
		defer book.Close()
		if m, live, err = liveOf(book, c.Rehearsal); err != nil {
			return fmt.Errorf("where the sheets stand cannot be read: %w", err)
		}
		for _, n := range book.Notices() {
			h.warn("%s", n.Text)
		}
	}
	now := systemClock().Now()
	v, behind := m.View(now), m.Behind(now)
	if c.JSON {
		out := []place{}
		for _, s := range v.Sheets {
			sh := m.Sheet(s.ID)
			out = append(out, place{s.ID, s.Num, s.Name, string(s.Phase), string(s.Stage), s.Elapsed.Seconds(), s.Left.Seconds(), s.Over.Seconds(), len(sh.Visits), len(sh.Undone), behind})
		}
		return h.json(out)
	}
	switch {
	case !live:
		h.say("no session is open")
	case len(v.Sheets) == 0:
		h.say("a session is open, without a sheet so far")
	}
	if behind && len(v.Need) > 0 {
		h.say("%s These are the times of what was last recorded.", tui.BehindText)
	}
	for _, s := range v.Sheets {
		what := tui.PhaseText(m.Sheet(s.ID))
		if m.Sheet(s.ID).InCamera() {
			what += ", in its camera"
		}
		if s.Stage != "" {
			what = s.Label + ", " + tui.Stands(s)
		}
		h.say("%s: %s", strings.TrimSpace(fmt.Sprintf("sheet %d %s", s.Num, s.Name)), what)
	}
	return nil
}
