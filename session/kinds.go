package session

import (
	"cmp"
	"iter"
	"math"
	"slices"
	"strings"
	"time"

	"wetside/session/say"
)

// fields are the fields of an event beyond Kind and At.
type fields uint32

const (
	hasSheet fields = 1 << iota
	hasFrom
	hasSpec
	hasPlanned
	hasStops
	hasN
	hasNote
	hasBath
	hasInto
	hasMix
	hasRehearsal
	hasPace
	hasWhat
	hasLit
	hasTold
	hasLed
	hasLux
)

var fieldNames = []string{"sheet", "from", "spec", "planned", "stops", "n", "note", "bath", "into", "mix", "rehearsal", "pace", "what", "lit", "told", "led", "lux"}

func (f fields) String() string {
	var names []string
	for i, n := range fieldNames {
		if f&(1<<i) != 0 {
			names = append(names, n)
		}
	}
	return strings.Join(names, ", ")
}

// given are the fields that are not empty.
func (e *Event) given() fields {
	var f fields
	for i, is := range []bool{e.Sheet != "", e.From != 0, e.Spec != nil, e.Planned != 0, e.Stops != 0, e.N != 0, e.Note != "",
		e.Bath != "", e.Into != "", e.Mix != nil, e.Rehearsal, e.Pace != 0, e.What != "", e.Lit != nil, e.Told != nil, e.Led, e.Lux != 0} {
		if is {
			f |= 1 << i
		}
	}
	return f
}

// A rule is all there is to know of one kind of event.
type rule struct {
	needs fields // it means nothing without them
	may   fields // it may have these too; a field that may be empty is here
	late  bool   // it may come when the session is closed: said of a sheet, not done with it
	all   bool   // it may change any sheet, and not only its own
	// apply refuses the event or takes it in, at session time t. The sheet is
	// the event's own, nil where its kind does not need one and none is named.
	apply func(m *Machine, s *Sheet, e Event, t time.Duration) error
	// tells is the field of the sheet's record that it shows in, by its name in
	// the export; empty for what no sheet's record tells.
	tells string
}

