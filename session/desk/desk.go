// Package desk is the application without a face: what the screens, the program
// that works by sound alone and the commands have in common. A [Desk] is where
// clock, machine, record and loudspeaker meet. What it needs of the outside it
// names as small interfaces; it starts no goroutine.
package desk

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"wetside/session"
	"wetside/session/say"
)

// A Clock tells instants, and when in real time an instant will be: the two
// differ in a rehearsal, which runs faster than life.
type Clock interface {
	Now() session.Instant
	Real(session.Instant) time.Time
}

// A Record stores events as they happen and sheets as they finish.
type Record interface {
	// Append commits an event and returns every event of the session not yet
	// returned, in order, ending with this one: another program may write to
	// the same notebook. With an error the event was kept in memory and is
	// returned all the same.
	Append(session.Event) ([]session.Event, error)
	// Poll returns what another program added.
	Poll() ([]session.Event, error)
	// Save writes the record of a finished, spoiled or judged sheet.
	Save(*session.Machine, *session.Sheet) error
	// Unsaved is how many events wait in memory for the disk to return, after
	// trying once more to write them.
	Unsaved() int
	// Loose is how many of those no file has: they end with the program.
	Loose() int
}

// A Sounder makes cues heard.
type Sounder interface {
	Schedule([]session.Due) // replaces all that has not begun; takes back what is gone
	Play(session.Cue)       // at once: an answer to the user
	State() SoundState
	Volume(step int) // louder (+1) or softer (-1)
	Confirm()        // the user has heard the sound made at start
}

// Lamps are the laptop's own: its panel, its keyboard, its sleep. They are told and not waited for.
type Lamps interface {
	Dim(PanelWant)    // paper comes out
	Restore()         // paper is covered
	Awake(on bool)    // no sleep, no lock screen, no lid, while a clock runs
	Told() []LampNews // what became of them, since it was asked last
}

// A PanelWant is how dark the panel is to be while paper is out.
type PanelWant int

const (
	PanelDimmed PanelWant = iota
	PanelGlance           // off, for one works by ear; lit after a press for as long as a glance takes
	PanelDark             // off, for there is nothing to see
)

// LampNews is something to tell of the lamps: for the screen, and for the ear where
// there is a line. Wrong: something is lit that should not be.
type LampNews struct {
	Text  string
	Aloud say.Line
	Wrong bool
}

// Error is the text.
func (n LampNews) Error() string { return n.Text }

// Line is what is said of it.
func (n LampNews) Line() say.Line { return n.Aloud }

// A Heard is what of a cue reaches the ear.
type Heard int

const (
	HeardAll   Heard = iota // motifs and words, at the volume
	HeardBeeps              // a tone for each motif, no words, at one volume
	HeardNot                // sound is switched off
)

// SoundState is what the screen says about the loudspeaker.
type SoundState struct {
	Heard  Heard // while it is OK
	Device string
	OK     bool
	Reason string
	Moved  string // it is heard, and not where it was at the start: what to do
	Volume int    // percent
	// Elsewhere: another program makes the sound for both.
	Elsewhere bool
}

// A Desk is where clock, machine, record and loudspeaker meet. Its order is
// that of the core's rule: an event is stored, then applied, then heard.
//
// It has no goroutine of its own and must be used from one.
type Desk struct {
	M      *session.Machine
	Clock  Clock
	Record Record
	Sound  Sounder
	NewID  func() string
	// Notify shows a desktop notification. It is called only while no paper is
	// out: the pop-up is white.
	Notify func(title, text string)
	// Dark forbids it for another reason: a strip of paper, or eyes, in the dark.
	Dark bool
	// Hands moves sheets by itself, each the moment it is due: a rehearsal to
	// listen to.
	Hands bool
	// Move is how long one move of a sheet takes the user's hands.
	Move time.Duration
	// Since is when this program took up a session that was open already: what a
	// clock ended before, while perhaps nobody watched, it does not move.
	Since session.Instant
	// Screen reads the light that the panel's black gives on the paper, lx, and
	// whether it is known yet. Nil: it is another program's to write down.
	Screen func() (lux float64, known bool)

	Trouble  string // what the screen must say about the record; empty when all is well
	errors   int
	together int        // how deep in Together
	lines    []say.Line // said in it
	ahead    foresight
	soonest  soonest
	planned  Plan
	notified map[string]bool
	born     time.Time
	heard    bool            // hands may begin
	doubt    map[string]bool // sheets of which it is asked what became of them
	guess    bool            // nothing tells how long it was since the last event
	lead     lead
	given    given
}

