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

	// How it was before, as far as the kind needs it. Never written to.
	serial   int // the visit that was left, or the one it happened in
	n        int // how long the list was that grew: outs, marks, overrides, safelight
	set      time.Duration
	out      bool
	emerged  time.Duration
	seenIn   int
	light    *Light
	spec     *SheetSpec
	sheet    *Sheet
	in, away Instant // of the sheet: into its camera, and out
	name     string  // the bath's
	old      string  // identity of the bath that was poured away for it
	water    []changed
}

// A changed is a visit whose water was changed, and when it was the time before.
type changed struct {
	sheet  string
	serial int
	at     time.Duration
}

// backs has every kind of event that is a deed, and what takes it back at session
// time t.
var backs = map[Kind]func(m *Machine, s *Sheet, d *Deed, t time.Duration){
	SheetAdded:       (*Machine).addBack,
	SheetWithdrawn:   (*Machine).withdrawBack,
	Remade:           (*Machine).remakeBack,
	SheetOut:         (*Machine).outAwayBack,
	SheetAway:        (*Machine).outAwayBack,
	Loaded:           (*Machine).loadBack,
	Unloaded:         (*Machine).loadBack,
	BoxOpened:        (*Machine).boxBack,
	BoxAway:          (*Machine).boxBack,
	ExposureBegun:    (*Machine).exposeBack,
	PinholeCovered:   (*Machine).lightBack,
	PinholeUncovered: (*Machine).uncoverBack,
	LightChanged:     (*Machine).lightBack,
	Retimed:          (*Machine).lightBack,
	ExposureEnded:    (*Machine).exposeBack,
	Moved:            (*Machine).moveBack,
	Held:             (*Machine).moveBack,
	ImageSeen:        (*Machine).emergeBack,
	StepTimed:        (*Machine).timeStepBack,
	WaterChanged:     (*Machine).waterBack,
	Unseen:           (*Machine).wholeBack,
	ExposureTold:     (*Machine).wholeBack,
	Developed:        (*Machine).wholeBack,
	Spoiled:          (*Machine).spoilBack,
	Dried:            (*Machine).afterWashBack,
	Flattened:        (*Machine).afterWashBack,
	Marked:           (*Machine).markBack,
	SafelightOn:      (*Machine).lampBack,
	SafelightOff:     (*Machine).lampBack,
	BathMixed:        (*Machine).bathBack,
	BathRetired:      (*Machine).bathBack,
	BathPromoted:     (*Machine).bathBack,
}

// wholeBack makes a sheet what it was. What was written of it since stays.
func (m *Machine) wholeBack(s *Sheet, d *Deed, _ time.Duration) { s.become(d.sheet) }

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
	for i := len(m.deeds) - 1; i >= 0; i-- {
		if d := m.deeds[i]; sheet == "" || d.Sheet == sheet {
			return d, true
		}
	}
	return Deed{}, false
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
	if backs[e.Kind] == nil {
		return nil
	}
	d := &Deed{Kind: e.Kind, Sheet: e.Sheet, Bath: e.Bath, T: t}
	if s != nil {
		d.Num, d.out, d.emerged, d.seenIn = s.Num, s.Out, s.Emerged, s.EmergedIn
		if n := len(s.Visits); n > 0 {
			d.serial, d.set = s.Visits[n-1].Serial, s.Visits[n-1].Set
		}
	}
	switch e.Kind {
	case SheetAdded:
		d.Num = m.nums + 1
	case SheetWithdrawn:
		d.sheet = s
	case Unseen, ExposureTold, Developed:
		d.sheet = s.clone()
	case Remade:
		spec := s.Spec
		d.spec, d.n = &spec, len(s.Corrected)
	case SheetOut, SheetAway, Loaded, Unloaded:
		d.n, d.in, d.away = len(s.outs), s.LoadedAt, s.UnloadedAt
	case Marked:
		d.n = len(s.Marks)
	case PinholeCovered, LightChanged, Retimed:
		d.light = &s.clone().Light
	case Moved, Held:
		d.n = len(s.Overrides)
		if v := s.open(); v != nil && s.byClock(v) && v.In+v.AtMost <= t {
			return nil // the clock did it
		}
	case Spoiled:
		if s.Phase == Ruined {
			return nil // its reason, told afterwards: words
		}
	case SafelightOn, SafelightOff:
		d.n = len(m.safelight)
	case WaterChanged:
		for _, s := range m.sheets {
			if v := s.open(); v != nil && v.Bath == e.Bath && v.Stage == Wash {
				d.water = append(d.water, changed{s.ID, v.Serial, v.ChangedT})
			}
		}
	case BathMixed:
		d.Bath = e.Mix.ID
		if b := m.Standing(e.Mix.Name); b != nil {
			d.old = b.Mix.ID
		}
	case BathPromoted:
		if b := m.bathOf(e.Bath); b != nil {
			d.name = b.Name
		}
		if b := m.Standing(e.Into); b != nil && b.Mix.ID != e.Bath {
			d.old = b.Mix.ID
		}
	}
	return d
}

