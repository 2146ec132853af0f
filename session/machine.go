// Package session is the pure core of wetside: the life of every sheet in one
// darkroom session, from the camera to the wash.
//
// It does no input or output and reads no clock. The host feeds it facts, each
// with the instant it happened:
//
//	m := session.New()
//	err := m.Apply(session.Event{Kind: session.Moved, At: now, Sheet: id, From: 2})
//
// and then asks two questions. [Machine.View] says what is true at an instant:
// for each sheet the stage, elapsed, remaining, overrun and what comes next.
// [Machine.Cues] says what must be heard in a span of time, before it happens,
// so that the loudspeaker is never driven from the screen's tick.
//
// Apply is the only way the state changes, and events are all that is ever
// stored: a session is recovered after a crash by applying its events again.
// The host stores an event first, then applies it, then sounds its cue.
//
// # Time
//
// Events carry an [Instant], which is two clocks. Inside, the machine keeps one
// line of time, "session time", that starts at 0 with the first event and never
// runs backwards: see [Machine.T] and [Machine.At].
//
// # What a step means
//
// A step counts from the moment the sheet enters the bath. In its last Drain
// seconds the sheet is lifted and drips. At the target (or the at-most of a
// step that is ended by inspection) the user is called, and called again at
// growing intervals, until they confirm the move; the move, not the plan, is
// what the record keeps. Undone takes the last move back, and the clock goes on
// from where it would have been.
package session

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"wetside/session/say"
)

// Limits that keep arithmetic sound whatever is typed.
const (
	maxStep  = 7 * 24 * time.Hour
	maxGap   = 50 * 365 * 24 * time.Hour
	maxLine  = 200 * 365 * 24 * time.Hour
	maxSteps = 50

	// MaxExposure is the longest exposure Apply takes, and MaxJudged and
	// MaxChange are how many stops a judgement and a change of light may say.
	MaxExposure = 30 * 24 * time.Hour
	MaxJudged   = 20
	MaxChange   = 40
)

// ErrRefused is what every error of Apply is: the event was not applicable and
// changed nothing. Its text says why, as the user should read it.
var ErrRefused = errors.New("not done")

type refusal struct {
	text string
	line say.Line
}

func (r refusal) Error() string      { return r.text }
func (refusal) Is(target error) bool { return target == ErrRefused }

// Line is the refusal as it is said aloud.
func (r refusal) Line() say.Line { return r.line }

func refuse(format string, a ...any) refusal {
	return refusal{fmt.Sprintf(format, a...), say.NotDone.Of()}
}

// saying is the refusal with a line of its own.
func (r refusal) saying(l say.Line) refusal {
	r.line = l
	return r
}

// movedOn refuses what is meant for a bath that the sheet has left.
func (s *Sheet) movedOn() refusal {
	return refuse("sheet %d has moved on already", s.Num).saying(say.AlreadyMoved.Of(say.Sheet(s.Num)))
}

// stands refuses what cannot be where the sheet is.
func (s *Sheet) stands() refusal {
	return refuse("sheet %d is %s", s.Num, s.Phase).saying(say.SheetIs.Of(say.Sheet(s.Num), say.State(s.Phase)))
}

// want refuses what is not so.
func want(so bool, format string, a ...any) error {
	if so {
		return nil
	}
	return refuse(format, a...)
}

// within reports whether x lies from least to most; no number does not.
func within[T cmp.Ordered](x, least, most T) bool { return x >= least && x <= most }

// ErrUnknown is besides what an error is where the kind of the event is none of
// this package's: a newer program wrote it.
var ErrUnknown = errors.New("a newer program's event")

type unknown Kind

func (u unknown) Error() string {
	return fmt.Sprintf("%q is no event this program knows; it may be newer than the program", string(u))
}
func (unknown) Is(target error) bool { return target == ErrRefused || target == ErrUnknown }

