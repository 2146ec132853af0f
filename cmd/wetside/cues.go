package main

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/words"
)

// CuesCmd prints the crib sheet of a process.
type CuesCmd struct {
	Process string `arg:"" help:"Key of the process: see wetside profiles."`
	Paper   string `help:"Paper it is for." default:"direct-positive-fb" placeholder:"KEY"`
	Celsius string `help:"Developer temperature, like 22 C." placeholder:"T"`
	Light   string `help:"With an exposure before it: a time, like 4m." placeholder:"TIME"`
	Ticks   bool   `help:"The ticks of the rocking rhythm and the pulses of long waits too."`
	JSON    bool   `help:"As JSON." name:"json"`
}

// Help shows how it is used.
func (CuesCmd) Help() string {
	return `Examples:

  wetside cues three-trays
  wetside cues two-bath-fix --celsius 22C --json

Times count from the moment the sheet goes into the first bath (with --light:
from the opening of the pinhole), each sheet being moved the moment it is due.`
}

// cribDay is where a crib sheet's clock starts; only differences are printed.
var cribDay = session.Instant{Wall: time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC), BootID: "crib"}

// Run prints it.
func (c *CuesCmd) Run(h *host) error {
	set, problems := h.profiles()
	if problems != nil {
		h.warn("left out: %s", oneLine(problems))
	}
	plan, err := (&profiles.Planner{Set: set, Rehearsal: true}).Plan(profiles.Form{Paper: c.Paper, Process: c.Process, Celsius: c.Celsius, Light: c.Light})
	if err != nil {
		return usageError{err}
	}
	cues, err := crib(plan.Spec, plan.Exposure)
	if err != nil {
		return err
	}
	if !c.Ticks {
		cues = slices.DeleteFunc(cues, func(q session.Cue) bool { return q.Ticks() && q.Kind != session.CuePip })
	}
	if c.JSON {
		return printCuesJSON(h, cues)
	}
	pip := false
	for _, q := range cues {
		was := pip
		if pip = q.Kind == session.CuePip; was && pip {
			continue // three of them are one line
		}
		h.say("%8s  %s", words.Finished(q.T), cueText(q))
	}
	return nil
}

func printCuesJSON(h *host, cues []session.Cue) error {
	type line struct {
		At    float64 `json:"at_s"`
		Kind  string  `json:"kind"`
		Stage string  `json:"stage,omitempty"`
		Next  string  `json:"next,omitempty"`
		For   float64 `json:"for_s,omitempty"`
		Left  float64 `json:"left_s,omitempty"`
	}
	out := []line{}
	for _, q := range cues {
		out = append(out, line{q.T.Seconds(), string(q.Kind), string(q.Stage), string(q.Next), q.For.Seconds(), q.Left.Seconds()})
	}
	return h.json(out)
}

func cueText(q session.Cue) string {
	var b strings.Builder
	b.WriteString(string(q.Kind))
	if q.Stage != "" {
		b.WriteString(": " + cmp.Or(q.Label, string(q.Stage)))
	}
	if q.Next != "" {
		b.WriteString(", to " + string(q.Next))
	}
	if q.For > 0 {
		b.WriteString(", for " + words.Finished(q.For))
	}
	if q.Kind == session.CuePip {
		fmt.Fprintf(&b, ", counted from %d", q.N)
	}
	if q.Left > 0 {
		b.WriteString(", " + words.Finished(q.Left) + " left")
	}
	return b.String()
}

// crib plays a sheet through, moved the moment it is due, and collects every
// cue heard on the way.
func crib(spec session.SheetSpec, expose time.Duration) ([]session.Cue, error) {
	m := session.New()
	now := cribDay
	var out []session.Cue
	var err error // the first
	do := func(e session.Event) {
		e.At = now
		if e.Kind != session.Opened {
			e.Sheet = "crib"
		}
		if err == nil {
			err = m.Apply(e)
		}
	}
	// hear collects what is heard at an instant, of some kinds.
	hear := func(kinds ...session.CueKind) {
		for _, q := range m.Cues(now, now.Add(1)) {
			if slices.Contains(kinds, q.Kind) {
				out = append(out, q)
			}
		}
	}
	// until collects what is heard from now to the instant a stage is over,
	// that instant's own call included.
	until := func(t time.Duration) {
		end := m.At(t)
		out = append(out, m.Cues(now, end)...)
		now = end
		hear(session.CueMove, session.CueLightOff)
	}
	do(session.Event{Kind: session.Opened})
	do(session.Event{Kind: session.SheetAdded, Spec: &spec})
	if expose > 0 {
		do(session.Event{Kind: session.ExposureBegun, Planned: expose})
		until(expose)
		// What is heard at this instant is heard with what follows it.
		do(session.Event{Kind: session.ExposureEnded})
	}
	for from := 0; err == nil && m.Sheet("crib").Phase != session.Finished; {
		do(session.Event{Kind: session.Moved, From: from})
		if v := m.Sheet("crib").Visit(); v != nil {
			from = v.Serial
			until(v.In + v.AtMost)
		}
	}
	hear(session.CueDone)
	return out, err
}
