package say

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"wetside/session/words"
)

// The types of the slots.
type (
	// Number is a whole number: "forty-seven", "minus three".
	Number int
	// Sheet is a sheet by its number: "sheet two".
	Sheet int
	// Left is what is left on a clock, or how long a thing lasts: rounded up to
	// the second, from an hour on to the minute.
	Left time.Duration
	// Stops is a signed number of stops: "minus one half", "plus one and one third".
	Stops float64
	// Decimal is a number with a sign and at most two decimals.
	Decimal float64
	// Percent is a share of a hundred.
	Percent int
	// In is where a sheet is: "in the stop".
	In string
	// Into is a move: "stop now", "take it out now".
	Into string
	// Soon is a move that is counted in: "stop in".
	Soon string
	// Onto is what a press would do with a sheet: "into the stop".
	Onto string
	// What is a deed that was taken back, by the kind of its event.
	What string
	// State is what became of a sheet: "fresh", "spoiled".
	State string
	// Where is a screen, Field a line of the form, Room a line of the room's
	// checklist, Confirmed whether it is so, Deed what a key does: by the words
	// that they are shown with.
	Where     string
	Field     string
	Room      string
	Confirmed bool
	Deed      string
	// Bath is a bath by its stage: "the fixer".
	Bath string
	// Key is a key of the keyboard, a letter by the spelling alphabet of the
	// ITU Radio Regulations, appendix 14.
	Key string
)

// Out, as Into and Soon, is the end of the last bath.
const Out = ""

// A Name is what the user calls a thing. Spoken it is the user's own recording
// or the system's voice; where neither can, the sheet's number or the bath
// stands for it.
type Name struct {
	Text string
	Bath Bath // stands for it; empty: Num
	Num  int  // of the sheet
	Nth  int  // of a choice: "number two"
}

// BathName is a bath by what the user calls it; where that cannot be spoken, by its
// stage, and where it has none it is "the bath".
func BathName(text, stage string) Name { return Name{Text: text, Bath: Bath(cmp.Or(stage, "bath"))} }

func (v Number) value() value  { return value{"number", int64(v), ""} }
func (v Sheet) value() value   { return value{"sheet", int64(v), ""} }
func (v Left) value() value    { return value{"time", int64(v), ""} }
func (v Stops) value() value   { return value{"stops", int64(math.Round(float64(v) * 6e4)), ""} }
func (v Decimal) value() value { return value{"decimal", int64(math.Round(float64(v) * 100)), ""} }
func (v Percent) value() value { return value{"percent", int64(v), ""} }
func (v In) value() value      { return value{"in", 0, string(v)} }
func (v Into) value() value    { return value{"into", 0, string(v)} }
func (v Soon) value() value    { return value{"soon", 0, string(v)} }
func (v Onto) value() value    { return value{"onto", 0, string(v)} }
func (v What) value() value    { return value{"what", 0, string(v)} }
func (v Bath) value() value    { return value{"bath", 0, string(v)} }
func (v State) value() value   { return value{"state", 0, string(v)} }
func (v Where) value() value   { return value{"where", 0, string(v)} }
func (v Field) value() value   { return value{"field", 0, string(v)} }
func (v Room) value() value    { return value{"room", 0, string(v)} }
func (v Deed) value() value    { return value{"deed", 0, string(v)} }
func (v Confirmed) value() value {
	if v {
		return value{"confirmed", 1, "confirmed"}
	}
	return value{"confirmed", 0, "not confirmed"}
}
func (v Key) value() value { return value{"key", 0, string(v)} }
func (v Name) value() value {
	text := words.Clip(v.Text)
	if v.Bath != "" {
		return value{"name", -1, text + "\x00" + string(v.Bath)}
	}
	if v.Num == 0 {
		return value{"name", int64(v.Nth), text + "\x00\x00"}
	}
	return value{"name", int64(v.Num), text + "\x00"}
}

// A place is how the voice calls a stage. "fix" and "six" differ by a hiss that
// running water covers, and "hold" is lost in the same way; the trade says fixer
// and holding water as well.
type place struct{ in, into, soon, bath, onto string }

func placeOf(word, bath string) place {
	return place{"in the " + bath, word + " now", word + " in", "the " + bath, "into the " + bath}
}

var places = map[string]place{
	"expose":     {"being exposed", "open the pinhole now", "open the pinhole in", "the camera", "into the camera"},
	"develop":    placeOf("developer", "developer"),
	"stop":       placeOf("stop bath", "stop bath"),
	"fix":        placeOf("fixer", "fixer"),
	"second fix": placeOf("second fixer", "second fixer"),
	"rinse":      placeOf("rinse", "rinse"),
	"hypo-clear": placeOf("hypo clear", "hypo clear"),
	"hold":       {"in the holding water", "the holding water now", "the holding water in", "the holding water", "into the holding water"},
	"wash":       placeOf("wash", "wash"),
	Out:          {"out of the trays", "take it out now", "take it out in", "the bath", "out of the trays"},
}