// A Machine is the state of one darkroom session. The zero value is not ready;
// use New. A Machine is not safe for use by several goroutines at once.
type Machine struct {
	begun     bool
	first     Instant
	last      Instant
	now       time.Duration // session time of the last event
	sheets    []*Sheet
	byID      map[string]*Sheet
	trays     []*Tray
	arrivals  map[string][]arrival // per tray that is washed in as a batch
	safelight []toggle
	screens   []screenLux
	notes     []Note
	rehearsal bool
	pace      float64
	closed    bool
	applied   int
	nums      int // numbers given to sheets
	box       bool
	leading   bool
	ledFrom   time.Duration // session time it was begun at
	deeds     []Deed        // what can be taken back, the last last
}

type arrival struct {
	t      time.Duration
	sheet  *Sheet
	serial int
}

// New returns an empty session with the safelight on.
func New() *Machine {
	return &Machine{
		byID:      map[string]*Sheet{},
		arrivals:  map[string][]arrival{},
		safelight: []toggle{{0, true}},
		pace:      1,
	}
}

// T returns the session time of i: how long after the first event. Before the
// first event it is 0.
func (m *Machine) T(i Instant) time.Duration {
	if !m.begun {
		return 0
	}
	return m.now + max(-maxGap, min(i.Sub(m.last), maxGap))
}

// Behind reports whether nothing tells how long it is since the last event: the
// machine was started anew, and its wall clock reads earlier than it did then.
func (m *Machine) Behind(now Instant) bool {
	return m.begun && now.BootID != m.last.BootID && now.Sub(m.last) < 0
}

// Off returns now as the instant that lies d behind the last event, for who
// knows how long the machine was off when its clock is [Machine.Behind].
func (m *Machine) Off(now Instant, d time.Duration) Instant {
	now.Wall = m.last.Wall.Add(d)
	return now
}

// At returns the instant of session time t.
func (m *Machine) At(t time.Duration) Instant { return m.last.Add(t - m.now) }

// Now returns the session time of the last event.
func (m *Machine) Now() time.Duration { return m.now }

// Last returns the instant of the last event.
func (m *Machine) Last() Instant { return m.last }

// Applied returns how many events were applied. While it stays the same, so do
// the answers to every question about a given instant.
func (m *Machine) Applied() int { return m.applied }

// Begun reports whether any event was applied.
func (m *Machine) Begun() bool { return m.begun }

// First returns the instant of the first event.
func (m *Machine) First() Instant { return m.first }

// Sheets returns every sheet in the order of its number.
func (m *Machine) Sheets() []*Sheet { return m.sheets }

// Sheet returns one sheet, or nil.
func (m *Machine) Sheet(id string) *Sheet { return m.byID[id] }

// Numbered returns sheet number n, or nil.
func (m *Machine) Numbered(n int) *Sheet {
	return m.sheet(func(s *Sheet) bool { return s.Num == n })
}

// sheet is the first for which is holds, or nil.
func (m *Machine) sheet(is func(*Sheet) bool) *Sheet {
	if i := slices.IndexFunc(m.sheets, is); i >= 0 {
		return m.sheets[i]
	}
	return nil
}

// Trays returns every bath that was mixed, in order.
func (m *Machine) Trays() []*Tray { return m.trays }

// Notes returns the day's notes, those that belong to no sheet.
func (m *Machine) Notes() []Note { return m.notes }

// Rehearsal reports whether this is a rehearsal, and at how many times real time.
func (m *Machine) Rehearsal() (bool, float64) { return m.rehearsal, m.pace }

// Closed reports whether the session was closed.
func (m *Machine) Closed() bool { return m.closed }

// Safelight reports whether the room's lamp is on.
func (m *Machine) Safelight() bool { return m.safelight[len(m.safelight)-1].on }

// ScreenLux returns the light that the panel's black gives on the paper by now,
// and whether it was ever said.
func (m *Machine) ScreenLux() (lux float64, known bool) {
	n := len(m.screens)
	if n == 0 {
		return 0, false
	}
	return m.screens[n-1].lux, true
}

