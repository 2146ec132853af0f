package main

import (
	"fmt"
	"strings"
	"time"

	"wetside/session"
	"wetside/session/desk"
	"wetside/session/notebook"
	"wetside/session/words"
)

// DryCmd says what there is to do with sheets after their wash, and writes down what
// was done.
type DryCmd struct {
	IDs  []string `arg:"" optional:"" name:"sheet" help:"Sheets that are dry, as wetside sheet takes them; all: those that are drying. Without one, what there is to do." complete:"sheet"`
	Flat bool     `help:"They are flat too; all: those that were dry."`
	Back bool     `help:"Take it back: they are not; with --flat, only not flat." `
}

// Help shows how it is used.
func (DryCmd) Help() string {
	return `Examples:

  wetside dry
  wetside dry 3 4
  wetside dry all
  wetside dry 3 --flat
  wetside dry 3 --back

No clock runs for it, and nothing calls: the next start of wetside says what waits. A
sheet of which nobody says that it is dry is taken to be so after a night, on
resin-coated paper after four hours. Dry sheets that are not judged yet are judged in a
row by wetside judge alone. With each stands the line for its back.

Common practice, no source: drain from a corner, then hang, or lay face up on a clean
screen. Fibre base curls: once dry lay it between clean blotters under a weight for a day
or more. Write on the back of fibre base with a soft pencil, near the edge, never on what
is wet; resin-coated paper wants a pencil for film.`
}

// Run lists, or writes down.
func (c *DryCmd) Run(h *host) error {
	if len(c.IDs) == 0 {
		if c.Flat || c.Back {
			return usage("say which sheets: wetside dry 3 --flat")
		}
		return c.list(h)
	}
	b, err := h.amendable()
	if err != nil {
		return err
	}
	defer b.Close()
	rows, err := c.chosen(h, b)
	if err != nil {
		return err
	}
	for _, r := range rows {
		did := "dry"
		for _, e := range c.events(&r) {
			e.At = h.instant()
			if err := b.Amend(r.ID, e); err != nil {
				return usageError{err}
			}
			if e.Kind == session.Flattened {
				did = "flat"
			}
		}
		if c.Back {
			did = "not " + map[bool]string{true: "flat", false: "dry"}[c.Flat]
		}
		h.say("sheet %d of %s is %s", r.Num, r.Day(), did)
		if !c.Back {
			h.say("  on its back: %s", r.Pencil())
		}
	}
	return nil
}

// chosen are the sheets that are named.
func (c *DryCmd) chosen(h *host, b *notebook.Book) ([]notebook.Record, error) {
	if len(c.IDs) == 1 && c.IDs[0] == "all" && b != nil && !c.Back {
		a, err := desk.AfterWash(b, h.now())
		if err != nil {
			return nil, err
		}
		rows := a.Undried
		if c.Flat {
			rows = a.Flatten
		}
		if len(rows) == 0 {
			return nil, advise("no sheet waits for that; wetside dry lists what does")
		}
		return rows, nil
	}
	var rows []notebook.Record
	for _, id := range c.IDs {
		r, err := find(h, b, id)
		if err != nil {
			return nil, err
		}
		rows = append(rows, r)
	}
	return rows, nil
}

// events are what is written down of a sheet.
func (c *DryCmd) events(r *notebook.Record) (out []session.Event) {
	switch {
	case c.Back && c.Flat:
		return []session.Event{{Kind: session.Undone, What: session.Flattened}}
	case c.Back && !r.Flat.IsZero():
		return []session.Event{{Kind: session.Undone, What: session.Flattened}, {Kind: session.Undone, What: session.Dried}}
	case c.Back:
		return []session.Event{{Kind: session.Undone, What: session.Dried}}
	case !c.Flat || r.Dry.IsZero():
		out = append(out, session.Event{Kind: session.Dried})
	}
	if c.Flat {
		out = append(out, session.Event{Kind: session.Flattened})
	}
	return out
}

func (c *DryCmd) list(h *host) error {
	b, err := h.written()
	if err != nil {
		return err
	}
	var a desk.After
	if b != nil {
		defer b.Close()
		if a, err = desk.AfterWash(b, h.now()); err != nil {
			return err
		}
	}
	if a.None() {
		h.say("no sheet waits to dry, to be flattened or to be judged")
		return nil
	}
	part := func(head string, rows []notebook.Record) {
		if len(rows) == 0 {
			return
		}
		h.say("%s:", head)
		for _, r := range rows {
			h.say("  %s  %s", short(r.ID), cut(strings.TrimSpace(words.Clean(r.Name)+"  "+r.Pencil()), screen-12))
		}
	}
	part("drying", a.Drying)
	part("dry, to be flattened (fibre base, under a weight)", a.Flatten)
	part("dry, to be judged (wetside judge, in a row)", a.Judge)
	return nil
}

// afterWash is what a start says of the sheets that were washed; empty: nothing.
func afterWash(a desk.After) string {
	var parts []string
	for _, x := range []struct {
		n    int
		what string
	}{{len(a.Drying), "drying"}, {len(a.Flatten), "to be flattened"}, {len(a.Judge), "to be judged"}} {
		if x.n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", x.n, x.what))
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return "washed sheets: " + words.List(parts) + "; t in the notebook, or wetside dry"
}

// driedAt says since when a sheet is dry and flat; empty: nobody has said so.
func driedAt(r *notebook.Record) string {
	switch {
	case r.Dry.IsZero():
		return ""
	case r.Flat.IsZero():
		return "dry since " + r.Dry.Format(time.DateOnly)
	}
	return "dry since " + r.Dry.Format(time.DateOnly) + ", flat since " + r.Flat.Format(time.DateOnly)
}