func placeFor(stage string) place {
	if p, ok := places[stage]; ok {
		return p
	}
	return place{"in the bath", "move the sheet on now", "move the sheet on in", "the bath", "into the next bath"}
}

// A form is how the values of one kind of slot are written on a screen, and said.
type form struct {
	text  func(value) string
	clips func(value) []string
}

// forms has a row for each kind whose value is not a word of a list (see said), but
// for a name's clips, which depend on who can speak it.
var forms = map[string]form{
	"number":  {func(v value) string { return strconv.FormatInt(v.n, 10) }, func(v value) []string { return Numeral(int(v.n)) }},
	"sheet":   {func(v value) string { return "sheet " + strconv.FormatInt(v.n, 10) }, func(v value) []string { return sheetClips(int(v.n)) }},
	"time":    {func(v value) string { return words.Countdown(time.Duration(v.n)) }, func(v value) []string { return timeClips(time.Duration(v.n)) }},
	"stops":   {func(v value) string { return words.StopsBy(float64(v.n) / 6e4) }, func(v value) []string { return stopsClips(float64(v.n) / 6e4) }},
	"decimal": {func(v value) string { return words.Decimals(float64(v.n)/100, 2) }, func(v value) []string { return decimalClips(v.n) }},
	"percent": {func(v value) string { return strconv.FormatInt(v.n, 10) + "%" }, func(v value) []string { return append(Numeral(int(v.n)), "percent") }},
	"in":      placed(func(p place) string { return p.in }),
	"into":    placed(func(p place) string { return p.into }),
	"soon":    placed(func(p place) string { return p.soon }),
	"onto":    placed(func(p place) string { return p.onto }),
	"bath":    placed(func(p place) string { return p.bath }),
	"key":     {value.word, func(v value) []string { return keyClips(v.text) }},
	"state":   {value.word, func(v value) []string { return []string{stateClip(v.text)} }},
	"name":    {value.name, nil},
}

func placed(of func(place) string) form {
	return form{func(v value) string { return of(placeFor(v.text)) }, func(v value) []string { return []string{of(placeFor(v.text))} }}
}

func (v value) word() string { return v.text }

// text1 is a slot's value on a screen.
func (v value) text1() string {
	if f, ok := forms[v.kind]; ok {
		return f.text(v)
	}
	return v.text
}

func (v value) name() string {
	text, bath, _ := strings.Cut(v.text, "\x00")
	switch {
	case text != "":
		return text
	case bath == "\x00":
		return "number " + strconv.FormatInt(v.n, 10)
	case bath != "":
		return placeFor(bath).bath
	}
	return "sheet " + strconv.FormatInt(v.n, 10)
}

// clips is a slot's value by the voice.
func (v value) clips(can func(string) bool) []string {
	if f, ok := forms[v.kind]; ok && f.clips != nil {
		return f.clips(v)
	} else if !ok {
		return []string{cmp.Or(said[v.kind][v.text], "something else")}
	}
	text, bath, _ := strings.Cut(v.text, "\x00")
	switch {
	case text != "" && can(text):
		return []string{`"` + text}
	case bath == "\x00":
		return append([]string{"number"}, Numeral(int(v.n))...)
	case bath != "":
		return []string{placeFor(bath).bath}
	}
	return sheetClips(int(v.n))
}

// oneTo is how many sheets have a clip of their own.
const oneTo = 24

func sheetClips(n int) []string {
	if n >= 1 && n <= oneTo && n%10 != 2 {
		return []string{"sheet " + small(n)}
	}
	return append([]string{"sheet"}, Numeral(n)...)
}

// small is a number below a hundred in words: one clip.
func small(n int) string { return strings.Join(words.Cardinal(n), " ") }

// Numeral is a number as it is said; beyond 9999 figure by figure.
func Numeral(n int) []string {
	switch {
	case n < 0:
		return append([]string{"minus"}, Numeral(-n)...)
	case n > 20 && n < 100 && n%10 == 2:
		return []string{small(n - 2), "two"} // said in one, "two" is swallowed
	case n < 100:
		return []string{small(n)}
	case n > 9999:
		var out []string
		for _, r := range strconv.Itoa(n) {
			out = append(out, small(int(r-'0')))
		}
		return out
	}
	var out []string
	if n >= 1000 {
		out = append(out, small(n/1000), "thousand")
	}
	if h := n / 100 % 10; h > 0 {
		out = append(out, small(h)+" hundred")
	}
	if r := n % 100; r > 0 {
		out = append(out, Numeral(r)...)
	}
	return out
}

