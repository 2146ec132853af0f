package tui

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"wetside/session"
	"wetside/session/say"
	"wetside/sound/voice"
)

// A hand is what somebody presses with.
type hand struct {
	name    string
	bind    map[string][]string
	layout  string // as the settings say it
	move    string
	row     string // the keys of the digits as they come; empty: there are none
	other   string // picks the next sheet, where there are no digits
	upper   bool   // Caps Lock
	bounces bool
}

var hands = []hand{
	{name: "a keyboard", move: "space", row: "1234567890"},
	{name: "a clicker", move: "pgdown", other: "."},
	{name: "a clicker with a black button", move: "pgdown", other: "b"},
	{name: "a pedal that bounces", bind: map[string][]string{"move": {"space", "f9"}}, move: "f9", row: "1234567890", bounces: true},
	{name: "a keyboard that bounces", move: "space", row: "1234567890", bounces: true},
	{name: "Caps Lock", move: "space", row: "1234567890", upper: true},
	{name: "Caps Lock, French", move: "space", row: "&É\"'(-È_ÇÀ", upper: true},
	{name: "German", layout: "de", move: "space", row: "1234567890"},
	{name: "Nordic", layout: "nordic", move: "space", row: "1234567890"},
	{name: "French", layout: "fr", move: "space", row: topRows["fr"]},
	{name: "French, not known", move: "space", row: topRows["fr"]},
	{name: "Czech", layout: "cz", move: "space", row: topRows["cz"]},
	{name: "Czech, not known", move: "space", row: topRows["cz"]},
	{name: "a keypad", move: "space", row: "1234567890", other: "."},
}

// Where a sheet is, as its owner knows it who carries it: the camera before and
// after its light, the trays, done.
const (
	dry     = "dry"
	inLight = "in the light"
	hadIt   = "exposed"
)

// A wish is a deed that somebody is about to do and to press for.
type wish struct {
	at    time.Duration
	deed  session.Kind
	num   int // the sheet; of water any that lies in it
	from  string
	tries int
}

// A person hears what is said, does what is called, presses for it, and knows nothing
// else: where each sheet lies they know because they carried it.
type person struct {
	t     *testing.T
	w     *world
	m     *Model
	rnd   *rand.Rand
	hand  hand
	start session.Instant
	at    map[int]string // sheets by number
	wants []wish
	doing wish
	heard map[string]bool // cues
	early map[string]bool // cues that come, and whether they are answered before
	log   []string        // what was answered to the last press, in words
	dull  bool            // a dull tick was
	tick  bool            // or the other
	last  time.Duration   // press
	meant []string        // the record as it must be
	n     struct{ presses, early, doubled, asked, waited, warned, silent int }
}

func (p *person) now() time.Duration { return p.w.now.Sub(p.start) }

func (p *person) between(lo, hi time.Duration) time.Duration {
	return lo + time.Duration(p.rnd.Int64N(int64(hi-lo)))
}

func (p *person) failf(format string, args ...any) {
	p.t.Helper()
	p.t.Errorf("at %v, %s: %s; heard %q; the screen says %q", p.now(), p.hand.name, fmt.Sprintf(format, args...), p.log, p.m.said)
}

var toSheets = regexp.MustCompile(`^sheets? ([0-9, ]+): (.*)$`)

// sentence takes what is said apart: of which sheets, and what.
func (p *person) sentence(text string) (nums []int, what string) {
	if x := toSheets.FindStringSubmatch(text); x != nil {
		for n := range strings.SplitSeq(x[1], ", ") {
			i, _ := strconv.Atoi(n)
			nums = append(nums, i)
		}
		return nums, x[2]
	}
	// No number is said where one sheet alone can be meant.
	for n, at := range p.at {
		if at != dry && at != hadIt && at != say.Out {
			nums = append(nums, n)
		}
	}
	return nums, text
}

