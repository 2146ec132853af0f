package main

import (
	"math"

	"wetside/profiles"
)

// RehearseCmd is the program with a blank sheet.
type RehearseCmd struct {
	Flags
	Pace    float64  `help:"How many times as fast as life." default:"1" placeholder:"N"`
	Process string   `help:"Process to rehearse." default:"three-trays" placeholder:"KEY"`
	Paper   string   `help:"Paper to rehearse with." default:"direct-positive-fb" placeholder:"KEY"`
	Light   string   `help:"Rehearse an exposure too: a time, like 4m." placeholder:"TIME"`
	Makers  []string `help:"Whose the sheets are, in turn." placeholder:"NAME,..."`
	Sheets  int      `help:"How many sheets." default:"1" placeholder:"N"`
	Lead    bool     `help:"The program leads: see wetside lead."`
	Self    bool     `help:"The program moves the sheet itself, each time it is due, and leaves when it is done."`
}

// Help shows how it is used.
func (RehearseCmd) Help() string {
	return `Examples:

  wetside rehearse                                  a blank sheet, in real time
  wetside rehearse --pace 20 --process two-bath-fix
  wetside rehearse --pace 20 --self --blind         only to listen

Rehearsals are marked in the notebook and kept out of its statistics.`
}

// Run runs it.
func (c *RehearseCmd) Run(h *host) error {
	if !(c.Pace >= 1) || c.Pace > 1000 || math.IsInf(c.Pace, 0) {
		return usage("--pace is from 1 to 1000 times real time, not %g", c.Pace)
	}
	if c.Sheets < 1 || c.Sheets > 40 {
		return usage("--sheets is from 1 to 40, not %d", c.Sheets)
	}
	p := program{host: h, flags: c.Flags, rehearsal: true, pace: c.Pace, self: c.Self, lead: c.Lead}
	for i := range c.Sheets {
		f := profiles.Form{Paper: c.Paper, Process: c.Process, Light: c.Light, Name: "blank"}
		if len(c.Makers) > 0 {
			f.Maker = c.Makers[i%len(c.Makers)]
		}
		p.forms = append(p.forms, f)
	}
	return p.run()
}
