package session

import (
	"iter"
	"slices"
	"time"
)

// Spells returns the spans, counted from the sheet's entry, in which the tray is
// rocked, in order, up to until.
func (a Agitation) Spells(until time.Duration) []Span { return slices.Collect(a.spells(0, until)) }

// spells are those that end at e or later. The first is found at once: they are asked
// for on every tick, by every sheet of a tray.
func (a Agitation) spells(e, until time.Duration) iter.Seq[Span] {
	return func(yield func(Span) bool) {
		if a.Continuous {
			a = Agitation{First: until}
		}
		goesOn := func(from, to time.Duration) bool {
			to = min(to, until)
			return from >= to || to < e || yield(Span{From: from, To: to})
		}
		if !goesOn(0, a.First) || a.Every <= 0 {
			return
		}
		for from := max(1, (e-a.For)/a.Every) * a.Every; from < until; from += a.Every {
			// A spell that would follow the first without a rest is left out.
			if (a.First == 0 || from > a.First) && !goesOn(from, from+a.For) {
				return
			}
		}
	}
}

// rocked is when the spell began in which e lies, both from the sheet's entry; ok is
// false between two.
func (a Agitation) rocked(until, e time.Duration) (from time.Duration, ok bool) {
	for x := range a.spells(e, until) {
		if e < x.To {
			return x.From, e >= x.From
		}
	}
	return 0, false
}