// rules has every kind of event.
var rules = map[Kind]rule{
	Opened:  {may: hasRehearsal | hasPace, apply: (*Machine).openUp},
	Resumed: {apply: func(m *Machine, _ *Sheet, _ Event, _ time.Duration) error { m.leading = false; return nil }},
	Closed:  {apply: (*Machine).close},

	SheetAdded:     {needs: hasSheet | hasSpec, apply: (*Machine).add, tells: "begun"},
	SheetWithdrawn: {needs: hasSheet, apply: (*Machine).withdraw},
	Remade:         {needs: hasSheet | hasSpec, late: true, apply: (*Machine).remake, tells: "name"},
	SheetOut:       {needs: hasSheet, apply: (*Machine).outAway, tells: "safelight_s"},
	SheetAway:      {needs: hasSheet, apply: (*Machine).outAway, tells: "safelight_s"},
	Loaded:         {needs: hasSheet, apply: (*Machine).load, tells: "loaded"},
	Unloaded:       {needs: hasSheet, apply: (*Machine).unload, tells: "unloaded"},
	BoxOpened:      {apply: (*Machine).openBox},
	BoxAway:        {apply: (*Machine).openBox},

	ExposureBegun:    {needs: hasSheet | hasPlanned, may: hasNote, apply: (*Machine).expose, tells: "exposure"},
	PinholeCovered:   {needs: hasSheet, apply: exposed(coverHole), tells: "exposure"},
	PinholeUncovered: {needs: hasSheet, apply: exposed(uncoverHole), tells: "exposure"},
	LightChanged:     {needs: hasSheet | hasPlanned, may: hasStops | hasNote | hasLit, apply: exposed(changeLight), tells: "exposure"},
	Retimed:          {needs: hasSheet | hasPlanned, may: hasNote, apply: exposed(retime), tells: "exposure"},
	ExposureEnded:    {needs: hasSheet, apply: exposed(endExposure), tells: "exposure"},
	ExposureTold:     {needs: hasSheet | hasPlanned | hasTold, apply: (*Machine).exposeTold, tells: "exposure"},

	Moved:        {needs: hasSheet, may: hasFrom | hasLed, apply: (*Machine).move, tells: "stages"},
	Held:         {needs: hasSheet, may: hasFrom, apply: (*Machine).move, tells: "stages"},
	LeadBegun:    {apply: (*Machine).lead},
	LeadEnded:    {apply: (*Machine).lead},
	Confirmed:    {needs: hasSheet | hasFrom, apply: (*Machine).confirm, tells: "stages"},
	Undone:       {may: hasSheet | hasFrom | hasWhat | hasBath, all: true, apply: (*Machine).undo, tells: "undone"},
	ImageSeen:    {needs: hasSheet, apply: (*Machine).emerge, tells: "emerged_s"},
	StepTimed:    {needs: hasSheet | hasFrom | hasPlanned, apply: (*Machine).timeStep, tells: "stages"},
	WaterChanged: {needs: hasBath, all: true, apply: (*Machine).changeWater, tells: "stages"},
	Unseen:       {needs: hasSheet, may: hasFrom | hasPlanned | hasWhat, apply: (*Machine).unseen, tells: "unseen"},
	Developed:    {needs: hasSheet, may: hasTold, apply: (*Machine).develop, tells: "stages"},
	Spoiled:      {needs: hasSheet, may: hasNote, apply: (*Machine).spoil, tells: "spoiled"},

	Noted:     {needs: hasNote, may: hasSheet, late: true, apply: (*Machine).note, tells: "notes"},
	Marked:    {needs: hasSheet, apply: (*Machine).mark, tells: "marks"},
	MarkNamed: {needs: hasSheet | hasN, may: hasNote, late: true, apply: (*Machine).nameMark, tells: "marks"},
	Judged:    {needs: hasSheet, may: hasStops | hasNote, late: true, apply: (*Machine).judge, tells: "judgements"},
	Dried:     {needs: hasSheet, late: true, apply: (*Machine).afterWash, tells: "dry"},
	Flattened: {needs: hasSheet, late: true, apply: (*Machine).afterWash, tells: "flat"},
	Scanned:   {needs: hasSheet, may: hasNote, late: true, apply: (*Machine).scan, tells: "scan"},

	SafelightOn:  {all: true, apply: (*Machine).lamp, tells: "safelight_s"},
	SafelightOff: {all: true, apply: (*Machine).lamp, tells: "safelight_s"},

	ScreenLit: {may: hasLux, all: true, apply: (*Machine).screen, tells: "screen_s"},

	BathMixed:      {needs: hasMix, apply: (*Machine).mixBath, tells: "stages"},
	BathRetired:    {needs: hasBath, apply: (*Machine).retireBath},
	BathPromoted:   {needs: hasBath | hasInto, apply: (*Machine).promoteBath, tells: "stages"},
	BathOverridden: {needs: hasSheet | hasBath, apply: (*Machine).overrideBath, tells: "overridden"},
}

// check refuses an event that lacks a field of its kind, or has one of another.
func (e *Event) check() error {
	r, known := rules[e.Kind]
	if !known {
		return unknown(e.Kind)
	}
	given := e.given()
	if lacks := r.needs &^ given; lacks != 0 {
		return refuse("%q needs %s", e.Kind, lacks)
	}
	if foreign := given &^ (r.needs | r.may); foreign != 0 {
		return refuse("%q has no %s", e.Kind, foreign)
	}
	return nil
}

func (m *Machine) apply(e Event, t time.Duration) error {
	// What may be said after the end may be taken back after it.
	if m.closed && !rules[e.Kind].late && !(e.Kind == Undone && rules[e.What].late) {
		return refuse("the session is closed").saying(say.ClosedSession.Of())
	}
	r, known := rules[e.Kind]
	if !known {
		return unknown(e.Kind)
	}
	s := m.byID[e.Sheet]
	if s == nil && r.about(e) {
		return refuse("there is no such sheet")
	}
	d := m.deed(s, e, t)
	if err := r.apply(m, s, e, t); err != nil {
		return err
	}
	if d != nil {
		m.did(*d)
	}
	return nil
}