// BoxOpen reports whether a box of paper is open in the room.
func (m *Machine) BoxOpen() bool { return m.box }

// PaperOut reports whether any paper could be fogged by a white light now: a box
// is open, or a sheet is in the room, out of bag and camera, and not yet fixed.
func (m *Machine) PaperOut() bool {
	return m.box || slices.ContainsFunc(m.sheets, func(s *Sheet) bool { return s.Out && s.FixedT == 0 && !s.Phase.Over() })
}

// Running reports whether any clock runs: an exposure or a bath.
func (m *Machine) Running() bool {
	return slices.ContainsFunc(m.sheets, func(s *Sheet) bool { return s.Phase == Exposing || s.Phase == Wet })
}

// Apply takes one event into the state. An event that cannot be (a move of a
// sheet that is not there, a second move by the same press), or that has not
// just the fields that belong to its kind, is refused with an error that says
// why, and changes nothing.
func (m *Machine) Apply(e Event) error {
	if err := e.check(); err != nil {
		return err
	}
	return m.Replay(e)
}

// Replay is Apply for an event that was stored: by this program or by an older
// one, which did not look at the fields. What does not belong to its kind is
// ignored, as it was then.
func (m *Machine) Replay(e Event) error {
	t, last := m.stamp(e.At)
	if err := m.apply(e, t); err != nil {
		return err
	}
	if !m.begun {
		m.first = e.At
	}
	m.begun, m.last, m.now = true, last, t
	m.applied++
	m.replan()
	return nil
}

// Would reports how Apply would refuse e, without applying it; nil when it
// would not. It asks a copy, so that every rule stands in one place only.
func (m *Machine) Would(e Event) error {
	if err := e.check(); err != nil {
		return err
	}
	t, _ := m.stamp(e.At)
	return m.sketch(e).apply(e, t)
}

// sketch copies as much of m as an event like e can change.
func (m *Machine) sketch(e Event) *Machine {
	c := *m
	c.sheets = slices.Clone(m.sheets)
	c.byID = map[string]*Sheet{}
	for i, s := range c.sheets {
		if s.ID == e.Sheet || rules[e.Kind].all {
			s = s.clone()
			c.sheets[i] = s
		}
		c.byID[s.ID] = s
	}
	c.trays = slices.Clone(m.trays)
	for i, b := range c.trays {
		b := *b
		c.trays[i] = &b
	}
	c.arrivals = map[string][]arrival{}
	for k, v := range m.arrivals {
		c.arrivals[k] = slices.Clone(v)
	}
	c.safelight = slices.Clone(m.safelight)
	c.screens = slices.Clone(m.screens)
	c.deeds = slices.Clone(m.deeds)
	c.notes = slices.Clone(m.notes)
	return &c
}

func (s *Sheet) clone() *Sheet {
	c := *s
	c.Light.Spells = slices.Clone(s.Light.Spells)
	c.Light.Readings = slices.Clone(s.Light.Readings)
	c.Visits = slices.Clone(s.Visits)
	c.Undone = slices.Clone(s.Undone)
	c.Open = slices.Clone(s.Open)
	c.Screen = slices.Clone(s.Screen)
	c.Notes = slices.Clone(s.Notes)
	c.Marks = slices.Clone(s.Marks)
	c.Overrides = slices.Clone(s.Overrides)
	c.Corrected = slices.Clone(s.Corrected)
	c.outs = slices.Clone(s.outs)
	return &c // whole is never changed, so it may be shared
}

// stamp places an instant on the line of session time. Within one boot an
// instant before the last event counts as the same moment; in a new boot whose
// wall clock reads earlier, time goes on from where it was.
func (m *Machine) stamp(at Instant) (time.Duration, Instant) {
	if !m.begun {
		return 0, at
	}
	d := at.Sub(m.last)
	switch {
	case d < 0 && at.BootID == m.last.BootID:
		return m.now, m.last
	case d < 0:
		return m.now, at
	}
	return min(m.now+min(d, maxGap), maxLine), at
}

