package session

import (
	"cmp"
	"slices"
	"time"

	"wetside/session/say"
)

// A Deed is something the user's hands did that can be taken back. What was
// written (a note, a judgement, a mark's name) is put right instead.
type Deed struct {
	Kind  Kind
	Sheet string // identity; empty: a deed with a bath, the water or the room
	Num   int    // the sheet's number
	Bath  string // as in its event; of BathMixed the mix's identity
	T     time.Duration

	// How it was before. Never written to; what is in the sheet's lists goes on changing,
	// but for those kinds that keep it whole.
	serial int    // the visit that was left, or the one it happened in
	was    *Sheet // nil: there was none yet, or it is no deed with a sheet
	name   string // the bath's
	old    string // identity of the bath that was poured away for it
	water  []changed
}

// A changed is a visit whose water was changed, and when it was the time before.
type changed struct {
	sheet  string
	serial int
	at     time.Duration
}

// A way is how a kind of deed is taken back.
type way struct {
	back func(m *Machine, s *Sheet, d *Deed, t time.Duration) // does it, at session time t
	// note keeps, before it is done, what d needs beyond the sheet as it was; false:
	// hands did not do it. Nil: nothing.
	note func(m *Machine, d *Deed, e Event) bool
}

// backs has every kind of event that is a deed.
var backs = map[Kind]way{
	SheetAdded:     {(*Machine).addBack, func(m *Machine, d *Deed, _ Event) bool { d.Num = m.nums + 1; return true }},
	SheetWithdrawn: {back: (*Machine).withdrawBack},
	Remade:         {back: (*Machine).remakeBack},
	SheetOut:       {back: (*Machine).outAwayBack}, SheetAway: {back: (*Machine).outAwayBack},
	Loaded: {back: (*Machine).loadBack}, Unloaded: {back: (*Machine).loadBack},
	BoxOpened: {back: (*Machine).boxBack}, BoxAway: {back: (*Machine).boxBack},
	ExposureBegun: {back: (*Machine).exposeBack}, ExposureEnded: {back: (*Machine).exposeBack},
	PinholeCovered: {(*Machine).lightBack, noteWhole}, PinholeUncovered: {back: (*Machine).uncoverBack},
	LightChanged: {(*Machine).lightBack, noteWhole}, Retimed: {(*Machine).lightBack, noteWhole},
	Moved: {(*Machine).moveBack, byHand}, Held: {(*Machine).moveBack, byHand},
	ImageSeen:    {back: (*Machine).emergeBack},
	StepTimed:    {(*Machine).timeStepBack, noteWhole},
	WaterChanged: {(*Machine).waterBack, (*Machine).noteWater},
	Unseen:       {(*Machine).wholeBack, noteWhole}, ExposureTold: {(*Machine).wholeBack, noteWhole}, Developed: {(*Machine).wholeBack, noteWhole},
	// Of one that is spoiled already it is the reason, told afterwards: words.
	Spoiled: {(*Machine).spoilBack, func(_ *Machine, d *Deed, _ Event) bool { return d.was.Phase != Ruined }},
	Dried:   {back: (*Machine).afterWashBack}, Flattened: {back: (*Machine).afterWashBack},
	Marked:      {back: (*Machine).markBack},
	SafelightOn: {back: (*Machine).lampBack}, SafelightOff: {back: (*Machine).lampBack},
	BathMixed:    {(*Machine).bathBack, func(m *Machine, d *Deed, e Event) bool { d.Bath, d.old = e.Mix.ID, m.mixIn(e.Mix.Name); return true }},
	BathRetired:  {(*Machine).bathBack, func(_ *Machine, d *Deed, e Event) bool { d.old = e.Bath; return true }},
	BathPromoted: {(*Machine).bathBack, (*Machine).notePlace},
}

// byHand reports whether no clock had ended the visit.
func byHand(_ *Machine, d *Deed, _ Event) bool { return !d.was.ranOut(d.was.open(), d.T) }

func noteWhole(_ *Machine, d *Deed, _ Event) bool {
	d.was = d.was.clone()
	return true
}

func (m *Machine) noteWater(d *Deed, e Event) bool {
	for s, v := range m.inWash(e.Bath) {
		d.water = append(d.water, changed{s.ID, v.Serial, v.ChangedT})
	}
	return true
}

func (m *Machine) notePlace(d *Deed, e Event) bool {
	b := m.bathOf(e.Bath)
	if b == nil {
		return false
	}
	d.name, d.old = b.Name, m.mixIn(e.Into)
	return true
}