// about reports whether the event is about a sheet that must be there.
func (r rule) about(e Event) bool {
	if e.Kind == SheetAdded || e.Kind == Undone {
		return false
	}
	return r.needs&hasSheet != 0 || r.may&hasSheet != 0 && e.Sheet != ""
}

func (m *Machine) openUp(_ *Sheet, e Event, _ time.Duration) error {
	if m.begun {
		return refuse("the session is open already")
	}
	if !within(e.Pace, 0, 10000) {
		return refuse("a pace is a number from 0 to 10000")
	}
	m.rehearsal = e.Rehearsal
	if e.Pace > 0 {
		m.pace = e.Pace
	}
	return nil
}

func (m *Machine) close(_ *Sheet, _ Event, _ time.Duration) error {
	if m.Running() {
		return refuse("a clock is still running").saying(say.ClockRuns.Of())
	}
	m.closed = true
	return nil
}

func (m *Machine) lamp(_ *Sheet, e Event, t time.Duration) error {
	on := e.Kind == SafelightOn
	if m.Safelight() == on {
		return refuse("the safelight: that is done already").saying(say.LightSo.Of())
	}
	m.safelight = append(m.safelight, toggle{t, on})
	m.accountAll()
	return nil
}

func (m *Machine) screen(_ *Sheet, e Event, t time.Duration) error {
	if !within(e.Lux, 0, 1e5) {
		return refuse("the light of a screen is from 0 to 100000 lx")
	}
	m.screens = append(m.screens, screenLux{t, e.Lux})
	m.accountAll()
	return nil
}

func (m *Machine) add(s *Sheet, e Event, _ time.Duration) error {
	if e.Sheet == "" || s != nil {
		return refuse("a sheet needs an identity of its own")
	}
	if err := e.Spec.check(); err != nil {
		return err
	}
	m.nums++
	s = &Sheet{ID: e.Sheet, Num: m.nums, Spec: *e.Spec, AddedAt: e.At, Phase: Fresh}
	m.sheets = append(m.sheets, s)
	m.byID[s.ID] = s
	return nil
}

func (m *Machine) remake(s *Sheet, e Event, _ time.Duration) error {
	if err := e.Spec.check(); err != nil {
		return err
	}
	if h := m.Holds(e.Spec.Camera); h != nil && h != s && s.InCamera() {
		return holds(e.Spec.Camera, h)
	}
	// What it has been through stays: the process must be one that has it.
	steps := e.Spec.Process.Steps
	for i := range s.Visits {
		if v := &s.Visits[i]; v.Step != Holding && (v.Step >= len(steps) || steps[v.Step].Stage != v.Stage) {
			return refuse("sheet %d has been in the %s, and that process has none there", s.Num, v.Label)
		}
	}
	if s.Phase.Over() {
		s.Corrected = append(s.Corrected, corrections(e.At, &s.Spec, e.Spec)...)
	}
	s.Spec = *e.Spec
	m.account(s)
	m.plan(s, s.open())
	return nil
}

// corrections are what differs between a sheet's words and those that it gets.
func corrections(at Instant, was, is *SheetSpec) (out []Correction) {
	for _, x := range []struct{ what, was, is string }{
		{"name", was.Name, is.Name}, {"photographer", was.Maker, is.Maker}, {"camera", was.Camera, is.Camera},
		{"paper", was.Paper.Key, is.Paper.Key}, {"process", was.Process.Key, is.Process.Key},
	} {
		if x.was != x.is {
			out = append(out, Correction{at, x.what, x.was})
		}
	}
	return out
}

func (m *Machine) note(s *Sheet, e Event, _ time.Duration) error {
	notes := &m.notes
	if s != nil {
		notes = &s.Notes
	}
	*notes = append(*notes, Note{e.At, e.Note})
	return nil
}

