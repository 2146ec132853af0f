package desk

import (
	"slices"
	"testing"
	"time"

	"wetside/session"
)

// wait lets time pass as the program does, tick by tick.
func (x *table) wait(d time.Duration) {
	for end := x.r.now.Add(d); x.r.now.Sub(end) < 0; {
		x.pass(100 * time.Millisecond)
	}
}

// went is how long each bath took, and which ends were led.
func went(s *session.Sheet) (out []string) {
	for _, v := range s.Visits {
		text := string(v.Stage)
		if !v.Open {
			text += " " + (v.Out - v.In).String()
		}
		if v.LedOut {
			text += " led"
		}
		out = append(out, text)
	}
	return out
}

func (x *table) goes(s *session.Sheet, want ...string) {
	x.Helper()
	if got := went(s); !slices.Equal(got, want) {
		x.Errorf("it went %v, not %v", got, want)
	}
}

func (x *table) said(want string) {
	x.Helper()
	if !slices.Contains(x.r.said, want) {
		x.Errorf("%q was not said: %q", want, x.r.said)
	}
	x.r.said = nil
}

// After one press a sheet goes through its baths on the plan, to the second, and
// its last is not ended for it.
func TestOneSheetIsLedByOnePress(t *testing.T) {
	x := lay(t, InTrays)
	s := x.print(0)
	if err := x.d.Lead(true); err != nil {
		t.Fatal(err)
	}
	x.wait(time.Minute)
	x.goes(s) // the first entry is a press
	x.press("in", Done, 1)
	x.wait(340 * sec)
	x.goes(s, "develop 3m0s led", "stop 30s led", "fix 2m0s led", "wash")
	x.said("still with me? Press any key")
	x.d.Here()
	x.said("the program leads now")
	x.wait(20 * time.Minute)
	if s.Phase != session.Wet {
		t.Errorf("the end of the last wash was led: %s", s.Phase)
	}
	calls := 0
	for _, c := range x.d.M.Cues(x.r.now, x.r.now.Add(10*time.Minute)) {
		if c.Kind == session.CueCall {
			calls++
		}
	}
	if calls == 0 {
		t.Error("the end of the last wash is not called")
	}
}

// Two are led together, each on its own plan.
func TestAPairIsLed(t *testing.T) {
	x := lay(t, InTrays)
	a, b := x.print(0), x.print(0)
	x.d.Lead(true)
	x.press("the first", Done, 1)
	x.wait(60 * sec)
	x.p.Number(2, false)
	x.press("the second", Done, 2)
	x.wait(190 * sec)
	x.d.Here() // after three moves it has asked
	x.wait(150 * sec)
	x.d.Here()
	x.wait(30 * sec)
	x.goes(a, "develop 3m0s led", "stop 30s led", "fix 2m0s led", "wash")
	x.goes(b, "develop 3m0s led", "stop 30s led", "fix 2m0s led", "wash")
}

// A press within eight seconds says when the move truly was, and nobody led it then;
// one after that is an early move. One that takes back is not led again.
func TestAPressCorrectsWhatWasLed(t *testing.T) {
	x := lay(t, InTrays)
	s := x.print(0)
	x.d.Lead(true)
	x.press("in", Done, 1)
	x.wait(182 * sec)
	a := x.press("in the stop bath only now", Done, 1)
	if a.Target.Deed != session.Confirmed {
		t.Fatalf("the press was %+v", a)
	}
	x.wait(40 * sec)
	got := went(s)
	if len(got) != 3 || got[0][:8] != "develop " || s.Visits[0].LedOut || got[1] != "stop 30s led" {
		t.Errorf("it went %v", got)
	}
	if d := s.Visits[0].Out - s.Visits[0].In; d < 182*sec || d > 184*sec {
		t.Errorf("the developer took %v", d)
	}
	if _, err := x.p.Back(); err != nil {
		t.Fatal(err)
	}
	x.wait(time.Minute)
	if v := s.Visit(); v.Stage != session.Stop {
		t.Errorf("what was taken back was led again, into the %s", v.Stage)
	}
	x.press("by hand", Done, 1)
	x.wait(130 * sec)
	if v := s.Visit(); v.Stage != session.Wash || s.Visits[1].LedOut || !s.Visits[2].LedOut {
		t.Errorf("after a press by hand it went %v", went(s))
	}
}

// A step that is judged by eye ends with a press; longer and shorter hold.
func TestALedStepEndsByAPressToo(t *testing.T) {
	x := lay(t, InTrays)
	s := x.print(0)
	x.d.Lead(true)
	x.press("in", Done, 1)
	x.wait(100 * sec)
	x.press("it is good", Done, 1)
	if _, err := x.p.Stretch(+1); err != nil {
		t.Fatal(err)
	}
	x.wait(45 * sec)
	if v := s.Visit(); v.Stage != session.Fix || s.Visits[0].LedOut || (s.Visits[1].Out-s.Visits[1].In).Round(sec) != 40*sec {
		t.Errorf("it went %v", went(s))
	}
}

