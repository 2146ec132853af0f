package desk

import (
	"errors"
	"testing"
	"time"

	"wetside/session"
)

// A table is a room in which sheets are put where a test wants them.
type table struct {
	*testing.T
	r *room
	d *Desk
	p *Presses
}

func lay(t *testing.T, at Place) *table {
	r, d := newRoom()
	return &table{t, r, d, &Presses{Desk: d, At: at}}
}

func (x *table) camera(light time.Duration) *session.Sheet {
	s, err := x.d.Add(session.SheetSpec{Camera: "tea caddy", Exposure: light, Process: trays(0)})
	if err != nil {
		x.Fatal(err)
	}
	return s
}

func (x *table) print(changes int) *session.Sheet {
	s, err := x.d.Add(session.SheetSpec{Process: trays(changes)})
	if err != nil {
		x.Fatal(err)
	}
	return s
}

func (x *table) open(s *session.Sheet) { x.do(session.ExposureBegun, s, s.Spec.Exposure) }

func (x *table) do(k session.Kind, s *session.Sheet, planned time.Duration) {
	x.Helper()
	e := session.Event{Kind: k, Sheet: s.ID, Planned: planned}
	if v := s.Visit(); v != nil && k == session.Moved {
		e.From = v.Serial
	}
	if err := x.d.Do(e); err != nil {
		x.Fatal(err)
	}
}

// to brings a sheet into the bath at step.
func (x *table) to(s *session.Sheet, step int) {
	for range step + 1 {
		x.do(session.Moved, s, 0)
	}
}

func (x *table) pass(d time.Duration) { x.r.now = x.r.now.Add(d); x.d.Tick() }

func (x *table) aims(what string, k session.Kind, num int) Aim {
	x.Helper()
	a := x.p.Aim()
	if a.Deed != k || a.Num != num {
		x.Errorf("%s: a press is %q with sheet %d, not %q with %d: %+v", what, a.Deed, a.Num, k, num, a)
	}
	return a
}

func (x *table) press(what string, o Outcome, num int) Answer {
	x.Helper()
	x.r.now = x.r.now.Add(1001 * time.Millisecond) // no double tap
	return x.pressNow(what, o, num)
}

func (x *table) pressNow(what string, o Outcome, num int) Answer {
	x.Helper()
	a := x.p.Press()
	if a.Outcome != o || a.Target.Num != num {
		x.Errorf("%s: %+v, want %d with sheet %d", what, a, o, num)
	}
	return a
}

const sec = time.Second

// The oldest call that stands is answered, wherever the screen is.
func TestTheOldestCallIsAnswered(t *testing.T) {
	x := lay(t, InTrays)
	a, b := x.camera(60*sec), x.camera(70*sec)
	x.open(a)
	x.open(b)
	x.pass(80 * sec)
	x.aims("two cameras done, 10 s apart", session.ExposureEnded, 1)
	x.press("first", Done, 1)
	x.press("second", Done, 2)
	if a.Phase != session.Exposed || b.Phase != session.Exposed {
		t.Error(a.Phase, b.Phase)
	}
}

// Two calls within four seconds are asked about, and a number answers.
func TestTwoCallsAtOnceAreAskedAbout(t *testing.T) {
	x := lay(t, InField)
	a, b := x.camera(60*sec), x.camera(63*sec)
	x.open(a)
	x.open(b)
	x.pass(64 * sec)
	got := x.press("two cameras done, 3 s apart", Which, 0)
	if len(got.Targets) != 2 || a.Phase != session.Exposing || b.Phase != session.Exposing {
		t.Fatalf("%+v", got)
	}
	if got := x.p.Number(2, false); got.Outcome != Done || b.Phase != session.Exposed || a.Phase != session.Exposing {
		t.Errorf("2: %+v", got)
	}
	x.press("the other is alone", Done, 1)
	// Sheets that come out of one wash together are taken out in turn.
	w := lay(t, InTrays)
	for range 2 {
		w.to(w.print(0), 3)
	}
	w.pass(901 * sec)
	w.press("one of two in the wash", Done, 1)
	w.press("the other", Done, 2)
	// The second of the two is seconds away: it may be what is meant.
	x = lay(t, InField)
	a, b = x.camera(60*sec), x.camera(63*sec)
	x.open(a)
	x.open(b)
	x.pass(60*sec + 500*time.Millisecond)
	x.press("one is done, the other almost", Which, 0)
}

