// Package bench reckons what concerns several sheets at once: when the next
// one may go into the trays, what every bath has seen, whether a wash was a
// wash, how long paper lay in the open, and whose turn it is.
//
// It is pure: it does no input or output and reads no clock. Every function
// takes what is known (mostly the sheets and trays of a [session.Machine]) and
// the session time at which the question is asked, and answers it. Nothing is
// remembered between calls, so a move that is taken back takes its share of a
// bath, its place in a wash and its conflict with it.
//
// # The planning problem
//
// A sheet goes through its trays without waiting: what is due must be moved.
// Only a tray of water may hold it longer. A tray holds so many sheets. One
// pair of hands does all there is to do. They make the moves, the put-in and the
// take-out included: a move takes [Shop.Move], or the drain of the step that is
// left where that is longer, and ends when the sheet enters the next tray. And
// they rock the trays, where the process does not say that this can be left;
// rocking a tray serves every sheet in it. Nothing else that the hands do for
// two sheets may overlap. In the words of the textbooks this is a no-wait flow
// shop with parallel places, some blocking buffers, and one shared operator.
//
// A schedule is the instant of every move. Once it is said which of two moves
// that would collide comes first, all that is left are differences (x at least
// so much after y), and the least solution of differences is a sum of given
// times: with times in whole units a best schedule exists in whole units. That
// is what the tests' exhaustive search relies on, which tries every unit.
package bench

import (
	"time"

	"wetside/session"
)

// A Shop is what the room has.
type Shop struct {
	// Trays says how many sheets of this size each tray holds at once. A tray
	// that is not listed, or with less than 1, holds one.
	Trays map[string]int
	// Move is how long the hands are busy with one move, the lift included; a
	// longer drain takes its own time. It ends at the instant the sheet enters
	// the next tray.
	Move time.Duration
	// InOrder keeps the queue's order: the first in line goes in first, even
	// where another order would be done sooner.
	InOrder bool
}

// lead is how long before a sheet leaves step o the hands are on it.
func (s Shop) lead(o Op) time.Duration { return max(s.Move, o.Drain) }

func (s Shop) places(tray string) int { return max(1, s.Trays[tray]) }

// An Op is one stay in one tray.
type Op struct {
	Tray string
	Time time.Duration
	// Flexible: water, which may hold the sheet for longer than Time.
	Flexible bool
	// Batch: a wash whose sheets share the water. Each newcomer sets the clock
	// of all that are in it back, so none leaves before Time has passed since
	// the last arrival. A Batch is Flexible.
	Batch bool
	// Drain is how long the sheet is held over the tray at the end of its stay.
	Drain time.Duration
	// Rock is the agitation that needs the hands, within Time.
	Rock session.Agitation
}

func (o Op) flexible() bool { return o.Flexible || o.Batch }

// A Job is a sheet and the trays it goes through, in order.
type Job struct {
	ID    string
	Num   int // the sheet's number, as spoken
	Steps []Op
}

// Running is a sheet in the trays, or one that has just left them: until the
// hands are free again it still counts.
type Running struct {
	Job   Job
	Step  int           // index of the tray it is in; len(Job.Steps): it is out
	Since time.Duration // session time it went in, or out
	// Due is the session time it is to leave (a flexible step: may leave);
	// 0: Since and the step's Time.
	Due time.Duration
}

func (r Running) out() bool { return r.Step >= len(r.Job.Steps) }

func (r Running) due() time.Duration {
	if r.out() {
		return r.Since
	}
	if r.Due > 0 {
		return r.Due
	}
	return r.Since + r.Job.Steps[r.Step].Time
}

// holdingTray is the name of the tray of holding water.
const holdingTray = "holding water"

// justOut is longer than any move takes.
const justOut = time.Minute

// FromMachine reads the sheets in the trays, and the exposed sheets that wait
// for them (first in, first out), as of session time now.
//
// A sheet that left its last tray less than a minute ago is among the running
// ones: see [Running].
//
// A step that is ended by inspection counts with its at-most until the sheet is
// pulled or its image was seen. A wash counts with its short time when the
// hypo-clear was done in full, or is still to come.
func FromMachine(m *session.Machine, now time.Duration) (running []Running, queue []Job) {
	for _, s := range m.Sheets() {
		switch s.Phase {
		case session.Wet:
			v := s.Visit()
			if v == nil {
				continue
			}
			j, r := JobOf(s), Running{Since: v.In, Step: v.Step}
			if v.Step == session.Holding {
				next := s.NextStep() // the wash: nothing else is waited for in it
				hold := Op{Tray: holdingTray, Flexible: true}
				j.Steps = append(append(append([]Op{}, j.Steps[:next]...), hold), j.Steps[next:]...)
				r.Step, r.Due = next, v.In
			} else {
				r.Due = v.In + v.AtMost
			}
			r.Job = j
			running = append(running, r)
		case session.Finished:
			if now-s.EndedT < justOut {
				j := JobOf(s)
				running = append(running, Running{Job: j, Step: len(j.Steps), Since: s.EndedT})
			}
		}
	}
	for _, w := range Waiting(m.Sheets(), now) {
		queue = append(queue, JobOf(w.Sheet))
	}
	return running, queue
}

// JobOf returns the sheet's process as a job.
func JobOf(s *session.Sheet) Job {
	j := Job{ID: s.ID, Num: s.Num}
	missed := clearMissed(s)
	clears := false
	for _, st := range s.Spec.Process.Steps {
		o := Op{Tray: trayOf(st), Time: st.AtMost, Batch: st.Batch, Drain: st.Drain}
		if !st.MayRest {
			o.Rock = st.Agitation
		}
		switch st.Stage {
		case session.Rinse, session.Wash:
			o.Flexible = true
		case session.Clear:
			clears = true
		}
		if st.ShortAfter > 0 && clears && !missed {
			o.Time = st.ShortAfter
		}
		j.Steps = append(j.Steps, o)
	}
	return j
}

// trayOf names the tray a step happens in.
func trayOf(st session.Step) string {
	if st.Bath != "" {
		return st.Bath
	}
	return string(st.Stage)
}

// clearMissed reports whether a hypo-clear was left too soon, or passed over.
func clearMissed(s *session.Sheet) bool {
	past, full := false, false
	for i := range s.Visits {
		v := &s.Visits[i]
		if v.Step == session.Holding {
			continue
		}
		if v.Stage == session.Wash {
			past = true
		}
		if v.Stage == session.Clear && !v.Open {
			past = true
			if v.Out-v.In >= s.Spec.Process.Steps[v.Step].AtLeast {
				full = true
			}
		}
	}
	return past && !full
}
