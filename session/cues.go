package session

import (
	"cmp"
	"fmt"
	"iter"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"wetside/session/say"
)

// The rhythm of what is heard. Common practice, no source: the user is called
// again soon, then less and less often, and never left in silence for more
// than a minute.
var callGaps = []time.Duration{8 * time.Second, 12 * time.Second, 18 * time.Second, 27 * time.Second, 40 * time.Second}

const (
	callSteady = time.Minute
	rockPeriod = 3 * time.Second  // a tray is rocked one side up about each 3 s; common practice, no source
	alivePulse = 30 * time.Second // "the program is alive" in long waits
	aliveFrom  = 5 * time.Minute  // what counts as a long wait
	// rockLag puts the call to agitate after the name of a stage that begins with
	// it, so that neither hides the other.
	rockLag = 2500 * time.Millisecond
	// ledLag puts the call to agitate behind the words of the move that led there.
	ledLag = 2600 * time.Millisecond
	// soonLead is how long before a led move its count begins. Where a call to lift
	// comes within soonDrain of it, that is the warning.
	soonLead  = 4300 * time.Millisecond
	soonDrain = 7 * time.Second
)

// span collects cues that fall into from <= T < to.
type span struct {
	m        *Machine
	from, to time.Duration
	named    bool
	among    bool
	out      []Cue
}

func (sp *span) add(t time.Duration, s *Sheet, key string, c Cue) {
	if t < sp.from || t >= sp.to {
		return
	}
	c.T, c.At, c.Sheet, c.Num, c.Named, c.Among = t, sp.m.At(t), s.ID, s.Num, sp.named, sp.among
	c.Key = fmt.Sprintf("%d/%s", s.Num, key)
	sp.out = append(sp.out, c)
}

// each calls fn for k = 0, 1, ... with the instants start + k*every that lie
// before end and inside the span; it does not walk through those outside.
func (sp *span) each(start, every, end time.Duration, fn func(k int, t time.Duration)) {
	k := 0
	if start < sp.from {
		k = int((sp.from - start + every - 1) / every)
	}
	for t := start + time.Duration(k)*every; t < end && t < sp.to; t += every {
		fn(k, t)
		k++
	}
}

// Cues says what must be heard from from (included) to to (not included), as
// the state now stands, in the order of time. The cues of two adjoining spans
// are the cues of both as one.
func (m *Machine) Cues(from, to Instant) []Cue {
	return m.CuesWith(from, to, nil)
}

// CuesWith is Cues together with cues from elsewhere, which are in the order of
// time and go from [Warm] before from to [Ahead] behind to: all of them as [Arrange] puts them.
func (m *Machine) CuesWith(from, to Instant, more []Cue) []Cue {
	f, t := m.T(from), m.T(to)
	all := m.cues(f-Warm, t+Ahead)
	if len(more) > 0 {
		all = append(all, more...)
		slices.SortStableFunc(all, func(a, b Cue) int { return cmp.Compare(a.T, b.T) })
	}
	return slices.DeleteFunc(Arrange(all), func(c Cue) bool { return c.T < f || c.T >= t })
}

// StillSo reports whether what a cue said is so still of all its sheets: it is not where
// the step or the exposure that it is about goes on for another time than it did. What
// ends with them, a move takes back.
func (m *Machine) StillSo(c Cue) bool {
	keys := append(strings.Fields(c.Also), c.Key)
	given := m.cues(c.T-Warm, c.T+1)
	return !slices.ContainsFunc(m.sheets, func(s *Sheet) bool {
		of := s.ID == c.Sheet || c.Numbers()&say.Num(s.Num) != 0
		return of && s.inStage(c) && !slices.ContainsFunc(given, func(o Cue) bool { return o.Num == s.Num && slices.Contains(keys, o.Key) })
	})
}

