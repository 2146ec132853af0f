package session

import (
	"cmp"
	"slices"
	"time"
)

// An Action is what the user's hands should be doing with a sheet.
type Action string

const (
	Nothing   Action = ""
	Rock      Action = "rock"              // agitate
	Rest      Action = "let it rest"       // between spells of agitation
	Judge     Action = "judge by eye"      // by inspection, the least time is over
	Lift      Action = "lift and drain"    // the step's last seconds
	MoveOn    Action = "move on"           // the step's time is over
	Soak      Action = "leave it in"       // a step without agitation
	Wait      Action = "waiting"           // exposed, or held in water
	OpenHole  Action = "pinhole open"      // exposing
	Covered   Action = "pinhole covered"   // exposing, the clock of light stands
	CoverHole Action = "cover the pinhole" // exposure is done
)

// A View says what is true at one instant. Sheets are in the order of their
// numbers.
type View struct {
	T      time.Duration
	Sheets []SheetView
	// Need lists the identities of the sheets that are wet or exposing, the one
	// that needs the user soonest first.
	Need []string
	// Due is the wet sheet that needs the user soonest; empty when none is wet.
	Due      string
	PaperOut bool
}

// Sheet returns the view of one sheet.
func (v View) Sheet(id string) (SheetView, bool) {
	if i := slices.IndexFunc(v.Sheets, func(s SheetView) bool { return s.ID == id }); i >= 0 {
		return v.Sheets[i], true
	}
	return SheetView{}, false
}

// A SheetView is one sheet at one instant.
type SheetView struct {
	ID, Name, Maker string
	Num             int
	Phase           Phase

	Visit   int    // serial of the present visit, for Moved; 0 when dry
	Stage   Stage  // present stage, Exposure included; empty when nothing runs
	Label   string // its name as the process calls it
	Bath    string
	Elapsed time.Duration
	AtLeast time.Duration
	AtMost  time.Duration // the target
	Left    time.Duration // to the target; 0 when reached. Covered: as if uncovered now
	Over    time.Duration // past the target
	Ends    time.Duration // session time of the target; meaningless while covered
	Judge   bool          // by inspection
	Emerged time.Duration
	Doing   Action
	NextIs  string // empty: the last bath
	ByClock bool
	// Water are the session times at which the water of a fill-and-dump wash is to
	// be changed, and Changed is when it was last; nil and 0 elsewhere.
	Water []time.Duration
	// Strips is when a strip of a test had or will have its light, as long as the pinhole
	// stays open; not the last one's, which is the end.
	Strips  []time.Duration
	Changed time.Duration

	Share float64       // exposure given
	Full  time.Duration // whole exposure in the present light
	Open  bool          // pinhole

	// What the sheet has had in the open of what it may have: under the safelight, or
	// before the screen where that is nearer its end.
	SafeUsed    time.Duration
	SafeAllowed time.Duration // 0: no figure, or none is safe
	SafeShare   float64       // used of it, 0 to 1 and on
	SafeScreen  bool          // it is the screen's
	SafeNone    bool          // the fog test's first step showed
}

// View says what is true at now. An instant before the last event counts as
// the last event's.
func (m *Machine) View(now Instant) View {
	t := max(m.T(now), m.now)
	v := View{T: t, Sheets: make([]SheetView, 0, len(m.sheets)), PaperOut: m.PaperOut()}
	for _, s := range m.sheets {
		v.Sheets = append(v.Sheets, m.sheetView(s, t))
	}
	need := slices.DeleteFunc(slices.Clone(v.Sheets), func(s SheetView) bool { return s.Phase != Wet && s.Phase != Exposing })
	slices.SortFunc(need, func(a, b SheetView) int {
		return cmp.Or(cmp.Compare(a.needed(), b.needed()), cmp.Compare(a.Num, b.Num))
	})
	for _, s := range need {
		v.Need = append(v.Need, s.ID)
		if s.Phase == Wet && v.Due == "" {
			v.Due = s.ID
		}
	}
	return v
}

// needed is when hands are needed for a sheet: at no time that is known for one that
// waits in water or behind a covered pinhole.
func (s SheetView) needed() time.Duration {
	if s.Stage == Hold || s.Phase == Exposing && !s.Open {
		return forever
	}
	return s.Ends
}

func (m *Machine) sheetView(s *Sheet, t time.Duration) SheetView {
	v := SheetView{ID: s.ID, Name: s.Spec.Name, Maker: s.Spec.Maker, Num: s.Num, Phase: s.Phase, Emerged: s.Emerged}
	v.safe(s, t)
	if n := s.NextStep(); n >= 0 {
		v.NextIs = s.Spec.Process.Steps[n].Label()
	}
	switch s.Phase {
	case Fresh:
		v.Share = s.Light.Share(t) // of an opening that was taken back
	case Exposed:
		v.Doing = Wait
		v.Elapsed = t - s.Light.EndedT
	case Exposing:
		m.lightView(s, t, &v)
	case Wet:
		m.bathView(s, t, &v)
	}
	return v
}