// Standing returns the bath that stands in the tray of that name now, or nil.
func (m *Machine) Standing(name string) *Tray {
	return m.lastTray(func(b *Tray) bool { return b.Name == name })
}

// mixIn is the identity of the mix that stands in the tray of that name; empty: none.
func (m *Machine) mixIn(name string) string {
	if b := m.Standing(name); b != nil {
		return b.Mix.ID
	}
	return ""
}

// lastTray is the last of those standing for which is holds, or nil.
func (m *Machine) lastTray(is func(*Tray) bool) *Tray {
	for _, b := range slices.Backward(m.trays) {
		if !b.Retired && is(b) {
			return b
		}
	}
	return nil
}

func (m *Machine) outAway(s *Sheet, e Event, t time.Duration) error {
	out := e.Kind == SheetOut
	if s.Phase != Fresh && s.Phase != Exposed {
		return s.stands()
	}
	if s.Out == out {
		return refuse("sheet %d: that is done already", s.Num).saying(say.AlreadySo.Of(say.Sheet(s.Num)))
	}
	m.put(s, out, t)
	return nil
}

// put notes that a sheet is out in the room, or is not any more.
func (m *Machine) put(s *Sheet, out bool, t time.Duration) {
	if s.Out != out {
		s.Out = out
		s.outs = append(s.outs, toggle{t, out})
		m.account(s)
	}
}

func (m *Machine) expose(s *Sheet, e Event, t time.Duration) error {
	if s.Phase != Fresh {
		return refuse("sheet %d is %s already", s.Num, s.Phase).saying(say.SheetIs.Of(say.Sheet(s.Num), say.State(s.Phase)))
	}
	if !within(e.Planned, 1, MaxExposure) {
		return errExposure
	}
	s.Phase = Exposing
	m.put(s, false, t)
	// Light that fell before, and was taken back, is in the paper all the same.
	s.Light = Light{BegunAt: e.At, BegunT: t, Planned: e.Planned, Working: e.Note, Open: true, Spells: slices.Clone(s.Light.Spells), EV: s.Spec.lightness()}
	s.Light.begin(t)
	return nil
}

var errExposure = refuse("an exposure takes more than nothing and at most 30 days")

// exposed makes a rule of what happens to the light of a sheet that is being exposed.
func exposed(apply func(s *Sheet, l *Light, e Event, t time.Duration) error) func(*Machine, *Sheet, Event, time.Duration) error {
	return func(_ *Machine, s *Sheet, e Event, t time.Duration) error {
		if s.Phase != Exposing {
			return refuse("sheet %d is not being exposed", s.Num).saying(say.NotExposing.Of(say.Sheet(s.Num)))
		}
		return apply(s, &s.Light, e, t)
	}
}

func coverHole(s *Sheet, l *Light, _ Event, t time.Duration) error {
	if !l.Open {
		return refuse("the pinhole of sheet %d is covered already", s.Num).saying(say.AlreadyCovered.Of(say.Sheet(s.Num)))
	}
	l.shut(t)
	return nil
}

func uncoverHole(s *Sheet, l *Light, _ Event, t time.Duration) error {
	if l.Open {
		return refuse("the pinhole of sheet %d is open already", s.Num).saying(say.AlreadyOpen.Of(say.Sheet(s.Num)))
	}
	l.Open = true
	l.begin(t)
	return nil
}

func changeLight(_ *Sheet, l *Light, e Event, t time.Duration) error {
	if !within(e.Planned, 1, MaxExposure) || !within(e.Stops, -MaxChange, MaxChange) {
		return refuse("the exposure in the new light takes more than nothing and at most 30 days")
	}
	if err := e.Lit.check(); err != nil {
		return err
	}
	l.Readings = append(l.Readings, Reading{At: e.At, T: t, Stops: e.Stops, Full: e.Planned, Light: e.Note})
	l.lit(e)
	l.goOn(t)
	return nil
}