// A call that one may answer never holds the key when one comes that must be.
func TestAMayCallYields(t *testing.T) {
	x := lay(t, InTrays)
	a, b := x.print(0), x.print(0)
	x.to(a, 3)
	x.pass(time.Minute)
	x.aims("a wash runs, and a sheet waits", session.Moved, 2)
	x.pass(830 * sec) // ten seconds of the wash are left
	x.aims("ten seconds before its end", session.Moved, 2)
	x.pass(8 * sec)
	x.aims("two seconds before its end", session.Moved, 1)
	x.pressNow("two seconds before its end", Wait, 1)
	if a.Phase != session.Wet || b.Phase != session.Fresh {
		t.Errorf("0:02: %s, %s", a.Phase, b.Phase)
	}
	x.pass(2100 * time.Millisecond)
	x.pressNow("a tenth of a second after the call", Wait, 1)
	x.pass(2 * sec)
	x.press("the wash is over", Done, 1)
	x.press("then the one that waits", Done, 2)

	// Called in the same breath, the one that must is meant; called a while before,
	// the one that may be is asked about.
	must := Target{Deed: session.Moved, Sheet: "a", Num: 1, Call: Must, Since: 20 * sec}
	for since, asked := range map[time.Duration]int{20*sec - time.Millisecond: 0, 20*sec + time.Millisecond: 0, 19 * sec: 2} {
		may := Target{Deed: session.Moved, Sheet: "b", Num: 2, Call: May, Since: since}
		if got := x.d.aim([]Target{may, must}, Target{}, 22*sec); got.Num != 1 || len(got.Ask) != asked {
			t.Errorf("may at %v, must at %v: %+v", since, must.Since, got)
		}
	}
}

// Within 0.4 s of a call a press answers the call before it.
func TestNothingChangesUnderTheFinger(t *testing.T) {
	x := lay(t, InTrays)
	// Another process, so that the second may go in while the first is judged.
	a := x.print(0)
	x.to(a, 0)
	x.pass(89 * sec)
	if got := x.p.Aim(); !got.Is(x.d.target(a)) {
		t.Fatalf("%+v", got)
	}
	x.pass(1100 * time.Millisecond)
	x.aims("judged", session.Moved, 1)
	calls := []Target{{Deed: session.Moved, Sheet: "a", Num: 1, Call: May, Since: 10 * sec}, {Deed: session.Moved, Sheet: "b", Num: 2, Call: May, Since: 20 * sec}}
	for _, c := range []struct {
		at   time.Duration
		num  int
		soon bool
		ask  bool
	}{{12 * sec, 1, false, false}, {18 * sec, 1, true, false}, {21 * sec, 2, false, false}} {
		if got := x.d.aim(calls, Target{}, c.at); got.Num != c.num || (got.Soon != nil) != c.soon || (len(got.Ask) > 0) != c.ask {
			t.Errorf("at %v: %+v", c.at, got)
		}
	}
	calls[1].Since = 13 * sec
	if got := x.d.aim(calls, Target{}, 14*sec); len(got.Ask) != 2 {
		t.Errorf("two that may, 3 s apart: %+v", got)
	}
}

// After a restart a running sheet is what a press is for, and no ready one.
func TestARunningSheetGoesBeforeAReadyOne(t *testing.T) {
	x := lay(t, InField)
	a, _ := x.camera(600*sec), x.camera(600*sec)
	x.open(a)
	x.pass(time.Minute)
	x.p = &Presses{Desk: x.d, At: InField}
	x.aims("one runs, one is ready", session.ExposureEnded, 1)
	if got := x.press("nine minutes early", Warned, 1); !got.Caution.Has(LightLeft) {
		t.Errorf("%+v", got)
	}
	x.p.Number(2, false)
	x.press("the one that was picked", Done, 2)
}

