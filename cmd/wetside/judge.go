package main

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/desk"
	"wetside/session/exposure"
	"wetside/session/notebook"
	"wetside/session/words"
)

// JudgeCmd records a judgement.
type JudgeCmd struct {
	ID    string   `arg:"" optional:"" help:"The sheet, as wetside sheet takes it. Without one, the dry sheets that wait for it, the oldest first." complete:"sheet"`
	Stops string   `arg:"" optional:"" help:"How much more (1/2) or less (-1/2) it should have had; or what it looks like: \"1/2 too dark\", \"1 too light\", right."`
	Seen  []string `arg:"" optional:"" help:"What was seen."`
}

// Help shows how it is used.
func (JudgeCmd) Help() string {
	return `Examples:

  wetside judge 3 1/2
  wetside judge 2026-05-03/3 -1/3 "sky burnt out"
  wetside judge 3 "1 too dark" "only the window shows"
  wetside judge 6f1a right
  wetside judge 3 black
  wetside judge 4 "left out" "light leak at the lid"
  wetside judge                     in a row: 1 to 5, or words; enter: the next

Positive is more exposure. "Too dark" and "too light" are turned into more or
less by the paper: a direct positive gets lighter with more exposure, a paper
negative denser. Alone they stand for a stop; black, white and nothing there for
three at least. Where you add what you saw, more, less or a sign says which way:
1/2 more, sky is grey. What is three stops or more, or does not agree with the
other sheets, is asked about: "sure" behind it says that it is meant. A sheet that
is left out teaches nothing, until it is judged again.`
}

// Run records it.
func (c *JudgeCmd) Run(h *host) error {
	b, err := h.amendable()
	if err != nil {
		return err
	}
	defer b.Close()
	if c.ID == "" {
		return c.row(h, b)
	}
	r, err := find(h, b, c.ID)
	if err != nil {
		return err
	}
	if c.Stops == "" {
		return usage("say what sheet %d should have had, like 1/2, or \"1/2 too dark\"", r.Num)
	}
	text := plainMinus(c.Stops)
	if len(c.Seen) > 0 {
		// Unquoted words may still be part of the verdict: 1/2 too light.
		between := " "
		if _, _, _, err := desk.StopsAhead(text); err != nil {
			between = ": "
		}
		text += between + strings.Join(c.Seen, " ")
	}
	return h.judge(b, h.planner(b), r, text)
}

// row judges the dry sheets that wait for it, the oldest first.
func (c *JudgeCmd) row(h *host, b *notebook.Book) error {
	var rows []notebook.Record
	if b != nil {
		a, err := desk.AfterWash(b, h.now())
		if err != nil {
			return err
		}
		rows = a.Judge
	}
	if len(rows) == 0 {
		h.say("no dry sheet waits to be judged")
		return nil
	}
	const next = "next"
	plan, a := h.planner(b), h.asker()
	for i, r := range rows {
		h.say("%d of %d: %s", i+1, len(rows), strings.TrimSpace(words.Clean(r.Name)+"  "+r.Pencil()))
		if i == 0 {
			h.say("%s", quickly())
		}
		said := ""
		if err := a.ask(&said, "how was it", "1 to 5, or words; enter alone: the next; q: no more", next, func(s string) error {
			if s == next || strings.EqualFold(s, "q") {
				return nil
			}
			if n, err := strconv.Atoi(s); err == nil && n >= 1 && n <= len(desk.Quick) {
				s = desk.Quick[n-1]
			}
			return h.judge(b, plan, r, plainMinus(s))
		}); err != nil {
			return err
		}
		if strings.EqualFold(said, "q") {
			return nil
		}
	}
	return nil
}

// quickly are the judgements of one key, in words.
func quickly() string {
	var out []string
	for i, q := range desk.Quick {
		out = append(out, fmt.Sprintf("%d %s", i+1, q))
	}
	return strings.Join(out, ", ")
}