// inStage reports whether what a cue is about still goes on.
func (s *Sheet) inStage(c Cue) bool {
	if v := s.open(); v != nil {
		return c.Stage == v.Stage && c.T >= v.In
	}
	return s.Phase == Exposing && c.Stage == Exposure
}

// cues are those of every sheet, each at its own instant.
func (m *Machine) cues(from, to time.Duration) []Cue {
	sp := &span{m: m, from: from, to: to}
	n := 0
	for _, s := range m.sheets {
		if s.Phase == Wet || s.Phase == Exposing {
			n++
		}
	}
	sp.named, sp.among = len(m.sheets) > 1, n > 1
	for _, s := range m.sheets {
		sp.light(s)
		sp.baths(s)
		sp.ends(s)
		sp.safe(s)
	}
	sp.washes()
	slices.SortStableFunc(sp.out, func(a, b Cue) int {
		return cmp.Or(cmp.Compare(a.T, b.T), cmp.Compare(a.Num, b.Num))
	})
	return sp.out
}

func (sp *span) light(s *Sheet) {
	l := &s.Light
	if l.BegunAt.IsZero() || l.Told {
		return
	}
	had := l.Share(l.BegunT) // by light that was taken back
	sp.add(l.BegunT, s, fmt.Sprintf("light/on/%d", len(s.Undone)), Cue{Kind: CueLightOn, Stage: Exposure, For: toCome(had, l.Planned)})
	sp.spells(s)
	for i, r := range l.Readings {
		sp.add(r.T, s, fmt.Sprintf("light/reading/%d", i), Cue{Kind: CueRelight, Stage: Exposure, Left: toCome(l.Share(r.T), r.Full), For: r.Open, N: int(math.Round(r.Stops * 3))})
	}
	if l.Open {
		sp.lightLeft(s)
	}
}

// toCome is what is left of an exposure in its light, so much of it being given.
func toCome(given float64, full time.Duration) time.Duration {
	return max(0, time.Duration(math.Round((1-given)*float64(full))))
}

// spells tells when the pinhole was opened again, and covered. A spell that follows
// another without a gap is a change of light.
func (sp *span) spells(s *Sheet) {
	l, reading := &s.Light, 0
	first := max(0, slices.IndexFunc(l.Spells, func(x Spell) bool { return x.From >= l.BegunT }))
	for i := first; i < len(l.Spells); i++ {
		x := l.Spells[i]
		for i > first && reading < len(l.Readings) && l.Readings[reading].T < x.From {
			reading++ // one made while the pinhole was covered
		}
		switch {
		case i == first:
		case l.Spells[i-1].To == x.From && reading < len(l.Readings) && l.Readings[reading].T == x.From:
			reading++
		default:
			sp.add(x.From, s, fmt.Sprintf("light/open/%d", i), Cue{Kind: CueUncovered, Stage: Exposure, Left: toCome(l.Share(x.From), x.Full)})
		}
		if goesOn := i+1 < len(l.Spells) && l.Spells[i+1].From == x.To; !x.Running && !goesOn {
			sp.add(x.To, s, fmt.Sprintf("light/shut/%d", i), Cue{Kind: CueCovered, Stage: Exposure})
		}
	}
}

// lightLeft tells what is to come of an exposure whose pinhole is open.
func (sp *span) lightLeft(s *Sheet) {
	l := &s.Light
	end, _ := l.reach(1)
	begun := l.Spells[len(l.Spells)-1].From
	key := fmt.Sprintf("light/%d/", len(l.Spells)) // the rest is reckoned anew in each spell
	for i, at := range s.strips() {
		sp.add(at, s, fmt.Sprintf("%sstrip/%d", key, i), Cue{Kind: CueLightOff, Stage: Exposure, N: i + 1, Left: end - at})
	}
	if half, ok := l.reach(0.5); ok && s.Spec.Test() == nil {
		sp.add(half, s, key+"half", Cue{Kind: CueHalf, Stage: Exposure, Left: end - half})
	}
	// Not in the first instants of a spell: its own announcement says the time.
	if at := end - time.Minute; at > begun {
		sp.add(at, s, key+"minute", Cue{Kind: CueMinutes, Stage: Exposure, Left: time.Minute})
	}
	if at := end - 10*time.Second; at > begun {
		sp.add(at, s, key+"ten", Cue{Kind: CueTen, Stage: Exposure, Left: 10 * time.Second})
	}
	sp.pips(s, begun, end, key, Cue{Stage: Exposure})
	sp.add(end, s, key+"off", Cue{Kind: CueLightOff, Stage: Exposure})
	sp.calls(s, end, key, Cue{Stage: Exposure})
}