// given are the cues with words that the loudspeaker was given last, by key, as long as
// they may be being said.
type given struct {
	events int // applied by then
	cues   map[string]session.Cue
}

// horizon is how far ahead cues are handed to the loudspeaker, in real time.
// It covers a screen that stands still for some seconds.
const horizon = 20 * time.Second

// A rehearsal at a high pace has more cues in that time than anybody can hear:
// beyond so much of the session's time it hands over those of the next two
// seconds alone.
const (
	horizonMost  = 20 * time.Minute
	horizonLeast = 2 * time.Second
)

// late is how long after its instant a cue may still begin: an event is stored
// before its cue is heard, and storing takes its time.
const late = 3 * time.Second

// saidIn is how long after its instant a cue may still be being said.
const saidIn = 20 * time.Second

// Now returns the present instant.
func (d *Desk) Now() session.Instant { return d.Clock.Now() }

// Hand returns the present as the user's hands know it: in real time, which a
// rehearsal does not speed up.
func (d *Desk) Hand() session.Instant {
	t := d.Clock.Real(d.Now())
	if d.born.IsZero() {
		d.born = t
	}
	return session.Instant{Wall: t, Boot: t.Sub(d.born), BootID: "hand"}
}

// Do stores, applies and sounds one event that happens now.
func (d *Desk) Do(e session.Event) error {
	e.At = d.Now()
	return d.At(e)
}

// At is Do for an event that carries its instant.
func (d *Desk) At(e session.Event) error {
	// What clocks ended before now came before: the machine may have slept.
	d.autoMoves(e.At)
	// What would be refused is not worth storing.
	if err := d.M.Would(e); err != nil {
		d.Complain(err)
		return err
	}
	evs, err := d.Record.Append(e)
	d.trouble(err)
	d.take(evs)
	d.schedule()
	return nil
}

func (d *Desk) trouble(err error) {
	if err == nil {
		if d.Record.Unsaved() == 0 {
			d.Trouble = ""
		}
		return
	}
	if d.Trouble == "" {
		d.Trouble = err.Error()
		d.play("error/record", session.CueError, say.NotWritten.Of())
	}
	d.Trouble = err.Error()
}

// Complain makes a refusal heard: what says itself aloud does so, and of the rest
// it is said that the screen tells.
func (d *Desk) Complain(err error) {
	l := say.NotDone.Of()
	var said interface{ Line() say.Line }
	if errors.As(err, &said) {
		l = said.Line()
	}
	d.play("error", session.CueError, l)
}

// Greet sounds the hello and says lines with it.
func (d *Desk) Greet(ls ...say.Line) { d.play("hello", session.CueHello, ls...) }

// Say speaks lines to the user, now. They take the place of an answer that is still
// being given.
func (d *Desk) Say(ls ...say.Line) {
	switch {
	case len(ls) == 0:
	case d.together > 0:
		d.errors++
		for _, l := range ls {
			if !slices.Contains(d.lines, l) {
				d.lines = append(d.lines, l)
			}
		}
	default:
		d.play("say", session.CueSay, ls...)
	}
}

// Together does what one key or one moment brings. All that it says is one answer:
// none of it takes the place of the rest.
func (d *Desk) Together(do func()) {
	d.together++
	do()
	if d.together--; d.together == 0 {
		ls := d.lines
		d.lines = nil
		d.Say(ls...)
	}
}

// Key lets a key be heard: that it was taken, or that it does nothing here.
func (d *Desk) Key(taken bool) {
	kind := session.CueIdle
	if taken {
		kind = session.CueTaken
	}
	d.errors++
	d.Sound.Play(session.Cue{Key: fmt.Sprintf("key/%d", d.errors), Kind: kind})
}

// A Mark is a point in what is done and heard.
type Mark struct{ played, applied int }

// Mark is where it is now.
func (d *Desk) Mark() Mark { return Mark{d.errors, d.M.Applied()} }

