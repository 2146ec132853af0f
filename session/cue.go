package session

import (
	"cmp"
	"time"

	"wetside/session/say"
)

// A CueKind says what a cue tells the user.
type CueKind string

// The cues, each of them in CueFacts too. Those marked (motif) have a sound of
// their own; the rest are spoken, with the chime of their family.
const (
	CueBegin     CueKind = "stage begins"      // (motif, one for each stage) For: its time
	CueRockOn    CueKind = "agitate"           // (motif) For: how long
	CueRockOff   CueKind = "agitation off"     // (motif)
	CueRock      CueKind = "rock"              // (motif) one soft tick of the rocking rhythm; N: which one of its spell
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
	CueError     CueKind = "error"             // (motif) Lines say what
	CueSay       CueKind = "say"               // Lines are spoken; asked for by the user
	CueTell      CueKind = "tell"              // Lines are spoken; not asked for, and to be heard whole
	CuePip       CueKind = "pip"               // (motif) N: so many seconds before a move or the end of an exposure
	CueSoon      CueKind = "move soon"         // led: a move is counted in; Next: where to
	CueTaken     CueKind = "key taken"         // (motif) a key did something that says nothing by itself
	CueIdle      CueKind = "key does nothing"  // (motif) a key does nothing here
	CueHello     CueKind = "hello"             // (motif) the program has begun, and this is how it sounds
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
	Named bool          `json:"-"`               // say the number: the session has more than one sheet
	Among bool          `json:"-"`               // more than one is wet or being exposed: be short, the next call may be near
	Stage Stage         `json:"stage,omitempty"`
	Label string        `json:"label,omitempty"` // the step's own name where the user gave one
	Next  Stage         `json:"next,omitempty"`  // CueMove, CueCall: empty when this was the last bath
	For   time.Duration `json:"for,omitempty"`
	Left  time.Duration `json:"left,omitempty"`
	Over  time.Duration `json:"over,omitempty"`
	// Screen: CueSafeHalf and CueSafeAll are of the time before the screen.
	Screen bool `json:"screen,omitempty"`
	// Nums are the sheets of a call that is for several; empty: Num alone.
	Nums say.Nums `json:"-"`
	// Also are the keys of the cues that were folded into this one, with blanks
	// between them.
	Also string `json:"-"`
	// Led: the program leads the sheet, and counts the move in.
	Led bool `json:"led,omitempty"`
	// Late is by how much it was moved behind its instant.
	Late time.Duration `json:"-"`
	// until is when what it asks for was done: nothing is asked for from then on.
	until time.Duration
	// Lines are what CueSay, CueTell and CueError say.
	Lines *[]say.Line `json:"-"`
}

// Numbers are the sheets the cue is about.
func (c Cue) Numbers() say.Nums {
	n := cmp.Or(c.Nums, say.Num(c.Num))
	if c.Kind == CueConflict {
		n |= say.Num(c.N)
	}
	return n
}

// A Due is a cue and when in real time it is to be heard, with the monotonic
// reading that timers and the loudspeaker go by.
type Due struct {
	Cue  Cue
	At   time.Time
	Gone bool // it was given before, and what it says holds no more
}

// A CueFact is what holds for every cue of one kind.
type CueFact struct {
	Kind   CueKind
	Urgent bool // may never be dropped: a call to move a sheet, the end of an exposure, an error
	Ticks  bool // says no more than that time goes on, or that a key came: a motif without words
	Spoken bool // words without a motif
	// Example is such a cue, as a sheet of three trays meets it.
	Example Cue
}

