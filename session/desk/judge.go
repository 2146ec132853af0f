package desk

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"wetside/session"
	"wetside/session/exposure"
	"wetside/session/notebook"
	"wetside/session/words"
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

// numbersInWords are the ways people say a number of stops, longest first.
var numbersInWords = []struct {
	re     *regexp.Regexp
	number string
}{
	{regexp.MustCompile(`(?i)^(?:one|a stop) and a half(?: stops?)?\b`), "1 1/2"},
	{regexp.MustCompile(`(?i)^two thirds(?: of a stop)?\b`), "2/3"},
	{regexp.MustCompile(`(?i)^three quarters(?: of a stop)?\b`), "3/4"},
	{regexp.MustCompile(`(?i)^(?:a |one )?half(?: of)?(?: a)?(?: stop)?\b`), "1/2"},
	{regexp.MustCompile(`(?i)^(?:a |one )?third(?: of a stop)?\b`), "1/3"},
	{regexp.MustCompile(`(?i)^(?:a |one )?quarter(?: of a stop)?\b`), "1/4"},
	{regexp.MustCompile(`(?i)^(?:a|one)(?: full| whole)? stop\b`), "1"},
	{regexp.MustCompile(`(?i)^two stops\b`), "2"},
	{regexp.MustCompile(`(?i)^three stops\b`), "3"},
	{regexp.MustCompile(`(?i)^four stops\b`), "4"},
}

// Alone, without a number, "too dark" is taken for a stop, and a sheet without a
// picture for the least that it can be.
const (
	stopsAlone   = 1.0
	stopsNothing = 3.0
)

var nothingRE = regexp.MustCompile(`(?is)^(?:(?:all |quite |completely )?(black|white)|(nothing(?: there| on it| to be seen)?))\b[.!]*(?:[,;:.]\s*(.*))?$`)

const howToJudge = "write 1/2 for more exposure, -1/2 for less, \"1/2 too dark\", right, black, white, or left out and why"

// ReadJudgement reads "1/2", "-1/3 sky burnt out", "1 too dark, only the window
// shows", "half a stop too dark", "too dark", "2/3 less", "right", "black", "left
// out: light leak" as said of a sheet. The error is an *EitherWay where more and
// less are both possible.
// Of a test sheet it is which strip is right: "strip 3", "strips 2 and 3", "strip 5, 1 too
// dark".
func ReadJudgement(text string, r *notebook.Record) (notebook.JudgementRecord, error) {
	text = strings.TrimSpace(text)
	t, m := testOf(r), stripRE.FindStringSubmatch(text)
	_, left := cutFold(text, notebook.LeftOut)
	switch {
	case t == nil && m != nil:
		return notebook.JudgementRecord{}, fmt.Errorf("sheet %d is no test in strips: %s", r.Num, howToJudge)
	case t != nil && m != nil:
		return readStrip(t, m, r)
	case t != nil && !left:
		return notebook.JudgementRecord{}, fmt.Errorf("sheet %d is a test: say which of its %d strips is right, like strip 3 (1 had the least light); where even the last is not, strip %d, 1 too dark", r.Num, t.Strips, t.Strips)
	}
	return readStops(text, r)
}

var stripRE = regexp.MustCompile(`(?is)^strips?\s+(\d)(?:\s*(?:and|to|or|-)\s*(\d))?(?:[\s.,;:!]+(.*))?$`)

// testOf is how a sheet is a test in strips; nil: it is a picture.
func testOf(r *notebook.Record) *session.Test {
	if r.Reckoned == nil {
		return nil
	}
	return r.Reckoned.Test
}

// readStrip is a judgement of a test sheet: its stops are those of the right strip, or
// between two, and what that strip wants besides.
func readStrip(t *session.Test, m []string, r *notebook.Record) (j notebook.JudgementRecord, err error) {
	a := int(m[1][0] - '0')
	b := a
	if m[2] != "" {
		b = int(m[2][0] - '0')
	}
	if a < 1 || b < 1 || a > t.Strips || b > t.Strips || max(a, b)-min(a, b) > 1 {
		return j, fmt.Errorf("sheet %d has strips 1 to %d: say one, or two beside each other", r.Num, t.Strips)
	}
	strip, rest := "strip "+m[1], strings.TrimSpace(m[3])
	if a != b {
		strip = fmt.Sprintf("strips %d and %d", a, b)
	}
	if rest != "" {
		if j, err = readStops(rest, r); err != nil {
			if _, _, _, number := StopsAhead(rest); number == nil || looksRE.MatchString(rest) {
				return j, err // it is meant as stops, and is not clear
			}
			j = notebook.JudgementRecord{Seen: rest}
		}
	}
	j.Stops += (t.Stops(a) + t.Stops(b)) / 2
	j.Seen = strings.TrimSuffix(strip+", "+j.Seen, ", ")
	return j, nil
}