// safe is the account of the sheet's time in the open.
func (v *SheetView) safe(s *Sheet, t time.Duration) {
	v.SafeUsed, v.SafeAllowed = s.SafeUsed(t)
	v.SafeNone = s.Spec.Paper.Tested && v.SafeAllowed == 0
	if v.SafeAllowed > 0 {
		v.SafeShare = float64(v.SafeUsed) / float64(v.SafeAllowed)
	}
	used, share, allowed := s.ScreenUsed(t)
	sooner := share > v.SafeShare || share == v.SafeShare && allowed > 0 && (v.SafeAllowed == 0 || allowed < v.SafeAllowed)
	if sooner && !v.SafeNone {
		v.SafeUsed, v.SafeAllowed, v.SafeShare, v.SafeScreen = used, allowed, share, true
	}
}

func (m *Machine) lightView(s *Sheet, t time.Duration, v *SheetView) {
	l := &s.Light
	v.Stage, v.Label = Exposure, string(Exposure)
	v.Elapsed = l.OpenFor(t)
	v.Share, v.Full, v.Open = l.Share(t), l.Full(), l.Open
	v.Left = l.Left(1, t)
	v.AtMost = v.Elapsed + v.Left
	v.AtLeast = v.AtMost
	v.Ends = t + v.Left
	switch {
	case !l.Open:
		v.Doing = Covered
	case v.Share < 1:
		v.Doing = OpenHole
	default:
		v.Doing = CoverHole
	}
	for _, at := range s.strips() {
		v.Strips = append(v.Strips, at)
	}
	if l.Open && v.Left == 0 {
		v.Ends, _ = l.reach(1)
		v.Over = max(0, t-v.Ends)
	}
}

func (m *Machine) bathView(s *Sheet, t time.Duration, v *SheetView) {
	b := s.open()
	v.Visit, v.Stage, v.Label, v.Bath = b.Serial, b.Stage, b.Label, b.Bath
	v.Elapsed = t - b.In
	if b.Step == Holding {
		v.Doing = Wait
		return
	}
	st := s.Spec.Process.Steps[b.Step]
	v.AtLeast, v.AtMost, v.Judge, v.ByClock = b.AtLeast, b.AtMost, b.AtLeast < b.AtMost, st.ByClock
	v.Ends = b.In + b.AtMost
	v.Left = max(0, v.Ends-t)
	v.Over = max(0, t-v.Ends)
	v.Water, v.Changed = m.water(b, st), b.ChangedT
	drain := b.AtMost - st.Drain
	switch {
	case v.Left == 0:
		v.Doing = MoveOn
	case st.Drain > 0 && v.Elapsed >= drain:
		v.Doing = Lift
	case v.Judge && v.Elapsed >= b.AtLeast:
		v.Doing = Judge
	case st.Agitation == (Agitation{}):
		v.Doing = Soak
	default:
		v.Doing = Rest
		if _, ok := st.Agitation.rocked(drain, v.Elapsed); ok {
			v.Doing = Rock
		}
	}
}

// AutoMove returns the first move that a clock makes by itself up to now: of a sheet
// in a step that the clock ends, or whose next move is led. Moves that may not be made
// are passed over; a nil may allows all. ok is false when there is none. The host
// stores and applies it and asks again: a move can bring the next one due, and can put
// another off, where a sheet comes into the water of a wash.
func (m *Machine) AutoMove(now Instant, may func(Event) bool) (first Event, ok bool) {
	t := m.T(now)
	for _, s := range m.sheets {
		v := s.open()
		led := m.leads(s, v)
		if !s.ranOut(v, t) && !(led && v.In+v.AtMost <= t) {
			continue
		}
		end := v.In + v.AtMost
		e := Event{Kind: Moved, At: m.At(end), Sheet: s.ID, From: v.Serial, Led: led}
		if (!ok || end < m.T(first.At)) && (may == nil || may(e)) {
			first, ok = e, true
		}
	}
	return first, ok
}

// A Tap turns key presses into moves: a double tap and a held key are one. The
// zero value is ready.
type Tap struct {
	// Gap is how long a key must have been left alone before it counts; 0: one
	// second.
	Gap  time.Duration
	last Instant
	some bool
}

// tapGap is above the longest usual delay before a held key repeats (660 ms in
// X11), so that a key held from its first press never counts again.
const tapGap = time.Second

// Press reports whether a press at now counts. Every press, counted or not,
// starts the gap anew: a key held for a minute is one press.
func (p *Tap) Press(now Instant) bool {
	gap, since := cmp.Or(p.Gap, tapGap), now.Sub(p.last)
	ok := !p.some || since >= gap || since < 0
	p.last, p.some = now, true
	return ok
}