// A number picks its sheet for the next press, and says of one that is over that
// it is.
func TestANumberPicks(t *testing.T) {
	x := lay(t, InTrays)
	a, b := x.print(0), x.print(0)
	x.to(a, 0)
	x.to(b, 4)
	if got := x.p.Number(2, false); got.Outcome != Over {
		t.Errorf("a finished sheet: %+v", got)
	}
	if got := x.p.Number(7, false); got.Outcome != Nobody {
		t.Errorf("no sheet: %+v", got)
	}
	x.p.Number(1, false)
	x.pass(11 * sec)
	if s := x.p.Picked(); s != nil {
		t.Errorf("still picked after 11 s: %v", s.Num)
	}
}

// A sheet that is called after another was picked: a press may be for either, and is
// asked about, unless nobody can have heard the call yet.
func TestACallAfterAPickIsAskedAbout(t *testing.T) {
	for _, y := range []struct {
		name  string
		after time.Duration // from the pick to the call
		waits time.Duration // from the call to the press
		want  Outcome
		num   int
	}{
		{"the call came, and two seconds later the press", 3 * sec, 2 * sec, Which, 0},
		{"it came under the finger", 3 * sec, 300 * time.Millisecond, Warned, 1},
		{"it stood when the other was picked", -sec, 3 * sec, Warned, 1},
	} {
		x := lay(t, InTrays)
		a, b := x.print(0), x.camera(60*sec)
		x.open(b)
		x.pass(20 * sec)
		x.to(a, 2) // into the fixer
		x.pass(40*sec - y.after)
		x.p.Number(1, false)
		x.pass(y.after + y.waits)
		got := x.pressNow(y.name, y.want, y.num)
		if y.want != Which {
			continue
		}
		if len(got.Targets) != 2 || got.Targets[0].Num != 1 || got.Targets[1].Num != 2 {
			t.Errorf("%s: asked about %+v", y.name, got.Targets)
		}
		if x.p.Number(2, false); a.Visit().Stage != session.Fix || b.Phase != session.Exposed {
			t.Errorf("2 is answered, and 1 is in the %s, 2 %s", a.Visit().Stage, b.Phase)
		}
	}
	x := lay(t, InTrays)
	a, b := x.print(0), x.camera(60*sec)
	x.open(b)
	x.pass(29 * sec)
	x.to(a, 1) // into the stop bath, for half a minute
	x.pass(28 * sec)
	x.p.Number(1, false)
	x.pass(5 * sec)
	x.press("both were called since", Done, 1)
}

// Of two sheets in the developer it is asked whose image has come up; of one, and of the
// one that was picked, it is not.
func TestWhoseImageIsSeen(t *testing.T) {
	x := lay(t, InTrays)
	if got := x.p.Seen(); got.Outcome != Idle {
		t.Errorf("nothing in the developer: %+v", got)
	}
	a, b, c := x.print(0), x.print(0), x.print(0)
	x.to(a, 0)
	x.pass(20 * sec)
	x.to(b, 0)
	x.pass(20 * sec)
	got := x.p.Seen()
	if got.Outcome != Which || len(got.Targets) != 2 || a.Emerged+b.Emerged > 0 {
		t.Fatalf("two in the developer: %+v", got)
	}
	if got = x.p.Number(1, false); got.Outcome != Done || a.Emerged != 40*sec || b.Emerged > 0 {
		t.Errorf("1 is answered: %+v", got)
	}
	x.to(c, 0)
	x.pass(sec)
	x.p.Number(3, false)
	if got = x.p.Seen(); got.Outcome != Done || c.Emerged != sec || b.Emerged > 0 {
		t.Errorf("3 was picked: %+v", got)
	}
	if got = x.p.Seen(); got.Outcome != Done || b.Emerged != 21*sec {
		t.Errorf("2 is the only one: %+v", got)
	}
}

