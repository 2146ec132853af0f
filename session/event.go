package session

import (
	"cmp"
	"math"
	"slices"
	"time"
)

// A Kind says what sort of fact an Event is.
type Kind string

// The kinds of event. Each line says which fields beyond At go with it, as the
// table of rules does for the program.
const (
	// Opened begins a darkroom session: Rehearsal, Pace.
	Opened Kind = "opened"
	// SheetAdded brings a sheet in: Sheet, Spec.
	SheetAdded Kind = "sheet added"
	// SheetOut: the sheet came out of its bag or camera, into the room: Sheet.
	SheetOut Kind = "sheet out"
	// SheetAway: the sheet went back into the dark: Sheet.
	SheetAway Kind = "sheet away"
	// SheetWithdrawn: the sheet was added by mistake, and never had light: Sheet.
	SheetWithdrawn Kind = "sheet withdrawn"
	// Loaded: the sheet lies in its camera, lid on, hole shut: Sheet. Unloaded: it was
	// taken out again: Sheet.
	Loaded   Kind = "loaded"
	Unloaded Kind = "unloaded"
	// BoxOpened and BoxAway: a box of paper is open in the room, or put away.
	BoxOpened Kind = "box opened"
	BoxAway   Kind = "box away"

	// ExposureBegun opens the pinhole: Sheet, Planned (the full time in this
	// light), Note (how it was reckoned).
	ExposureBegun Kind = "exposure begun"
	// PinholeCovered stops the clock of light, not the clock of day: Sheet.
	PinholeCovered Kind = "pinhole covered"
	// PinholeUncovered lets it go on: Sheet.
	PinholeUncovered Kind = "pinhole uncovered"
	// LightChanged keeps the share of exposure already given and reckons the
	// rest anew: Sheet, Stops (brighter is positive), Planned (the full time
	// in the new light), Note (the light in the user's words, where it was typed),
	// Lit (the same as a fact).
	LightChanged Kind = "light changed"
	// Retimed: the user has set the whole time by hand while the exposure
	// runs: Sheet, Planned (how long the pinhole is to be open in all), Note.
	Retimed Kind = "time set"
	// ExposureEnded closes the pinhole for good: Sheet.
	ExposureEnded Kind = "exposure ended"
	// ExposureTold: the sheet was exposed by a watch, and that is written down
	// afterwards: Sheet, Planned (how long the pinhole was open in all), Told (from
	// when to when).
	ExposureTold Kind = "exposure told"

	// Moved puts the sheet into its next bath, or ends the last one: Sheet,
	// From (the visit the user saw when they pressed; a Moved that names
	// another visit than the present one is refused, so that one press never
	// moves a sheet twice).
	Moved Kind = "moved"
	// Held puts a sheet that is due for the wash into holding water: Sheet, From.
	Held Kind = "held"
	// Undone takes back the last move of the sheet; of one that is not wet yet
	// the end of its exposure (as if it had not ended) or the opening of its
	// pinhole (the light that fell counts); or that it was spoiled: Sheet, From
	// (the last visit the user saw, as for Moved; 0: whichever it is).
	// With What it takes back the last deed of that kind, and which is told by the
	// fields that the deed had: Sheet, or Bath, or none. Nothing that was done
	// with the same sheet since may stand.
	Undone Kind = "undone"
	// ImageSeen is the emergence of the image in the developer: Sheet.
	ImageSeen Kind = "image seen"
	// StepTimed: the user has given the step that runs another time, for this
	// sheet: Sheet, From (the visit), Planned (the whole step, from the sheet's
	// entry; in a wash from the last sheet's).
	StepTimed Kind = "step time set"
	// WaterChanged is one dump and fill of a wash tray: Bath.
	WaterChanged Kind = "water changed"

	// Spoiled ends a sheet early: Sheet, Note (why). Of a sheet that was spoiled
	// without a reason, it tells the reason.
	Spoiled Kind = "spoiled"
	// LeadBegun: from now on the program leads: each move is taken as done when it is
	// due, marked Led. LeadEnded ends it, and so does Resumed.
	LeadBegun Kind = "lead begun"
	LeadEnded Kind = "lead ended"
	// Confirmed: the led move into the visit From was made at At. Sheet, From.
	Confirmed Kind = "led move confirmed"
	// Unseen: nobody watched how the sheet left its bath, or how its exposure ended,
	// and what the record would have of its time did not happen: Sheet, From, Planned
	// (how long it was in all, where the user says so), What (Moved: it was finished
	// by hand, or its exposure ended; empty: what became of it comes next).
	Unseen Kind = "unseen"
	// Developed: the sheet went through all its baths without the program: Sheet,
	// Told (when it was done, and what is known of the baths).
	Developed Kind = "developed without the program"
	// Noted adds words, to a sheet or (Sheet empty) to the day: Note.
	Noted Kind = "noted"
	// Marked is a one-key mark, to be named later: Sheet.
	Marked Kind = "marked"
	// MarkNamed gives mark number N of the sheet its words: Sheet, N, Note.
	MarkNamed Kind = "mark named"
	// Judged is what the finished sheet says about its exposure: Sheet, Stops
	// (positive: it should have had more), Note (what was seen).
	Judged Kind = "judged"
	// Dried: a washed sheet is dry: Sheet. Flattened: it has lain under a weight, or
	// been pressed, and is flat: Sheet.
	Dried     Kind = "dried"
	Flattened Kind = "flattened"
	// Scanned ties a picture file to the sheet: Sheet, Note (its path).
	Scanned Kind = "scanned"
	// Remade changes what was said of a sheet: Sheet, Spec. Of one that is done it is
	// a correction, which its record tells.
	Remade Kind = "remade"

	// SafelightOn and SafelightOff are the room's lamp.
	SafelightOn  Kind = "safelight on"
	SafelightOff Kind = "safelight off"
	// ScreenLit: the laptop's panel gives that much light on the paper where it is
	// black, from now on: Lux (0: none).
	ScreenLit Kind = "screen light"

	// BathMixed fills a tray: Mix.
	BathMixed Kind = "bath mixed"
	// BathRetired empties it: Bath.
	BathRetired Kind = "bath retired"
	// BathPromoted moves the second bath into the place of the first: Bath
	// (the one that goes), Into (the name it takes).
	BathPromoted Kind = "bath promoted"
	// BathOverridden: the user was told that Bath is spent and went on: Bath, Sheet.
	BathOverridden Kind = "bath overridden"

	// Resumed: the program came back after an end that was not a quit.
	Resumed Kind = "resumed"
	// Closed ends the session: nothing is running and paper is covered.
	Closed Kind = "closed"
)