// strips are the instants at which a strip of a test has its light, in the spell that
// runs; not of the last, which is the end.
func (s *Sheet) strips() iter.Seq2[int, time.Duration] {
	return func(yield func(int, time.Duration) bool) {
		test := s.Spec.Test()
		if test == nil {
			return
		}
		for i, share := range test.Shares[:max(0, len(test.Shares)-1)] {
			if at, ok := s.Light.reach(share); ok && !yield(i, at) {
				return
			}
		}
	}
}

func (sp *span) baths(s *Sheet) {
	if s.Told {
		return // nobody was here
	}
	for i := range s.Visits {
		v := s.Visits[i]
		sp.begin(s, v)
		if s.Emerged > 0 && s.EmergedIn == v.Serial {
			sp.add(v.In+s.Emerged, s, fmt.Sprintf("%d/seen", v.Serial),
				Cue{Kind: CueSeen, Stage: v.Stage, Label: v.Label, Left: max(0, v.AtMost-s.Emerged)})
		}
		if v.LedOut { // its call may still be waiting for another's
			sp.move(s, v, v.Out, Cue{Stage: v.Stage, Label: v.Label, Next: s.following(&v), Led: true})
		}
		if v.Open && v.Step != Holding {
			sp.visits(s, v)
		}
	}
}

// visits tells of the one that is under way, and of what follows: beyond a step that
// its clock ends it is foreseeable.
func (sp *span) visits(s *Sheet, v Visit) {
	clears := s.cleared()
	for serial := s.serial + 1; ; serial++ {
		st := s.Spec.Process.Steps[v.Step]
		clears = clears || st.Stage == Clear // for its full time: its clock ends it
		sp.bath(s, v, st)
		end := v.In + v.AtMost
		if !st.ByClock || end >= sp.to {
			return
		}
		if v.Step+1 >= len(s.Spec.Process.Steps) {
			sp.add(end, s, fmt.Sprintf("done/%d", len(s.Undone)), Cue{Kind: CueDone})
			return
		}
		st = s.Spec.Process.Steps[v.Step+1]
		v = Visit{Serial: serial, Step: v.Step + 1, Stage: st.Stage, Label: st.Label(), Bath: st.Bath, In: end, Open: true}
		sp.m.planAfter(s, &v, clears)
		sp.begin(s, v)
	}
}

func (sp *span) begin(s *Sheet, v Visit) {
	c := Cue{Kind: CueBegin, Stage: v.Stage, Label: v.Label, Led: v.Led}
	if v.Step != Holding {
		st := s.Spec.Process.Steps[v.Step]
		c.For = st.AtMost
		if st.ByInspection() && st.AtLeast > 0 {
			c.For = st.AtLeast // the first moment that matters
		}
		if v.Short {
			c.For = st.ShortAfter
		}
	}
	sp.add(v.In, s, fmt.Sprintf("%d/begin", v.Serial), c)
}

// move adds the call to move on from a visit.
func (sp *span) move(s *Sheet, v Visit, at time.Duration, base Cue) {
	base.Kind = CueMove
	sp.add(at, s, fmt.Sprintf("%d/move/%d", v.Serial, v.AtMost/time.Millisecond), base)
}

// following is the stage that comes behind a visit's; empty: none.
func (s *Sheet) following(v *Visit) Stage {
	if n := v.Step + 1; n < len(s.Spec.Process.Steps) {
		return s.Spec.Process.Steps[n].Stage
	}
	return ""
}