// wholeBack makes a sheet what it was. What was written of it since stays.
func (m *Machine) wholeBack(s *Sheet, d *Deed, _ time.Duration) { s.become(d.was) }

func (s *Sheet) become(was *Sheet) {
	now := *s
	*s = *was.clone()
	s.Notes, s.Marks, s.Judged, s.Scan, s.Undone, s.Corrected = now.Notes, now.Marks, now.Judged, now.Scan, now.Undone, now.Corrected
	s.serial = now.serial // no visit's number is used twice
}

// deedsKept is how many deeds can be taken back one after another.
const deedsKept = 500

// LastDeed returns the last deed that was not taken back, of the sheet or, with
// an empty identity, of all; ok is false when there is none.
func (m *Machine) LastDeed(sheet string) (d Deed, ok bool) {
	i := len(m.deeds) - 1
	if sheet != "" {
		i = m.lastOf(sheet)
	}
	if i < 0 {
		return Deed{}, false
	}
	return m.deeds[i], true
}

// lastOf is the index of the last deed of a sheet, or of those without one; -1: none.
func (m *Machine) lastOf(sheet string) int {
	i := len(m.deeds) - 1
	for i >= 0 && m.deeds[i].Sheet != sheet {
		i--
	}
	return i
}

func (m *Machine) did(d Deed) {
	if len(m.deeds) >= 2*deedsKept {
		m.deeds = slices.Clone(m.deeds[deedsKept:])
	}
	m.deeds = append(m.deeds, d)
}

// deed notes, before e is applied, what it takes to take it back; nil when e is
// no deed.
func (m *Machine) deed(s *Sheet, e Event, t time.Duration) *Deed {
	w, is := backs[e.Kind]
	if !is {
		return nil
	}
	d := &Deed{Kind: e.Kind, Sheet: e.Sheet, Bath: e.Bath, T: t}
	if s != nil {
		was := *s
		d.Num, d.was, d.serial = s.Num, &was, s.latest()
	}
	if w.note != nil && !w.note(m, d, e) {
		return nil
	}
	return d
}

// undo takes a deed back: the state is as if it had never been done, and the
// clocks of its bath or its light have gone on. What stays is what is in the
// paper (light that fell, time in the open) and what was written down since.
func (m *Machine) undo(s *Sheet, e Event, t time.Duration) error {
	if s != nil && e.From != 0 && s.latest() != e.From {
		return s.movedOn()
	}
	u := Undo{At: e.At, T: t, What: e.What}
	if e.What == "" {
		return m.undoMove(s, u)
	}
	i := m.lastOf(e.Sheet)
	if i < 0 || m.deeds[i].Kind != e.What || m.deeds[i].Bath != e.Bath {
		return refuse("something else was done since, or it was taken back already").saying(say.NothingToUndo.Of())
	}
	d := m.deeds[i]
	u.Since, u.Stage = d.T, s.leaves(d.Kind)
	left := m.leftIn(t)
	was := m.unclock(i)
	backs[d.Kind].back(m, s, &d, t)
	m.deeds = slices.Delete(m.deeds, i, i+1)
	if s = m.byID[d.Sheet]; s != nil {
		s.Undone = append(s.Undone, u)
		m.account(s)
		if v := s.open(); v != nil && e.What == Unseen {
			left[s.ID] = v.Serial // it did not go on by the clock, as far as anybody knows
		}
	}
	m.replan()
	m.catchUp(e, t, left)
	for _, o := range was {
		m.byID[o.ID].asBefore(o, m)
	}
	return nil
}

// undoMove is what an Undone without What does, as older programs wrote it: the
// last move is taken back, of a hand or a clock; of a sheet that is not wet the
// end of its exposure or its begin; or that it was spoiled.
func (m *Machine) undoMove(s *Sheet, u Undo) error {
	if s == nil {
		return refuse("there is no such sheet")
	}
	d := Deed{Kind: Moved, was: s}
	switch n := len(s.Visits); {
	case s.Phase == Finished && s.Told, s.Phase == Exposed && n == 0 && s.Light.Told:
		return refuse("sheet %d has no move to take back", s.Num) // no older program knows these
	case s.Phase == Ruined && s.whole != nil:
		d.Kind, u.Since = Spoiled, s.EndedT
	case s.Phase == Exposing:
		d.Kind, u.Since = ExposureBegun, s.Light.BegunT
	case s.Phase == Exposed && n == 0:
		d.Kind, u.Since = ExposureEnded, s.Light.EndedT
	case n == 0 || s.Phase == Ruined:
		return refuse("sheet %d has no move to take back", s.Num).saying(say.NoMoveBack.Of(say.Sheet(s.Num)))
	case s.Phase == Finished:
		d.serial, u.Since = s.Visits[n-1].Serial, s.EndedT
	default:
		u.Since = s.Visits[n-1].In
		if n > 1 {
			d.serial = s.Visits[n-2].Serial
		}
	}
	u.Stage = s.leaves(d.Kind)
	backs[d.Kind].back(m, s, &d, u.T)
	s.Undone = append(s.Undone, u)
	m.account(s)
	// What was done since cannot be taken back any more by itself.
	for i, move := m.lastOf(s.ID), false; i >= 0 && !move; i = m.lastOf(s.ID) {
		move = Undo{What: m.deeds[i].Kind}.Move()
		m.deeds = slices.Delete(m.deeds, i, i+1)
	}
	return nil
}

