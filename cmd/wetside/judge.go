package main

import (
	"errors"
	"fmt"
	"regexp"
	"strings"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/exposure"
	"wetside/session/notebook"
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
negative denser. A sheet that is left out teaches nothing, until it is
judged again. What was seen stays until something else is said.`
}

// Run records it.
func (c *JudgeCmd) Run(h *host) error {
	b, err := h.written()
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
	text := c.Stops
	if len(c.Seen) > 0 {
		text += ": " + strings.Join(c.Seen, " ")
	}
	j, err := readJudgement(text, &r)
	if err != nil {
		return usageError{err}
	}
	if err := b.Judge(r.ID, systemClock().Now(), j.Stops, j.Seen); err != nil {
		return err
	}
	h.say("sheet %d of %s: %s", r.Num, r.Day(), notebook.CleanText(judgement(&r, j)))
	switch {
	case r.State == string(session.Ruined):
		h.say("It is spoiled, so it teaches nothing.")
	case r.Rehearsal:
		h.say("It was a rehearsal, so it teaches nothing.")
	}
	return nil
}

// verdictRE splits a judgement into the verdict and what was seen.
var verdictRE = regexp.MustCompile(`(?is)^\s*(right|good|left out|[-+]?\d[\d./]*(?:,\d+)?(?:\s+\d+/\d+)?(?:\s*stops?\b)?(?:\s*too\s+(?:dark|light|thin|dense)\b)?)(?:[\s,;:]+(.*))?$`)

// readJudgement reads "1/2", "-1/3 sky burnt out", "1 too dark, only the window
// shows", "right", "left out: light leak" as said of a sheet.
func readJudgement(text string, r *notebook.Record) (j notebook.JudgementRecord, err error) {
	before, _ := r.Judged()
	m := verdictRE.FindStringSubmatch(plainMinus(text))
	if m == nil {
		return j, fmt.Errorf("%q is no judgement: write 1/2 for more exposure, -1/2 for less, \"1/2 too dark\", right, or left out and why", text)
	}
	words, seen := strings.Join(strings.Fields(strings.ToLower(m[1])), " "), strings.TrimSpace(m[2])
	j.Seen = seen
	if seen == "" && !before.LeftOut() {
		j.Seen = before.Seen
	}
	switch words {
	case "right", "good":
		return j, nil
	case notebook.LeftOut:
		if seen == "" {
			return j, errors.New("say why it is left out, like \"left out\" \"light leak at the lid\"")
		}
		// What it was judged stays to be read; it only teaches nothing.
		return notebook.JudgementRecord{Stops: before.Stops, Seen: notebook.LeftOut + ": " + seen}, nil
	}
	for _, look := range []struct {
		word  string
		light bool
	}{{"too light", true}, {"too thin", true}, {"too dark", false}, {"too dense", false}} {
		rest, ok := strings.CutSuffix(words, look.word)
		if !ok {
			continue
		}
		v, err := exposure.ParseStops(rest)
		if err != nil || v < 0 {
			return j, fmt.Errorf("say by how many stops: \"1/2 %s\"", look.word)
		}
		sense := exposure.NegativeDensens
		if session.Response(r.Paper.Response) == session.Lighter {
			sense = exposure.PositiveLightens
		}
		j.Stops = exposure.StopsFromJudgement(sense, look.light, v)
		return j, nil
	}
	j.Stops, err = exposure.ParseStops(words)
	return j, err
}

// judgement says a judgement in the paper's own sense of more and less.
func judgement(r *notebook.Record, j notebook.JudgementRecord) string {
	if j.LeftOut() {
		return j.Seen
	}
	s := "right as it was"
	switch {
	case j.Stops > 0:
		s = fmt.Sprintf("%s more, to be %s", stopWord(j.Stops), profiles.MoreWord(session.Response(r.Paper.Response)))
	case j.Stops < 0:
		s = fmt.Sprintf("%s less, to be %s", stopWord(-j.Stops), profiles.LessWord(session.Response(r.Paper.Response)))
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
	return strings.TrimSpace(exposure.Stops(stops) + " " + seen)
}
