package main

// LeadCmd is the program that leads.
type LeadCmd struct {
	Flags
}

// Help shows how it is used.
func (LeadCmd) Help() string {
	return `Examples:

  wetside lead            one press for a whole sheet
  wetside lead --blind    the same by ear alone

After the press that puts the sheet into the developer the program counts each move
in ("stop bath in, three, two, one, now"), takes it as done at "now" and goes on to
the next. Space within eight seconds sets the time right; all other keys are as ever.
After three moves without a key it asks whether you are there. The end of the last
bath is yours, and so is every move where a bath is spent. l in the trays begins and
ends it. The notebook marks what was led, and its statistics leave it out.`
}

// Run runs it.
func (c *LeadCmd) Run(h *host) error {
	return program{host: h, flags: c.Flags, pace: 1, lead: true}.run()
}