// answerIn is within what a key is to be answered.
const answerIn = 300 * time.Millisecond

// Heard reports whether anything is heard of what was done since.
func (d *Desk) Heard(since Mark) bool {
	if d.errors != since.played {
		return true
	}
	if d.M.Applied() == since.applied {
		return false
	}
	// Of a call it is not known whether it was begun before, and is not begun again.
	return slices.ContainsFunc(d.M.Cues(d.M.Last(), d.Now().Add(answerIn)), session.Cue.Fact)
}

func (d *Desk) play(key string, kind session.CueKind, ls ...say.Line) {
	d.errors++
	d.Sound.Play(session.Cue{Key: fmt.Sprintf("%s/%d", key, d.errors), Kind: kind, Lines: &ls})
}

// take applies events in the order in which they were stored.
func (d *Desk) take(evs []session.Event) {
	for _, e := range evs {
		was := d.over(e)
		if err := d.M.Replay(e); err != nil {
			continue // refused then as it is now: the order of storing decides
		}
		switch e.Kind {
		case session.Moved, session.Unseen, session.Developed, session.Spoiled, session.Judged, session.Scanned, session.Undone, session.MarkNamed, session.Noted, session.Remade, session.Dried, session.Flattened:
			over := append(was, d.over(e)...)
			for _, s := range d.M.Sheets() {
				if slices.Contains(over, s) { // its record changes, or goes
					d.trouble(d.Record.Save(d.M, s))
				}
			}
		}
	}
}

// over are the sheets that are over of those that an event is about: what is taken
// back may be about any, for clocks may have moved them since.
func (d *Desk) over(e session.Event) (all []*session.Sheet) {
	for _, s := range d.M.Sheets() {
		if (s.ID == e.Sheet || e.Kind == session.Undone) && s.Phase.Over() {
			all = append(all, s)
		}
	}
	return all
}

// Tick does what time brings: what another program wrote, moves that clocks
// make, cues that have come within the horizon.
func (d *Desk) Tick() {
	if evs, err := d.Record.Poll(); err == nil {
		d.take(evs)
	}
	if d.Record.Unsaved() == 0 {
		d.Trouble = ""
	}
	d.autoMoves(d.Now())
	d.watchLead()
	if d.Hands && d.listening() {
		d.hands()
	}
	d.screen()
	d.schedule()
	d.notify()
}

// screen writes down what the panel's black gives while paper is out, and when that
// changes: by a fifth, which a reading may be wrong by.
func (d *Desk) screen() {
	if d.Screen == nil || !d.M.PaperOut() || d.M.Behind(d.Now()) {
		return // behind: whatever is written down now would pass for the time it was off
	}
	lux, known := d.Screen()
	was, said := d.M.ScreenLux()
	if known && lux >= 0 && (!said || math.Abs(lux-was) > max(lux, was)/5) {
		_ = d.Do(session.Event{Kind: session.ScreenLit, Lux: lux}) // trouble is told
	}
}

func (d *Desk) autoMoves(by session.Instant) {
	may := func(e session.Event) bool {
		return !d.doubt[e.Sheet] && (d.Since.IsZero() || e.At.Sub(d.Since) >= 0)
	}
	for e, ok := d.M.AutoMove(by, may); ok; e, ok = d.M.AutoMove(by, may) {
		if e.Led && !d.mayLead(e) {
			continue // leading has ended, and what is due by a clock comes
		}
		was := d.M.Applied()
		evs, err := d.Record.Append(e)
		d.trouble(err)
		if d.take(evs); d.M.Applied() == was {
			return // it was not taken in, and is not stored again and again
		}
		if e.Led {
			d.led()
		}
	}
}

// settle is how long hands wait at most for a loudspeaker that is not there.
const settle = 5 * time.Second

// listening reports whether there is anything to listen to: hands that begin
// before the loudspeaker is ready would have their first cues come too late to
// be sounded.
func (d *Desk) listening() bool {
	d.heard = d.heard || d.Sound.State().OK || d.Hand().Boot > settle
	return d.heard
}