// An Event is a fact with an instant. Events are all that is ever stored; the
// same events, applied in the same order, always give the same State.
type Event struct {
	Kind    Kind          `json:"kind"`
	At      Instant       `json:"at"`
	Sheet   string        `json:"sheet,omitempty"` // identity, made by the host; never shown
	From    int           `json:"from,omitempty"`  // Moved, Held, Undone, StepTimed: serial of the visit (0: not yet wet)
	Spec    *SheetSpec    `json:"spec,omitempty"`
	Planned time.Duration `json:"planned,omitempty"`
	Stops   float64       `json:"stops,omitempty"`
	N       int           `json:"n,omitempty"`
	Note    string        `json:"note,omitempty"`
	Bath    string        `json:"bath,omitempty"` // identity of a mixed bath (Mix.ID) or name of a wash tray
	Into    string        `json:"into,omitempty"`
	Mix     *Mix          `json:"mix,omitempty"`
	What    Kind          `json:"what,omitempty"` // Undone: the kind of the deed that is taken back
	Lit     *Lit          `json:"lit,omitempty"`
	Told    *Told         `json:"told,omitempty"`
	Led     bool          `json:"led,omitempty"` // Moved: the program led, and nobody confirmed it
	Lux     float64       `json:"lux,omitempty"`

	Rehearsal bool    `json:"rehearsal,omitempty"`
	Pace      float64 `json:"pace,omitempty"`
}