func counted(n int, one string) []string {
	if n == 1 {
		return []string{"one " + one}
	}
	return append(Numeral(n), one+"s")
}

func timeClips(d time.Duration) []string {
	h, m, s := words.HMS(d)
	var out []string
	if h > 0 {
		out = append(out, counted(h, "hour")...)
	}
	if m > 0 {
		out = append(out, counted(m, "minute")...)
	}
	switch {
	case h == 0 && m > 0 && s > 0:
		out = append(out, Numeral(s)...)
	case s > 0 || h == 0 && m == 0:
		out = append(out, counted(s, "second")...)
	}
	return out
}

func stopsClips(v float64) []string {
	if math.Abs(v) < 0.01 {
		return []string{"no change"}
	}
	out := []string{"plus"}
	if v < 0 {
		out[0], v = "minus", -v
	}
	whole, rest := math.Modf(v + 1e-6)
	part := ""
	for _, p := range []struct {
		x    float64
		name string
	}{{0, ""}, {1. / 3, "one third"}, {0.5, "one half"}, {2. / 3, "two thirds"}} {
		if math.Abs(rest-p.x) < 0.01 {
			part = p.name
			if p.x == 0 {
				return append(append(out, Numeral(int(whole))...), stopWord(whole))
			}
		}
	}
	switch {
	case part == "":
		return append(append(out, tenths(int64(math.Round(v*10)))...), "stops")
	case whole == 0:
		return append(out, part, "stop")
	}
	return append(append(append(out, Numeral(int(whole))...), "and", part), "stops")
}

func stopWord(n float64) string {
	if n == 1 {
		return "stop"
	}
	return "stops"
}

func tenths(n int64) []string {
	return append(Numeral(int(n/10)), "point", small(int(n%10)))
}

func decimalClips(n int64) []string {
	var out []string
	if n < 0 {
		out, n = append(out, "minus"), -n
	}
	out = append(out, Numeral(int(n/100))...)
	if r := n % 100; r > 0 {
		out = append(out, "point", small(int(r/10)))
		if r%10 > 0 {
			out = append(out, small(int(r%10)))
		}
	}
	return out
}

