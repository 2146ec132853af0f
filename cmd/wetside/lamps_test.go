package main

import (
	"context"
	"errors"
	"io"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/desk"
	"wetside/session/exposure"
	"wetside/session/say"
	"wetside/tui"
	"wetside/tui/ember"
	"wetside/tui/lamps"
)

// toldLamps remember what they were told, and end the program once dimmed.
type toldLamps struct {
	mu   sync.Mutex
	told []string
	then func()
}

func (l *toldLamps) tell(s string) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.told = append(l.told, s)
	return nil
}
func (l *toldLamps) Raised() bool            { return false }
func (l *toldLamps) Panel() (float64, bool)  { return 0, false }
func (l *toldLamps) Restore() error          { return l.tell("restore") }
func (l *toldLamps) Inhibit(string) error    { return nil }
func (l *toldLamps) Release() error          { return nil }
func (l *toldLamps) Report() []lamps.Finding { return nil }
func (l *toldLamps) Dim(bool) error {
	defer l.then()
	return l.tell("dim")
}

// While paper lies open neither a new start nor an end from outside brings the
// lamps back.
func TestLampsStayDimWhilePaperIsOut(t *testing.T) {
	t.Parallel()
	for name, p := range map[string]program{
		"the program begun again": {pace: 1},
		// Its own sheet is blank, the one in the developer is not.
		"a rehearsal meanwhile": {pace: 20, rehearsal: true, self: true, forms: []profiles.Form{{Paper: "direct-positive-fb", Process: "three-trays"}}},
	} {
		t.Run(name, func(t *testing.T) { staysDim(t, p) })
	}
}

// leaveInTheDeveloper leaves a session behind that is open, with a sheet in its first
// bath.
func leaveInTheDeveloper(t *testing.T, h *host) {
	t.Helper()
	b, err := h.book()
	if err != nil {
		t.Fatal(err)
	}
	set, err := profiles.Load(nil)
	if err != nil {
		t.Fatal(err)
	}
	plan, err := (&profiles.Planner{Set: set}).Plan(profiles.Form{Name: "signal arm", Paper: "direct-positive-fb", Process: "three-trays"})
	if err != nil {
		t.Fatal(err)
	}
	at := systemClock().Now()
	sit, err := b.Begin(session.Event{Kind: session.Opened, At: at, Pace: 1})
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range []session.Event{{Kind: session.SheetAdded, Spec: &plan.Spec}, {Kind: session.Moved}} {
		e.At, e.Sheet = at, "e5000001-0000-4000-8000-000000000001"
		if _, err := b.Append(sit.ID, e); err != nil {
			t.Fatal(err)
		}
	}
	b.Close()
}

func staysDim(t *testing.T, p program) {
	dir := t.TempDir()
	ctx, end := context.WithCancel(t.Context())
	defer end()
	silence, mouth := io.Pipe()
	defer mouth.Close()
	l := &toldLamps{then: end}
	h := &host{in: silence, out: io.Discard, err: io.Discard, data: dir, config: dir, state: dir, ctx: ctx, now: time.Now,
		getenv: func(string) string { return "" }, lights: func() lamps.Lamps { return l }}
	leaveInTheDeveloper(t, h)
	p.host = h
	late := time.AfterFunc(20*time.Second, end)
	defer late.Stop()
	if err := p.sit(settings{Sound: "none", Talk: "few", Rock: "off", Move: "8s"}, ember.Ember, ember.None, nil, nil, new(bool)); err != codeError(codeSignal) {
		t.Fatalf("ended with %v", err)
	}
	if want := []string{"dim"}; !slices.Equal(l.told, want) {
		t.Errorf("with a sheet in the developer the lamps were told %q, not %q", l.told, want)
	}
}

// stuckLamps are those of a session service that hangs: each call takes until
// it is let go.
type stuckLamps struct {
	toldLamps
	at  chan string
	let chan struct{}
}

func (l *stuckLamps) stick(what string) error {
	l.at <- what
	<-l.let
	return errors.New(what + ": by hand")
}
func (l *stuckLamps) Dim(bool) error       { return l.stick("dim") }
func (l *stuckLamps) Restore() error       { return l.stick("restore") }
func (l *stuckLamps) Inhibit(string) error { return l.stick("inhibit") }
func (l *stuckLamps) Report() []lamps.Finding {
	l.stick("report")
	return []lamps.Finding{{Lamp: "lid"}}
}