func (m *Machine) mark(s *Sheet, e Event, _ time.Duration) error {
	mk := Mark{N: len(s.Marks) + 1, At: e.At}
	if v := s.open(); v != nil {
		mk.Stage = v.Stage
	} else if s.Phase == Exposing {
		mk.Stage = Exposure
	}
	s.Marks = append(s.Marks, mk)
	return nil
}

func (m *Machine) nameMark(s *Sheet, e Event, _ time.Duration) error {
	if e.N < 1 || e.N > len(s.Marks) {
		return refuse("sheet %d has no mark %d", s.Num, e.N).saying(say.NoMark.Of(say.Sheet(s.Num), say.Number(e.N)))
	}
	s.Marks[e.N-1].Text = e.Note
	return nil
}

func (m *Machine) judge(s *Sheet, e Event, _ time.Duration) error {
	if !within(e.Stops, -MaxJudged, MaxJudged) {
		return refuse("a judgement is at most %d stops", MaxJudged)
	}
	if s.Phase == Fresh || s.Phase == Exposing {
		return refuse("sheet %d is not developed yet", s.Num).saying(say.NotDeveloped.Of(say.Sheet(s.Num)))
	}
	s.Judged = &Judgement{e.At, e.Stops, e.Note}
	return nil
}

// afterWash takes in what becomes of a sheet when no clock runs for it any more.
func (m *Machine) afterWash(s *Sheet, e Event, _ time.Duration) error {
	at := &s.DryAt
	switch {
	case s.Phase != Finished:
		return s.stands()
	case e.Kind == Flattened && s.DryAt.IsZero():
		return refuse("say first that sheet %d is dry", s.Num)
	case e.Kind == Flattened:
		at = &s.FlatAt
	}
	if !at.IsZero() {
		return refuse("sheet %d: that is done already", s.Num).saying(say.AlreadySo.Of(say.Sheet(s.Num)))
	}
	*at = e.At
	return nil
}

func (m *Machine) afterWashBack(s *Sheet, d *Deed, _ time.Duration) {
	if d.Kind == Dried {
		s.DryAt = Instant{}
	}
	s.FlatAt = Instant{}
}

func (m *Machine) scan(s *Sheet, e Event, _ time.Duration) error {
	s.Scan = e.Note
	return nil
}

func (m *Machine) emerge(s *Sheet, _ Event, t time.Duration) error {
	v := s.open()
	if v == nil || v.Stage != Develop {
		return refuse("sheet %d is not in the developer", s.Num).saying(say.NotInDeveloper.Of())
	}
	if s.Emerged != 0 {
		return refuse("the image of sheet %d was seen already", s.Num).saying(say.AlreadySeen.Of(say.Sheet(s.Num)))
	}
	if t <= v.In {
		return refuse("sheet %d has only just gone in", s.Num).saying(say.JustIn.Of(say.Sheet(s.Num)))
	}
	s.Emerged, s.EmergedIn = t-v.In, v.Serial
	return nil
}

func (m *Machine) unseen(s *Sheet, e Event, t time.Duration) error {
	switch {
	case e.What != Moved && e.What != "":
		return refuse("%q does not end a sheet", e.What)
	case !within(e.Planned, 0, t-s.since()):
		return refuse("sheet %d cannot have been so long in what is not over yet", s.Num)
	case s.Phase == Exposing:
		m.unseenLight(s, e, t)
	case s.Phase == Wet:
		return m.unseenBath(s, e, t)
	default:
		return s.stands()
	}
	return nil
}

func (m *Machine) unseenLight(s *Sheet, e Event, t time.Duration) {
	l := &s.Light
	l.Unseen = true
	if n := len(l.Spells); l.Open && n > 0 {
		sp := &l.Spells[n-1]
		sp.To, sp.Running = sp.From+max(0, e.Planned-l.OpenFor(sp.From)), false
	}
	l.Open = false
	if e.What == Moved {
		s.Phase, l.EndedAt, l.EndedT = Exposed, e.At, t
	}
}

