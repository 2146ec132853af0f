package main

import (
	"strings"

	"wetside/profiles"
)

// TimeCmd is the program with one sheet of which only the times are known.
type TimeCmd struct {
	Flags
	What []string `arg:"" help:"A process, or steps with their times." placeholder:"PROCESS|STEP TIME,"`
}

// Help shows how it is used.
func (TimeCmd) Help() string {
	return `Examples:

  wetside time three-trays
  wetside time develop 2m, stop 10s, fix 1m, wash 30m
  wetside time --blind develop 1:30, stop 30s, fix 4m

Just a timer: no camera, no light, no form; space starts. Sound, light and record
are as always. The record says that the paper is not known, and teaches nothing.`
}

// Run runs it.
func (c *TimeCmd) Run(h *host) error {
	text := strings.Join(c.What, " ")
	if _, err := (&profiles.Planner{Set: h.known()}).Timer(text); err != nil {
		return usageError{err}
	}
	return program{host: h, flags: c.Flags, pace: 1, timer: text}.run()
}
