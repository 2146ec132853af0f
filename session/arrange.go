package session

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"
)

// This file puts cues where each can be heard: like calls of several sheets are
// one call, and what would fall together is moved apart. It is done where cues
// are made, so that what is scheduled, heard and printed is the same. Common
// practice, no source.
const (
	// alike is within how much like calls are one.
	alike = 400 * time.Millisecond
	// Warm is how long before a span, and Ahead how long behind it, cues can bear on
	// those in it.
	Warm  = 20 * time.Second
	Ahead = 5 * time.Second
)

// call reports whether a cue keeps its instant: hands act on it.
func (c Cue) call() bool { return c.Urgent() && c.Kind != CueError && c.Kind != CueTell }

// Fact reports whether a cue says what has just been done, or a clock has done:
// it keeps its instant too.
func (c Cue) Fact() bool {
	return slices.Contains([]CueKind{CueBegin, CueBack, CueDone, CueSpoiled, CueLightOn, CueCovered, CueUncovered, CueSeen, CueRelight}, c.Kind)
}

// folds reports whether like cues of several sheets are one.
func (c Cue) folds() bool {
	return slices.Contains([]CueKind{CueRockOn, CueRockOff, CueMinutes, CueThirty, CueTen, CueAtLeast, CueDrain, CueMove, CueCall, CueOver, CueChange, CuePip, CueSoon, CueDone}, c.Kind)
}

// like reports whether o says of another sheet what c says.
func (c Cue) like(o Cue) bool {
	if c.Kind != o.Kind || !c.folds() || c.Num == o.Num || o.T-c.T > alike {
		return false
	}
	if c.Kind == CuePip {
		return c.N == o.N && c.Led == o.Led && (!c.Led || c.Next == o.Next)
	}
	near := func(a, b time.Duration) bool { return (a - b).Abs() <= alike }
	type step struct {
		Stage, Next Stage
		Label       string
		Led         bool
	}
	return step{c.Stage, c.Next, c.Label, c.Led} == step{o.Stage, o.Next, o.Label, o.Led} && near(c.Left, o.Left) && near(c.Over, o.Over)
}

// takes is how long a cue's motif and the words at its level of speech last, so
// that the next begins when it has been heard: as measured of the clips, to a
// tenth of a second.
func (c Cue) takes() time.Duration {
	const ms = time.Millisecond
	n := c.Numbers().Len()
	switch {
	case n > 1:
		c.Nums, c.Num = 0, 0
		return c.takes() + time.Duration(n-1)*600*ms
	case c.Kind == CueLightOff && c.N > 0:
		return 3600 * ms // a strip's end says what to do with the card
	case (c.Kind == CueRockOn || c.Kind == CueRockOff) && !c.Named:
		return 500 * ms // at most a motif
	}
	return cmp.Or(lasts[c.Kind], 2500) * ms
}

// lasts are the cues that take other than 2.5 s, in milliseconds.
var lasts = map[CueKind]time.Duration{
	CueRockOn: 1700, CueRockOff: 1700, CueTen: 1700, CueSoon: 1200, CueDone: 1500, CueSpoiled: 1500,
	CueCovered: 2400, CueUncovered: 2400, CueLightOn: 2400, CueRelight: 2400, CueSeen: 2400, CueBegin: 2400,
	CueSafeHalf: 4700, CueHalf: 4000, CueConflict: 4000, CueSafeAll: 3000, CueBathHigh: 3000, CueBathSpent: 3000,
}

// patience is how late a cue may be that says what time it is: behind that it is
// left out, motif and words, for what it says is no longer so. Others wait as
// long as they have to.
func (c Cue) patience() time.Duration { return cmp.Or(patiences[c.Kind], math.MaxInt64) }

var patiences = map[CueKind]time.Duration{
	CueTen: 2 * time.Second, CueRockOn: 4 * time.Second, CueRockOff: 4 * time.Second, CueThirty: 4 * time.Second,
	CueMinutes: 6 * time.Second, CueOver: 6 * time.Second, CueHalf: 6 * time.Second, CueSafeHalf: time.Minute,
}

// placed are cues that have their place, in the order of time.
type placed []Cue