// calls is what a call asks for, as it is said: nothing for other words.
func (p *person) calls(c session.Cue) (out []wish) {
	text := voice.Words(c, voice.Normal)
	if text == "" || c.Lines != nil {
		return nil
	}
	nums, what := p.sentence(text)
	one := func(deed session.Kind, ok func(at string) bool) {
		for _, n := range nums {
			if ok(p.at[n]) {
				out = append(out, wish{deed: deed, num: n, from: p.at[n]})
			}
		}
	}
	is := func(where string) func(string) bool { return func(at string) bool { return at == where } }
	switch {
	case strings.HasPrefix(what, "cover the pinhole"):
		one(session.ExposureEnded, is(inLight))
	case what == "change the water":
		if nums = slices.DeleteFunc(nums, func(n int) bool { return p.at[n] != string(session.Wash) }); len(nums) > 0 {
			out = append(out, wish{deed: session.WaterChanged, num: nums[0], from: string(session.Wash)})
		}
	case what == "judge it by eye":
		one(session.Moved, is(string(session.Develop)))
	case what == "may go in now":
		one(session.Moved, func(at string) bool { return at == dry || at == hadIt })
	default:
		for at, to := range after {
			if now := say.MoveNow.Of(say.Into(to)).String(); at != dry && at != hadIt && (what == now || strings.HasPrefix(what, now+", overdue")) {
				one(session.Moved, is(at))
			}
		}
	}
	return out
}

// after is the way of a sheet.
var after = map[string]string{dry: string(session.Develop), hadIt: string(session.Develop), string(session.Develop): string(session.Stop),
	string(session.Stop): string(session.Fix), string(session.Fix): string(session.Wash), string(session.Wash): say.Out}

func (x wish) must(c session.Cue) bool {
	return c.Kind != session.CueAtLeast && c.Kind != session.CueMayGoIn
}

func (p *person) wish(x wish) {
	p.wants = append(p.wants, x)
	slices.SortStableFunc(p.wants, func(a, b wish) int { return cmp.Compare(a.at, b.at) })
}

// means reports whether a deed is under way already.
func (p *person) means(x wish) bool {
	return slices.ContainsFunc(append(slices.Clone(p.wants), p.doing), func(o wish) bool {
		return o.deed == x.deed && o.from == x.from && (o.num == x.num || x.deed == session.WaterChanged)
	})
}

// answers makes up the mind about a call that was heard at t, or is known to come.
func (p *person) answers(c session.Cue, t time.Duration, early bool) {
	for _, x := range p.calls(c) {
		if p.means(x) {
			continue
		}
		if c.Kind == session.CueAtLeast && p.rnd.IntN(2) == 0 {
			continue // not dark enough yet
		}
		if x.at = t + p.between(500*time.Millisecond, 4*time.Second); early {
			x.at = max(p.now()+time.Millisecond, t-p.between(0, time.Second))
			p.n.early++
		}
		for _, o := range p.wants {
			// What must be done comes first; of sheets in one water the one that was
			// called first.
			if !x.must(c) || x.deed == session.Moved && x.from == string(session.Wash) && o.from == x.from {
				x.at = max(x.at, o.at+1200*time.Millisecond)
			}
		}
		if x.deed == session.Moved && x.from == string(session.Wash) { // nobody changes the water of what comes out
			p.wants = slices.DeleteFunc(p.wants, func(o wish) bool { return o.deed == session.WaterChanged })
		}
		p.wish(x)
	}
}

// to lets time pass, and hears what is due.
func (p *person) to(t time.Duration) {
	for {
		next := t
		for _, d := range p.w.due {
			if at := d.At.Sub(p.start.Wall); !d.Cue.Ticks() && !p.heard[d.Cue.Key] && at > p.now() {
				next = min(next, at)
			}
		}
		p.w.pass(max(0, next-p.now()))
		p.m.Update(tickMsg{})
		p.hear()
		if next == t {
			return
		}
	}
}