func (m *Machine) unseenBath(s *Sheet, e Event, t time.Duration) error {
	v := s.open()
	if v == nil || v.Serial != e.From {
		return s.movedOn()
	}
	v.Unseen, v.Told = true, e.Planned
	if e.What == Moved {
		v.shut(t, e.At)
		if s.FixedT == 0 {
			s.FixedT = max(v.In, 1) // when is not known; what was seen ends here
		}
		s.Phase, s.EndedT, s.EndedAt = Finished, v.Out, v.OutAt
		m.account(s)
	}
	return nil
}

// exposeTold takes in an exposure that is over.
func (m *Machine) exposeTold(s *Sheet, e Event, t time.Duration) error {
	switch {
	case s.Phase != Fresh:
		return refuse("sheet %d is %s already", s.Num, s.Phase)
	case !within(e.Planned, 1, MaxExposure):
		return errExposure
	case e.Told.From.IsZero():
		return refuse("say when the pinhole was opened")
	}
	told := *e.Told
	if told.To.IsZero() {
		told.To = told.From.Add(e.Planned)
	}
	if err := told.check(e.At.Wall); err != nil {
		return err
	}
	// A watch is read to the minute, at the opening and at the end.
	if told.To.Sub(told.From) < e.Planned-2*time.Minute {
		return refuse("from %s to %s it cannot have been open for %v", told.From.Format("15:04"), told.To.Format("15:04"), e.Planned)
	}
	m.put(s, false, t)
	full := cmp.Or(max(0, s.Spec.Exposure), e.Planned)
	l := Light{BegunAt: Instant{Wall: told.From}, EndedAt: Instant{Wall: told.To}, BegunT: t, EndedT: t,
		Planned: full, Working: s.Spec.Working, Spells: slices.Clone(s.Light.Spells), Told: true, EV: s.Spec.lightness()}
	l.Spells = append(l.Spells, Spell{Span{From: t, To: t + e.Planned}, full, l.EV})
	s.Light, s.Phase = l, Exposed
	return nil
}

// develop takes in that a sheet went through its baths unwatched. Which baths
// those were is not known, so none of ours is charged with it.
func (m *Machine) develop(s *Sheet, e Event, t time.Duration) error {
	switch s.Phase {
	case Fresh, Exposed:
	case Exposing:
		return refuse("sheet %d is still being exposed: end the exposure first", s.Num)
	case Wet:
		return refuse("sheet %d is in the trays: start wetside, and it asks what became of it", s.Num)
	default:
		return refuse("sheet %d is %s already", s.Num, s.Phase)
	}
	told := Told{}
	if e.Told != nil {
		told = *e.Told
	}
	if err := told.check(e.At.Wall); err != nil {
		return err
	}
	if len(told.Steps) > len(s.Spec.Process.Steps) {
		return refuse("sheet %d has only %d steps", s.Num, len(s.Spec.Process.Steps))
	}
	for i, st := range s.Spec.Process.Steps {
		s.serial++
		v := Visit{Serial: s.serial, Step: i, Stage: st.Stage, Label: st.Label(), In: t, Out: t,
			AtLeast: st.AtLeast, AtMost: st.AtMost, Unseen: true}
		if i < len(told.Steps) {
			v.Told = told.Steps[i]
			v.Out += v.Told
		}
		s.Visits = append(s.Visits, v)
	}
	m.put(s, false, t)
	s.Told, s.Phase, s.EndedT, s.EndedAt, s.FixedT = true, Finished, t, Instant{Wall: told.To}, max(t, 1)
	m.account(s)
	return nil
}

// since is the begin of what a sheet is in.
func (s *Sheet) since() time.Duration {
	if v := s.open(); v != nil {
		return v.In
	}
	return s.Light.BegunT
}

