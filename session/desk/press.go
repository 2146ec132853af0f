package desk

import (
	"cmp"
	"errors"
	"slices"
	"time"

	"wetside/session"
	"wetside/session/bench"
	"wetside/session/say"
)

// Presses are the user's hands on the one large key and its two neighbours: a
// number and backspace. It holds what a press needs to know of the presses
// before it; what a press means is the desk's rule ([Desk.Aim]).
type Presses struct {
	Desk *Desk
	At   Place

	tap    session.Tap
	pick   string        // the sheet picked by number or arrow
	picked time.Duration // session time
	stays  bool          // the pick holds until a call comes
	asked  []Target
	offer  Target        // the one of those asked about that was gone to
	offers time.Duration // session time
	again  Target        // what a first press was warned of
	since  time.Duration
	undo   session.Deed // what a first backspace was warned of
}

// An Outcome is what became of a press.
type Outcome int

const (
	Done    Outcome = iota // Target was done
	Bounced                // the key was pressed a moment ago: it was one press
	Idle                   // there is nothing to do
	Wait                   // Target will be called in a moment: nothing was done
	Which                  // one of Targets: nothing was done, a number answers
	Warned                 // nothing was done, for Caution: the same press again does it
	Picked                 // Target is what the next press is for
	Over                   // Target's sheet is finished or spoiled
	Nobody                 // no sheet has that number
	Refused                // Err says why
)

// An Answer is what became of a press, for a face to tell.
type Answer struct {
	Outcome Outcome
	Target  Target
	Targets []Target
	Caution Caution
	Err     error
}

// A Harm is what a move would do unseen.
type Harm int

const (
	NoHarm      Harm = iota
	NoExposure       // the sheet was not exposed
	LightLeft        // its exposure has Left to go
	NotFixed         // Left is missing
	NotWashed        // Left is missing
	CameraEmpty      // it was never put into its camera, as other sheets were
	HoldsOther       // its camera holds another sheet, Other
	DirtiesWash      // the sheets in the wash begin again
	BathSpent        // the bath that it goes into
)

// A Caution is what there is to say before a deed. Text is the bench's sentence
// for what concerns other sheets and baths.
type Caution struct {
	Harms []Harm
	Left  time.Duration // of LightLeft, NotFixed, NotWashed
	Text  string
	Hold  bool           // holding water would do instead
	Other *session.Sheet // of HoldsOther
}

// Has reports whether h is among the harms.
func (c Caution) Has(h Harm) bool { return slices.Contains(c.Harms, h) }

const (
	// pickFor is how long a sheet picked by number stays picked.
	pickFor = 10 * time.Second
	// fixEarly is by how much a sheet may leave the fixer before its time unasked:
	// about its drain. Common practice, no source.
	fixEarly = 12 * time.Second
	// lightEarly is by how much an exposure may end before its time unasked.
	lightEarly = 5 * time.Second
	// againFor is how long a first press waits for the second.
	againFor = 8 * time.Second
	// soonEnough is how long after it was done the opening of a pinhole, or the end
	// of an exposure, is taken back unasked: later than that it is an elbow.
	soonEnough = 10 * time.Second
)

// Aim is what a press means now: the sheet that was picked, else what the rule
// says.
func (p *Presses) Aim() Aim {
	if t, ok := p.Offered(); ok {
		return Aim{Target: t}
	}
	if s := p.Picked(); s != nil {
		t := p.Desk.target(s)
		t.Sheet, t.Num = s.ID, s.Num
		if c, ok := p.Desk.ledJust(s, p.Desk.M.T(p.Desk.Now())); ok {
			t = c
		}
		return Aim{Target: t, Ask: p.calledSince(t)}
	}
	return p.Desk.Aim(p.At)
}