func (p *person) hear() {
	for _, c := range p.w.played {
		switch c.Kind {
		case session.CueIdle:
			p.dull = true
		case session.CueTaken:
			p.tick = true
		case session.CueError:
			p.dull = true
			p.log = append(p.log, "error: "+aloud(c))
		default:
			p.log = append(p.log, aloud(c))
		}
	}
	p.w.played = nil
	for _, d := range p.w.due {
		c, at := d.Cue, d.At.Sub(p.start.Wall)
		if c.Ticks() || p.heard[c.Key] {
			continue
		}
		if at > p.now() {
			if _, known := p.early[c.Key]; !known && c.Kind != session.CueCall {
				if p.early[c.Key] = p.rnd.IntN(20) == 0; p.early[c.Key] {
					p.answers(c, at, true)
				}
			}
			continue
		}
		p.heard[c.Key] = true
		for _, k := range strings.Fields(c.Also) {
			p.heard[k] = true
		}
		if p.now()-at > time.Second {
			continue // of before somebody listened
		}
		if c.Fact() {
			p.log = append(p.log, voice.Words(c, voice.Normal))
		}
		p.answers(c, at, false)
	}
}

// key presses a key, as the hand does it, and hears what comes of it.
func (p *person) key(name string) {
	p.log, p.dull, p.tick = nil, false, false
	p.n.presses++
	contacts := []time.Duration{0}
	switch {
	case p.hand.bounces:
		for range 1 + p.rnd.IntN(3) {
			contacts = append(contacts, p.between(5*time.Millisecond, 300*time.Millisecond))
		}
		slices.Sort(contacts)
	case p.rnd.IntN(20) == 0:
		p.n.doubled++
		contacts = append(contacts, p.between(20*time.Millisecond, 300*time.Millisecond))
	}
	k := pressed(name)
	if p.hand.upper && k.Type == tea.KeyRunes {
		k.Runes = []rune(strings.ToUpper(string(k.Runes)))
	}
	from := p.now()
	for _, at := range contacts {
		p.to(from + at)
		p.m.Update(k)
		if p.m.held.waits != nil { // what follows it comes or does not
			n := p.m.held.n
			if i := slices.Index(contacts, at); i+1 == len(contacts) || contacts[i+1] > at+repeatGap {
				p.to(from + at + repeatGap)
				p.m.Update(heldMsg(n))
			}
		}
		p.hear()
	}
	p.to(max(p.now(), from+300*time.Millisecond))
	p.last = from
}

// pressed is the key of that name as a terminal sends it.
func pressed(name string) tea.KeyMsg {
	switch name = strings.ToLower(name); name {
	case "pgdown":
		return tea.KeyMsg{Type: tea.KeyPgDown}
	case "pgup":
		return tea.KeyMsg{Type: tea.KeyPgUp}
	}
	for i := range 10 {
		if name == fmt.Sprintf("f%d", i+1) {
			return tea.KeyMsg{Type: tea.KeyF1 - tea.KeyType(i)}
		}
	}
	return keyMsg(name)
}

// says reports whether something like that was heard since the last press.
func (p *person) says(part string) (whole string, ok bool) {
	i := slices.IndexFunc(p.log, func(l string) bool { return strings.Contains(l, part) })
	if i < 0 {
		return "", false
	}
	return p.log[i], true
}

// number presses the key on which a number stands, and the F key where that is dull.
func (p *person) number(n int) {
	p.key(string([]rune(p.hand.row)[n-1]))
	if p.dull {
		p.to(p.now() + time.Second)
		p.key(fmt.Sprintf("f%d", n))
	}
}

// picks picks a sheet by its number, or goes to it with the key that picks the next;
// the last thing said is the sheet's.
func (p *person) picks(n int) {
	if p.hand.other == "" {
		p.number(n)
	}
	for range 5 {
		if _, ok := p.says(fmt.Sprintf("sheet %d: ", n)); ok {
			return
		}
		p.to(p.now() + p.between(600*time.Millisecond, 2*time.Second))
		if p.hand.other == "" { // it was another key on this keyboard
			p.key(fmt.Sprintf("f%d", n))
		} else {
			p.key(p.hand.other)
		}
	}
	p.failf("sheet %d cannot be picked", n)
}

