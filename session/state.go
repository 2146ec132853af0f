package session

import (
	"slices"
	"time"
)

// Phase is where in its life a sheet stands.
type Phase string

const (
	Fresh    Phase = "fresh"    // known, not yet exposed
	Exposing Phase = "exposing" // in a camera, pinhole open or covered
	Exposed  Phase = "exposed"  // waiting for the trays
	Wet      Phase = "wet"      // in a bath
	Finished Phase = "finished" // washed
	Ruined   Phase = "spoiled"  // ended early
)

// Over reports whether nothing more happens to a sheet.
func (p Phase) Over() bool { return p == Finished || p == Ruined }

// A Sheet is everything known of one sheet. Times named T are session time:
// what has passed since the first event, on the clock that does not step.
// Callers must not change what they are handed.
type Sheet struct {
	ID      string
	Num     int // 1, 2, ... in the order of coming; spoken
	Spec    SheetSpec
	AddedAt Instant
	Phase   Phase

	Light  Light   // the exposure
	Visits []Visit // baths, in order; the last may be open
	Undone []Undo  // what was taken back

	// Emerged is how long after entering the developer the image was seen; 0:
	// not (yet) seen.
	Emerged   time.Duration
	EmergedIn int // the visit it was seen in

	// Out: in the room, out of bag and camera. Open is the sheet's safelight
	// account: the spans it was out, not yet fixed, with the safelight on.
	Told    bool // it went through its baths without the program
	Out     bool
	Open    []Span
	Screen  []Glow        // the spans it was out before the screen, not yet fixed
	FixedT  time.Duration // when it left the first fixing bath; 0: not yet
	EndedAt Instant
	// LoadedAt is when it was last put into its camera, UnloadedAt when it was taken
	// out again; zero: it was not. See [Sheet.InCamera].
	LoadedAt, UnloadedAt Instant

	DryAt     Instant // when it was said to be dry, and flat; zero: not said
	FlatAt    Instant
	EndedT    time.Duration
	SpoiltFor string // why, when spoiled

	Notes     []Note
	Marks     []Mark
	Judged    *Judgement
	Scan      string
	Overrides []string // baths that were spent and used all the same (Mix IDs)
	Corrected []Correction

	serial int      // last visit serial given out
	outs   []toggle // in and out of the dark
	whole  *Sheet   // as it was before it was spoiled
}

// A Correction is what was said of a sheet until it was put right, when it was
// done already.
type Correction struct {
	At   Instant
	What string // "name", "photographer", "camera", "paper", "process"
	Was  string // profiles by their key; may be empty
}

// A Glow is a span in which a sheet lay before the screen, and the light that the
// screen's black gave it.
type Glow struct {
	Span
	Lux float64
}

type screenLux struct {
	t   time.Duration
	lux float64
}

type toggle struct {
	t  time.Duration
	on bool
}

// A Span is a stretch of session time. While it lasts, Running is true and To
// is meaningless.
type Span struct {
	From, To time.Duration
	Running  bool
}

// Len returns the length of s as of session time now.
func (s Span) Len(now time.Duration) time.Duration {
	if s.Running {
		return max(0, now-s.From)
	}
	return s.To - s.From
}

// Light is the record of one exposure.
type Light struct {
	BegunAt, EndedAt Instant
	BegunT, EndedT   time.Duration
	Planned          time.Duration // as first planned
	Working          string        // how it was reckoned
	Spells           []Spell       // pinhole open, one light each; those before BegunT were taken back, and count
	Open             bool          // pinhole open now
	Readings         []Reading     // changes of light
	EV               Lightness     // of the present light
	Unseen           bool          // nobody watched how it ended
	Told             bool          // it was timed by a watch, and written down afterwards
}

// A Spell is a stretch with the pinhole open in one light: Full is the time the
// whole exposure would take in that light.
type Spell struct {
	Span
	Full time.Duration
	EV   Lightness
}

// A Lightness is an exposure value at ISO 100; where none was read yet (not
// Known), the stops against the light at the opening.
type Lightness struct {
	EV    float64
	Known bool
}

// A Reading is a change of light during an exposure, or of its time by hand.
type Reading struct {
	At    Instant
	T     time.Duration
	Stops float64       // against the light before; brighter is positive
	Full  time.Duration // the whole exposure in the new light
	Light string        // the light, or the time, as the user typed it; empty: by a key
	// Open > 0: the light is as it was, and the user has set for how long the
	// pinhole is to be open in all.
	Open time.Duration
}

// A Visit is one stay in one bath.
type Visit struct {
	Serial int // counts from 1 within the sheet, never used twice
	Step   int // index into Spec.Process.Steps; Holding for holding water
	Stage  Stage
	Label  string
	Bath   string // tray name
	Mix    string // identity of the mix that was in the tray; empty if none was recorded
	In     time.Duration
	InAt   Instant
	Out    time.Duration // meaningless while Open
	OutAt  Instant
	Open   bool
	// AtLeast and AtMost are what was planned when the visit ended (or as
	// things stand, while it is open): the factor method and a dirtied wash
	// change them. They count from In.
	AtLeast, AtMost time.Duration
	// Unseen: nobody watched how it ended. Told is how long it was then, where the
	// user says so; 0: not known.
	Unseen bool
	Told   time.Duration
	// Led: it began by a move that the program led; LedOut: it ended by one.
	Led, LedOut bool
	// Short: of a wash, the hypo-clear before it was done in full.
	Short bool
	// Changes counts the dumps of a fill-and-dump wash so far, and ChangedT is
	// when the last was.
	Changes  int
	ChangedT time.Duration
	// Set > 0: the user has given the step this time, for this sheet.
	Set time.Duration
}

// Holding is the Step of a visit to holding water, which no process lists.
const Holding = -1

// An Undo is a deed that was taken back.
type Undo struct {
	At    Instant
	T     time.Duration
	Stage Stage // the stage that was left again; empty: the sheet's end
	Since time.Duration
	What  Kind // the deed; empty (of older notebooks): a move, a light or the end
}

// Move reports whether a move, an exposure or the end of the sheet was taken
// back, and no lesser deed.
func (u Undo) Move() bool {
	return slices.Contains([]Kind{"", Moved, Held, ExposureBegun, ExposureEnded, ExposureTold, Developed, Spoiled}, u.What)
}

// A Note is words with an instant.
type Note struct {
	At   Instant
	Text string
}

// A Mark is a moment the user set a mark at, and its name once it has one.
type Mark struct {
	N     int
	At    Instant
	Stage Stage
	Text  string
}

// A Judgement is what a finished sheet says of its exposure.
type Judgement struct {
	At    Instant
	Stops float64 // it should have had so much more (positive) or less
	Seen  string
}

// A Tray is a bath that was mixed and stands, or stood, in a tray.
type Tray struct {
	Mix      Mix
	Name     string // the tray it stands in now: Mix.Name until promoted
	MixedT   time.Duration
	RetiredT time.Duration
	Retired  bool
}
