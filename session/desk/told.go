package desk

import (
	"time"

	"wetside/session"
)

// ExposedBefore are the events by which an exposure that was timed by a watch is
// written down: of a new sheet, or of one that is there and waits for it. open is
// how long the pinhole was open in all.
func ExposedBefore(id string, spec session.SheetSpec, there bool, open time.Duration, told session.Told, note string) []session.Event {
	first := session.Event{Kind: session.SheetAdded, Sheet: id, Spec: &spec}
	if there {
		first.Kind = session.Remade
	}
	out := []session.Event{first, {Kind: session.ExposureTold, Sheet: id, Planned: open, Told: &told}}
	if note != "" {
		out = append(out, session.Event{Kind: session.Noted, Sheet: id, Note: note})
	}
	return out
}