// A Told is what somebody says of a thing that no program watched, by a watch. A
// zero time is one that is not known.
type Told struct {
	From time.Time `json:"from,omitzero"`
	To   time.Time `json:"to,omitzero"`
	// Steps are how long the sheet was in the bath of each step, in order; 0: not
	// known. It may be shorter than the process.
	Steps []time.Duration `json:"steps,omitempty"`
}

// check refuses what cannot have been by the time it is written down. A minute is
// the difference that two clocks may have.
func (w *Told) check(now time.Time) error {
	const apart = time.Minute
	for _, t := range []time.Time{w.From, w.To} {
		if t.After(now.Add(apart)) {
			return refuse("%s has not come yet: say which day it was", t.Format("2006-01-02 15:04"))
		}
	}
	if !w.From.IsZero() && !w.To.IsZero() && w.To.Before(w.From) {
		return refuse("it cannot have ended before it began")
	}
	return want(!slices.ContainsFunc(w.Steps, func(d time.Duration) bool { return !within(d, 0, maxStep) }), "a step takes from nothing to 7 days")
}

// A SheetSpec is all that is known of a sheet before it is exposed. It carries
// its paper and process whole, so that a session read again next year does not
// depend on profiles that have changed since.
type SheetSpec struct {
	Name    string  `json:"name,omitempty"`   // what the user calls it
	Maker   string  `json:"maker,omitempty"`  // whose it is, in a workshop
	Camera  string  `json:"camera,omitempty"` // profile key; empty when unknown
	Paper   Paper   `json:"paper"`
	Process Process `json:"process"`
	Celsius float64 `json:"celsius,omitempty"` // developer temperature the times are for; 0 when not stated
	Light   string  `json:"light,omitempty"`   // as the user gave it: "EV 12.5"
	Working string  `json:"working,omitempty"` // the sum behind the planned exposure, for the record
	// Base is what Exposure would be without the correction learned from judged
	// sheets, and Learned that correction, in stops; both 0 when the time was
	// given by hand.
	Base    time.Duration `json:"base,omitempty"`
	Learned float64       `json:"learned,omitempty"`
	// Reckoned is what the exposure stands on, as facts: what a judgement is held
	// against when profiles have changed since. Nil in notebooks of earlier
	// programs, and where there is no camera.
	Reckoned *Reckoned `json:"reckoned,omitempty"`
	// Exposure is the planned full exposure in that light; 0: not planned.
	Exposure  time.Duration `json:"exposure,omitempty"`
	Rehearsal bool          `json:"rehearsal,omitempty"` // a blank sheet
}

// Test is how the sheet is a test in strips; nil: it is a picture.
func (s *SheetSpec) Test() *Test {
	if s.Reckoned == nil {
		return nil
	}
	return s.Reckoned.Test
}

// lightness is the light that its exposure was reckoned for, where one was read.
func (s *SheetSpec) lightness() Lightness {
	if s.Reckoned == nil || s.Reckoned.Lit == nil {
		return Lightness{}
	}
	return Lightness{s.Reckoned.Lit.EV, true}
}

// A Lit is a light that was read.
type Lit struct {
	EV    float64 `json:"ev"`             // at ISO 100
	Doubt float64 `json:"doubt_stops"`    // a standard deviation; 0: a lamp of fixed output
	From  string  `json:"from,omitempty"` // what it was taken from, for the reader
	// As is the light as typed, without what makes no difference. Two sheets of
	// one day with the same As were exposed by the same reading.
	As string `json:"as,omitempty"`
}

// Reckoned is all that an exposure was reckoned from, as it was that day.
type Reckoned struct {
	Lit *Lit `json:"lit,omitempty"` // nil: a time was given, and no light
	// Hole and Box say which hole of the camera and which box of the paper it
	// was: the first is 1.
	Hole    int     `json:"hole,omitempty"`
	Box     int     `json:"box,omitempty"`
	FNumber float64 `json:"f_number,omitempty"`
	ISO     float64 `json:"iso,omitempty"`
	// Law is the paper's reciprocity as the reckoning writes it: "p 0.86 from 1 s".
	Law string `json:"reciprocity,omitempty"`
	// Stops of the picture's own: a filter and warm light lengthen, a pre-flash
	// shortens.
	Filter   float64 `json:"filter_stops,omitempty"`
	Warm     float64 `json:"warm_stops,omitempty"`
	Preflash float64 `json:"preflash_stops,omitempty"`
	Subject  float64 `json:"subject_mm,omitempty"` // before the hole; 0: far. It changes the sharpness and no time
	// Test: the sheet is a test in strips; nil: it is a picture.
	Test *Test `json:"test,omitempty"`
}

