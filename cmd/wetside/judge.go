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
	text := c.Stops
	if len(c.Seen) > 0 {
		// Unquoted words may still be part of the verdict: 1/2 too light.
		between := " "
		if _, _, _, err := stopsAhead(plainMinus(text)); err != nil {
			between = ": "
		}
		text += between + strings.Join(c.Seen, " ")
	}
	j, err := readJudgement(text, &r)
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

// What stands behind the number of stops: how the sheet looks, or more or less.
var looksRE = regexp.MustCompile(`(?is)^(?:too[\s-]+(dark|light|thin|dense)|(more|less))\b[.!]*(?:[\s,;:]+(.*))?$`)

// unclearRE finds a word that may be meant as the verdict and is none: better
// asked about than taken for what was seen, which would turn the sign round.
var unclearRE = regexp.MustCompile(`(?is)^(?:(?:to|too|much|far|way|a bit|a little|slightly|over|under|more|less|dark|darker|bright|brighter|lighter|dense|denser|thinner|over\S*exposed|under\S*exposed|left out)\b|(?:light|thin)\W*$)`)

// stopsAhead cuts the number of stops off the beginning of a text: the longest
// piece that reads as one. The error is that of the first word.
func stopsAhead(text string) (number string, stops float64, rest string, err error) {
	_, err = exposure.ParseStops(text)
	for end := len(text); end > 0; end = strings.LastIndexAny(text[:end], " \t\n,;:") {
		number = strings.TrimSpace(text[:end])
		v, e := exposure.ParseStops(number)
		if e == nil {
			return number, v, strings.TrimLeft(text[end:], " \t\n,;:"), nil
		}
		err = e
	}
	return "", 0, "", err
}

// An eitherWay is a judgement whose words do not say whether more or less was
// wanted: a number without a sign, and words that are not known. Only the
// person who wrote it knows which was meant.
type eitherWay struct {
	number, words string
	more, less    notebook.JudgementRecord
	paper         *notebook.Record
}

// Error says both ways, and how each is written.
func (e *eitherWay) Error() string {
	return fmt.Sprintf("%q may mean %s, or %s: write \"%s more, %s\" or \"%s less, %s\"", e.number+" "+e.words,
		e.says(e.more), e.says(e.less), e.number, e.words, e.number, e.words)
}

// says is one of the two, without what was seen.
func (e *eitherWay) says(j notebook.JudgementRecord) string {
	return judgement(e.paper, notebook.JudgementRecord{Stops: j.Stops})
}

// readJudgement reads "1/2", "-1/3 sky burnt out", "1 too dark, only the window
// shows", "2/3 less", "right", "left out: light leak" as said of a sheet. The
// error is an *eitherWay where more and less are both possible.
func readJudgement(text string, r *notebook.Record) (j notebook.JudgementRecord, err error) {
	before, _ := r.Judged()
	text = strings.TrimSpace(plainMinus(text))
	keep := func(seen string) {
		if j.Seen = strings.TrimSpace(seen); j.Seen == "" && !before.LeftOut() {
			j.Seen = before.Seen
		}
	}
	word, seen := text, ""
	if i := strings.IndexAny(text, ",;:.!"); i >= 0 {
		word, seen = text[:i], strings.TrimLeft(text[i:], " \t\n,;:.!")
	}
	switch strings.Join(strings.Fields(strings.ToLower(word)), " ") {
	case "right", "good":
		keep(seen)
		return j, nil
	}
	if rest, ok := cutFold(text, notebook.LeftOut); ok {
		if rest = strings.TrimLeft(rest, " \t\n,;:.!"); rest == "" {
			return j, errors.New("say why it is left out, like \"left out\" \"light leak at the lid\"")
		}
		// What it was judged stays to be read; it only teaches nothing.
		return notebook.JudgementRecord{Stops: before.Stops, Seen: notebook.LeftOut + ": " + rest}, nil
	}
	const how = "write 1/2 for more exposure, -1/2 for less, \"1/2 too dark\", right, or left out and why"
	number, stops, rest, err := stopsAhead(text)
	if err != nil {
		return j, fmt.Errorf("%q is no judgement: %s", text, how)
	}
	j.Stops = stops
	m := looksRE.FindStringSubmatch(rest)
	signed := strings.ContainsAny(number[:1], "+-")
	if m == nil {
		if _, left := cutFold(rest, notebook.LeftOut); !signed && stops != 0 && rest != "" && !left {
			more, less := notebook.JudgementRecord{Stops: stops, Seen: rest}, notebook.JudgementRecord{Stops: -stops, Seen: rest}
			return j, &eitherWay{number, rest, more, less, r}
		}
		if unclearRE.MatchString(rest) {
			return j, fmt.Errorf("%q is not clear: %s; begin what was seen with another word", text, how)
		}
		keep(rest)
		return j, nil
	}
	if stops < 0 {
		return j, fmt.Errorf("%q says less twice: %s", text, how)
	}
	keep(m[3])
	sense := exposure.NegativeDensens
	if session.Response(r.Paper.Response) == session.Lighter {
		sense = exposure.PositiveLightens
	}
	switch look := strings.ToLower(m[1]); {
	case look != "":
		j.Stops = exposure.StopsFromJudgement(sense, look == "light" || look == "thin", stops)
	case strings.EqualFold(m[2], "less"):
		j.Stops = -stops
	}
	if signed && j.Stops < 0 {
		return j, fmt.Errorf("%q says more and less: %s", text, how)
	}
	return j, nil
}

// cutFold is strings.CutPrefix for a word, in small letters or large.
func cutFold(s, word string) (rest string, ok bool) {
	if len(s) < len(word) || !strings.EqualFold(s[:len(word)], word) {
		return s, false
	}
	return s[len(word):], true
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
