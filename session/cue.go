package session

import "time"

// A CueKind says what a cue tells the user.
type CueKind string

// The cues. Those marked (motif) have a sound of their own; the rest are
// spoken, with the chime of their family.
const (
	CueBegin     CueKind = "stage begins"      // (motif, one for each stage) For: its time
	CueRockOn    CueKind = "agitate"           // (motif) For: how long
	CueRockOff   CueKind = "agitation off"     // (motif)
	CueRock      CueKind = "rock"              // (motif) one soft tick of the rocking rhythm
	CueMinutes   CueKind = "minutes left"      // Left: whole minutes, more than zero
	CueThirty    CueKind = "thirty seconds"    // Left: 30 s
	CueTen       CueKind = "ten seconds"       // (motif) Left: 10 s
	CueAtLeast   CueKind = "may be judged"     // (motif) by inspection: the least time is over
	CueDrain     CueKind = "lift and drain"    // (motif) For: drain time
	CueMove      CueKind = "move now"          // (motif) Next: where to
	CueCall      CueKind = "call again"        // (motif) N: how many times called; Over: by how much
	CueOver      CueKind = "over by"           // Over: whole minutes
	CueSeen      CueKind = "image seen"        // Left: new time to the end
	CueBack      CueKind = "move taken back"   // (motif) Stage: where the sheet is again
	CueDone      CueKind = "sheet done"        // (motif)
	CueSpoiled   CueKind = "sheet spoiled"     // (motif: as done)
	CueWashAnew  CueKind = "wash begins again" // (motif) For: the time that now has to run
	CueChange    CueKind = "change the water"  // (motif) N: which change
	CueAlive     CueKind = "alive"             // (motif) faint pulse in long waits
	CueLightOn   CueKind = "exposure begins"   // (motif) For: its time
	CueHalf      CueKind = "exposure half"     // Left
	CueLightOff  CueKind = "exposure done"     // (motif)
	CueCovered   CueKind = "pinhole covered"   // (motif)
	CueUncovered CueKind = "pinhole open"      // (motif) Left
	CueRelight   CueKind = "light changed"     // Left: new time to the end; For > 0: the time was set by hand, and is so long in all
	CueSafeHalf  CueKind = "safelight half"    // half the safe time is used; Left
	CueSafeAll   CueKind = "safelight all"     // (motif: error) all of it is used
	CueMayGoIn   CueKind = "may go in"         // (motif) from the bench: Left until then, 0 for now
	CueConflict  CueKind = "conflict ahead"    // from the bench: two sheets will need the hands; Left
	CueBathHigh  CueKind = "bath nearly spent" // from the bench
	CueBathSpent CueKind = "bath spent"        // (motif: error) from the bench
	CueError     CueKind = "error"             // (motif) Text says what
	CueSay       CueKind = "say"               // Text is spoken; asked for by the user
)

// A Cue is one thing to be heard, and the instant it is due.
//
// Key is the same for the same cue however often it is asked for, so that what
// was begun is not begun twice, and what is no longer among the cues of a span
// can be withdrawn.
type Cue struct {
	Key   string        `json:"key"`
	Kind  CueKind       `json:"kind"`
	At    Instant       `json:"-"`
	T     time.Duration `json:"t"` // since the session's first event
	Sheet string        `json:"-"` // identity
	N     int           `json:"n,omitempty"`
	Num   int           `json:"sheet,omitempty"` // the sheet's number, as spoken
	Named bool          `json:"-"`               // say the number: more than one sheet is wet or exposing
	Stage Stage         `json:"stage,omitempty"`
	Label string        `json:"label,omitempty"` // the step's own name where the user gave one
	Next  Stage         `json:"next,omitempty"`  // CueMove, CueCall: empty when this was the last bath
	For   time.Duration `json:"for,omitempty"`
	Left  time.Duration `json:"left,omitempty"`
	Over  time.Duration `json:"over,omitempty"`
	Text  string        `json:"text,omitempty"`
}

// Urgent reports whether the cue may never be dropped: a call to move a sheet,
// the end of an exposure, or an error.
func (c Cue) Urgent() bool {
	switch c.Kind {
	case CueMove, CueCall, CueLightOff, CueError, CueSafeAll, CueBathSpent, CueDrain:
		return true
	}
	return false
}

// A Due is a cue and when in real time it is to be heard, with the monotonic
// reading that timers and the loudspeaker go by.
type Due struct {
	Cue Cue
	At  time.Time
}