// kinds of events that are the program's own, or the beginning.
var unasked = []session.Kind{session.Opened, session.SheetAdded}

// record is what was written down from the n-th event on.
func (p *person) record(n int) (out []string) {
	for _, e := range p.w.events[n:] {
		switch {
		case slices.Contains(unasked, e.Kind):
		case e.Kind == session.WaterChanged:
			out = append(out, fmt.Sprint(e.Kind, " at ", e.At.Sub(p.start)))
		default:
			out = append(out, fmt.Sprint(e.Kind, " ", p.m.desk.M.Sheet(e.Sheet).Num, " at ", e.At.Sub(p.start)))
		}
	}
	return out
}

// does presses for a deed, and takes what is heard for what it says.
func (p *person) does(x wish) {
	if x.deed != session.WaterChanged && p.at[x.num] != x.from || !slices.Contains(slices.Collect(values(p.at)), x.from) {
		return // it is done
	}
	again := func(lo, hi time.Duration) {
		if x.tries++; x.tries > 20 {
			p.failf("%s %d is not taken", x.deed, x.num)
			return
		}
		x.at = p.now() + p.between(lo, hi)
		p.wish(x)
	}
	p.doing = x
	defer func() { p.doing = wish{} }()
	at, n := p.now(), len(p.w.events)
	p.key(p.hand.move)
	if _, ok := p.says("which of these"); ok {
		p.n.asked++
		q, _ := p.says("which of these")
		nums, _ := p.sentence(q)
		mine := slices.IndexFunc(nums, func(n int) bool { return n == x.num || x.deed == session.WaterChanged && p.at[n] == x.from })
		if mine < 0 {
			p.failf("%s %d is meant and not asked about", x.deed, x.num)
			return
		}
		if got := p.record(n); len(got) > 0 {
			p.failf("asked and done: %q", got)
		}
		p.to(p.now() + p.between(500*time.Millisecond, 3*time.Second))
		if at = p.now(); p.hand.other == "" {
			p.number(nums[mine])
			if p.now()-at > time.Second { // by another key, after the first was none
				at = p.last
			}
		} else {
			p.key(p.hand.other)
			for range 4 {
				if _, ok := p.says(fmt.Sprintf("sheet %d: press, ", nums[mine])); ok {
					break
				}
				p.to(p.now() + p.between(600*time.Millisecond, 2*time.Second))
				p.key(p.hand.other)
			}
			p.to(p.now() + p.between(600*time.Millisecond, 2*time.Second))
			at = p.now()
			p.key(p.hand.move)
		}
	}
	got := p.record(n)
	said := strings.Join(p.log, ". ")
	switch {
	case strings.Contains(said, "wait. "):
		p.n.waited++
		if len(got) > 0 {
			p.failf("told to wait and done: %q", got)
		}
		again(3*time.Second, 7*time.Second)
		return
	case strings.Contains(said, "press again to do it all the same"):
		p.n.warned++
		if len(got) > 0 {
			p.failf("warned and done: %q", got)
		}
		if !strings.Contains(said, fmt.Sprintf("sheet %d is not washed like the others", x.num)) {
			p.failf("%s %d is meant, and warned of something else", x.deed, x.num)
			return
		}
		again(1200*time.Millisecond, 3*time.Second)
		return
	case p.dull, strings.Contains(said, "error: "):
		p.failf("%s %d is refused; recorded %q", x.deed, x.num, got)
		return
	case len(p.log) == 0 && !p.tick:
		p.n.silent++
		if len(got) > 0 {
			p.failf("silence, and done: %q", got)
		}
		again(1100*time.Millisecond, 4*time.Second)
		return
	}
	// It was taken, so the sheet is where it was carried.
	num := x.num
	if x.deed == session.Moved && x.from == string(session.Wash) {
		// Of several that come out of one water at once that one comes first which is
		// said; whoever is still to come out is pressed for later.
		for n, at := range p.at {
			if _, ok := p.says(fmt.Sprintf("sheet %d: finished", n)); ok && at == x.from && n != num && p.means(wish{deed: x.deed, num: n, from: x.from}) {
				p.wants = slices.DeleteFunc(p.wants, func(o wish) bool { return o.num == n })
				num = n
				again(1200*time.Millisecond, 4*time.Second)
			}
		}
	}
	is := fmt.Sprint(x.deed, " ", num, " at ", at)
	switch x.deed {
	case session.WaterChanged:
		is = fmt.Sprint(x.deed, " at ", at)
	case session.ExposureBegun:
		p.at[num] = inLight
	case session.ExposureEnded:
		p.at[num] = hadIt
	case session.Moved:
		p.at[num] = after[x.from]
	}
	p.meant = append(p.meant, is)
	if !slices.Equal(got, []string{is}) {
		p.failf("meant %q, recorded %q", is, got)
	}
}