// CueFacts lists every kind of cue once. Sounds, words, tests and the list of
// `wetside sounds` go through it.
var CueFacts = []CueFact{
	{Kind: CueLightOn, Example: Cue{Stage: Exposure, For: 4 * time.Minute}},
	{Kind: CueHalf, Example: Cue{Stage: Exposure, Left: 2 * time.Minute}},
	{Kind: CueCovered, Example: Cue{Stage: Exposure}},
	{Kind: CueUncovered, Example: Cue{Stage: Exposure, Left: 90 * time.Second}},
	{Kind: CueRelight, Example: Cue{Stage: Exposure, Left: 3 * time.Minute, N: -1}},
	{Kind: CueLightOff, Urgent: true, Example: Cue{Stage: Exposure}},
	{Kind: CueMayGoIn},
	{Kind: CueBegin, Example: Cue{Stage: Develop, For: 90 * time.Second}},
	{Kind: CueRockOn, Example: Cue{Stage: Develop, For: 170 * time.Second}},
	{Kind: CueRock, Ticks: true, Example: Cue{Stage: Develop}},
	{Kind: CueRockOff, Example: Cue{Stage: Develop}},
	{Kind: CueMinutes, Example: Cue{Stage: Develop, Left: time.Minute, N: 1}},
	{Kind: CueThirty, Example: Cue{Stage: Develop, Left: 30 * time.Second}},
	{Kind: CueTen, Example: Cue{Stage: Develop, Left: 10 * time.Second}},
	{Kind: CueSeen, Example: Cue{Stage: Develop, Left: 45 * time.Second}},
	{Kind: CueAtLeast, Example: Cue{Stage: Develop, Left: 90 * time.Second}},
	{Kind: CueDrain, Urgent: true, Example: Cue{Stage: Develop, For: 10 * time.Second}},
	{Kind: CueMove, Urgent: true, Example: Cue{Stage: Develop, Next: Stop}},
	{Kind: CueCall, Urgent: true, Example: Cue{Stage: Develop, Next: Stop, N: 1, Over: 5 * time.Second}},
	{Kind: CueOver, Example: Cue{Stage: Develop, Over: time.Minute}},
	{Kind: CueBack, Example: Cue{Stage: Develop}},
	{Kind: CueWashAnew, Example: Cue{Stage: Wash, For: 30 * time.Minute}},
	{Kind: CueChange, Example: Cue{Stage: Wash, N: 2}},
	{Kind: CueAlive, Ticks: true, Example: Cue{Stage: Wash}},
	{Kind: CueDone, Example: Cue{Stage: Wash}},
	{Kind: CueSpoiled, Example: Cue{Stage: Fix}},
	{Kind: CueConflict, Example: Cue{Left: 2 * time.Minute}},
	{Kind: CueSafeHalf, Example: Cue{Left: 2 * time.Minute}},
	{Kind: CueSafeAll, Urgent: true},
	{Kind: CueBathHigh, Example: Cue{Stage: Fix, Label: "fixer 1"}},
	{Kind: CueBathSpent, Urgent: true, Example: Cue{Stage: Fix, Label: "fixer 1"}},
	{Kind: CueError, Urgent: true, Example: Cue{Lines: &[]say.Line{say.NotExposing.Of(4)}}},
	{Kind: CuePip, Ticks: true, Example: Cue{Stage: Develop, N: 3}},
	{Kind: CueTaken, Ticks: true},
	{Kind: CueIdle, Ticks: true},
	{Kind: CueSoon, Spoken: true, Example: Cue{Stage: Develop, Next: Stop, Led: true}},
	{Kind: CueHello, Example: Cue{Lines: &[]say.Line{say.Count.Of(7)}}},
	{Kind: CueTell, Urgent: true, Spoken: true, Example: Cue{Lines: &[]say.Line{say.StillThere.Of()}}},
	{Kind: CueSay, Spoken: true, Example: Cue{Lines: &[]say.Line{say.StandsLeft.Of(say.In(Develop), say.Left(47*time.Second)).To(say.Num(4))}}},
}

var cueFacts = func() map[CueKind]CueFact {
	all := make(map[CueKind]CueFact, len(CueFacts))
	for i := range CueFacts {
		CueFacts[i].Example.Kind = CueFacts[i].Kind
		all[CueFacts[i].Kind] = CueFacts[i]
	}
	return all
}()

// Urgent reports whether the cue may never be dropped.
func (c Cue) Urgent() bool { return cueFacts[c.Kind].Urgent }

// Ticks reports whether the cue says no more than that time goes on.
func (c Cue) Ticks() bool { return cueFacts[c.Kind].Ticks }
