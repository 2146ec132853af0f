package desk

import (
	"errors"
	"fmt"
	"regexp"
	"strings"

	"wetside/session"
	"wetside/session/exposure"
	"wetside/session/notebook"
)

// What stands behind the number of stops: how the sheet looks, or more or less.
var looksRE = regexp.MustCompile(`(?is)^(?:too[\s-]+(dark|light|thin|dense)|(more|less))\b[.!]*(?:[\s,;:]+(.*))?$`)

// unclearRE finds a word that may be meant as the verdict and is none: better
// asked about than taken for what was seen, which would turn the sign round.
var unclearRE = regexp.MustCompile(`(?is)^(?:(?:to|too|much|far|way|a bit|a little|slightly|over|under|more|less|dark|darker|bright|brighter|lighter|dense|denser|thinner|over\S*exposed|under\S*exposed|left out)\b|(?:light|thin)\W*$)`)

// StopsAhead cuts the number of stops off the beginning of a text: the longest
// piece that reads as one. The error is that of the first word.
func StopsAhead(text string) (number string, stops float64, rest string, err error) {
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

// EitherWay is a judgement whose words do not say whether more or less was
// wanted: a number without a sign, and words that are not known. Only the
// person who wrote it knows which was meant.
type EitherWay struct {
	Number, Words string
	More, Less    notebook.JudgementRecord
}

// Error implements error. A face says what each way means for the sheet's paper.
func (e *EitherWay) Error() string {
	return fmt.Sprintf("%q may mean more or less: write \"%s more, %s\" or \"%s less, %s\"", e.Number+" "+e.Words, e.Number, e.Words, e.Number, e.Words)
}

// ReadJudgement reads "1/2", "-1/3 sky burnt out", "1 too dark, only the window
// shows", "2/3 less", "right", "left out: light leak" as said of a sheet. The
// error is an *EitherWay where more and less are both possible.
func ReadJudgement(text string, r *notebook.Record) (j notebook.JudgementRecord, err error) {
	before, _ := r.Judged()
	text = strings.TrimSpace(text)
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
	number, stops, rest, err := StopsAhead(text)
	if err != nil {
		return j, fmt.Errorf("%q is no judgement: %s", text, how)
	}
	j.Stops = stops
	m := looksRE.FindStringSubmatch(rest)
	signed := strings.ContainsAny(number[:1], "+-")
	if m == nil {
		if _, left := cutFold(rest, notebook.LeftOut); !signed && stops != 0 && rest != "" && !left {
			more, less := notebook.JudgementRecord{Stops: stops, Seen: rest}, notebook.JudgementRecord{Stops: -stops, Seen: rest}
			return j, &EitherWay{number, rest, more, less}
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