// A Test is a sheet over which a card is drawn, strip after strip, while it is exposed:
// which strip is right is its judgement.
type Test struct {
	Strips int     `json:"strips"`
	Step   float64 `json:"step_stops"` // from one strip to the next
	// Shares are those of the whole exposure that each strip gets, the last 1; none
	// as long as no time is known.
	Shares []float64 `json:"shares,omitempty"`
}

// Stops is by how many stops a strip had more (positive) than the whole sheet's
// exposure: 0 of the last, less of those before.
func (t *Test) Stops(strip int) float64 { return t.Step * float64(strip-t.Strips) }

// Nearest is the strip whose stops are nearest to so many.
func (t *Test) Nearest(stops float64) int {
	return max(1, min(t.Strips, t.Strips+int(math.Round(stops/t.Step))))
}

func (t *Test) check() error {
	if t == nil {
		return nil
	}
	if !within(t.Strips, 2, 9) || !within(t.Step, math.SmallestNonzeroFloat64, 5) {
		return refuse("a test sheet has 2 to 9 strips, some stops apart")
	}
	last := 0.0
	for _, s := range t.Shares {
		if s == last || !within(s, last, 1) {
			return refuse("each strip of a test has more than the one before, and the last the whole")
		}
		last = s
	}
	return want(len(t.Shares) == 0 || len(t.Shares) == t.Strips, "a test of %d strips has as many shares", t.Strips)
}

func (r *Reckoned) check() error {
	if r == nil {
		return nil
	}
	for _, v := range []float64{r.FNumber, r.ISO, r.Filter, r.Warm, r.Preflash, r.Subject} {
		if !within(v, 0, 1e9) {
			return refuse("f-number, speed and stops are numbers, 0 or more")
		}
	}
	return cmp.Or(r.Test.check(), r.Lit.check())
}

func (l *Lit) check() error {
	if l == nil {
		return nil
	}
	return want(within(l.EV, -MaxChange, MaxChange) && within(l.Doubt, 0, 10), "a light is at most EV %d, in doubt by at most 10 stops", MaxChange)
}

// Response says which way a picture goes when it gets more light.
type Response string

const (
	// Lighter: a direct positive. More exposure gives a lighter picture.
	Lighter Response = "lighter"
	// Denser: a negative. More exposure gives a denser (darker) one.
	Denser Response = "denser"
)

// Base is what the emulsion is coated on.
type Base string

const (
	FB Base = "FB" // fibre base: the paper itself takes up chemistry
	RC Base = "RC" // resin coated: only the emulsion does
)

// A Paper is what the session needs to know of a paper.
type Paper struct {
	Key      string        `json:"key"`
	Name     string        `json:"name"`
	Base     Base          `json:"base"`
	Response Response      `json:"response"`
	AreaCM2  float64       `json:"area_cm2"`            // of one sheet, one side
	Safe     time.Duration `json:"safe,omitempty"`      // longest time under this safelight, unexposed; 0: no figure at all, or none is safe if tested
	SafeExp  time.Duration `json:"safe_exp,omitempty"`  // the shorter one for exposed paper; 0: that of Safe, or none is safe if tested
	Tested   bool          `json:"tested,omitempty"`    // Safe and SafeExp come from a fog test and not from a cautious default
	TestedOn string        `json:"tested_on,omitempty"` // date of that test
	// FirstTone is the light that leaves a first tone on it, lx s; 0: not known. A
	// fog test says more, and replaces it.
	FirstTone float64 `json:"first_tone_lx_s,omitempty"`
}

// SafeFor returns the longest time the paper may lie under its safelight, the
// shorter one once it is exposed, and whether there is a figure at all: a fog
// test whose first step shows leaves none safe, which is a figure.
func (p Paper) SafeFor(exposed bool) (d time.Duration, known bool) {
	d = p.Safe
	if exposed && (p.SafeExp > 0 || p.Tested) && (p.SafeExp < d || d == 0) {
		d = p.SafeExp
	}
	return d, d > 0 || p.Tested
}