func readStops(text string, r *notebook.Record) (notebook.JudgementRecord, error) {
	s := said{text: text, sense: exposure.NegativeDensens}
	if session.Response(r.Paper.Response) == session.Lighter {
		s.sense = exposure.PositiveLightens
	}
	s.before, _ = r.Judged()
	for _, n := range numbersInWords {
		if m := n.re.FindString(s.text); m != "" {
			s.text = n.number + s.text[len(m):]
			break
		}
	}
	for _, read := range []func(said) (notebook.JudgementRecord, bool, error){said.right, said.leftOut, said.nothing} {
		if j, is, err := read(s); is {
			return j, err
		}
	}
	return s.stops()
}

// said is a judgement in the judge's words, of a paper that answers more exposure
// in its way.
type said struct {
	text   string
	sense  exposure.Response
	before notebook.JudgementRecord // of the same sheet
}

const stopSigns = " \t\n,;:.!"

func (s said) right() (j notebook.JudgementRecord, is bool, err error) {
	word, seen := s.text, ""
	if i := strings.IndexAny(s.text, ",;:.!"); i >= 0 {
		word, seen = s.text[:i], strings.TrimLeft(s.text[i:], stopSigns)
	}
	switch strings.Join(strings.Fields(strings.ToLower(word)), " ") {
	case "right", "just right", "good", "ok", "okay", "fine":
		j.Seen = strings.TrimSpace(seen)
		return j, true, nil
	}
	return j, false, nil
}

// leftOut keeps what it was judged, to be read; it only teaches nothing.
func (s said) leftOut() (j notebook.JudgementRecord, is bool, err error) {
	rest, is := cutFold(s.text, notebook.LeftOut)
	if !is {
		return j, false, nil
	}
	if rest = strings.TrimLeft(rest, stopSigns); rest == "" {
		return j, true, errors.New("say why it is left out, like \"left out\" \"light leak at the lid\"")
	}
	return notebook.JudgementRecord{Stops: s.before.Stops, Seen: notebook.LeftOut + ": " + rest}, true, nil
}

// nothing is a sheet without a picture.
func (s said) nothing() (j notebook.JudgementRecord, is bool, err error) {
	m := nothingRE.FindStringSubmatch(s.text)
	if m == nil {
		return j, false, nil
	}
	look := strings.ToLower(m[1])
	if look == "" && s.sense == exposure.PositiveLightens {
		return j, true, eitherWay(words.Num(stopsNothing), m[2], stopsNothing)
	}
	return notebook.JudgementRecord{Stops: exposure.StopsFromJudgement(s.sense, look != "black", stopsNothing), Seen: s.text}, true, nil
}

func eitherWay(number, seen string, stops float64) error {
	return &EitherWay{number, seen, notebook.JudgementRecord{Stops: stops, Seen: seen}, notebook.JudgementRecord{Stops: -stops, Seen: seen}}
}

// stops is a number, and what it means: by its sign, by more or less, or by how
// the sheet looks.
func (s said) stops() (j notebook.JudgementRecord, err error) {
	text := s.text
	if looksRE.MatchString(text) && !strings.EqualFold(text[:4], "more") && !strings.EqualFold(text[:4], "less") {
		text = words.Num(stopsAlone) + " " + text
	}
	number, stops, rest, err := StopsAhead(text)
	if err != nil {
		return j, fmt.Errorf("%q is no judgement: %s", text, howToJudge)
	}
	signed := strings.ContainsAny(number[:1], "+-")
	m := looksRE.FindStringSubmatch(rest)
	if m == nil {
		_, left := cutFold(rest, notebook.LeftOut)
		switch {
		case !signed && stops != 0 && rest != "" && !left:
			return j, eitherWay(number, rest, stops)
		case unclearRE.MatchString(rest):
			return j, fmt.Errorf("%q is not clear: %s; begin what was seen with another word", text, howToJudge)
		}
		return notebook.JudgementRecord{Stops: stops, Seen: strings.TrimSpace(rest)}, nil
	}
	look, less := strings.ToLower(m[1]), strings.EqualFold(m[2], "less")
	switch {
	case stops < 0:
		return j, fmt.Errorf("%q says less twice: %s", text, howToJudge)
	case less && signed:
		return j, fmt.Errorf("%q says more and less: %s", text, howToJudge)
	}
	j.Seen = strings.TrimSpace(m[3])
	switch {
	case look != "" && !signed:
		j.Stops = s.wants(look, stops)
		return j, nil
	case less:
		j.Stops = -stops
	default:
		j.Stops = stops
	}
	return s.agrees(j, look, text, number)
}