// A session service that hangs keeps nobody waiting who tells the lamps to
// follow the room; they follow what was wanted last, and what could not be done
// is told.
func TestLampsFollowBesideTheProgram(t *testing.T) {
	l := &stuckLamps{at: make(chan string, 9), let: make(chan struct{})}
	r := followRoom(l, nil, exposure.UnknownPanel(), func() []tui.Finding { return verified(l, unknownPanel(), 3)[:1] }, time.Now, func() bool { return true }, true)
	if got := <-l.at; got != "restore" {
		t.Fatalf("what an earlier run dimmed: %s", got)
	}
	// None of this waits, or the test would for ever.
	r.Awake(true)
	for range 3 {
		r.Dim(desk.PanelDimmed)
		r.Restore()
	}
	r.Dim(desk.PanelDimmed)
	if found := r.verified(); len(found) > 0 {
		t.Errorf("found %v by now", found)
	}
	var did []string
	for range 3 {
		l.let <- struct{}{}
		did = append(did, <-l.at)
	}
	if want := []string{"dim", "inhibit", "report"}; !slices.Equal(did, want) {
		t.Errorf("did %q, not %q", did, want)
	}
	want := []desk.LampNews{{Text: "restore: by hand", Wrong: true}, {Text: "dim: by hand", Aloud: say.LampStays.Of(), Wrong: true}, {Text: "inhibit: by hand", Wrong: true}}
	if told := r.Told(); !slices.Equal(told, want) || len(r.Told()) > 0 {
		t.Errorf("told %+v", told)
	}
	close(l.let)
	until(t, "what was found is known", func() bool { return len(r.verified()) == 1 })
	r.stop()
}

// risenLamps come up by themselves, as often as they are lifted.
type risenLamps struct {
	toldLamps
	up    bool
	stuck bool
}

func (l *risenLamps) lift(stuck bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.up, l.stuck = true, stuck
}

func (l *risenLamps) Raised() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.up
}

func (l *risenLamps) Dim(bool) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.up = l.up && l.stuck
	l.told = append(l.told, "dim")
	return nil
}

// A lamp that somebody turns up while paper is out is dimmed again, and it is
// told; one that does not go down is left to the user, who is told once.
func TestLampsThatComeUpAreDimmedAgain(t *testing.T) {
	l := &risenLamps{}
	r := followRoom(l, nil, exposure.UnknownPanel(), func() []tui.Finding { return nil }, time.Now, func() bool { return true }, false)
	defer r.stop()
	dims := func() int { l.mu.Lock(); defer l.mu.Unlock(); return len(l.told) }
	l.lift(false) // no paper is out: it may shine
	r.Dim(desk.PanelDimmed)
	until(t, "the lamps are dim", func() bool { return dims() == 1 })
	for n, word := range []string{"dimmed again", "by hand"} {
		l.lift(word == "by hand")
		var told []desk.LampNews
		until(t, "it is told", func() bool { told = append(told, r.Told()...); return len(told) > 0 })
		if len(told) != 1 || !strings.Contains(told[0].Text, word) || told[0].Aloud.IsZero() || dims() != n+2 {
			t.Errorf("told %+v after %d times", told, dims())
		}
	}
	r.Restore()
	until(t, "paper was put away", func() bool { l.mu.Lock(); defer l.mu.Unlock(); return slices.Contains(l.toldLamps.told, "restore") })
	n := dims()
	r.Dim(desk.PanelDimmed) // and came out: it is tried anew
	until(t, "it is dimmed once more", func() bool { return dims() > n })
}

// litLamps have a panel whose light can be read, and that goes down when it is dimmed.
type litLamps struct {
	toldLamps
	dim bool
}

func (l *litLamps) Panel() (float64, bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return map[bool]float64{false: 1, true: 0.01}[l.dim], true
}

func (l *litLamps) Dim(bool) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.dim = true
	return nil
}

// A program that goes on with paper out writes down what the panel's black gives by
// then, dimmed: of the panel in the settings.
func TestTheScreensLightIsWrittenDown(t *testing.T) {
	dir := t.TempDir()
	ctx, end := context.WithCancel(t.Context())
	defer end()
	silence, mouth := io.Pipe()
	defer mouth.Close()
	l := &litLamps{}
	h := &host{in: silence, out: io.Discard, err: io.Discard, data: dir, config: dir, state: dir, ctx: ctx, now: time.Now,
		getenv: func(string) string { return "" }, lights: func() lamps.Lamps { return l }}
	leaveInTheDeveloper(t, h)
	set := settings{Sound: "none", Talk: "few", Rock: "off", Move: "8s", Panel: unknownPanel()}
	set.Panel.Luminance = 600
	gave := make(chan error, 1)
	go func() { gave <- program{host: h, pace: 1}.sit(set, ember.Ember, ember.None, nil, nil, new(bool)) }()
	lux := func() float64 {
		b, err := h.book()
		if err != nil {
			return 0
		}
		defer b.Close()
		_, evs, _, err := b.Live(false)
		if err != nil {
			return 0
		}
		last := 0.0
		for _, e := range evs {
			if e.Kind == session.ScreenLit {
				last = e.Lux
			}
		}
		return last
	}
	p := set.Panel.panel()
	p.Share = 0.01
	for deadline := time.Now().Add(20 * time.Second); math.Abs(lux()/p.Lux()-1) > 0.01; time.Sleep(100 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("%g lx written down, not %g", lux(), p.Lux())
		}
	}
	end()
	<-gave
}