func values(m map[int]string) func(func(string) bool) {
	return func(yield func(string) bool) {
		for _, v := range m {
			if !yield(v) {
				return
			}
		}
	}
}

// trays is a process whose steps are so short that calls come close together.
func afternoonTrays(changes int) session.Process {
	const sec = time.Second
	return session.Process{Key: "three", Name: "Three trays", Steps: []session.Step{
		{Stage: session.Develop, Bath: "developer", AtLeast: 90 * sec, AtMost: 180 * sec, Drain: 10 * sec, Agitation: session.Agitation{Continuous: true}},
		{Stage: session.Stop, Bath: "stop", AtLeast: 30 * sec, AtMost: 30 * sec, Drain: 5 * sec},
		{Stage: session.Fix, Bath: "fixer", AtLeast: 120 * sec, AtMost: 120 * sec, Drain: 10 * sec},
		{Stage: session.Wash, Bath: "wash", AtLeast: 900 * sec, AtMost: 900 * sec, Batch: true, Changes: changes}}}
}

// afternoon is three cameras in the open, and then an evening with four sheets.
func (p *person) afternoon() {
	spec := func(name, camera string, light time.Duration) session.SheetSpec {
		return session.SheetSpec{Name: name, Camera: camera, Exposure: light, Paper: session.Paper{AreaCM2: 100}, Process: afternoonTrays(4 * p.rnd.IntN(2))}
	}
	add := func(name, camera string, light time.Duration) {
		s, err := p.m.desk.Add(spec(name, camera, light))
		if err != nil {
			p.t.Fatal(err)
		}
		p.at[s.Num] = dry
	}
	for _, c := range []string{"tea caddy", "hat box", "biscuit tin"} {
		// Now and then two that are done within seconds of each other.
		add(c, c, 2*time.Minute+p.between(0, time.Duration(1+p.rnd.IntN(4))*time.Minute))
	}
	p.to(p.now() + time.Second)
	for n := 1; n <= 3; n++ { // nothing calls for that: a sheet is picked, and its pinhole opened
		p.to(p.now() + p.between(3*time.Second, 30*time.Second))
		p.picks(n)
		p.to(p.now() + p.between(400*time.Millisecond, 2*time.Second))
		p.does(wish{deed: session.ExposureBegun, num: n, from: dry})
		if p.t.Failed() {
			return
		}
	}
	add("contact print", "", 0)
	for range 5000 {
		if p.t.Failed() {
			return
		}
		left, wet, out := 0, 0, 0
		for _, at := range p.at {
			switch at {
			case say.Out:
			case inLight:
				left, out = left+1, out+1
			case dry, hadIt:
				left++
			default:
				left, wet = left+1, wet+1
			}
		}
		if left == 0 {
			break
		}
		if len(p.wants) == 0 && wet == 0 && out == 0 {
			p.goesIn()
			continue
		}
		next := p.now() + 10*time.Second
		for _, d := range p.w.due { // what is heard on the way may come first
			if at := d.At.Sub(p.start.Wall); !d.Cue.Ticks() && !p.heard[d.Cue.Key] && at > p.now() {
				next = min(next, at)
			}
		}
		if len(p.wants) > 0 {
			x := p.wants[0]
			if at := max(x.at, p.last+900*time.Millisecond, p.now()); at < next {
				p.wants, p.doing = p.wants[1:], x
				p.to(at)
				p.does(x)
				continue
			}
		}
		p.to(next)
	}
	for _, s := range p.m.desk.M.Sheets() {
		if s.Phase != session.Finished || len(s.Visits) != 4 {
			p.failf("sheet %d is %s after %d baths; it lies %q", s.Num, s.Phase, len(s.Visits), p.at[s.Num])
		}
	}
	if got := p.record(0); !slices.Equal(got, p.meant) {
		p.failf("recorded\n%s\nmeant\n%s", strings.Join(got, "\n"), strings.Join(p.meant, "\n"))
	}
}