// hands makes the moves that are due, at the instants they were due.
func (d *Desk) hands() {
	v := d.M.View(d.Now())
	for _, s := range v.Sheets {
		switch {
		case s.Phase == session.Exposing && s.Open && s.Left == 0:
			d.At(session.Event{Kind: session.ExposureEnded, At: d.M.At(s.Ends), Sheet: s.ID})
			return
		case s.Phase == session.Wet && s.Left == 0:
			d.At(session.Event{Kind: session.Moved, At: d.M.At(s.Ends), Sheet: s.ID, From: s.Visit})
			return
		}
	}
	for _, s := range d.M.Sheets() {
		if s.Phase == session.Fresh && s.Spec.Exposure > 0 {
			d.Do(session.Event{Kind: session.ExposureBegun, Sheet: s.ID, Planned: s.Spec.Exposure, Note: s.Spec.Working})
			return
		}
	}
	next := d.Next()
	if next == nil {
		return
	}
	if start, _, _ := d.Soon(next, v.T); start <= v.T {
		d.Do(session.Event{Kind: session.Moved, Sheet: next.ID})
	}
}

// Over reports whether every sheet there is has come to its end.
func (d *Desk) Over() bool { return over(d.M) }

func over(m *session.Machine) bool {
	return !slices.ContainsFunc(m.Sheets(), func(s *session.Sheet) bool { return !s.Phase.Over() })
}

// Add brings in a sheet.
func (d *Desk) Add(spec session.SheetSpec) (*session.Sheet, error) {
	id := d.NewID()
	err := d.Do(session.Event{Kind: session.SheetAdded, Sheet: id, Spec: &spec})
	return d.M.Sheet(id), err
}

// schedule hands the loudspeaker everything due within the horizon.
func (d *Desk) schedule() {
	now := d.Now()
	_, pace := d.M.Rehearsal()
	pace = max(pace, 1)
	scale := func(x time.Duration) time.Duration { return time.Duration(float64(x) * pace) }
	from := now.Add(-scale(late))
	to := now.Add(min(scale(horizon), max(horizonMost, scale(horizonLeast))))
	cues := d.M.CuesWith(from, to, d.benchCues(from.Add(-session.Warm), to.Add(session.Ahead)))
	due := make([]session.Due, 0, len(cues))
	for _, c := range cues {
		if d.Hands && (c.Kind == session.CueCall || c.Kind == session.CueOver) {
			continue // the program need not call itself
		}
		due = append(due, session.Due{Cue: c, At: d.Clock.Real(c.At)})
	}
	due = append(due, d.gone(cues, d.M.T(now), scale(saidIn))...)
	slices.SortStableFunc(due, func(a, b session.Due) int { return a.At.Compare(b.At) })
	d.Sound.Schedule(due)
}

// gone are the cues of the last while that hold no more since the last event. It keeps
// those that are given now.
func (d *Desk) gone(now []session.Cue, t, while time.Duration) (out []session.Due) {
	g := &d.given
	anew := d.M.Applied() != g.events
	g.events = d.M.Applied()
	if g.cues == nil {
		g.cues = map[string]session.Cue{}
	}
	for k, c := range g.cues {
		switch {
		case c.T > t, c.T < t-while: // it is given anew, or was said
		case anew && !d.still(c):
			out = append(out, session.Due{Cue: c, At: d.Clock.Real(c.At), Gone: true})
		default:
			continue
		}
		delete(g.cues, k)
	}
	for _, c := range now {
		// What has begun has the place where it was begun, even where it would wait now for
		// what was done meanwhile.
		if _, begun := g.cues[c.Key]; !begun && !c.Ticks() {
			g.cues[c.Key] = c
		}
	}
	return out
}

// notify shows field exposures that are done on the desktop, as long as no
// paper is out in the room.
func (d *Desk) notify() {
	if d.Notify == nil {
		return
	}
	if d.notified == nil {
		d.notified = map[string]bool{}
	}
	v := d.M.View(d.Now())
	for _, s := range v.Sheets {
		if s.Phase != session.Exposing || !s.Open || s.Left > 0 || d.notified[s.ID] {
			continue
		}
		d.notified[s.ID] = true
		if v.PaperOut || d.Dark || s.Over > 10*time.Second {
			continue
		}
		d.Notify("Exposure done", fmt.Sprintf("Sheet %d: cover the pinhole.", s.Num))
	}
}