// Nobody there: it stops, and calls as ever. So it does when the machine slept, and
// after a start anew.
func TestLeadingEndsWhereNobodyIs(t *testing.T) {
	x := lay(t, InTrays)
	a, b := x.print(0), x.print(0)
	x.d.Lead(true)
	x.press("one", Done, 1)
	x.wait(20 * sec)
	x.p.Number(2, false)
	x.press("two", Done, 2)
	x.wait(195 * sec) // three moves are led: 1 and 2 into the stop, 1 into the fixer
	x.said("still with me? Press any key")
	x.wait(25 * sec)
	x.said("the program leads no more")
	if x.d.M.Leading() {
		t.Error("it leads on")
	}
	n := len(a.Visits) + len(b.Visits)
	x.wait(10 * time.Minute)
	if m := len(a.Visits) + len(b.Visits); m != n {
		t.Errorf("%d moves were led after it", m-n)
	}

	y := lay(t, InTrays)
	s := y.print(0)
	y.d.Lead(true)
	y.press("in", Done, 1)
	y.wait(sec)
	y.pass(time.Hour) // the lid was closed
	if y.goes(s, "develop"); y.d.M.Leading() {
		t.Error("it leads on after a sleep")
	}
	z := lay(t, InTrays)
	z.d.Lead(true)
	z.d.Do(session.Event{Kind: session.Resumed})
	if z.d.M.Leading() {
		t.Error("it leads on after a start anew")
	}
}

// Nothing is led into a bath that is spent: here by its age.
func TestNothingIsLedIntoASpentBath(t *testing.T) {
	x := lay(t, InTrays)
	mix := &session.Mix{ID: "f", Name: "fixer", ML: 500, PerLitre: 8000, Life: 10 * time.Minute}
	if err := x.d.Do(session.Event{Kind: session.BathMixed, Mix: mix}); err != nil {
		t.Fatal(err)
	}
	x.wait(9 * time.Minute)
	s := x.print(0)
	x.d.Lead(true)
	x.press("in", Done, 1)
	x.wait(203 * sec)
	x.goes(s, "develop 3m0s led", "stop")
	if x.d.M.Leading() {
		t.Error("seven seconds before the move it leads on, to count it in")
	}
	x.wait(time.Minute)
	x.goes(s, "develop 3m0s led", "stop")
	x.said("fixer is spent")
	if x.d.M.Leading() {
		t.Error("it leads on")
	}
}

// A call that was made since is what a press is for; the sheet that was picked can
// be set right all the same.
func TestAPressOfTheLedIsForTheLastCall(t *testing.T) {
	x := lay(t, InTrays)
	x.print(0)
	x.d.Lead(true)
	x.press("in", Done, 1)
	x.wait(181 * sec)
	x.aims("just led", session.Confirmed, 1)
	x.wait(7500 * time.Millisecond)
	x.aims("eight seconds after it", session.Moved, 1)

	// A pinhole that is to be covered is the user's to cover, whoever is led.
	y := lay(t, InTrays)
	s := y.print(0)
	c := y.camera(182 * sec)
	y.open(c)
	y.d.Lead(true)
	y.press("in", Done, 1)
	y.wait(181500 * time.Millisecond)
	y.press("cover it", Which, 0) // within four seconds of the move
	y.p.Number(2, false)
	if s.Visits[0].LedOut != true || c.Phase != session.Exposed {
		t.Errorf("it went %v, and the camera is %s", went(s), c.Phase)
	}

	// Of two, the last, and the other by its number.
	z := lay(t, InTrays)
	a, b := z.print(0), z.print(0)
	z.d.Lead(true)
	z.press("one", Done, 1)
	z.wait(5 * sec)
	z.p.Number(2, false)
	z.press("two", Done, 2)
	z.wait(174600 * time.Millisecond)
	z.aims("the first just led", session.Confirmed, 1)
	z.wait(6 * sec)
	z.aims("the second just led", session.Confirmed, 2)
	z.p.Number(1, false)
	z.press("the first by its number", Done, 1)
	if a.Visits[0].LedOut || !b.Visits[0].LedOut {
		t.Errorf("they went %v and %v", went(a), went(b))
	}
}

// Holding water, a sheet that is spoiled, and the last move taken back twice, while
// another is led.
func TestTheOtherKeysWhileLed(t *testing.T) {
	x := lay(t, InTrays)
	a, b := x.print(0), x.print(0)
	x.d.Lead(true)
	x.press("one", Done, 1)
	x.wait(60 * sec)
	x.p.Number(2, false)
	x.press("two", Done, 2)
	x.wait(60 * sec)
	x.do(session.Spoiled, b, 0)
	x.wait(65 * sec)
	x.d.Here()
	x.goes(b, "develop 1m0s")
	x.wait(90 * sec)
	x.goes(a, "develop 3m0s led", "stop 30s led", "fix")
	if err := x.d.Do(session.Event{Kind: session.Held, Sheet: a.ID, From: a.Visit().Serial}); err != nil {
		t.Fatal(err)
	}
	x.wait(5 * time.Minute)
	if v := a.Visit(); v.Stage != session.Hold || v.Led {
		t.Errorf("it went %v", went(a))
	}
	x.press("into the wash by hand", Done, 1)

	y := lay(t, InTrays)
	s := y.print(0)
	y.d.Lead(true)
	y.press("in", Done, 1)
	y.wait(215 * sec) // in the fixer
	for range 2 {
		y.wait(sec)
		if _, err := y.p.Back(); err != nil {
			t.Fatal(err)
		}
	}
	y.wait(30 * sec)
	if v := s.Visit(); v.Stage != session.Develop {
		t.Errorf("after two moves taken back it is in the %s", v.Stage)
	}
}