// goesIn puts the next sheet in when nothing runs: it is asked which that is, and the
// large key pressed.
func (p *person) goesIn() {
	for range 3 {
		p.to(p.now() + p.between(2*time.Second, 20*time.Second))
		where := "enter"
		if p.hand.row == "" {
			where = "f5"
		}
		for range 9 { // on the way in one looks at the screen
			if p.hand.row != "" && p.m.screen != Trays {
				p.key("tab")
				p.to(p.now() + 2*time.Second)
			}
		}
		p.key(where)
		for n := range p.at {
			if _, ok := p.says(fmt.Sprintf("sheet %d: press, into the developer", n)); ok {
				p.to(p.now() + p.between(time.Second, 4*time.Second))
				p.does(wish{deed: session.Moved, num: n, from: p.at[n]})
				return
			}
		}
		if p.hand.row == "" { // a clicker has no other key that leads on
			p.to(p.now() + p.between(time.Second, 4*time.Second))
			p.key(p.hand.move)
		}
	}
	p.failf("nothing goes in")
}

// Afternoons with three cameras in the open and an evening with four sheets in the
// trays, by whatever somebody presses with, who answers what is said and knows nothing
// else: after half a second to four, now and then up to a second too early, now and
// then twice. No deed falls on another sheet than was meant or asked about, and the
// record is what was meant.
func TestEveryPressLandsWhateverTheHand(t *testing.T) {
	for i, h := range hands {
		t.Run(h.name, func(t *testing.T) {
			n := 12
			if h.name == "a keyboard" {
				n = 200
			}
			if testing.Short() {
				n = max(1, n/20)
			}
			var all person
			for seed := range n {
				w, m := newWorld(t, func(c *Config) { c.Start = Field; c.Keys, _ = BindKeys(h.bind, h.layout) })
				// The picture is drawn for each key, and what it costs is its size.
				size := []tea.WindowSizeMsg{{Width: 80, Height: 24}, {Width: 40, Height: 12}, {Width: 30, Height: 10}, {Width: 30, Height: 10}}[seed%4]
				m.Update(size)
				p := &person{t: t, w: w, m: m, hand: h, start: w.now, rnd: rand.New(rand.NewPCG(uint64(seed), uint64(i))),
					at: map[int]string{}, heard: map[string]bool{}, early: map[string]bool{}}
				if p.afternoon(); t.Failed() {
					t.Fatalf("afternoon %d", seed)
				}
				all.n.presses += p.n.presses
				all.n.early += p.n.early
				all.n.doubled += p.n.doubled
				all.n.asked += p.n.asked
				all.n.waited += p.n.waited
				all.n.warned += p.n.warned
				all.n.silent += p.n.silent
			}
			t.Logf("%d afternoons: %+v", n, all.n)
			if n > 100 && (all.n.asked == 0 || all.n.waited == 0) {
				t.Error("no press was ever in doubt: the afternoons are too easy")
			}
		})
	}
}