// said are the words of a screen as they are spoken.
var said = map[string]map[string]string{
	"where": {"bench": "the bench", "field": "the field", "trays": "the trays", "notebook": "the notebook", "room": "the room"},
	"field": {"paper": "paper", "process": "process", "camera": "camera", "developer": "developer temperature", "name": "name of the sheet",
		"photographer": "photographer", "light": "light or time", "with": "filter and pre-flash"},
	"room": {"screen": "the full screen", "messages": "messages that pop up", "sleep": "screen saver and sleep", "keyboard": "keyboard light",
		"brightness": "screen brightness", "phones": "telephones and watches", "safelight": "safelight and other lamps", "red film": "the red film", "dry side": "the dry side", "pointer": "the pointer", "bars": "scrollbar and tabs", "bell": "the visual bell", "other screens": "other screens and windows"},
	"what": {"sheet added": "the new sheet", "sheet withdrawn": "that the sheet was taken away", "remade": "the change to the sheet", "sheet out": "paper out",
		"sheet away": "paper away", "loaded": "the loading", "unloaded": "the taking out", "box opened": "the open box", "box away": "the box put away", "pinhole covered": "the covering", "pinhole uncovered": "the uncovering",
		"light changed": "the change of light", "time set": "the new time", "image seen": "the image seen", "step time set": "the new step time", "water changed": "the change of water",
		"unseen": "the answer about the sheet", "marked": "the mark", "safelight on": "safelight on", "safelight off": "safelight off", "bath mixed": "the new bath",
		"dried": "that the sheet is dry", "flattened": "that the sheet is flat", "bath retired": "the end of the bath", "bath promoted": "the bath moved up"},
	"confirmed": {"confirmed": "is confirmed", "not confirmed": "is not confirmed"},
	"deed": {"about the camera": "tells about the camera", "add this sheet": "adds the sheet", "back": "goes back", "beside another": "shows it beside another",
		"break off": "breaks off", "camera": "chooses the camera", "choose": "chooses", "close": "closes it", "close the answer": "closes the answer",
		"confirm": "confirms", "cover/uncover": "covers and uncovers", "done": "ends the line", "field": "goes to the next field",
		"fill the trays": "fills the trays", "fog test": "begins the fog test", "fresh bath": "makes a fresh bath", "glow: dark, ember, torch": "changes the glow",
		"help": "says the keys", "hold in water": "puts it in holding water", "judge": "judges the sheet", "leave it": "leaves it", "light -/+ 1/3 stop": "changes the light by a third",
		"light or time": "asks for light or time", "line": "goes to the next line", "begin": "begins", "begin with that": "begins with that", "change this sheet": "changes the sheet", "other sheet": "goes to the other sheet", "scroll": "scrolls", "cancel": "cancels", "open, end": "opens and ends the exposure", "cover, uncover": "covers and uncovers", "image seen": "the image is up", "exposed by a watch": "takes down what a watch timed", "to the bench": "goes to the bench", "next line": "ends this line", "a new camera": "makes a new camera", "correct": "corrects the sheet", "next": "goes to the next screen", "keep the change": "keeps the change", "leave it as it was": "leaves it as it was", "quick look": "takes a quick look for light", "ten-minute look": "takes a long look for light", "louder, softer": "makes it louder or softer",
		"mark this moment": "marks this moment", "move on": "moves on", "name a mark": "names a mark", "no": "says no", "note": "takes a note",
		"only those with": "looks for sheets", "open": "opens it", "open/end": "opens and ends the exposure", "paper out / put away": "paper out or away",
		"pick a sheet": "picks a sheet", "pre-flash strip": "reckons the strip", "quit": "quits", "reckon, as in the shell": "reckons", "screen before": "goes to the screen before",
		"seen": "the image is up", "sheet": "chooses the sheet", "spoiled": "spoils the sheet", "the sum behind it": "shows the sum", "undo": "takes it back",
		"water changed": "the water was changed", "what was learned": "tells what was learned", "where": "says where we are", "yes": "says yes",
		"expose and develop": "exposes and develops", "only the trays": "only the trays", "just a timer": "just a timer", "try it in the light": "tries it in the light",
		"lead": "leads", "load": "loads a camera", "covered: quit": "says that paper is covered and quits", "not yet: go on": "goes on for paper is not covered",
		"the number": "is the number", "say it again": "says it again", "none": "is for none", "dry, then flat": "says that it is dry or flat", "to be judged": "judges those that wait", "in words": "in words", "the next one": "the next one", "take the sheet away": "takes the sheet away", "half a minute more": "half a minute more", "half a minute less": "half a minute less", "ten seconds more": "ten seconds more", "ten seconds less": "ten seconds less"},
}

// states are the phases of a sheet as they are said.
var states = []string{"still to be exposed", "being exposed", "exposed", "in the trays", "finished", "spoiled"}

var stateOf = map[string]string{"fresh": states[0], "exposing": states[1], "exposed": states[2], "wet": states[3], "finished": states[4], "spoiled": states[5]}

// Words are what a screen says of the state.
func (v State) Words() string { return stateClip(string(v)) }

// Words are what a screen says was taken back.
func (v What) Words() string { return cmp.Or(said["what"][string(v)], string(v)) }

func stateClip(s string) string {
	if c, ok := stateOf[s]; ok {
		return c
	}
	return states[0]
}

var spelling = strings.Fields("alpha bravo charlie delta echo foxtrot golf hotel india juliet kilo lima mike " +
	"november oscar papa quebec romeo sierra tango uniform victor whiskey x-ray yankee zulu")

// keyNames are the keys that have a name of their own.
var keyNames = map[string]string{
	" ": "space", "enter": "enter", "backspace": "backspace", "tab": "tab", "esc": "escape", "shift+tab": "shift tab",
	"up": "up arrow", "down": "down arrow", "left": "left arrow", "right": "right arrow", "delete": "delete",
	".": "point", ",": "comma", "-": "dash", "/": "slash", "+": "plus key", ":": "colon", "=": "equals",
	"?": "question mark", "[": "left bracket", "]": "right bracket", "#": "number sign", "'": "quote", "\"": "quote",
	"_": "underline", "(": "bracket", ")": "bracket",
}

func keyClips(k string) []string {
	r := []rune(strings.ToLower(k))
	switch {
	case len(r) == 1 && r[0] >= 'a' && r[0] <= 'z':
		return []string{spelling[r[0]-'a']}
	case len(r) == 1 && r[0] >= '0' && r[0] <= '9':
		return []string{small(int(r[0] - '0'))}
	case keyNames[k] != "":
		return []string{keyNames[k]}
	}
	return []string{"another key"}
}

