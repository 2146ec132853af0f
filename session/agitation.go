package session

import "time"

// Spells returns the spans, counted from the sheet's entry, in which the tray is
// rocked, in order, up to until.
func (a Agitation) Spells(until time.Duration) []Span {
	if a.Continuous {
		a = Agitation{First: until}
	}
	var out []Span
	add := func(from, to time.Duration) {
		if to = min(to, until); from < to {
			out = append(out, Span{From: from, To: to})
		}
	}
	add(0, a.First)
	for from := a.Every; a.Every > 0 && from < until; from += a.Every {
		// A spell that would follow the first without a rest is left out.
		if a.First == 0 || from > a.First {
			add(from, from+a.For)
		}
	}
	return out
}

// rocked is when the spell began in which e lies, both from the sheet's entry; ok is
// false between two.
func (a Agitation) rocked(until, e time.Duration) (from time.Duration, ok bool) {
	for _, x := range a.Spells(until) {
		if e >= x.From && e < x.To {
			return x.From, true
		}
	}
	return 0, false
}
