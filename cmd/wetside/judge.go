package main

import (
	"errors"
	"fmt"
	"strings"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/desk"
	"wetside/session/notebook"
	"wetside/session/words"
)

// JudgeCmd records a judgement.
type JudgeCmd struct {
	ID    string   `arg:"" help:"The sheet, as wetside sheet takes it."`
	Stops string   `arg:"" help:"How much more (1/2) or less (-1/2) it should have had; or what it looks like: \"1/2 too dark\", \"1 too light\", right."`
	Seen  []string `arg:"" optional:"" help:"What was seen."`
}

// Help shows how it is used.
func (JudgeCmd) Help() string {
	return `Examples:

  wetside judge 3 1/2
  wetside judge 2026-05-03/3 -1/3 "sky burnt out"
  wetside judge 3 "1 too dark" "only the window shows"
  wetside judge 6f1a right
  wetside judge 4 "left out" "light leak at the lid"

Positive is more exposure. "Too dark" and "too light" are turned into more or
less by the paper: a direct positive gets lighter with more exposure, a paper
negative denser. Where you add what you saw, more, less or a sign says which way:
1/2 more, sky is grey. A sheet that is left out teaches nothing, until it is
judged again. What was seen stays until something else is said.`
}

// Run records it.
func (c *JudgeCmd) Run(h *host) error {
	b, err := h.amendable()
	if err != nil {
		return err
	}
	if b != nil {
		defer b.Close()
	}
	r, err := find(h, b, c.ID)
	if err != nil {
		return err
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
	j, err := desk.ReadJudgement(text, &r)
	var either *desk.EitherWay
	if errors.As(err, &either) {
		return usage("%s", bothWays(&r, either))
	}
	if err != nil {
		return usageError{err}
	}
	if err := b.Judge(r.ID, systemClock().Now(), j.Stops, j.Seen); err != nil {
		return err
	}
	h.say("sheet %d of %s: %s", r.Num, r.Day(), judgement(&r, j))
	switch {
	case r.State == string(session.Ruined):
		h.say("It is spoiled, so it teaches nothing.")
	case r.Rehearsal:
		h.say("It was a rehearsal, so it teaches nothing.")
	}
	return nil
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
		s = fmt.Sprintf("%s more, to be %s", words.StopsOf(j.Stops), profiles.MoreWord(session.Response(r.Paper.Response)))
	case j.Stops < 0:
		s = fmt.Sprintf("%s less, to be %s", words.StopsOf(-j.Stops), profiles.LessWord(session.Response(r.Paper.Response)))
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