// calledSince is what is asked about where another sheet was called after one was picked:
// a press may be for either. Nil where only the picked one can be meant.
func (p *Presses) calledSince(picked Target) []Target {
	v := p.Desk.M.View(p.Desk.Now())
	var ask []Target
	for _, c := range p.Desk.calls(v) {
		switch {
		case c.Call != Must || c.Since > v.T:
		case c.Sheet == picked.Sheet:
			return nil // it is called itself
		case c.Since > p.picked && c.Since <= v.T-p.Desk.span(stoodBefore):
			ask = append(ask, c)
		}
	}
	if picked.Deed == "" || len(ask) == 0 {
		return nil
	}
	return []Target{picked, ask[0]}
}

// Picked returns the sheet that was picked by hand, as long as it is; else nil.
func (p *Presses) Picked() *session.Sheet {
	if p.pick == "" {
		return nil
	}
	v := p.Desk.M.View(p.Desk.Now())
	if v.T-p.picked >= p.Desk.span(pickFor) {
		if !p.stays {
			return nil
		}
		// Chosen with an arrow it is the row one sees. A call made since, or just
		// after it, goes before it.
		if slices.ContainsFunc(p.Desk.calls(v), func(c Target) bool { return c.Call == Must && c.Since <= v.T && c.Since >= p.picked }) {
			return nil
		}
	}
	return p.Desk.M.Sheet(p.pick)
}

// Pick makes the next press one for that sheet, for some seconds; where it
// stays, until a call comes.
func (p *Presses) Pick(sheet string, stays bool) {
	p.pick, p.picked, p.stays, p.offer = sheet, p.Desk.M.T(p.Desk.Now()), stays, Target{}
}

// Unpick forgets it.
func (p *Presses) Unpick() { p.pick = "" }

// Number is a number that was pressed: the answer to a question that stands,
// else the sheet that the next press is for.
func (p *Presses) Number(n int, stays bool) Answer {
	asked := p.Asked()
	p.Leave()
	if i := slices.IndexFunc(asked, func(t Target) bool { return t.Num == n }); i >= 0 {
		return p.do(asked[i])
	}
	s := p.Desk.M.Numbered(n)
	if s == nil {
		return Answer{Outcome: Nobody, Target: Target{Num: n}}
	}
	t := p.Desk.target(s)
	if t.Deed == "" {
		return Answer{Outcome: Over, Target: Target{Sheet: s.ID, Num: n}}
	}
	p.Pick(s.ID, stays)
	return Answer{Outcome: Picked, Target: t}
}

// Other goes to the next of those that are asked about, else picks the next sheet of
// the place: for who has no keys with numbers. The next press is for it.
func (p *Presses) Other() Answer {
	if asked := p.Asked(); len(asked) > 0 {
		i := slices.IndexFunc(asked, p.offer.Is)
		p.offer, p.offers = asked[(i+1)%len(asked)], p.Desk.M.T(p.Desk.Now())
		return Answer{Outcome: Picked, Target: p.offer}
	}
	var first, next Target
	for _, s := range p.Desk.M.Sheets() { // in the order of their numbers
		t := p.Desk.target(s)
		if t.Deed == "" || (p.At == InField) != (s.Phase == session.Exposing || Unexposed(s)) {
			continue
		}
		first = cmp.Or(first, t)
		if t.Num > p.Aim().Num {
			next = cmp.Or(next, t)
		}
	}
	next = cmp.Or(next, first)
	if next.Num == 0 {
		return Answer{Outcome: Idle}
	}
	p.Pick(next.Sheet, p.At == InField)
	return Answer{Outcome: Picked, Target: next}
}

// Offered is the one of those asked about that was gone to, as long as a press is for
// it.
func (p *Presses) Offered() (Target, bool) {
	ok := p.offer.Deed != "" && p.Desk.M.T(p.Desk.Now())-p.offers < p.Desk.span(pickFor) && slices.ContainsFunc(p.Asked(), p.offer.Is)
	return p.offer, ok
}

// Asked is what a question that stands asks about; nil when none does. What was done
// otherwise meanwhile is asked about no more.
func (p *Presses) Asked() []Target {
	if len(p.asked) > 0 {
		p.asked = slices.DeleteFunc(slices.Clone(p.asked), func(t Target) bool { return !p.Desk.open(t) })
	}
	return p.asked
}