// leaves is the stage that a sheet leaves when its last deed of a kind is taken
// back; empty where it leaves none, or its end.
func (s *Sheet) leaves(k Kind) Stage {
	switch k {
	case ExposureBegun, ExposureEnded:
		return Exposure
	case Moved, Held:
		if v := s.open(); v != nil {
			return v.Stage
		}
	}
	return ""
}

// leftIn has the visits that a clock has ended by t and whose sheet the host leaves
// in, because it is not known what became of it: serials by sheet.
func (m *Machine) leftIn(t time.Duration) map[string]int {
	left := map[string]int{}
	for _, s := range m.sheets {
		if v := s.open(); v != nil && (v.Unseen || s.ranOut(v, t)) {
			left[s.ID] = v.Serial
		}
	}
	return left
}

func (s *Sheet) byClock(v *Visit) bool {
	return v.Step != Holding && s.Spec.Process.Steps[v.Step].ByClock
}

// ranOut reports whether a clock ends the visit, and has by t.
func (s *Sheet) ranOut(v *Visit, t time.Duration) bool {
	return v != nil && s.byClock(v) && v.In+v.AtMost <= t
}

// unclock takes back what clocks have moved since deed i, for it may have put them off
// or brought them on: in a wash also those of other sheets. What hands did since stays.
// It returns the sheets as they were.
func (m *Machine) unclock(i int) (was []*Sheet) {
	switch m.deeds[i].Kind {
	case Moved, Held, ImageSeen, StepTimed, Remade, Spoiled, Unseen:
	default:
		return nil // no clock of a bath hangs on it
	}
	for _, s := range m.sheets {
		if s.Phase != Wet && s.Phase != Finished || m.lastOf(s.ID) > i {
			continue
		}
		j := slices.IndexFunc(s.Visits, func(v Visit) bool {
			return !v.Open && !v.Unseen && s.ranOut(&v, v.Out) && v.Out >= m.deeds[i].T
		})
		if j >= 0 {
			was = append(was, s.clone())
			m.unmove(s, s.Visits[j].Serial)
		}
	}
	m.replan()
	return was
}

// asBefore gives the visits of a sheet that were made anew the numbers and baths that
// they had in was, as far as they are the same.
func (s *Sheet) asBefore(was *Sheet, m *Machine) {
	for j := range min(len(s.Visits), len(was.Visits)) {
		if v, o := &s.Visits[j], &was.Visits[j]; v.Step == o.Step {
			v.Mix = o.Mix
		}
	}
	same := func(v, o Visit) bool { return v.Step == o.Step && v.In == o.In && v.Out == o.Out }
	if s.Phase != was.Phase || !slices.EqualFunc(s.Visits, was.Visits, same) {
		return
	}
	for j := range s.Visits {
		v, o := &s.Visits[j], &was.Visits[j]
		if a := m.arrivalOf(s, v); a != nil {
			a.serial = o.Serial
		}
		v.Serial, v.InAt, v.OutAt = o.Serial, o.InAt, o.OutAt
	}
	s.serial, s.EndedAt, s.DryAt, s.FlatAt = was.serial, was.EndedAt, was.DryAt, was.FlatAt
}

// arrivalOf is the coming of a sheet into the water that it shares; nil: there is none.
func (m *Machine) arrivalOf(s *Sheet, v *Visit) *arrival {
	as := m.arrivals[v.Bath]
	if i := slices.IndexFunc(as, func(a arrival) bool { return a.sheet == s && a.serial == v.Serial }); i >= 0 {
		return &as[i]
	}
	return nil
}

// catchUp makes the moves that clocks would have made by t, but for those of visits
// that were left as they were.
func (m *Machine) catchUp(e Event, t time.Duration, left map[string]int) {
	for {
		s, v := m.nextByClock(t, left)
		if s == nil {
			return
		}
		end := v.In + v.AtMost
		if m.move(s, Event{Kind: Moved, At: e.At.Add(end - t), Sheet: s.ID, From: v.Serial}, end) != nil {
			return
		}
		m.replan()
	}
}