// bath adds the cues of a visit that is under way.
func (sp *span) bath(s *Sheet, v Visit, st Step) {
	key := func(what string, n time.Duration) string {
		return fmt.Sprintf("%d/%s/%d", v.Serial, what, n/time.Millisecond)
	}
	base := Cue{Stage: v.Stage, Label: v.Label}
	cue := func(k CueKind, left time.Duration) Cue {
		c := base
		c.Kind, c.Left = k, left
		return c
	}
	end := v.In + v.AtMost
	lift := end - st.Drain
	sp.agitation(s, v, st, lift, base)
	if within(v.AtLeast, 1, v.AtMost-1) {
		sp.add(v.In+v.AtLeast, s, key("judge", v.AtLeast), cue(CueAtLeast, v.AtMost-v.AtLeast))
	}
	// Minutes, counted from the end, but not at the very begin, nor where a
	// dirtied wash begins again: that is announced with its time.
	whole := (v.AtMost - sp.m.dirtied(&v) - 1) / time.Minute
	sp.each(end-whole*time.Minute, time.Minute, end, func(_ int, t time.Duration) {
		c := cue(CueMinutes, end-t)
		c.N = int(c.Left / time.Minute)
		sp.add(t, s, fmt.Sprintf("%d/left/%d/%d", v.Serial, c.N, v.AtMost/time.Millisecond), c)
	})
	if v.AtMost > 30*time.Second {
		sp.add(end-30*time.Second, s, key("thirty", v.AtMost), cue(CueThirty, 30*time.Second))
	}
	// The call to lift says as much as ten seconds would; both at once say less.
	if v.AtMost > 10*time.Second && (st.Drain-10*time.Second).Abs() > 2*time.Second {
		sp.add(end-10*time.Second, s, key("ten", v.AtMost), cue(CueTen, 10*time.Second))
	}
	if st.Drain > 0 {
		c := cue(CueDrain, 0)
		c.For = st.Drain
		sp.add(lift, s, key("drain", v.AtMost), c)
	}
	for i, t := range sp.m.water(&v, st) {
		c := cue(CueChange, 0)
		if c.N = i + 1; v.ChangedT >= t {
			c.until = v.ChangedT
		}
		sp.add(t, s, key("water", t-v.In), c)
	}
	if v.AtMost >= aliveFrom && st.Agitation == (Agitation{}) {
		sp.each(v.In+alivePulse, alivePulse, end, func(_ int, t time.Duration) {
			if (end-t)%time.Minute != 0 { // a minute speaks for itself
				sp.add(t, s, key("alive", t-v.In), cue(CueAlive, 0))
			}
		})
	}
	if !st.ByClock {
		sp.due(s, v, st, base)
	}
}

// due tells that a visit is to be ended by hand.
func (sp *span) due(s *Sheet, v Visit, st Step, base Cue) {
	end, key := v.In+v.AtMost, fmt.Sprintf("%d/%d/", v.Serial, v.AtMost/time.Millisecond)
	base.Next, base.Led = s.following(&v), sp.m.leads(s, &v)
	if base.Led && end-soonLead > v.In && !within(st.Drain, 1, soonDrain) {
		soon := base
		soon.Kind = CueSoon
		sp.add(end-soonLead, s, fmt.Sprintf("%d/soon/%d", v.Serial, v.AtMost/time.Millisecond), soon)
	}
	sp.move(s, v, end, base)
	sp.pips(s, v.In, end, key, base)
	if !base.Led {
		sp.calls(s, end, key, base)
	}
}

// water returns when the water of a fill-and-dump wash is to be changed.
func (m *Machine) water(v *Visit, st Step) (out []time.Duration) {
	back := m.dirtied(v)
	for k := 1; k < st.Changes; k++ {
		out = append(out, v.In+back+(v.AtMost-back)*time.Duration(k)/time.Duration(st.Changes))
	}
	return out
}

