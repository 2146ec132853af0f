package tui

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"wetside/session"
	"wetside/session/bench"
	"wetside/session/words"
	"wetside/tui/ember"
)

// This file is what several sheets at once ask of the desk: when the next may
// go in, what the baths have seen, what a wash would lose.

// shop is the room as the plan needs it.
func (d *Desk) shop() bench.Shop {
	var ps []session.Process
	for _, sh := range d.M.Sheets() {
		ps = append(ps, sh.Spec.Process)
	}
	return bench.ShopFor(d.Move, ps...)
}

// mayGoIn returns the sheet that is next and the session time at which it may
// go in, as things stood at the last event; nil when none waits or no tray is
// in use.
func (d *Desk) mayGoIn(next *session.Sheet, now time.Duration) (start time.Duration, why string, ok bool) {
	if next == nil {
		return 0, "", false
	}
	running, _ := bench.FromMachine(d.M, now)
	if len(running) == 0 {
		return now, "", true
	}
	start, why = bench.Earliest(d.shop(), running, bench.JobOf(next), now)
	return start, why, true
}

// soonest is what mayGoIn said last.
type soonest struct {
	events int
	sec    time.Duration
	id     string
	start  time.Duration
	why    string
	ok     bool
}

// soon is mayGoIn for what asks at every tick: it looks once a second.
func (d *Desk) soon(next *session.Sheet, now time.Duration) (start time.Duration, why string, ok bool) {
	if next == nil {
		return 0, "", false
	}
	s := &d.soonest
	if n, sec := d.M.Applied(), now.Truncate(time.Second); s.events != n || s.sec != sec || s.id != next.ID {
		*s = soonest{events: n, sec: sec, id: next.ID}
		s.start, s.why, s.ok = d.mayGoIn(next, now)
	}
	return s.start, s.why, s.ok
}

// planned is the evening as it was last reckoned.
type planned struct {
	events int
	at     time.Duration
	waits  int
	goes   map[string]time.Duration // when each waiting sheet goes in, or one in water goes on
	done   time.Duration            // all of it
}

// planFor is how long a plan stands that nobody keeps to.
const planFor = 5 * time.Second

// evening is the plan for all that waits, while some tray is in use; ok is
// false when there is nothing to plan. It stands until the next event, or until
// somebody is late by it.
func (d *Desk) evening(now time.Duration) (p *planned, ok bool) {
	p = &d.planned
	if n := d.M.Applied(); p.events != n || now >= p.at+planFor && p.late(now) {
		*p = planned{events: n, at: now, goes: map[string]time.Duration{}}
		if d.wet() {
			sch := bench.Evening(d.M, d.shop(), now)
			p.waits = len(sch.Puts)
			for _, x := range append(sch.Running, sch.Puts...) {
				if len(x.Moves) > 0 {
					p.goes[x.ID], p.done = x.Start(), max(p.done, x.End())
				}
			}
		}
	}
	return p, p.waits > 0
}

func (p *planned) late(now time.Duration) bool {
	for _, t := range p.goes {
		if t < now {
			return true
		}
	}
	return false
}

// goesAt says when a sheet that waits is to go in, or one in water is to go on
// later than it could, because the hands are needed elsewhere; empty for others.
func (m *Model) goesAt(s session.SheetView, now time.Duration) string {
	p, ok := m.desk.evening(now)
	t, known := p.goes[s.ID]
	if !ok || !known || t < now {
		return ""
	}
	clock := m.desk.M.At(t).Wall.Format(time.TimeOnly)
	switch {
	case s.Visit == 0:
		return "goes in at " + clock
	case t > s.Ends && (s.Stage == session.Rinse || s.Stage == session.Hold || s.Stage == session.Wash):
		return "stays until " + clock
	}
	return ""
}

// next returns the sheet that goes into the trays next: the first exposed one
// in, first out; else the first that is known and has no exposure to come.
func (d *Desk) next() *session.Sheet {
	if w := bench.Waiting(d.M.Sheets(), d.M.Now()); len(w) > 0 {
		return w[0].Sheet
	}
	for _, s := range d.M.Sheets() {
		if s.Phase == session.Fresh && !unexposed(s) {
			return s
		}
	}
	return nil
}

// unexposed reports whether a sheet waits in its camera for its light.
func unexposed(s *session.Sheet) bool {
	return s.Phase == session.Fresh && (s.Spec.Camera != "" || s.Spec.Exposure > 0)
}

// outside returns the sheet that is in the field and needs the hands first: of
// those being exposed, else of those that wait for it; nil when none is.
func (d *Desk) outside() *session.Sheet {
	for _, id := range d.M.View(d.Now()).Need {
		if s := d.M.Sheet(id); s.Phase == session.Exposing {
			return s
		}
	}
	for _, s := range d.M.Sheets() {
		if unexposed(s) {
			return s
		}
	}
	return nil
}