// open reports whether a deed can still be meant.
func (d *Desk) open(t Target) bool {
	s := d.M.Sheet(t.Sheet)
	if s == nil {
		return false
	}
	v := d.M.View(d.Now())
	sv, _ := v.Sheet(s.ID)
	switch t.Deed {
	case session.WaterChanged:
		return sv.Stage == session.Wash && sv.Changed < max(t.Since, 1)
	case session.ImageSeen:
		return sv.Stage == session.Develop && sv.Emerged == 0
	case session.ExposureEnded, session.PinholeCovered, session.PinholeUncovered:
		return s.Phase == session.Exposing
	case session.Confirmed:
		_, led := d.ledJust(s, v.T)
		return led
	}
	return d.target(s).Is(t)
}

// Leave leaves a question unanswered.
func (p *Presses) Leave() { p.asked, p.offer = nil, Target{} }

// Press is the one large key.
func (p *Presses) Press() Answer {
	// In a rehearsal faster than life the next step is due within a second.
	if _, pace := p.Desk.M.Rehearsal(); pace > 1 {
		p.tap.Gap = max(150*time.Millisecond, time.Duration(float64(time.Second)/pace))
	}
	if !p.tap.Press(p.Desk.Hand()) {
		return Answer{Outcome: Bounced}
	}
	p.Desk.autoMoves(p.Desk.Now()) // what was led until now is what the press may be for
	a := p.Aim()
	switch {
	case a.Soon != nil:
		return Answer{Outcome: Wait, Target: *a.Soon}
	case len(a.Ask) > 0:
		p.asked, p.offer = a.Ask, Target{}
		return Answer{Outcome: Which, Targets: a.Ask}
	case a.Deed == "" && a.Sheet != "":
		return Answer{Outcome: Over, Target: a.Target}
	case a.Deed == "":
		return Answer{Outcome: Idle}
	}
	return p.do(a.Target)
}

// Seen says that the image has come up: of the sheet that was picked, else of the one in
// the developer. Which of several is asked.
func (p *Presses) Seen() Answer {
	d := p.Desk
	var in []Target
	picked := p.Picked()
	for _, s := range d.M.Sheets() {
		if t := (Target{Deed: session.ImageSeen, Sheet: s.ID, Num: s.Num}); d.open(t) {
			if s == picked {
				return p.do(t)
			}
			in = append(in, t)
		}
	}
	switch len(in) {
	case 0:
		return Answer{Outcome: Idle}
	case 1:
		return p.do(in[0])
	}
	p.asked, p.offer = in, Target{}
	return Answer{Outcome: Which, Targets: in}
}

// do does a deed, after the warning where there is one.
func (p *Presses) do(t Target) Answer {
	d, now := p.Desk, p.Desk.M.T(p.Desk.Now())
	again := p.again.Is(t) && p.again.Deed != "" && now-p.since < d.span(againFor)
	c, spent := d.caution(t, p.At)
	if len(c.Harms) > 0 && !again {
		p.again, p.since = t, now
		return Answer{Outcome: Warned, Target: t, Caution: c}
	}
	p.again = Target{}
	e := p.event(t)
	if e.Kind == session.ExposureBegun && e.Planned <= 0 {
		d.Complain(ErrNoTime)
		return Answer{Outcome: Refused, Target: t, Err: ErrNoTime}
	}
	if err := d.Do(e); err != nil {
		return Answer{Outcome: Refused, Target: t, Err: err}
	}
	if spent != "" {
		d.Do(session.Event{Kind: session.BathOverridden, Sheet: t.Sheet, Bath: spent})
	}
	if t.Deed != session.ImageSeen { // after which the sheet that was picked is moved
		p.pick = ""
	}
	p.Leave()
	t.Deed = e.Kind
	return Answer{Outcome: Done, Target: t}
}