func retime(s *Sheet, l *Light, e Event, t time.Duration) error {
	if !within(e.Planned, 1, MaxExposure) {
		return errExposure
	}
	open := l.OpenFor(t)
	if e.Planned <= open {
		return refuse("sheet %d has had as much light already: end it with space, or type a longer time", s.Num).saying(say.HadItsLight.Of(say.Sheet(s.Num)))
	}
	l.Readings = append(l.Readings, Reading{At: e.At, T: t, Full: l.retime(e.Planned-open, t), Light: e.Note, Open: e.Planned})
	l.goOn(t)
	return nil
}

func endExposure(s *Sheet, l *Light, e Event, t time.Duration) error {
	l.shut(t)
	l.EndedAt, l.EndedT = e.At, t
	s.Phase = Exposed
	return nil
}

// retime makes every light count for so much more or less that, in the present
// one, left is to come at session time t, and returns the whole exposure in the
// present light. What was given keeps its proportions.
func (l *Light) retime(left, t time.Duration) (full time.Duration) {
	was := float64(l.Full())
	by := l.Share(t) + float64(left)/was
	for i := range l.Spells {
		l.Spells[i].Full = time.Duration(math.Round(by * float64(l.Spells[i].Full)))
	}
	return time.Duration(math.Round(by * was))
}

// goOn begins another spell in the present light, where the pinhole is open.
func (l *Light) goOn(t time.Duration) {
	if l.Open {
		l.shut(t)
		l.Open = true
		l.begin(t)
	}
}

func (l *Light) begin(t time.Duration) {
	l.Spells = append(l.Spells, Spell{Span{From: t, Running: true}, l.Full(), l.EV})
}

// lit follows a change of light. The first that is read says by its stops what
// the light before it was.
func (l *Light) lit(e Event) {
	switch {
	case e.Lit == nil:
		l.EV.EV += e.Stops
	case l.EV.Known:
		l.EV.EV = e.Lit.EV
	default:
		opening := e.Lit.EV - e.Stops - l.EV.EV
		for i := range l.Spells {
			if sp := &l.Spells[i]; !sp.EV.Known {
				sp.EV = Lightness{opening + sp.EV.EV, true}
			}
		}
		l.EV = Lightness{e.Lit.EV, true}
	}
}

// shut ends the running spell, if any.
func (l *Light) shut(t time.Duration) {
	if n := len(l.Spells); l.Open && n > 0 {
		l.Spells[n-1].To, l.Spells[n-1].Running = t, false
	}
	l.Open = false
}

// Full returns the time the whole exposure would take in the present light.
func (l *Light) Full() time.Duration {
	if n := len(l.Readings); n > 0 {
		return l.Readings[n-1].Full
	}
	return l.Planned
}

// Share returns the part of the whole exposure given by session time t: the sum
// over every spell of its length by the full time in its light. 1 is all of it.
//
// In a light for which the whole exposure would take T, an open pinhole gives
// dt/T of it in a time dt; the shares add up. Reciprocity failure is in each T.
// That is how a photographer reckons; the paper's memory for the order of dim
// and bright light is beyond what any of its makers publish.
func (l *Light) Share(t time.Duration) float64 {
	var x float64
	for _, sp := range l.Spells {
		x += float64(sp.Len(t)) / float64(sp.Full)
	}
	return x
}

// OpenFor returns how long the pinhole was open by session time t.
func (l *Light) OpenFor(t time.Duration) time.Duration {
	var d time.Duration
	for _, sp := range l.Spells {
		d += sp.Len(t)
	}
	return d
}

// Left returns how much longer the pinhole must be open in the present light
// to reach share (1 is the whole exposure); 0 once it is reached.
func (l *Light) Left(share float64, t time.Duration) time.Duration {
	return max(0, time.Duration(math.Round((share-l.Share(t))*float64(l.Full()))))
}