// agrees refuses a judgement whose number claims other than what was seen, which must
// be the same on this paper.
func (s said) agrees(j notebook.JudgementRecord, look, text, number string) (notebook.JudgementRecord, error) {
	if again := looksRE.FindStringSubmatch(j.Seen); look == "" && again != nil {
		look = strings.ToLower(again[1])
	}
	wants := s.wants(look, math.Abs(j.Stops))
	if look == "" || j.Stops*wants >= 0 {
		return j, nil
	}
	way := map[bool]string{true: "more", false: "less"}[wants > 0]
	return j, fmt.Errorf("%q contradicts itself: on this paper more exposure makes the picture %s, so too %s wants %s: write \"%s too %s\"",
		text, lighterDenser(s.sense), look, way, strings.TrimLeft(number, "+ "), look)
}

// wants is the stops that a sheet too dark, light, thin or dense by some wants more.
func (s said) wants(look string, stops float64) float64 {
	return exposure.StopsFromJudgement(s.sense, look == "light" || look == "thin", stops)
}

func lighterDenser(sense exposure.Response) string {
	if sense == exposure.PositiveLightens {
		return "lighter"
	}
	return "denser, that is darker"
}

// Unlikely is a judgement that is better asked about before it is kept.
type Unlikely struct {
	Judgement notebook.JudgementRecord
	Why       string
}

// Error implements error.
func (u *Unlikely) Error() string {
	return u.Why + ": was it the exposure, and no light leak, no spent bath? If so, say it again with \", sure\" after it; else \"left out\" and why"
}

// muchStops is from where on a judgement is asked about whatever the others say.
const muchStops = 3.0

// Judge reads a judgement, and asks about one that is large or does not agree
// with the other sheets; the word sure at its end says that it is meant.
func Judge(text string, r *notebook.Record, others []exposure.Judged, today Today) (notebook.JudgementRecord, error) {
	text, sure := cutSure(strings.TrimSpace(text))
	j, err := ReadJudgement(text, r)
	if err != nil || sure || j.LeftOut() {
		return j, err
	}
	much := j.Stops
	if t := testOf(r); t != nil {
		much -= t.Stops(t.Nearest(j.Stops)) // of the strip, which is what was looked at
	}
	if math.Abs(much) >= muchStops {
		return j, &Unlikely{j, fmt.Sprintf("%s is much", words.StopsOf(much))}
	}
	judged := *r
	judged.Judgements = append(slices.Clip(r.Judgements), j)
	this, ok := Evidence(&judged, today)
	if !ok {
		return j, nil
	}
	same := func(o exposure.Judged) bool { return o.ID == this.ID }
	m, err := exposure.Learn(append(slices.DeleteFunc(slices.Clone(others), same), this))
	// What cannot be reckoned cannot be judged odd.
	if err == nil && slices.ContainsFunc(m.Odd(), same) {
		return j, &Unlikely{j, "this does not agree with the other sheets"}
	}
	return j, nil
}

// cutSure cuts the word off the end of a judgement that is meant as it stands.
func cutSure(text string) (rest string, sure bool) {
	const stops = " ,;:."
	i := len(text) - len("sure")
	if i <= 0 || !strings.EqualFold(text[i:], "sure") || !strings.ContainsAny(text[i-1:i], stops) {
		return text, false
	}
	return strings.TrimRight(text[:i], stops), true
}

// cutFold is strings.CutPrefix for a word, in small letters or large.
func cutFold(s, word string) (rest string, ok bool) {
	if len(s) < len(word) || !strings.EqualFold(s[:len(word)], word) {
		return s, false
	}
	return s[len(word):], true
}