// shaken reports whether a sheet that lies in the tray too has it rocked at t, in a
// spell begun before from; of two begun together the one of the first sheet.
func (sp *span) shaken(s *Sheet, tray string, from, t time.Duration) bool {
	for _, o := range sp.m.sheets {
		v := o.open()
		if o == s || v == nil || v.Step == Holding || v.Bath != tray || tray == "" {
			continue
		}
		st := o.Spec.Process.Steps[v.Step]
		if at, ok := st.Agitation.rocked(v.AtMost-st.Drain, t-v.In); ok && (v.In+at < from || v.In+at == from && o.Num < s.Num) {
			return true
		}
	}
	return false
}

func (sp *span) agitation(s *Sheet, v Visit, st Step, until time.Duration, base Cue) {
	for x := range st.Agitation.spells(sp.from-v.In, until-v.In) {
		from, to := v.In+x.From, v.In+x.To
		k := x.From / max(st.Agitation.Every, 1)
		on := from
		if from == v.In {
			if on += rockLag; v.Led {
				on += ledLag
			}
		}
		if from >= sp.to {
			return
		}
		if on >= to {
			continue // too short to be called
		}
		c := base
		c.Kind, c.For = CueRockOn, to-from
		// Sheets in one tray are rocked together: it is begun once and ended once.
		if !sp.shaken(s, v.Bath, from, on) {
			sp.add(on, s, fmt.Sprintf("%d/rock/%d", v.Serial, k), c)
		}
		c.Kind, c.For = CueRock, 0
		sp.each(from+rockPeriod, rockPeriod, to, func(n int, t time.Duration) {
			c.N = n
			if !sp.shaken(s, v.Bath, from, t) {
				sp.add(t, s, fmt.Sprintf("%d/tick/%d/%d", v.Serial, k, n), c)
			}
		})
		if to == until || sp.shaken(s, v.Bath, to+1, to) {
			continue // the call to lift, or to move on, says that too; or others are rocked on
		}
		c.Kind = CueRockOff
		sp.add(to, s, fmt.Sprintf("%d/rest/%d/%d", v.Serial, k, (to-v.In)/time.Millisecond), c)
	}
}

// pips adds three, two and one before end, so that the hand acts on the beat.
func (sp *span) pips(s *Sheet, from, end time.Duration, key string, base Cue) {
	base.Kind = CuePip
	for n := 3; n > 0; n-- {
		if t := end - time.Duration(n)*time.Second; t > from {
			base.N = n
			sp.add(t, s, fmt.Sprintf("%spip/%d", key, n), base)
		}
	}
}

// calls adds the repeated calls and the overrun minutes after due.
func (sp *span) calls(s *Sheet, due time.Duration, key string, base Cue) {
	base.Kind = CueCall
	t := due
	for i, g := range callGaps {
		t += g
		base.N, base.Over = i+1, t-due
		sp.add(t, s, fmt.Sprintf("%scall/%d", key, i), base)
	}
	sp.each(t+callSteady, callSteady, forever, func(k int, at time.Duration) {
		base.N, base.Over = len(callGaps)+k+1, at-due
		sp.add(at, s, fmt.Sprintf("%scall/%d", key, len(callGaps)+k), base)
	})
	base.Kind, base.N = CueOver, 0
	sp.each(due+time.Minute, time.Minute, forever, func(k int, at time.Duration) {
		base.Over = at - due
		sp.add(at, s, fmt.Sprintf("%sover/%d", key, k), base)
	})
}