// whereabouts says of a sheet in the field where it is, and which press would
// bring it on.
func (m *Model) whereabouts(s *session.Sheet) string {
	v, _ := m.desk.M.View(m.desk.Now()).Sheet(s.ID)
	switch {
	case s.Phase == session.Fresh && s.Spec.Exposure <= 0:
		return fmt.Sprintf("sheet %d is in its camera, not exposed: in the field (shift+tab) press e and give its light", s.Num)
	case s.Phase == session.Fresh:
		return fmt.Sprintf("sheet %d is in its camera, not exposed: in the field (shift+tab) space opens the pinhole", s.Num)
	case !v.Open:
		return fmt.Sprintf("sheet %d is in the field, its pinhole covered, %s left: there (shift+tab) c uncovers it, and space ends the exposure", s.Num, words.Countdown(v.Left))
	case v.Left == 0:
		return fmt.Sprintf("sheet %d is in the field, its exposure done: cover the pinhole, and there (shift+tab) press space", s.Num)
	}
	return fmt.Sprintf("sheet %d is in the field, being exposed, %s left: there (shift+tab) space ends the exposure", s.Num, words.Countdown(v.Left))
}

// foresight is what the plan says until the next event.
type foresight struct {
	events int
	to     time.Duration
	cues   []session.Cue
}

// foreseeFor is how far the plan is reckoned ahead at once.
const foreseeFor = 12 * time.Hour

// benchCues are the cues of several sheets at once. They depend on the events
// so far alone, so they are reckoned once for each event.
func (d *Desk) benchCues(from, to session.Instant) []session.Cue {
	f, t := d.M.T(from), d.M.T(to)
	if n := d.M.Applied(); d.ahead.events != n || t > d.ahead.to {
		now := d.M.Now()
		d.ahead = foresight{events: n, to: max(now, t) + foreseeFor}
		d.ahead.cues = append(bench.Cues(d.M, d.shop(), min(f, now), d.ahead.to), d.freshMayGoIn(now)...)
	}
	var out []session.Cue
	for _, c := range d.ahead.cues {
		if c.T >= f && c.T < t {
			c.At = d.M.At(c.T)
			out = append(out, c)
		}
	}
	return out
}

// freshMayGoIn is the call for a sheet that was not exposed here (a contact
// print, a blank one): the bench knows only of those that were.
func (d *Desk) freshMayGoIn(now time.Duration) []session.Cue {
	next := d.next()
	if next == nil || next.Phase != session.Fresh || !d.wet() {
		return nil
	}
	start, _, _ := d.mayGoIn(next, now)
	if start == now && bench.LastMove(d.M) < now && d.M.T(next.AddedAt) < now {
		// It could go in before this, and that was said then.
		if before, _, _ := d.mayGoIn(next, max(now-1, 0)); before < now {
			return nil
		}
	}
	return []session.Cue{{Key: fmt.Sprintf("maygo/%s/%d", next.ID, start.Milliseconds()), Kind: session.CueMayGoIn, T: max(start, now),
		Sheet: next.ID, Num: next.Num, Named: true}}
}

func (d *Desk) wet() bool {
	for _, s := range d.M.Sheets() {
		if s.Phase == session.Wet {
			return true
		}
	}
	return false
}

// baths is what every standing bath has seen.
func (d *Desk) baths() []bench.BathState {
	var out []bench.BathState
	for _, b := range bench.Account(d.M.Trays(), d.M.Sheets(), d.M.T(d.Now())) {
		if !b.Retired {
			out = append(out, b)
		}
	}
	return out
}

// Used is the share of its capacity that the paper so far has taken out of the
// bath in a tray; 0 when none is noted there.
func (d *Desk) Used(tray string) float64 {
	b, _ := bench.Standing(d.baths(), tray)
	return b.AreaShare
}

// benchLines are the lines of the trays screen above the list of sheets.
func (m *Model) benchLines(v session.View) []string {
	var out []string
	if next := m.desk.next(); next != nil && v.Due != "" {
		if start, why, ok := m.desk.soon(next, v.T); ok {
			l := fmt.Sprintf("%d may go in now", next.Num)
			if start > v.T {
				l = fmt.Sprintf("%d may go in in %s", next.Num, words.Countdown(start-v.T))
				if why != "" {
					l += ": " + why
				}
			}
			out = append(out, ansiCut(ember.SafeText(l), m.width))
		}
	}
	if p, ok := m.desk.evening(v.T); ok {
		l := "all done at " + m.desk.M.At(p.done).Wall.Format(time.TimeOnly) + ", if each goes in as soon as it may"
		out = append(out, ansiCut(l, m.width))
	}
	var parts []string
	for _, b := range m.desk.baths() {
		if b.CapacityCM2 > 0 || b.Mix.Life > 0 {
			parts = append(parts, b.Name+" "+words.Percent(b.Share))
		}
	}
	if len(parts) > 0 {
		out = append(out, ansiCut(ember.SafeText("used: "+strings.Join(parts, ", ")), m.width))
	}
	return out
}