// shut ends a visit at t; one that nobody watched, when the user says, or as if it
// had just begun.
func (v *Visit) shut(t time.Duration, at Instant) {
	v.Open, v.Out, v.OutAt = false, t, at
	if v.Unseen {
		v.Out, v.OutAt = v.In+v.Told, v.InAt.Add(v.Told)
	}
}

func (m *Machine) spoil(s *Sheet, e Event, t time.Duration) error {
	if s.Phase == Ruined && s.SpoiltFor == "" && e.Note != "" {
		s.SpoiltFor = e.Note // the reason, told afterwards
		return nil
	}
	if s.Phase.Over() {
		return refuse("sheet %d is done already", s.Num).saying(say.AlreadyDone.Of(say.Sheet(s.Num)))
	}
	s.whole = s.clone()
	if s.Phase == Exposing {
		s.Light.shut(t)
		s.Light.EndedAt, s.Light.EndedT = e.At, t
	}
	if v := s.open(); v != nil {
		if v.shut(t, e.At); v.Unseen {
			t = v.Out
		}
	}
	s.Phase, s.EndedAt, s.EndedT, s.SpoiltFor = Ruined, e.At, t, e.Note
	m.put(s, false, t)
	return nil
}

// bathOf returns the bath of that identity that stands in a tray, or nil.
func (m *Machine) bathOf(id string) *Tray {
	return m.lastTray(func(b *Tray) bool { return b.Mix.ID == id })
}

func (b *Tray) retire(t time.Duration) { b.Retired, b.RetiredT = true, t }

func (m *Machine) mixBath(_ *Sheet, e Event, t time.Duration) error {
	if e.Mix == nil || e.Mix.ID == "" || e.Mix.Name == "" {
		return refuse("a bath needs a name")
	}
	if slices.ContainsFunc(m.trays, func(b *Tray) bool { return b.Mix.ID == e.Mix.ID }) {
		return refuse("this bath was mixed already").saying(say.BathMixedBefore.Of())
	}
	for _, x := range []float64{e.Mix.ML, e.Mix.PerLitre, e.Mix.CarryML} {
		if !within(x, 0, math.MaxFloat64) {
			return refuse("volumes and capacities are numbers, 0 or more")
		}
	}
	// One tray holds one bath: what stood there is poured away.
	if old := m.Standing(e.Mix.Name); old != nil {
		old.retire(t)
	}
	m.trays = append(m.trays, &Tray{Mix: *e.Mix, Name: e.Mix.Name, MixedT: t})
	return nil
}

func (m *Machine) retireBath(_ *Sheet, e Event, t time.Duration) error {
	b := m.bathOf(e.Bath)
	if b == nil {
		return refuse("no such bath is standing").saying(say.NoSuchBath.Of())
	}
	b.retire(t)
	return nil
}

func (m *Machine) promoteBath(_ *Sheet, e Event, t time.Duration) error {
	b := m.bathOf(e.Bath)
	if b == nil || e.Into == "" {
		return refuse("no such bath is standing").saying(say.NoSuchBath.Of())
	}
	if old := m.Standing(e.Into); old != nil && old != b {
		old.retire(t)
	}
	b.Name = e.Into
	return nil
}

func (m *Machine) overrideBath(s *Sheet, e Event, _ time.Duration) error {
	s.Overrides = append(s.Overrides, e.Bath)
	return nil
}

func (m *Machine) changeWater(_ *Sheet, e Event, t time.Duration) error {
	n := 0
	for _, v := range m.inWash(e.Bath) {
		v.Changes++
		v.ChangedT = t
		n++
	}
	if n == 0 {
		return refuse("nothing is in that wash").saying(say.NothingInWash.Of())
	}
	return nil
}

// inWash are the sheets that lie in the wash of that tray.
func (m *Machine) inWash(tray string) iter.Seq2[*Sheet, *Visit] {
	return func(yield func(*Sheet, *Visit) bool) {
		for _, s := range m.sheets {
			if v := s.open(); v != nil && v.Bath == tray && v.Stage == Wash && !yield(s, v) {
				return
			}
		}
	}
}