// undo takes a deed back: the state is as if it had never been done, and the
// clocks of its bath or its light have gone on. What stays is what is in the
// paper (light that fell, time in the open) and what was written down since.
func (m *Machine) undo(s *Sheet, e Event, t time.Duration) error {
	if s != nil && e.From != 0 {
		if n := len(s.Visits); n == 0 || s.Visits[n-1].Serial != e.From {
			return refuse("sheet %d has moved on already", s.Num).saying(say.AlreadyMoved.Of(say.Sheet(s.Num)))
		}
	}
	u := Undo{At: e.At, T: t, What: e.What}
	if e.What == "" {
		return m.undoMove(s, u)
	}
	i := m.toUndo(e)
	if i < 0 {
		return refuse("something else was done since, or it was taken back already").saying(say.NothingToUndo.Of())
	}
	d := m.deeds[i]
	u.Since = d.T
	if s != nil {
		u.Stage = s.leaves(d.Kind)
	}
	left := m.leftIn(t)
	was := m.unclock(i)
	backs[d.Kind](m, s, &d, t)
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

// toUndo finds the deed that e takes back; -1 when it is not the last of its
// sheet, or of those without one.
func (m *Machine) toUndo(e Event) int {
	for i := len(m.deeds) - 1; i >= 0; i-- {
		if d := m.deeds[i]; d.Sheet == e.Sheet {
			if d.Kind == e.What && d.Bath == e.Bath {
				return i
			}
			return -1
		}
	}
	return -1
}

// undoMove is what an Undone without What does, as older programs wrote it: the
// last move is taken back, of a hand or a clock; of a sheet that is not wet the
// end of its exposure or its begin; or that it was spoiled.
func (m *Machine) undoMove(s *Sheet, u Undo) error {
	if s == nil {
		return refuse("there is no such sheet")
	}
	d := Deed{Kind: Moved, n: len(s.Overrides)}
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
	backs[d.Kind](m, s, &d, u.T)
	s.Undone = append(s.Undone, u)
	m.account(s)
	// What was done since cannot be taken back any more by itself.
	for i := len(m.deeds) - 1; i >= 0; i-- {
		if x := m.deeds[i]; x.Sheet == s.ID {
			m.deeds = slices.Delete(m.deeds, i, i+1)
			if (Undo{What: x.Kind}).Move() {
				break
			}
		}
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
		if v := s.open(); v != nil && (v.Unseen || s.byClock(v) && v.In+v.AtMost <= t) {
			left[s.ID] = v.Serial
		}
	}
	return left
}

func (s *Sheet) byClock(v *Visit) bool {
	return v.Step != Holding && s.Spec.Process.Steps[v.Step].ByClock
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
		if s.Phase != Wet && s.Phase != Finished || slices.ContainsFunc(m.deeds[i+1:], func(d Deed) bool { return d.Sheet == s.ID }) {
			continue
		}
		j := slices.IndexFunc(s.Visits, func(v Visit) bool {
			return !v.Open && !v.Unseen && s.byClock(&v) && v.Out >= m.deeds[i].T && v.Out >= v.In+v.AtMost
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
	same := len(s.Visits) == len(was.Visits) && s.Phase == was.Phase
	for j := range min(len(s.Visits), len(was.Visits)) {
		v, o := &s.Visits[j], &was.Visits[j]
		if v.Step == o.Step {
			v.Mix = o.Mix
		}
		same = same && v.Step == o.Step && v.In == o.In && v.Out == o.Out
	}
	if !same {
		return
	}
	for j := range s.Visits {
		v, o := &s.Visits[j], &was.Visits[j]
		for k, a := range m.arrivals[v.Bath] {
			if a.sheet == s && a.serial == v.Serial {
				m.arrivals[v.Bath][k].serial = o.Serial
			}
		}
		v.Serial, v.InAt, v.OutAt = o.Serial, o.InAt, o.OutAt
	}
	s.serial, s.EndedAt, s.DryAt, s.FlatAt = was.serial, was.EndedAt, was.DryAt, was.FlatAt
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
		if v == nil || !s.byClock(v) || v.In+v.AtMost > t || left[s.ID] == v.Serial {
			continue
		}
		if in == nil || v.In+v.AtMost < in.In+in.AtMost {
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
	s.Overrides = s.Overrides[:min(d.n, len(s.Overrides))]
}

func (m *Machine) emergeBack(s *Sheet, d *Deed, _ time.Duration) {
	if len(s.Visits) > 0 {
		m.unmove(s, d.serial) // moves that a clock made because of it
	}
	s.Emerged, s.EmergedIn = d.emerged, d.seenIn
}

func (m *Machine) timeStepBack(s *Sheet, d *Deed, _ time.Duration) {
	m.unmove(s, d.serial)
	s.open().Set = d.set
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
	was := Sheet{Light: *d.light}
	l := was.clone().Light
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

func (m *Machine) markBack(s *Sheet, d *Deed, _ time.Duration) { s.Marks = s.Marks[:d.n] }

func (m *Machine) remakeBack(s *Sheet, d *Deed, _ time.Duration) {
	s.Spec, s.Corrected = *d.spec, s.Corrected[:d.n]
}

func (m *Machine) outAwayBack(s *Sheet, d *Deed, _ time.Duration) {
	s.Out, s.outs = d.out, s.outs[:d.n]
}

func (m *Machine) lampBack(_ *Sheet, d *Deed, _ time.Duration) {
	m.safelight = m.safelight[:d.n]
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
	s := d.sheet.clone()
	i, _ := slices.BinarySearchFunc(m.sheets, s.Num, func(x *Sheet, n int) int { return cmp.Compare(x.Num, n) })
	m.sheets = slices.Insert(m.sheets, i, s)
	m.byID[s.ID] = s
}

// timeStep gives the step that runs another time.
func (m *Machine) timeStep(s *Sheet, e Event, t time.Duration) error {
	v := s.open()
	switch {
	case v == nil || v.Serial != e.From:
		return refuse("sheet %d has moved on already", s.Num).saying(say.AlreadyMoved.Of(say.Sheet(s.Num)))
	case v.Step == Holding:
		return refuse("holding water has no time to set").saying(say.NoStep.Of())
	case e.Planned <= 0 || e.Planned > maxStep:
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
		for i := range s.Visits {
			if v := &s.Visits[i]; v.Serial == c.serial {
				v.Changes--
				v.ChangedT = c.at
			}
		}
	}
}

func (m *Machine) bathBack(_ *Sheet, d *Deed, _ time.Duration) {
	restore := func(id string) {
		for _, b := range m.trays {
			if b.Mix.ID == id {
				b.Retired, b.RetiredT = false, 0
			}
		}
	}
	switch d.Kind {
	case BathRetired:
		restore(d.Bath)
	case BathPromoted:
		if b := m.bathOf(d.Bath); b != nil {
			b.Name = d.name
		}
		restore(d.old)
	case BathMixed:
		m.trays = slices.DeleteFunc(m.trays, func(b *Tray) bool { return b.Mix.ID == d.Bath })
		restore(d.old)
	}
	// What a clock has moved since went into what stood there before.
	for _, s := range m.sheets {
		for i := range s.Visits {
			if v := &s.Visits[i]; v.In >= d.T && v.Step != Holding {
				v.Mix = ""
				if b := m.Standing(v.Bath); b != nil {
					v.Mix = b.Mix.ID
				}
			}
		}
	}
}