// extremes are values of each kind of slot for who wants to hear them all.
var extremes = map[string][]value{
	"number": {Number(0).value(), Number(5).value(), Number(85).value(), Number(13).value(), Number(40).value(), Number(114).value(), Number(999).value(), Number(-3).value()},
	"sheet":  {Sheet(1).value(), Sheet(2).value(), Sheet(3).value(), Sheet(8).value(), Sheet(20).value(), Sheet(24).value(), Sheet(31).value()},
	"time": {Left(time.Second).value(), Left(10 * time.Second).value(), Left(55 * time.Second).value(), Left(time.Minute).value(),
		Left(90 * time.Second).value(), Left(5 * time.Minute).value(), Left(18*time.Minute + 13*time.Second).value(),
		Left(time.Hour).value(), Left(2*time.Hour + 17*time.Minute).value(), Left(99 * time.Hour).value()},
	"stops":   {Stops(0).value(), Stops(0.5).value(), Stops(-0.5).value(), Stops(1. / 3).value(), Stops(-2. / 3).value(), Stops(1).value(), Stops(-2).value(), Stops(4. / 3).value(), Stops(-0.3).value()},
	"decimal": {Decimal(0).value(), Decimal(-0.3).value(), Decimal(12.5).value(), Decimal(-2).value(), Decimal(20.25).value()},
	"percent": {Percent(0).value(), Percent(62).value(), Percent(100).value(), Percent(140).value()},
	"in":      stages(func(s string) value { return In(s).value() }),
	"into":    stages(func(s string) value { return Into(s).value() }),
	"soon":    stages(func(s string) value { return Soon(s).value() }),
	"onto":    stages(func(s string) value { return Onto(s).value() }),
	"what":    worded("what"),
	"bath":    stages(func(s string) value { return Bath(s).value() }),
	"state":   {State("fresh").value(), State("wet").value(), State("finished").value(), State("spoiled").value()},
	"where":   worded("where"), "field": worded("field"), "room": worded("room"), "deed": worded("deed"), "confirmed": worded("confirmed"),
	"key":  keys(),
	"name": {Name{Bath: "fix"}.value(), Name{Nth: 2}.value(), Name{Num: 4}.value(), Name{Num: 12}.value()},
}

var order = []string{"expose", "develop", "stop", "fix", "second fix", "rinse", "hypo-clear", "hold", "wash", Out, "bleach"}

// worded are the values of a kind that has its words in said.
func worded(kind string) (out []value) {
	for _, w := range slices.Sorted(maps.Keys(said[kind])) {
		out = append(out, value{kind, 0, w})
	}
	return out
}

func stages(f func(string) value) (out []value) {
	for _, s := range order {
		out = append(out, f(s))
	}
	return out
}

func keys() (out []value) {
	for r := 'a'; r <= 'z'; r++ {
		out = append(out, Key(string(r)).value())
	}
	for _, k := range []string{" ", "enter", "backspace", "tab", "esc", "up", "down", "left", "right", ".", ",", "-", "/", "?", "[", "]", ":"} {
		out = append(out, Key(k).value())
	}
	return out
}

// Clips lists the name of every clip that any line needs.
func Clips() []string {
	var out []string
	seen := map[string]bool{}
	put := func(names ...string) {
		for _, n := range names {
			if n != "," && n != ";" && !seen[n] {
				seen[n] = true
				out = append(out, n)
			}
		}
	}
	for n := range 100 {
		put(Numeral(n)...)
	}
	for h := 1; h < 10; h++ {
		put(small(h) + " hundred")
	}
	for _, one := range []string{"hour", "minute", "second"} {
		put(counted(1, one)...)
	}
	put("thousand", "minus", "plus", "point", "and", "one half", "one third", "two thirds", "stop", "stops", "no change",
		"hours", "minutes", "seconds", "percent", "sheet", "number")
	for n := 1; n <= oneTo; n++ {
		put(sheetClips(n)...)
	}
	for _, s := range order {
		p := placeFor(s)
		put(p.in, p.into, p.soon, p.bath, p.onto)
	}
	for _, kind := range slices.Sorted(maps.Keys(said)) {
		for _, w := range slices.Sorted(maps.Keys(said[kind])) {
			put(said[kind][w])
		}
	}
	put("something else")
	put(spelling...)
	put(states...)
	for _, k := range []string{" ", "enter", "backspace", "tab", "esc", "shift+tab", "up", "down", "left", "right", "delete", ".", ",", "-", "/", "+", ":", "=",
		"?", "[", "]", "#", "'", "_", "(", "another"} {
		put(keyClips(k)...)
	}
	for _, t := range templates {
		for _, p := range t.parts {
			if p.Phrase != "" {
				put(p.Phrase)
			}
		}
	}
	return out
}