func (sp *span) ends(s *Sheet) {
	for i, u := range s.Undone {
		if !u.Move() {
			continue
		}
		c := Cue{Kind: CueBack}
		if i == len(s.Undone)-1 {
			if v := s.open(); v != nil {
				c.Stage, c.Label = v.Stage, v.Label
			}
		}
		sp.add(u.T, s, fmt.Sprintf("back/%d", i), c)
	}
	switch s.Phase {
	case Finished:
		sp.add(s.EndedT, s, fmt.Sprintf("done/%d", len(s.Undone)), Cue{Kind: CueDone})
	case Ruined:
		sp.add(s.EndedT, s, fmt.Sprintf("spoiled/%d", len(s.Undone)), Cue{Kind: CueSpoiled})
	}
}

// safe tells when half and all is used of the time that a sheet may lie in the
// open: under the safelight or before the screen, whichever ends first.
func (sp *span) safe(s *Sheet) {
	if sp.screen(s) {
		return
	}
	n := len(s.Open)
	if n == 0 || !s.Open[n-1].Running {
		return
	}
	start := s.Open[n-1].From
	used, _ := s.SafeUsed(start)
	allowed, known := s.Spec.Paper.SafeFor(s.Phase != Fresh)
	if !known {
		return
	}
	if allowed <= 0 {
		sp.add(start, s, "safe/none", Cue{Kind: CueSafeAll})
		return
	}
	if half := allowed / 2; used < half {
		sp.add(start+half-used, s, fmt.Sprintf("safe/half/%d", allowed), Cue{Kind: CueSafeHalf, Left: allowed - half})
	}
	if used < allowed {
		sp.add(start+allowed-used, s, fmt.Sprintf("safe/all/%d", allowed), Cue{Kind: CueSafeAll})
	}
}

// screen tells it of the screen; false: the safelight's time is the shorter.
func (sp *span) screen(s *Sheet) bool {
	n := len(s.Screen)
	if n == 0 || !s.Screen[n-1].Running {
		return false
	}
	now := s.Screen[n-1]
	used, share, allowed := s.ScreenUsed(now.From)
	if allowed == 0 {
		return false
	}
	ends := now.From + allowed - used
	if safe, known := s.Spec.Paper.SafeFor(s.Phase != Fresh); known {
		if m := len(s.Open); m > 0 && s.Open[m-1].Running {
			had, _ := s.SafeUsed(s.Open[m-1].From)
			if s.Open[m-1].From+safe-had <= ends {
				return false
			}
		}
	}
	if share >= 1 {
		return true // it was told
	}
	tone := s.Spec.Paper.FirstTone
	at := func(part float64) time.Duration {
		return now.From + time.Duration((part-share)*tone/now.Lux*float64(time.Second))
	}
	if share < 0.5 {
		half := at(0.5)
		sp.add(half, s, "screen/half", Cue{Kind: CueSafeHalf, Left: ends - half, Screen: true})
	}
	sp.add(ends, s, "screen/all", Cue{Kind: CueSafeAll, Screen: true})
	return true
}

// washes says once, for each unwashed sheet that came into water others were
// being washed in, that their clock begins again.
func (sp *span) washes() {
	for _, bath := range slices.Sorted(maps.Keys(sp.m.arrivals)) {
		for i, a := range sp.m.arrivals[bath] {
			if i == 0 || !within(a.t, sp.from, sp.to-1) {
				continue
			}
			if c, ok := sp.m.anew(a, bath); ok {
				sp.add(a.t, a.sheet, fmt.Sprintf("%d/anew", a.serial), c)
			}
		}
	}
}

// anew is the call for the sheet that had longest to go in the wash that one came into;
// ok is false where none was in it.
func (m *Machine) anew(a arrival, bath string) (c Cue, ok bool) {
	for _, s := range m.sheets {
		for _, v := range s.Visits {
			// Closed visits are part of the past a cue may be asked for.
			if s == a.sheet || v.Bath != bath || v.In >= a.t || (!v.Open && v.Out <= a.t) {
				continue
			}
			if left := v.AtMost - (a.t - v.In); !ok || left > c.For {
				c, ok = Cue{Kind: CueWashAnew, Stage: Wash, Label: v.Label, For: left}, true
			}
		}
	}
	return c, ok
}