// Stage is the trade's name of what happens in a bath.
type Stage string

// The stages, in the order a sheet meets them.
const (
	Exposure Stage = "expose"
	Develop  Stage = "develop"
	Stop     Stage = "stop"
	Fix      Stage = "fix"
	Fix2     Stage = "second fix"
	Rinse    Stage = "rinse"
	Clear    Stage = "hypo-clear"
	Hold     Stage = "hold"
	Wash     Stage = "wash"
)

// Stages lists every stage in working order.
var Stages = []Stage{Exposure, Develop, Stop, Fix, Fix2, Rinse, Clear, Hold, Wash}

// Step reports whether a process may have the stage as a step: the exposure
// comes before it, and holding water is where a sheet waits.
func (s Stage) Step() bool { return s != Exposure && s != Hold }

// A Process is the list of baths a sheet goes through, with the times for the
// temperature at hand already reckoned.
type Process struct {
	Key   string `json:"key"`
	Name  string `json:"name"`
	Steps []Step `json:"steps"`
}

// A Step is one bath. Its time counts from the moment the sheet enters.
//
// With AtLeast < AtMost the step is ended by inspection: at AtLeast the user is
// told they may judge, at AtMost they are called. Otherwise both are the target.
type Step struct {
	Stage     Stage         `json:"stage"`
	Name      string        `json:"name,omitempty"` // shown in place of the stage's own name
	Bath      string        `json:"bath,omitempty"` // the tray's name: "developer", "fixer 1", "wash tray"
	AtLeast   time.Duration `json:"at_least"`
	AtMost    time.Duration `json:"at_most"`
	Drain     time.Duration `json:"drain,omitempty"` // the last seconds of the step: lift and let drip
	Agitation Agitation     `json:"agitation,omitzero"`
	MayRest   bool          `json:"may_rest,omitempty"` // the agitation can be left while another sheet needs the hands
	ByClock   bool          `json:"by_clock,omitempty"` // the clock ends it, no confirmation
	Factor    float64       `json:"factor,omitempty"`   // develop: end at Factor x emergence, within the window
	Batch     bool          `json:"batch,omitempty"`    // sheets share this water; a newcomer sets all their clocks back
	// ShortAfter is the time of a wash when the hypo-clear before it was done
	// in full; 0: no shortening.
	ShortAfter time.Duration `json:"short_after,omitempty"`
	// Changes > 0: fill-and-dump; the water is changed so many times at equal intervals.
	Changes int `json:"changes,omitempty"`
}

// ByInspection reports whether the user's eye ends the step.
func (s Step) ByInspection() bool { return s.AtLeast < s.AtMost }

// Label is what the step is called on screen and in the log.
func (s Step) Label() string { return cmp.Or(s.Name, string(s.Stage)) }

// Agitation says when to rock the tray. The zero value is no agitation.
type Agitation struct {
	Continuous bool          `json:"continuous,omitempty"`
	First      time.Duration `json:"first,omitempty"` // first spell, from the sheet's entry
	For        time.Duration `json:"for,omitempty"`   // each later spell
	Every      time.Duration `json:"every,omitempty"` // from the begin of one spell to the begin of the next
}

// A Mix is a bath made up in a tray.
type Mix struct {
	ID       string        `json:"id"`
	Name     string        `json:"name"`               // matches Step.Bath
	What     string        `json:"what,omitempty"`     // "rapid fixer"
	Dilution string        `json:"dilution,omitempty"` // "1+4"
	ML       float64       `json:"ml"`                 // working solution in the tray
	PerLitre float64       `json:"per_litre"`          // capacity, cm2 of paper a litre; 0: not stated
	Life     time.Duration `json:"life,omitempty"`     // hours in the tray; 0: not stated
	CarryML  float64       `json:"carry_ml,omitempty"` // carried over by one sheet
	Silver   bool          `json:"silver,omitempty"`   // a fixer: holds silver when spent
}
