package voice

import (
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode"

	"wetside/session"
	"wetside/session/words"
)

// Words is what Phrase says for a cue, token by token, without the pauses. It
// has no state: names the user gave stand as they are, whether or not they can
// be spoken here.
func Words(c session.Cue, talk Talk) []string {
	var out []string
	for _, t := range script(c, talk, func(string) bool { return true }, Tokens) {
		if _, ok := pauses[t]; !ok {
			out = append(out, t)
		}
	}
	return out
}

// script is the announcement of a cue with its pauses. can says whether a name
// given by the user can be spoken; tokens reads free text.
func script(c session.Cue, talk Talk, can func(string) bool, tokens func(string) []string) []string {
	w := &writer{c: c, talk: talk, can: can, tokens: tokens}
	w.write()
	if len(w.body) == 0 {
		return nil
	}
	if c.Kind == session.CueSay {
		return w.body // the host's own words: it names the sheet itself
	}
	if c.Num > 0 && (c.Named || talk >= Full) && c.Kind != session.CueConflict {
		head := append([]string{"sheet"}, words.Cardinal(c.Num)...)
		return append(append(head, ":"), w.body...)
	}
	return w.body
}

type writer struct {
	c      session.Cue
	talk   Talk
	can    func(string) bool
	tokens func(string) []string
	body   []string
}

func (w *writer) add(tokens ...string) { w.body = append(w.body, tokens...) }

// after adds a pause and a time, when there is a time to say.
func (w *writer) after(pause string, d time.Duration, more ...string) {
	if t := Time(d); d > 0 && len(t) > 0 {
		w.add(pause)
		w.add(t...)
		w.add(more...)
	}
}

func (w *writer) write() {
	c, normal, full := w.c, w.talk >= Normal, w.talk >= Full
	switch c.Kind {
	case session.CueBegin:
		w.stage()
		if normal {
			w.after(";", c.For)
		}
	case session.CueRockOn:
		if full {
			w.add("agitate")
		}
	case session.CueRockOff:
		if full {
			w.add("rest")
		}
	case session.CueRock, session.CueAlive:
		// motifs alone: they say no more than that time goes on
	case session.CueMinutes, session.CueThirty:
		if t := Time(c.Left); normal && len(t) > 0 {
			w.add(t...)
			w.add("left")
		}
	case session.CueTen:
		if t := Time(c.Left); normal && len(t) > 0 {
			w.add(t...)
			if full {
				w.add("left")
			}
		}
	case session.CueAtLeast:
		w.add("may be judged")
	case session.CueDrain:
		w.add("lift and drain")
		if full {
			w.after(";", c.For)
		}
	case session.CueMove:
		w.move()
	case session.CueCall:
		w.move()
		if over := c.Over; full || normal && over >= time.Minute {
			if !full {
				over = over.Truncate(time.Minute)
			}
			if over >= time.Second {
				w.add(";", "over by")
				w.add(Time(over)...)
			}
		}
	case session.CueOver:
		if t := Time(c.Over); len(t) > 0 {
			w.add("over by")
			w.add(t...)
		}
	case session.CueSeen:
		if normal {
			w.add("image seen")
			w.after(";", c.Left, "left")
		}
	case session.CueBack:
		w.add("move taken back", ";")
		w.stage()
	case session.CueDone:
		w.add("finished")
	case session.CueSpoiled:
		w.add("spoiled")
	case session.CueWashAnew:
		w.add("wash begins again")
		if normal {
			w.after(";", c.For)
		}
	case session.CueChange:
		w.add("change the water")
		if full && c.N > 0 {
			w.add(";", "number")
			w.add(words.Cardinal(c.N)...)
		}
	case session.CueLightOn:
		w.add("exposure")
		if normal {
			w.after(";", c.For)
		}
	case session.CueHalf:
		if normal {
			w.add("exposure half done")
			w.after(";", c.Left, "left")
		}
	case session.CueLightOff:
		w.add("exposure done")
	case session.CueCovered:
		if normal {
			w.add("pinhole covered")
		}
	case session.CueUncovered:
		if normal {
			w.add("pinhole open")
			w.after(";", c.Left, "left")
		}
	case session.CueRelight:
		if normal {
			if c.For > 0 {
				w.add("exposure")
			} else {
				w.add("the light changed")
			}
			w.after(";", c.Left, "left")
		}
	case session.CueSafeHalf:
		if normal {
			w.add("safelight", ",", "half used")
			w.after(";", c.Left, "left")
		}
	case session.CueSafeAll:
		w.add("safelight", ",", "all used")
	case session.CueMayGoIn:
		if !(c.Num > 0 && (c.Named || full)) {
			w.add("next sheet")
		}
		w.add("may go in")
		if c.Left < time.Second {
			w.add("now")
		} else {
			w.after(";", c.Left)
		}
	case session.CueConflict:
		w.add("conflict ahead")
		if normal {
			w.after(";", c.Left)
		}
		if full {
			w.add(";", "both need your hands")
		}
	case session.CueBathHigh:
		if normal {
			w.bath()
			w.add("nearly spent")
		}
	case session.CueBathSpent:
		w.bath()
		w.add("spent")
	case session.CueError:
		w.add("error")
		if t := w.tokens(c.Text); len(t) > 0 {
			w.add(";")
			w.add(t...)
		}
	case session.CueSay:
		w.add(w.tokens(c.Text)...)
	}
}