// Backspace takes back one deed after another, of whatever sheet and bath.
func TestBackspaceGoesBackStepByStep(t *testing.T) {
	x := lay(t, InTrays)
	a := x.camera(60 * sec)
	for i := range 3 {
		mix := session.Mix{ID: string(rune('p' + i)), Name: string(rune('p' + i)), ML: 500}
		x.d.At(session.Event{Kind: session.BathMixed, Mix: &mix, At: x.r.now})
	}
	x.pass(sec)
	x.open(a)
	x.pass(2 * sec)
	x.do(session.Marked, a, 0)
	x.do(session.Spoiled, a, 0)
	for _, want := range []session.Kind{session.Spoiled, session.Marked, session.ExposureBegun, session.BathMixed, session.SheetAdded} {
		x.pass(sec)
		if got, err := x.p.Back(); got.Kind != want || err != nil {
			t.Fatalf("took back %q (%v), not %q", got.Kind, err, want)
		}
	}
	if len(x.d.M.Sheets()) != 0 || len(x.d.M.Trays()) != 0 {
		t.Errorf("%d sheets, %d baths are left", len(x.d.M.Sheets()), len(x.d.M.Trays()))
	}
	if _, err := x.p.Back(); !errors.Is(err, ErrNoDeed) {
		t.Error(err)
	}
	// An elbow ends no exposure that has run for a while.
	a = x.camera(600 * sec)
	x.open(a)
	x.pass(5 * time.Minute)
	if _, err := x.p.Back(); !errors.Is(err, ErrLongAgo) || a.Phase != session.Exposing {
		t.Error(err, a.Phase)
	}
	x.pass(2 * sec)
	if _, err := x.p.Back(); err != nil || a.Phase != session.Fresh {
		t.Error(err, a.Phase)
	}
}

// However often a contact bounces within 300 ms it is one press.
func TestABouncingPedalIsOnePress(t *testing.T) {
	x := lay(t, InTrays)
	a := x.print(0)
	x.pressNow("first", Done, 1)
	for range 20 {
		x.r.now = x.r.now.Add(40 * time.Millisecond)
		x.pressNow("bounce", Bounced, 0)
	}
	if len(a.Visits) != 1 {
		t.Errorf("%d moves", len(a.Visits))
	}
}

// Two who ask within one second, the later first, are told the same: it may go in.
func TestMayGoInIsSaidOfTheWholeSecond(t *testing.T) {
	x := lay(t, InTrays)
	first, next := x.print(0), x.print(0)
	x.to(first, 4)
	x.pass(20 * time.Minute)
	now := x.d.M.T(x.r.now).Truncate(time.Second) + 500*time.Millisecond
	for _, at := range []time.Duration{now, now - 100*time.Millisecond} {
		if start, why, ok := x.d.Soon(next, at); !ok || start > at {
			t.Errorf("at %v: %v, %q, %v", at, start, why, ok)
		}
	}
}

// At a strip's call the large key covers the pinhole and ends nothing; then it opens it
// for the next strip. The last strip's is the end.
func TestTheLargeKeyFollowsTheStripsOfATest(t *testing.T) {
	x := lay(t, InField)
	s, err := x.d.Add(session.SheetSpec{Camera: "tea caddy", Exposure: 4 * time.Minute, Process: trays(0),
		Reckoned: &session.Reckoned{Test: &session.Test{Strips: 3, Step: 1, Shares: []float64{0.25, 0.5, 1}}}})
	if err != nil {
		t.Fatal(err)
	}
	x.open(s)
	for _, light := range []time.Duration{57 * sec, 55 * sec} { // each cover came two seconds late
		x.pass(light)
		x.pressNow("three seconds before the call", Wait, 1)
		x.pass(4 * sec)
		x.aims("a strip is called", session.PinholeCovered, 1)
		x.press("it is covered", Done, 1)
		if s.Light.Open || s.Phase != session.Exposing {
			t.Fatalf("it is %s, open %v", s.Phase, s.Light.Open)
		}
		x.pass(20 * sec)
		x.aims("the card was moved", session.PinholeUncovered, 1)
		x.press("it is opened again", Done, 1)
	}
	x.pass(3 * time.Minute)
	x.aims("the last strip has its light", session.ExposureEnded, 1)
	x.press("it is over", Done, 1)
	if s.Phase != session.Exposed {
		t.Errorf("it is %s", s.Phase)
	}
}