// reach returns the session time at which the running spell reaches share, and
// whether it is still to be reached when the spell begins.
func (l *Light) reach(share float64) (time.Duration, bool) {
	n := len(l.Spells)
	if !l.Open || n == 0 {
		return 0, false
	}
	sp := l.Spells[n-1]
	given := l.Share(sp.From)
	if given >= share {
		return sp.From, false
	}
	return sp.From + time.Duration(math.Round((share-given)*float64(sp.Full))), true
}

// open returns the visit the sheet is in now, or nil.
func (s *Sheet) open() *Visit {
	if n := len(s.Visits); n > 0 && s.Visits[n-1].Open {
		return &s.Visits[n-1]
	}
	return nil
}

// Visit returns the bath the sheet is in now, or nil.
func (s *Sheet) Visit() *Visit { return s.open() }

// latest is the serial of the sheet's last visit; 0: it was in no bath.
func (s *Sheet) latest() int {
	if n := len(s.Visits); n > 0 {
		return s.Visits[n-1].Serial
	}
	return 0
}

// NextStep returns the index of the step that follows the present one (0 for a
// sheet that is still dry), or -1 when the present one is the last.
func (s *Sheet) NextStep() int {
	next := 0
	for _, v := range s.Visits {
		if v.Step != Holding {
			next = v.Step + 1
		}
	}
	if next >= len(s.Spec.Process.Steps) {
		return -1
	}
	return next
}

// mayMove refuses a move that cannot be, next being the step that comes.
func (s *Sheet) mayMove(e Event, next int) error {
	switch held := e.Kind == Held; {
	case s.Phase == Exposing:
		return refuse("sheet %d is still being exposed: end the exposure first", s.Num).saying(say.StillExposing.Of(say.Sheet(s.Num)))
	case s.Phase.Over():
		return s.stands()
	case s.Phase == Wet:
		if v := s.open(); v == nil || v.Serial != e.From {
			return s.movedOn()
		}
		if held && (next < 0 || s.Spec.Process.Steps[next].Stage != Wash || s.open().Step == Holding) {
			return refuse("only a sheet that is due for the wash can wait in holding water").saying(say.HoldOnlyForWash.Of())
		}
	case e.From != 0:
		return refuse("sheet %d is not in that bath", s.Num).saying(say.NotThatBath.Of(say.Sheet(s.Num)))
	case held:
		return refuse("sheet %d is not wet", s.Num).saying(say.NotWet.Of(say.Sheet(s.Num)))
	}
	return nil
}

func (m *Machine) move(s *Sheet, e Event, t time.Duration) error {
	next := s.NextStep()
	if err := s.mayMove(e, next); err != nil {
		return err
	}
	if v := s.open(); v != nil {
		v.shut(t, e.At)
		v.LedOut = e.Led
		if v.Stage == Fix && s.FixedT == 0 {
			s.FixedT = t
		}
	}
	if s.Phase != Wet {
		m.put(s, true, t)
	}
	if next < 0 && e.Kind == Moved {
		s.Phase, s.EndedAt, s.EndedT = Finished, e.At, t
		m.account(s)
		return nil
	}
	s.Phase = Wet
	s.serial++
	v := Visit{Serial: s.serial, In: t, InAt: e.At, Open: true, Led: e.Led,
		Step: Holding, Stage: Hold, Bath: "holding water", Label: string(Hold)}
	if e.Kind == Moved {
		st := s.Spec.Process.Steps[next]
		v.Step, v.Stage, v.Bath, v.Label, v.Mix = next, st.Stage, st.Bath, st.Label(), m.mixIn(st.Bath)
		if st.Batch {
			m.arrivals[st.Bath] = append(m.arrivals[st.Bath], arrival{t, s, v.Serial})
		}
	}
	s.Visits = append(s.Visits, v)
	m.account(s)
	return nil
}

func (m *Machine) accountAll() {
	for _, s := range m.sheets {
		m.account(s)
	}
}

// forever is the end of what has none yet.
const forever = time.Duration(math.MaxInt64)