// event is a deed as it is written down.
func (p *Presses) event(t Target) session.Event {
	e := session.Event{Kind: t.Deed, Sheet: t.Sheet}
	switch {
	case t.Deed == session.Moved, t.Deed == session.Confirmed:
		e.From = t.From
	case t.Deed == session.WaterChanged:
		e.Sheet, e.Bath = "", t.Bath
	case t.Deed == session.ExposureBegun && p.At != InField: // it goes in as it is
		e.Kind = session.Moved
	case t.Deed == session.ExposureBegun:
		spec := p.Desk.M.Sheet(t.Sheet).Spec
		e.Planned, e.Note = spec.Exposure, spec.Working
	}
	return e
}

// caution says what is to be said before a deed, and which bath is spent that
// the sheet goes into.
func (d *Desk) caution(t Target, at Place) (c Caution, spent string) {
	s := d.M.Sheet(t.Sheet)
	if s == nil {
		return c, ""
	}
	switch v, _ := d.M.View(d.Now()).Sheet(s.ID); t.Deed {
	case session.ExposureBegun:
		if at == InField {
			return d.unloaded(s), ""
		}
		c.Harms = append(c.Harms, NoExposure)
		return d.beforeBath(s, v, c)
	case session.ExposureEnded:
		if v.Left > lightEarly {
			c.Harms, c.Left = append(c.Harms, LightLeft), v.Left
		}
	case session.Moved:
		return d.beforeBath(s, v, c)
	}
	return c, ""
}

// unloaded says that a sheet cannot well be in its camera.
func (d *Desk) unloaded(s *session.Sheet) (c Caution) {
	switch other := d.M.Holds(s.Spec.Camera); {
	case other != nil && other != s:
		c.Harms, c.Other = append(c.Harms, HoldsOther), other
	case other == nil && s.Spec.Camera != "" && d.M.Loading():
		c.Harms = append(c.Harms, CameraEmpty)
	}
	return c
}

// beforeBath is caution for a sheet that goes into its next bath.
func (d *Desk) beforeBath(s *session.Sheet, v session.SheetView, c Caution) (_ Caution, spent string) {
	if h, short := tooShort(v); short {
		c.Harms, c.Left = append(c.Harms, h), v.Left
	}
	next := s.NextStep()
	if next < 0 {
		return c, ""
	}
	// The second press answers for all of it, so all of it is told.
	st := s.Spec.Process.Steps[next]
	if b, ok := bench.Standing(d.Baths(), st.Bath); ok && b.Spent() {
		spent = b.Mix.ID
		c.Harms = append(c.Harms, BathSpent)
		c.Text, _ = bench.Ask(b)
	}
	if st.Stage == session.Wash {
		if w, hold := bench.BeforeWash(s, d.M.Sheets(), d.M.T(d.Now())); w != "" {
			c.Harms = append(c.Harms, DirtiesWash)
			c.Text, c.Hold = w, hold
		}
	}
	return c, spent
}

// tooShort reports what cannot be seen on a sheet that leaves its bath now, and shows
// years later: too short in the fixer or in the wash. The drain is the fixer's own last
// seconds, and a hand is a little early.
func tooShort(v session.SheetView) (Harm, bool) {
	switch early := v.AtLeast - v.Elapsed; {
	case v.Stage == session.Wash && early > handOver: // a hand on the beat of the last seconds is not early
		return NotWashed, true
	case (v.Stage == session.Fix || v.Stage == session.Fix2) && early > fixEarly:
		return NotFixed, true
	}
	return 0, false
}

// Hold has a sheet lie in the holding water. Nothing is asked, for there it takes no
// harm; left is what it lacks in the fixer that it comes from, 0 where nothing.
func (d *Desk) Hold(s *session.Sheet) (left time.Duration, err error) {
	e := session.Event{Kind: session.Held, Sheet: s.ID}
	if b := s.Visit(); b != nil {
		e.From = b.Serial
	}
	v, _ := d.M.View(d.Now()).Sheet(s.ID)
	if h, short := tooShort(v); short && h == NotFixed {
		left = v.Left
	}
	return left, d.Do(e)
}

// A why is a refusal of the desk's own, and how it is said aloud.
type why struct {
	text string
	line say.Line
}

func (w *why) Error() string  { return w.text }
func (w *why) Line() say.Line { return w.line }