func (m *Machine) nextByClock(t time.Duration, left map[string]int) (next *Sheet, in *Visit) {
	for _, s := range m.sheets {
		v := s.open()
		if s.ranOut(v, t) && left[s.ID] != v.Serial && (in == nil || v.In+v.AtMost < in.In+in.AtMost) {
			next, in = s, v
		}
	}
	return next, in
}

// unmove takes moves back until the sheet is in the visit of that serial again;
// 0: until it is dry.
func (m *Machine) unmove(s *Sheet, serial int) {
	if s.Phase == Finished {
		s.Phase, s.EndedAt, s.EndedT = Wet, Instant{}, 0
		s.DryAt, s.FlatAt = Instant{}, Instant{}
		m.reopen(s)
	}
	for n := len(s.Visits); n > 0 && s.Visits[n-1].Serial > serial; n-- {
		v := s.Visits[n-1]
		if v.Serial == s.EmergedIn {
			s.Emerged, s.EmergedIn = 0, 0
		}
		if a := m.arrivals[v.Bath]; len(a) > 0 {
			m.arrivals[v.Bath] = slices.DeleteFunc(a, func(x arrival) bool { return x.sheet == s && x.serial == v.Serial })
		}
		s.Visits = s.Visits[:n-1]
		m.reopen(s)
	}
	if len(s.Visits) == 0 {
		// Back to where it was before it got wet. It stays out: only the user
		// knows whether it went back into the dark.
		s.Phase = Fresh
		if !s.Light.BegunAt.IsZero() {
			s.Phase = Exposed
		}
	}
}

// reopen makes the last visit the one the sheet is in.
func (m *Machine) reopen(s *Sheet) {
	n := len(s.Visits)
	if n == 0 {
		return
	}
	v := &s.Visits[n-1]
	if v.Stage == Fix && s.FixedT == v.Out {
		s.FixedT = 0
	}
	v.Open, v.Out, v.OutAt = true, 0, Instant{}
}

func (m *Machine) moveBack(s *Sheet, d *Deed, _ time.Duration) {
	m.unmove(s, d.serial)
	s.Overrides = s.Overrides[:min(len(d.was.Overrides), len(s.Overrides))]
}

func (m *Machine) emergeBack(s *Sheet, d *Deed, _ time.Duration) {
	if len(s.Visits) > 0 {
		m.unmove(s, d.serial) // moves that a clock made because of it
	}
	s.Emerged, s.EmergedIn = d.was.Emerged, d.was.EmergedIn
}

func (m *Machine) timeStepBack(s *Sheet, d *Deed, _ time.Duration) {
	m.unmove(s, d.serial)
	s.open().Set = d.was.open().Set
}

func (m *Machine) exposeBack(s *Sheet, d *Deed, t time.Duration) {
	l := &s.Light
	if d.Kind == ExposureBegun {
		l.shut(t)
		// Nobody can know whether light fell: it counts as if it did.
		s.Phase, *l = Fresh, Light{Spells: slices.DeleteFunc(l.Spells, func(x Spell) bool { return x.To <= x.From })}
		return
	}
	// As if it had not been ended: a pinhole that was open has been open since.
	if n := len(l.Spells); n > 0 && l.Spells[n-1].To == l.EndedT {
		l.Spells[n-1].To, l.Spells[n-1].Running, l.Open = 0, true, true
	}
	s.Phase, l.EndedAt, l.EndedT = Exposing, Instant{}, 0
}

// lightBack makes the light what it was. A pinhole that was open has been open
// since; what fell through one that was covered stays, in the light as it was.
func (m *Machine) lightBack(s *Sheet, d *Deed, _ time.Duration) {
	l := d.was.clone().Light
	if !l.Open {
		for _, sp := range s.Light.Spells[min(len(l.Spells), len(s.Light.Spells)):] {
			sp.Full = l.Full()
			l.Spells = append(l.Spells, sp)
		}
	}
	s.Light = l
}

func (m *Machine) uncoverBack(s *Sheet, _ *Deed, t time.Duration) {
	l := &s.Light
	l.shut(t)
	if n := len(l.Spells); n > 0 && l.Spells[n-1].To <= l.Spells[n-1].From {
		l.Spells = l.Spells[:n-1]
	}
}

func (m *Machine) spoilBack(s *Sheet, _ *Deed, _ time.Duration) {
	s.become(s.whole)
}

func (m *Machine) markBack(s *Sheet, d *Deed, _ time.Duration) { s.Marks = s.Marks[:len(d.was.Marks)] }