// account reckons the sheet's safelight spans anew from when it was out, when
// the lamp was on, and when it was fixed; and those in which it was out before the
// screen, one for each light of it.
func (m *Machine) account(s *Sheet) {
	out := spansOn(s.outs, cmp.Or(s.FixedT, forever))
	s.Open = overlap(out, spansOn(m.safelight, forever))
	s.Screen = nil
	for i, l := range m.screens { // none: nobody said what the panel gives
		lit := Span{From: l.t, To: forever}
		if i == 0 {
			lit.From = 0 // as it was found, so it was
		}
		if i+1 < len(m.screens) {
			lit.To = m.screens[i+1].t
		}
		for _, sp := range overlap(out, []Span{lit}) {
			s.Screen = append(s.Screen, Glow{sp, l.lux})
		}
	}
}

// spansOn are those in which it was switched on, the last as far as end.
func spansOn(ts []toggle, end time.Duration) (out []Span) {
	on := false
	for _, x := range ts {
		switch {
		case x.on == on || x.t >= end:
		case x.on:
			out = append(out, Span{From: x.t, To: end})
		default:
			out[len(out)-1].To = x.t
		}
		on = x.on
	}
	return out
}

// overlap are the spans that lie in both; what goes on forever is running.
func overlap(a, b []Span) (out []Span) {
	for _, x := range a {
		for _, y := range b {
			sp := Span{From: max(x.From, y.From), To: min(x.To, y.To)}
			if sp.Running = sp.To == forever; sp.From < sp.To {
				out = append(out, sp)
			}
		}
	}
	return out
}

// SafeUsed returns the sheet's time under the safelight by session time t, and
// the time its paper allows: see [Paper.SafeFor].
func (s *Sheet) SafeUsed(t time.Duration) (used, allowed time.Duration) {
	for _, sp := range s.Open {
		used += sp.Len(t)
	}
	allowed, _ = s.Spec.Paper.SafeFor(s.Phase != Fresh)
	return used, allowed
}

// ScreenUsed returns how long the sheet has lain before the screen by session
// time t, the share that this is of the light of a first tone, and how long it may
// lie there in all if the screen stays as it is; 0: there is no limit that is known,
// or a fog test replaces it.
func (s *Sheet) ScreenUsed(t time.Duration) (used time.Duration, share float64, allowed time.Duration) {
	got, lux := 0.0, 0.0
	for _, g := range s.Screen {
		used += g.Len(t)
		got += g.Lux * g.Len(t).Seconds()
		lux = g.Lux
	}
	tone := s.Spec.Paper.FirstTone
	if tone <= 0 || s.Spec.Paper.Tested || len(s.Screen) == 0 {
		return used, 0, 0
	}
	share = got / tone
	if left := (tone - got) / lux; left < maxStep.Seconds() { // not where it is dark
		allowed = max(used+time.Duration(math.Round(left*float64(time.Second))), time.Second)
	}
	return used, share, allowed
}

// replan writes what is now planned into every open visit.
func (m *Machine) replan() {
	for _, s := range m.sheets {
		if s.Phase == Wet {
			m.plan(s, s.open())
		}
	}
}

// plan reckons AtLeast and AtMost of a visit of s, and whether its wash is short.
func (m *Machine) plan(s *Sheet, v *Visit) { m.planAfter(s, v, s.cleared()) }

// planAfter is plan for a visit that comes after what is not done yet.
func (m *Machine) planAfter(s *Sheet, v *Visit, cleared bool) {
	if v == nil || v.Step == Holding {
		return
	}
	st := s.Spec.Process.Steps[v.Step]
	v.AtLeast, v.AtMost = st.AtLeast, st.AtMost
	if st.Factor > 0 && s.Emerged > 0 && s.EmergedIn == v.Serial {
		end := max(st.AtLeast, time.Duration(math.Round(min(st.Factor*float64(s.Emerged), float64(st.AtMost)))))
		v.AtLeast, v.AtMost = end, end
	}
	if st.ShortAfter > 0 && cleared {
		v.AtLeast, v.AtMost, v.Short = st.ShortAfter, st.ShortAfter, true
	}
	if v.Set > 0 {
		v.AtMost = v.Set
		if v.AtLeast = min(v.AtLeast, v.Set); !st.ByInspection() {
			v.AtLeast = v.Set
		}
	}
	if st.Batch {
		back := m.dirtied(v)
		v.AtLeast += back
		v.AtMost += back
	}
}