// ErrNoTime: the sheet has no exposure time yet.
var ErrNoTime error = &why{"it has no time yet: give its light, or a time", say.NoTime.Of()}

// Why a deed cannot be taken back.
var (
	ErrNoDeed error = &why{"there is nothing to take back", say.NothingToUndo.Of()}
	// ErrLongAgo: the deed is an exposure's begin or end, and some time ago.
	ErrLongAgo = errors.New("that was a while ago")
)

// Back takes back the last deed: of the sheet that was picked, else of all. The
// deed is what was, or would have been, taken back. The error is ErrNoDeed,
// ErrLongAgo (pressed again within seconds it is done), or the machine's own.
func (p *Presses) Back() (session.Deed, error) {
	d := p.Desk
	sheet := ""
	if s := p.Picked(); s != nil {
		sheet = s.ID
	}
	deed, ok := d.M.LastDeed(sheet)
	if !ok {
		d.Complain(ErrNoDeed)
		return deed, ErrNoDeed
	}
	now := d.M.T(d.Now())
	again := p.undo.Kind == deed.Kind && p.undo.T == deed.T && p.undo.Sheet == deed.Sheet && now-p.since < d.span(againFor)
	light := deed.Kind == session.ExposureBegun || deed.Kind == session.ExposureEnded
	if light && now-deed.T > d.span(soonEnough) && !again {
		p.undo, p.since = deed, now
		return deed, ErrLongAgo
	}
	p.undo, p.again = session.Deed{}, Target{}
	p.Leave()
	return deed, d.TakeBack(deed)
}

// TakeBack takes back a deed that is the last of its sheet, or of those without
// one. What one press did is taken back by one: trays that were filled together.
func (d *Desk) TakeBack(deed session.Deed) error {
	for {
		e := session.Event{Kind: session.Undone, Sheet: deed.Sheet, What: deed.Kind}
		if deed.Sheet == "" {
			e.Bath = deed.Bath
		}
		if err := d.Do(e); err != nil {
			return err
		}
		next, ok := d.M.LastDeed("")
		if !ok || deed.Kind != session.BathMixed || next.Kind != deed.Kind || next.T != deed.T {
			return nil
		}
		deed = next
	}
}

// ErrNoStep: no sheet lies in a bath whose time could be changed.
var ErrNoStep error = &why{"no step is running whose time could be changed", say.NoStep.Of()}

const (
	stretchBy    = 30 * time.Second
	stretchShort = 10 * time.Second
)

// stretched is the sheet whose step Stretch changes: the one that was picked, else the
// one that is due next.
func (p *Presses) stretched() (sv session.SheetView, ok bool) {
	v := p.Desk.M.View(p.Desk.Now())
	id := v.Due
	if s := p.Picked(); s != nil {
		id = s.ID
	}
	sv, _ = v.Sheet(id)
	return sv, sv.Phase == session.Wet && sv.Stage != session.Hold
}

// StretchBy is how much Stretch gives or takes: half a minute, ten seconds of a step that
// is shorter than a minute or would become so; half a minute where no step runs.
func (p *Presses) StretchBy(way int) time.Duration {
	if sv, ok := p.stretched(); ok && (sv.AtMost < time.Minute || sv.AtMost == time.Minute && way < 0) {
		return stretchShort
	}
	return stretchBy
}

// Stretch gives the step that runs as much more (way +1) or less (-1) as StretchBy says.
// The sheet's profile stays as it is.
func (p *Presses) Stretch(way int) (Target, error) {
	d := p.Desk
	sv, ok := p.stretched()
	if !ok {
		d.Complain(ErrNoStep)
		return Target{}, ErrNoStep
	}
	// In a wash that others came into, the time counts from the last of them.
	planned := sv.AtMost - d.M.SetBack(sv.ID) + time.Duration(way)*p.StretchBy(way)
	return d.target(d.M.Sheet(sv.ID)), d.Do(session.Event{Kind: session.StepTimed, Sheet: sv.ID, From: sv.Visit, Planned: max(1, planned)})
}