// stage adds the step by the user's name for it if that can be spoken, else by
// the stage's.
func (w *writer) stage() {
	if !w.name(w.c.Label) {
		w.add(stageWords(w.c.Stage)...)
	}
}

// name adds a user's name for a thing, or reports that it cannot be spoken.
func (w *writer) name(label string) bool {
	if label == "" {
		return false
	}
	t := w.tokens(label)
	for _, one := range t {
		if _, pause := pauses[one]; !pause && !Known(one) && !w.can(one) {
			return false
		}
	}
	w.add(t...)
	return len(t) > 0
}

// bath adds the name of the bath a cue is about.
func (w *writer) bath() {
	if w.name(w.c.Label) || w.name(w.c.Text) {
		return
	}
	switch w.c.Stage {
	case session.Develop:
		w.add("developer")
	case session.Fix, session.Fix2:
		w.add("fixer")
	default:
		w.add("bath")
	}
}

func (w *writer) move() {
	if w.c.Next == "" {
		w.add("move now", ",", "take it out")
		return
	}
	w.add("move now", ",")
	if w.talk >= Normal {
		w.add("to the")
	}
	if w.c.Next == session.Develop {
		w.add("developer")
		return
	}
	w.add(stageWords(w.c.Next)...)
}

// stageNames are the stages that are not spoken by the word they are written
// with. "fix" and "six" differ by a hiss that running water covers, for the ear
// as for the recogniser; "hold" is lost in the same way. The trade says fixer
// and holding water as well.
var stageNames = map[session.Stage]string{
	session.Exposure: "exposure",
	session.Fix:      "fixer",
	session.Fix2:     "second fixer",
	session.Hold:     "holding water",
}

func stageWords(s session.Stage) []string {
	if name, ok := stageNames[s]; ok {
		return []string{name}
	}
	if Known(string(s)) {
		return []string{string(s)}
	}
	return Tokens(string(s)) // a stage this package does not know yet
}

// Time is what is left of a time, in words: rounded up to the second, from an
// hour on to the minute.
func Time(d time.Duration) []string { return words.Said(words.HMS(d)) }

// Tokens reads free text: clips by their names, the longest first; numbers;
// times ("0:47", "1:30", "1:02:03", "30 s", "5 min"); "#4" for "sheet four";
// ":" ";" "," as pauses. What is left stands as a name, neighbouring words
// together, in small letters.
func Tokens(text string) []string { return tokens(text, Known, longest()) }