// put places a cue as soon as it can be heard whole, and reports whether it can
// within its patience.
func (p *placed) put(c Cue) bool {
	at, most := c.T, time.Duration(5*time.Second) // none takes longer of one sheet, or of four
	for i, _ := slices.BinarySearchFunc(*p, c.T-most, func(o Cue, t time.Duration) int { return cmp.Compare(o.T, t) }); i < len(*p); i++ {
		o := (*p)[i]
		if o.T >= at+c.takes() {
			break
		}
		at = max(at, o.T+o.takes())
	}
	if at-c.T > c.patience() || at > c.T && c.until > 0 && at >= c.until {
		return false
	}
	c.delay(at)
	i, _ := slices.BinarySearchFunc(*p, c, func(o, c Cue) int { return cmp.Compare(o.T, c.T) })
	*p = slices.Insert(*p, i, c)
	return true
}

// Arrange folds and moves cues, which are in the order of time. What is a call
// for the hands keeps its instant, unless two sheets need them at once: then the
// second is called when the words of the first are over. What can wait goes
// where it can be heard whole. Ticks stay where they are; a pip that would fall
// into a call is left out, for the call says more.
func Arrange(cues []Cue) []Cue {
	var calls, can, late, ticks []Cue
	var out placed
	for _, c := range fold(cues) {
		switch {
		case c.Ticks() || c.Kind == CueSoon:
			ticks = append(ticks, c)
		case c.call():
			calls = append(calls, c)
		case c.Fact():
			out = append(out, c)
		case c.patience() == math.MaxInt64:
			can = append(can, c)
		default:
			late = append(late, c)
		}
	}
	put := inTurn(calls)
	// The name of a stage that was led into comes behind the words of the move.
	for i := range out {
		out[i].follow(calls)
	}
	out = append(out, calls...)
	slices.SortStableFunc(out, func(a, b Cue) int { return cmp.Compare(a.T, b.T) })
	for _, c := range append(can, late...) {
		out.put(c)
	}
	calls = slices.DeleteFunc(slices.Clone(out), func(c Cue) bool { return !c.call() })
	for _, c := range ticks {
		if c.Kind == CuePip && (put[due{c.Num, c.T + time.Duration(c.N)*time.Second}] ||
			slices.ContainsFunc(calls, func(o Cue) bool { return (o.T - c.T).Abs() < alike })) {
			continue
		}
		out = append(out, c)
	}
	slices.SortStableFunc(out, func(a, b Cue) int { return cmp.Or(cmp.Compare(a.T, b.T), cmp.Compare(a.Num, b.Num)) })
	return out
}

// fold makes like calls one: the first of them, with the numbers of all.
func fold(cues []Cue) []Cue {
	out := make([]Cue, 0, len(cues))
next:
	for _, c := range cues {
		for i := len(out) - 1; i >= 0 && c.T-out[i].T <= alike; i-- {
			f := &out[i]
			if f.like(c) {
				f.Nums = f.Numbers() | c.Numbers()
				f.Also = strings.TrimSpace(f.Also + " " + c.Key)
				continue next
			}
		}
		out = append(out, c)
	}
	return out
}

// A due is the instant at which a sheet is to be called.
type due struct {
	num int
	t   time.Duration
}

// inTurn puts calls one behind the other, and returns those that are not at their
// instant. The hands first: move and cover before lift, and that before the others.
func inTurn(calls []Cue) map[due]bool {
	slices.SortStableFunc(calls, func(a, b Cue) int { return cmp.Or(cmp.Compare(a.T, b.T), cmp.Compare(hands(a), hands(b))) })
	put := map[due]bool{}
	for i := 1; i < len(calls); i++ {
		c, was := &calls[i], calls[i].T
		if c.delay(calls[i-1].T + calls[i-1].takes()); c.T > was {
			put[due{c.Num, was}] = true
		}
	}
	return put
}

// follow puts the name of a stage that was led into behind the call that led there.
func (c *Cue) follow(calls []Cue) {
	for _, o := range calls {
		if c.Kind == CueBegin && c.Led && o.Kind == CueMove && o.Led && o.Numbers()&c.Numbers() != 0 && (c.T-o.T+o.Late).Abs() <= alike {
			c.delay(o.T + o.takes())
		}
	}
}

// hands is the order of calls that fall on one instant.
func hands(c Cue) int {
	switch c.Kind {
	case CueMove, CueLightOff:
		return 0
	case CueDrain, CueCall:
		return 1
	}
	return 2
}

// delay moves a cue to t if it is sooner.
func (c *Cue) delay(t time.Duration) {
	if c.T < t {
		c.At = c.At.Add(t - c.T)
		c.Late += t - c.T
		c.T = t
	}
}