func (m *Machine) remakeBack(s *Sheet, d *Deed, _ time.Duration) {
	s.Spec, s.Corrected = d.was.Spec, s.Corrected[:len(d.was.Corrected)]
}

func (m *Machine) outAwayBack(s *Sheet, d *Deed, _ time.Duration) {
	s.Out, s.outs = d.was.Out, s.outs[:len(d.was.outs)]
}

func (m *Machine) lampBack(_ *Sheet, _ *Deed, _ time.Duration) {
	m.safelight = m.safelight[:len(m.safelight)-1]
	m.accountAll()
}

func (m *Machine) openBox(_ *Sheet, e Event, _ time.Duration) error {
	open := e.Kind == BoxOpened
	if m.box == open {
		return refuse("the box of paper: that is done already").saying(say.BoxIsSo.Of())
	}
	m.box = open
	return nil
}

func (m *Machine) boxBack(_ *Sheet, d *Deed, _ time.Duration) { m.box = d.Kind == BoxAway }

func (m *Machine) addBack(s *Sheet, _ *Deed, _ time.Duration) {
	m.remove(s)
	if s.Num == m.nums {
		m.nums--
	}
}

// withdraw takes away a sheet that was never there. Its number is not given to
// another: it was spoken.
func (m *Machine) withdraw(s *Sheet, _ Event, t time.Duration) error {
	if s.Phase != Fresh || s.Light.Share(t) > 0 {
		return refuse("sheet %d has had light: it can be spoiled, and not taken away", s.Num).saying(say.HasHadLight.Of(say.Sheet(s.Num)))
	}
	m.remove(s)
	return nil
}

func (m *Machine) remove(s *Sheet) {
	m.sheets = slices.DeleteFunc(m.sheets, func(x *Sheet) bool { return x == s })
	delete(m.byID, s.ID)
}

func (m *Machine) withdrawBack(_ *Sheet, d *Deed, _ time.Duration) {
	s := d.was.clone()
	i, _ := slices.BinarySearchFunc(m.sheets, s.Num, func(x *Sheet, n int) int { return cmp.Compare(x.Num, n) })
	m.sheets = slices.Insert(m.sheets, i, s)
	m.byID[s.ID] = s
}

// timeStep gives the step that runs another time.
func (m *Machine) timeStep(s *Sheet, e Event, t time.Duration) error {
	v := s.open()
	switch {
	case v == nil || v.Serial != e.From:
		return s.movedOn()
	case v.Step == Holding:
		return refuse("holding water has no time to set").saying(say.NoStep.Of())
	case !within(e.Planned, 1, maxStep):
		return refuse("a step takes more than nothing and at most 7 days")
	case e.Planned <= t-v.In-m.SetBack(s.ID):
		return refuse("sheet %d has been in as long already", s.Num).saying(say.BeenInAsLong.Of(say.Sheet(s.Num)))
	}
	v.Set = e.Planned
	return nil
}

// SetBack returns how long after a sheet came into its water the last unwashed
// one came; 0 elsewhere.
func (m *Machine) SetBack(sheet string) time.Duration {
	s := m.byID[sheet]
	if s == nil || s.open() == nil || s.open().Step == Holding || !s.Spec.Process.Steps[s.open().Step].Batch {
		return 0
	}
	return m.dirtied(s.open())
}

func (m *Machine) waterBack(_ *Sheet, d *Deed, _ time.Duration) {
	for _, c := range d.water {
		s := m.byID[c.sheet]
		if s == nil {
			continue
		}
		if i := slices.IndexFunc(s.Visits, func(v Visit) bool { return v.Serial == c.serial }); i >= 0 {
			s.Visits[i].Changes--
			s.Visits[i].ChangedT = c.at
		}
	}
}

func (m *Machine) bathBack(_ *Sheet, d *Deed, _ time.Duration) {
	switch b := m.bathOf(d.Bath); {
	case d.Kind == BathMixed:
		m.trays = slices.DeleteFunc(m.trays, func(b *Tray) bool { return b.Mix.ID == d.Bath })
	case d.Kind == BathPromoted && b != nil:
		b.Name = d.name
	}
	for _, b := range m.trays {
		if b.Mix.ID == d.old {
			b.Retired, b.RetiredT = false, 0
		}
	}
	// What a clock has moved since went into what stood there before.
	for _, s := range m.sheets {
		for i := range s.Visits {
			if v := &s.Visits[i]; v.In >= d.T && v.Step != Holding {
				v.Mix = m.mixIn(v.Bath)
			}
		}
	}
}