// Tokens is like the function of that name, and knows the names of the user's
// recordings too.
func (v *Voice) Tokens(text string) []string {
	known := func(s string) bool {
		if _, ok := v.user[s]; ok {
			return true
		}
		return v.pack.Has(s)
	}
	return tokens(text, known, max(longest(), v.long))
}

func longest() int {
	n := 0
	for _, w := range Vocabulary() {
		n = max(n, len(strings.Fields(w)))
	}
	return n
}

var piece = regexp.MustCompile(`(\d+):(\d\d)(?::(\d\d))?` + // 1 2 3: a time
	`|(#?)(\d+)(?:\.(\d+))?(?:\s*(s|sec|secs|min|mins|h|hr|hrs)\b)?` + // 4 5 6 7: a number, its unit
	`|(\pL[\pL\pN'’-]*)` + // 8: a word
	`|([:;,.?!])`) // 9: a pause

// same are words of free text that are spoken by a clip with another name.
var same = map[string]string{
	"expose":     "exposure",
	"fix":        "fixer",
	"second fix": "second fixer",
	"hold":       "holding water",
	"covered":    "pinhole covered",
	"open":       "pinhole open",
	"waiting":    "still waiting",
}

func tokens(text string, known func(string) bool, long int) []string {
	var out, run, strange []string
	name := func() {
		if len(strange) > 0 {
			out = append(out, strings.Join(strange, " "))
			strange = nil
		}
	}
	// flush gives the words read so far: at each place the longest name.
	flush := func() {
	next:
		for i := 0; i < len(run); {
			for n := min(long, len(run)-i); n > 0; n-- {
				for _, sep := range []string{" ", "-"} {
					s := strings.Join(run[i:i+n], sep)
					if other, ok := same[s]; ok && !known(s) {
						s = other
					}
					if known(s) {
						name()
						out = append(out, s)
						i += n
						continue next
					}
				}
			}
			strange = append(strange, run[i])
			i++
		}
		name()
		run = nil
	}
	pause := func(p string) {
		if len(out) > 0 {
			if _, twice := pauses[out[len(out)-1]]; !twice {
				out = append(out, p)
			}
		}
	}
	for _, m := range piece.FindAllStringSubmatch(text, -1) {
		if m[8] != "" {
			run = append(run, strings.ToLower(strings.ReplaceAll(m[8], "’", "'")))
			continue
		}
		flush()
		switch {
		case m[2] != "":
			a, b, c := atoi(m[1]), atoi(m[2]), atoi(m[3])
			if m[3] == "" {
				a, b, c = a/60, a%60, b
			}
			out = append(out, words.Said(a, b, c)...)
		case m[5] != "":
			out = append(out, figure(m[4] != "", m[5], m[6], m[7], out)...)
		case m[9] == "," || m[9] == ":":
			pause(m[9])
		default:
			pause(";")
		}
	}
	flush()
	for len(out) > 0 {
		if _, ok := pauses[out[len(out)-1]]; !ok {
			break
		}
		out = out[:len(out)-1]
	}
	return out
}

func figure(sheet bool, whole, part, unit string, before []string) []string {
	var out []string
	if sheet && (len(before) == 0 || before[len(before)-1] != "sheet") {
		out = append(out, "sheet")
	}
	out = append(out, words.Cardinal(atoi(whole))...)
	if part != "" {
		out = append(out, "point")
		for _, r := range part {
			out = append(out, words.Cardinal(int(r-'0'))...)
		}
	}
	if unit != "" {
		u := map[byte]string{'s': "second", 'm': "minute", 'h': "hour"}[unit[0]]
		if atoi(whole) != 1 || part != "" {
			u += "s"
		}
		out = append(out, u)
	}
	return out
}

func atoi(s string) int {
	n, _ := strconv.Atoi(s) // figures only; empty is 0, and one too long is said as it saturates
	return n
}

// speakable keeps what is not a word away from the system's voice.
func speakable(s string) bool {
	return len(s) <= 200 && strings.ContainsFunc(s, func(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) })
}