// dirtied returns how long after v began the last unwashed sheet came into the
// same water; 0 when none did.
func (m *Machine) dirtied(v *Visit) time.Duration {
	var last time.Duration
	for _, a := range m.arrivals[v.Bath] { // not in order: some were made anew
		last = max(last, a.t)
	}
	return max(0, last-v.In)
}

// cleared reports whether the sheet's hypo-clear was done in full.
func (s *Sheet) cleared() bool {
	return slices.ContainsFunc(s.Visits, func(v Visit) bool {
		return v.Stage == Clear && !v.Open && v.Out-v.In >= s.Spec.Process.Steps[v.Step].AtLeast
	})
}

// Washed reports whether the sheet's wash ran its full time after the last
// unwashed sheet came into its water. A sheet whose process has no wash is not
// washed.
func (s *Sheet) Washed() bool {
	ok := false
	for i := range s.Visits {
		if v := &s.Visits[i]; v.Stage == Wash {
			ok = !v.Open && !v.Unseen && v.Out-v.In >= v.AtLeast
		}
	}
	return ok
}

func (sp *SheetSpec) check() error {
	if sp == nil {
		return refuse("a sheet needs a paper and a process")
	}
	p := &sp.Paper
	if err := cmp.Or(
		want(within(len(sp.Process.Steps), 1, maxSteps), "a process has from 1 to %d steps", maxSteps),
		want(within(p.AreaCM2, 0, 1e6), "a sheet's area is a number of cm2, 0 or more"),
		want(within(p.Safe, 0, maxStep) && within(p.SafeExp, 0, maxStep), "a safelight time is between 0 and 7 days"),
		sp.Reckoned.check()); err != nil {
		return err
	}
	for i, st := range sp.Process.Steps {
		if err := st.Check(); err != nil {
			return fmt.Errorf("step %d (%s): %w", i+1, st.Label(), err)
		}
	}
	return nil
}

// Check reports what is wrong with a step's times.
func (s Step) Check() error {
	return cmp.Or(
		want(s.Stage.Step() && slices.Contains(Stages, s.Stage), "%q is no stage of a process: use one of develop, stop, fix, second fix, rinse, hypo-clear, wash", s.Stage),
		want(within(s.AtMost, 1, maxStep), "a step takes more than nothing and at most 7 days"),
		want(within(s.AtLeast, 0, s.AtMost), "at least (%v) must not be above at most (%v)", s.AtLeast, s.AtMost),
		want(within(s.Drain, 0, s.AtMost), "the drain (%v) lies inside the step and cannot be longer than it (%v)", s.Drain, s.AtMost),
		s.Agitation.check(),
		want(within(s.Factor, 0, 1000), "a development factor is between 0 and 1000"),
		want(within(s.ShortAfter, 0, maxStep), "a shortened wash takes 0 or more"),
		want(within(s.Changes, 0, 100), "a wash has at most 100 changes of water"))
}

func (a Agitation) check() error {
	switch {
	case a.For < 0 || !within(a.First, 0, maxStep) || !within(a.Every, 0, maxStep):
		return refuse("agitation times are 0 or more")
	case a.Every > 0:
		return want(a.Every >= time.Second && within(a.For, 1, a.Every), "agitation for %v each %v: the spell must be shorter than the interval, and the interval at least 1 s", a.For, a.Every)
	}
	return want(a.For == 0, "agitation for %v needs to say each how long", a.For)
}