// benchWarning is what to say before a sheet goes into its next bath: that it
// would dirty a wash, or that the bath is spent.
func (m *Model) benchWarning(s *session.Sheet, next int) string {
	st := s.Spec.Process.Steps[next]
	if st.Stage == session.Wash {
		if w, hold := bench.BeforeWash(s, m.desk.M.Sheets(), m.desk.M.T(m.desk.Now())); w != "" {
			if hold {
				w += " h puts it into holding water instead."
			}
			return w
		}
	}
	if b, ok := bench.Standing(m.desk.baths(), st.Bath); ok && b.Spent() {
		q, _ := bench.Ask(b)
		return q
	}
	return ""
}

// spentBath is the identity of the bath the sheet goes into next if it is
// spent, for the record.
func (m *Model) spentBath(s *session.Sheet, next int) string {
	if next < 0 {
		return ""
	}
	if b, ok := bench.Standing(m.desk.baths(), s.Spec.Process.Steps[next].Bath); ok && b.Spent() {
		return b.Mix.ID
	}
	return ""
}

// fillTrays notes that every tray of a process was filled freshly.
func (m *Model) fillTrays(process string) tea.Cmd {
	if m.cfg.Baths == nil {
		return m.tell("baths are not known here")
	}
	var names []string
	for _, mix := range m.cfg.Baths(process) {
		mix.ID = m.desk.NewID()
		if m.do(session.Event{Kind: session.BathMixed, Mix: &mix}) == nil {
			names = append(names, mix.Name)
		}
	}
	if len(names) == 0 {
		return m.tell("this process has no baths in its profile")
	}
	return m.tell("fresh: " + strings.Join(names, ", "))
}

// freshBath asks which bath was made up anew, and guides through a two-bath
// fixer's change of places.
func (m *Model) freshBath(v session.View) tea.Cmd {
	baths := m.desk.baths()
	if len(baths) == 0 {
		process := m.form.value().Process
		if s := m.acting(v); s != nil {
			process = s.Spec.Process.Key
		}
		m.ask = &question{text: "No bath is noted yet. Are all trays filled freshly?",
			yes: func() tea.Cmd { return m.fillTrays(process) },
			no:  func() tea.Cmd { return m.tell("left as it was") }}
		return nil
	}
	var list []string
	for i, b := range baths {
		list = append(list, fmt.Sprintf("%d %s (%s)", i+1, b.Name, words.Percent(b.Share)))
	}
	m.askUntil("Which bath is to be replaced? "+strings.Join(list, ", "), func(text string) (tea.Cmd, error) {
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 || n > len(baths) {
			return nil, fmt.Errorf("answer with the number of a bath, 1 to %d", len(baths))
		}
		return m.replace(baths[n-1], baths), nil
	})
	return nil
}

// replace retires a bath: by a fresh one, or, where a second fixing bath
// stands, by that one.
func (m *Model) replace(b bench.BathState, all []bench.BathState) tea.Cmd {
	steps := []bench.Guided{{Text: fmt.Sprintf("Pour the %s away and fill the tray anew. %s", b.Name, bench.Disposal(b)),
		Kind: session.BathMixed, Bath: b.Mix.ID, Into: b.Name}}
	if second, ok := m.secondOf(b, all); ok {
		steps = bench.Promotion(b, second)
	}
	return m.guide(steps, b.Mix)
}

// secondOf finds the bath of the step that follows b's as second fix.
func (m *Model) secondOf(b bench.BathState, all []bench.BathState) (bench.BathState, bool) {
	for _, s := range m.desk.M.Sheets() {
		first := false
		for _, st := range s.Spec.Process.Steps {
			if st.Stage == session.Fix {
				first = st.Bath == b.Name
			}
			if st.Stage == session.Fix2 && first {
				return bench.Standing(all, st.Bath)
			}
		}
	}
	return bench.BathState{}, false
}

// guide asks for one step after the other, and records each as it is confirmed.
func (m *Model) guide(steps []bench.Guided, old session.Mix) tea.Cmd {
	if len(steps) == 0 {
		return m.tell("done")
	}
	g := steps[0]
	m.ask = &question{text: g.Text + " Done?", yes: func() tea.Cmd {
		switch g.Kind {
		case session.BathMixed:
			mix := old
			mix.ID = m.desk.NewID()
			if g.Into != "" {
				mix.Name = g.Into
			}
			m.do(session.Event{Kind: session.BathMixed, Mix: &mix})
		case "":
		default:
			m.do(session.Event{Kind: g.Kind, Bath: g.Bath, Into: g.Into})
		}
		return m.guide(steps[1:], old)
	}, no: func() tea.Cmd { return m.tell("broken off: what was confirmed is noted") }}
	m.desk.Say(g.Text)
	return nil
}