// judge keeps what is said of a sheet, and says what comes of it.
func (h *host) judge(b *notebook.Book, plan *profiles.Planner, r notebook.Record, text string) error {
	j, err := desk.Judge(text, &r, plan.Judged(), plan.Set.Today)
	var either *desk.EitherWay
	if errors.As(err, &either) {
		return usage("%s", bothWays(&r, either))
	}
	if err != nil {
		return usageError{err}
	}
	was, _ := nextTime(plan, &r)
	if err := b.Judge(r.ID, systemClock().Now(), j.Stops, j.Seen); err != nil {
		return err
	}
	h.say("sheet %d of %s: %s", r.Num, r.Day(), judgement(&r, j))
	if r, err = b.Sheet(r.ID); err != nil {
		return err
	}
	_, teaches := desk.Evidence(&r, plan.Set.Today)
	plan.Forget()
	switch {
	case r.State == string(session.Ruined):
		h.say("It is spoiled, so it teaches nothing.")
	case r.Rehearsal:
		h.say("It was a rehearsal, so it teaches nothing.")
	case j.LeftOut():
	case !teaches:
		h.say("%s", teachesNothing)
	default:
		if is, ok := nextTime(plan, &r); ok {
			h.say("next time in this light %s (was %s)", words.Long(is), words.Long(was))
		}
	}
	return nil
}

const teachesNothing = "It teaches nothing: what light it was exposed in, or behind which camera, was not said."

// nextTime is the time for another sheet in the light of r, by what is learned.
func nextTime(plan *profiles.Planner, r *notebook.Record) (seconds float64, ok bool) {
	a, _, _, ok := plan.Set.Today(r.Camera, r.Paper.Key)
	if !ok {
		return 0, false
	}
	var err error
	switch x := r.Reckoned; {
	case x != nil && x.Lit != nil:
		a.Light = exposure.Light{EV: x.Lit.EV, PlusMinus: x.Lit.Doubt, From: x.Lit.From, As: x.Lit.As}
		a.Filter, a.Warm, a.Preflash = x.Filter, x.Warm, x.Preflash
	default:
		if a.Light, err = exposure.ParseLight(r.Light); err != nil {
			return 0, false
		}
	}
	got, _, err := plan.Reckon(a, r.Camera, r.Paper.Key)
	return got.Rounded, err == nil
}

// bothWays says what a judgement may mean, and how each is written.
func bothWays(r *notebook.Record, e *desk.EitherWay) string {
	says := func(j notebook.JudgementRecord) string {
		return judgement(r, notebook.JudgementRecord{Stops: j.Stops}) // without what was seen
	}
	return fmt.Sprintf("%q may mean %s, or %s: write \"%s more, %s\" or \"%s less, %s\"", e.Number+" "+e.Words,
		says(e.More), says(e.Less), e.Number, e.Words, e.Number, e.Words)
}

// judgement says a judgement in the paper's own sense of more and less.
func judgement(r *notebook.Record, j notebook.JudgementRecord) string {
	if j.LeftOut() {
		return j.Seen
	}
	s := "right as it was"
	switch {
	case j.Stops > 0:
		s = fmt.Sprintf("next time %s more: this one was %s", words.StopsOf(j.Stops), profiles.TooLittle(session.Response(r.Paper.Response)))
	case j.Stops < 0:
		s = fmt.Sprintf("next time %s less: this one was %s", words.StopsOf(-j.Stops), profiles.TooMuch(session.Response(r.Paper.Response)))
	}
	if j.Seen != "" {
		s += "; seen: " + j.Seen
	}
	return s
}

// verdict says a judgement in the width of a column.
func verdict(stops float64, seen string) string {
	j := notebook.JudgementRecord{Stops: stops, Seen: seen}
	switch {
	case j.LeftOut():
		return seen
	case stops == 0:
		return strings.TrimSpace("right " + seen)
	}
	return strings.TrimSpace(words.Stops(stops) + " " + seen)
}
