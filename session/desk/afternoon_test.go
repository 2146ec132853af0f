package desk

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"wetside/session"
)

// A room is a desk without a machine under it, in faked time.
type room struct {
	now    session.Instant
	events []session.Event
	ids    int
	said   []string
}

func (r *room) Now() session.Instant             { return r.now }
func (r *room) Real(i session.Instant) time.Time { return i.Wall }
func (r *room) Append(e session.Event) ([]session.Event, error) {
	r.events = append(r.events, e)
	return []session.Event{e}, nil
}
func (r *room) Poll() ([]session.Event, error)              { return nil, nil }
func (r *room) Save(*session.Machine, *session.Sheet) error { return nil }
func (r *room) Unsaved() int                                { return 0 }
func (r *room) Loose() int                                  { return 0 }
func (r *room) Schedule([]session.Due)                      {}
func (r *room) Play(c session.Cue) {
	for _, l := range *c.Lines {
		r.said = append(r.said, l.String())
	}
}
func (r *room) State() SoundState           { return SoundState{OK: true} }
func (r *room) Volume(int)                  {}
func (r *room) Confirm()                    {}
func (r *room) id() string                  { r.ids++; return fmt.Sprint("s", r.ids) }
func (r *room) to(d *Desk, t time.Duration) { r.now = d.M.At(t) }

func newRoom() (*room, *Desk) {
	r := &room{now: session.Instant{Wall: time.Date(2026, 5, 9, 14, 0, 0, 0, time.UTC), Boot: time.Hour, BootID: "b"}}
	d := &Desk{M: session.New(), Clock: r, Record: r, Sound: r, NewID: r.id, Move: 8 * time.Second}
	d.M.Apply(session.Event{Kind: session.Opened, At: r.now})
	return r, d
}

func trays(changes int) session.Process {
	const sec = time.Second
	wash := session.Step{Stage: session.Wash, Bath: "wash", AtLeast: 900 * sec, AtMost: 900 * sec, Batch: true, Changes: changes}
	return session.Process{Key: "three", Name: "Three trays", Steps: []session.Step{
		{Stage: session.Develop, Bath: "developer", AtLeast: 90 * sec, AtMost: 180 * sec, Drain: 10 * sec, Agitation: session.Agitation{Continuous: true}},
		{Stage: session.Stop, Bath: "stop", AtLeast: 30 * sec, AtMost: 30 * sec, Drain: 5 * sec},
		{Stage: session.Fix, Bath: "fixer", AtLeast: 120 * sec, AtMost: 120 * sec, Drain: 10 * sec},
		wash}}
}

// A press is one that a person means for a deed.
type press struct {
	at    time.Duration
	meant Target
	tries int
}

// A person answers calls, after a human delay, and nothing else.
type person struct {
	rnd     *rand.Rand
	hand    []press
	heard   map[string]bool
	judges  map[string]bool // sheets whose image is taken before its at-most
	deeds   []string        // what was meant and done
	presses int
	asked   int
	waited  int
}

func (p *person) between(lo, hi time.Duration) time.Duration {
	return lo + time.Duration(p.rnd.Int64N(int64(hi-lo)))
}

// hears takes in the calls that come next: for each a press that answers it.
func (p *person) hears(calls []Target, t time.Duration) {
	for _, c := range calls {
		key := fmt.Sprint(c.Deed, c.Sheet, c.From, c.Bath, c.Call, c.Since)
		if p.heard[key] || c.Since > t+time.Minute {
			continue
		}
		if c.Call == May && c.From > 0 { // the image may be judged
			if _, seen := p.judges[c.Sheet]; !seen {
				p.judges[c.Sheet] = p.rnd.IntN(2) == 0
			}
			if !p.judges[c.Sheet] {
				continue
			}
		}
		p.heard[key] = true
		at := c.Since + p.between(500*time.Millisecond, 4*time.Second)
		if p.rnd.IntN(20) == 0 {
			at = c.Since - p.between(0, time.Second)
		}
		if c.Call == May { // what must be done comes first
			for _, x := range p.hand {
				if x.meant.Call == Must && x.meant.Since <= c.Since {
					at = max(at, x.at+1200*time.Millisecond)
				}
			}
		}
		p.will(press{at: max(at, t+time.Millisecond), meant: c})
	}
}

func (p *person) will(x press) {
	p.hand = append(p.hand, x)
	slices.SortStableFunc(p.hand, func(a, b press) int { return cmp.Compare(a.at, b.at) })
}

// Afternoons with three cameras, and an evening with four sheets, by presses that
// answer the rule's own calls: at human delays, now and then too early, now and then
// doubled. No deed falls on another sheet than was meant, and the record is what was
// meant. By ear and by whatever hand: tui, TestEveryPressLandsWhateverTheHand.
func TestEveryPressLandsWhereItWasMeant(t *testing.T) {
	n := 60
	asked, waited, presses := 0, 0, 0
	for seed := range n {
		p := &person{rnd: rand.New(rand.NewPCG(uint64(seed), 14)), heard: map[string]bool{}, judges: map[string]bool{}}
		afternoon(t, seed, p)
		asked, waited, presses = asked+p.asked, waited+p.waited, presses+p.presses
		if t.Failed() {
			t.Fatalf("afternoon %d", seed)
		}
	}
	t.Logf("%d afternoons, %d presses, %d asked about, %d answered by voice", n, presses, asked, waited)
	if asked == 0 || waited == 0 {
		t.Error("no press was ever in doubt: the afternoons are too easy")
	}
}

func afternoon(t *testing.T, seed int, p *person) {
	r, d := newRoom()
	hands := &Presses{Desk: d, At: InField}
	spec := func(name, camera string, light time.Duration) session.SheetSpec {
		return session.SheetSpec{Name: name, Camera: camera, Exposure: light, Paper: session.Paper{AreaCM2: 100}, Process: trays(4 * p.rnd.IntN(2))}
	}
	var names []*session.Sheet
	for _, c := range []string{"tea caddy", "hat box", "biscuit tin"} {
		// Now and then two that are done within seconds of each other.
		s, _ := d.Add(spec(c, c, 2*time.Minute+p.between(0, time.Duration(1+p.rnd.IntN(4))*time.Minute)))
		names = append(names, s)
	}
	now := func() time.Duration { return d.M.T(r.now) }
	// The pinholes are opened by number: nothing calls for that.
	for _, s := range names {
		r.to(d, now()+p.between(3*time.Second, 40*time.Second))
		if a := hands.Number(s.Num, false); a.Outcome != Picked || a.Target.Deed != session.ExposureBegun {
			t.Fatalf("sheet %d picked: %+v", s.Num, a)
		}
		r.to(d, now()+p.between(300*time.Millisecond, 2*time.Second))
		if a := hands.Press(); a.Outcome != Done || a.Target.Sheet != s.ID {
			t.Fatalf("opening %d: %+v", s.Num, a)
		}
	}
	s, _ := d.Add(spec("contact print", "", 0))
	names = append(names, s)
	for range 3000 {
		d.Tick()
		t0 := now()
		v := d.M.View(r.now)
		calls := d.calls(v)
		p.hears(calls, t0)
		exposing := slices.ContainsFunc(names, func(s *session.Sheet) bool { return s.Phase == session.Exposing })
		if d.Over() {
			break
		}
		if !exposing && hands.At == InField {
			hands.At = InTrays
		}
		if !d.Wet() && !exposing && len(p.hand) == 0 {
			// Nothing runs: the next sheet goes in when one likes.
			next := d.Next()
			if next == nil {
				t.Fatalf("nothing is left to do at %v", t0)
			}
			p.will(press{at: t0 + p.between(2*time.Second, 20*time.Second), meant: d.target(next)})
		}
		next := t0 + time.Second*20
		for _, c := range calls {
			if c.Since > t0 {
				next = min(next, c.Since)
			}
		}
		if len(p.hand) > 0 && p.hand[0].at <= next {
			x := p.hand[0]
			p.hand = p.hand[1:]
			r.to(d, max(x.at, t0))
			d.Tick()
			p.press(t, d, r, hands, x)
			continue
		}
		r.to(d, next)
	}
	if !d.Over() {
		for _, s := range names {
			t.Logf("sheet %d is %s", s.Num, s.Phase)
		}
		t.Fatalf("not over at %v", now())
	}
	p.check(t, d, r, names)
}

func open(d *Desk, meant Target, at session.Instant) bool {
	s := d.M.Sheet(meant.Sheet)
	switch meant.Deed {
	case session.WaterChanged:
		v, _ := d.M.View(at).Sheet(meant.Sheet)
		return v.Stage == session.Wash && v.Changed < meant.Since
	default:
		return d.target(s).Is(meant)
	}
}

func (p *person) press(t *testing.T, d *Desk, r *room, hands *Presses, x press) {
	if !open(d, x.meant, r.now) {
		return // it was answered; nobody presses for that
	}
	p.presses++
	a := hands.Press()
	if p.rnd.IntN(20) == 0 { // a double tap, or a switch that bounces
		r.to(d, d.M.T(r.now)+p.between(20*time.Millisecond, 300*time.Millisecond))
		d.Tick()
		if b := hands.Press(); b.Outcome != Bounced {
			t.Errorf("at %v, meant %+v: the second contact of a double tap: %+v", d.M.T(r.now), x.meant, b)
		}
	}
	later := func(lo, hi time.Duration) {
		if x.tries > 20 {
			return
		}
		p.will(press{at: d.M.T(r.now) + p.between(lo, hi), meant: x.meant, tries: x.tries + 1})
	}
	fail := func(why string) { t.Errorf("at %v, meant %+v: %s: %+v", d.M.T(r.now), x.meant, why, a) }
	switch a.Outcome {
	case Bounced:
		later(1100*time.Millisecond, 4*time.Second)
	case Done:
		if !a.Target.Is(x.meant) && !a.Target.together(x.meant) {
			fail("another deed was done")
			return
		}
		p.deeds = append(p.deeds, fmt.Sprint(a.Target.Deed, " ", a.Target.Num))
		if !a.Target.Is(x.meant) { // of several out of one wash another came first
			later(1200*time.Millisecond, 4*time.Second)
		}
	case Which:
		p.asked++
		if !slices.ContainsFunc(a.Targets, x.meant.Is) {
			fail("what was meant is not asked about")
			return
		}
		r.to(d, d.M.T(r.now)+p.between(500*time.Millisecond, 3*time.Second))
		d.Tick()
		if b := hands.Number(x.meant.Num, false); b.Outcome == Done && b.Target.Is(x.meant) {
			p.deeds = append(p.deeds, fmt.Sprint(b.Target.Deed, " ", b.Target.Num))
		} else if b.Outcome != Warned || !b.Target.Is(x.meant) {
			t.Errorf("at %v, meant %+v: the number: %+v", d.M.T(r.now), x.meant, b)
		} else {
			later(1200*time.Millisecond, 3*time.Second)
		}
	case Wait:
		p.waited++
		later(3*time.Second, 7*time.Second)
	case Warned:
		// The warning names the sheet and the deed: a person goes on if it is what
		// was meant.
		later(1200*time.Millisecond, 4*time.Second)
	case Idle, Over, Refused:
		fail("refused")
	}
}

// check holds the record against what was meant.
func (p *person) check(t *testing.T, d *Desk, r *room, names []*session.Sheet) {
	var got []string
	for _, e := range r.events {
		switch e.Kind {
		case session.ExposureEnded, session.Moved:
			got = append(got, fmt.Sprint(e.Kind, " ", d.M.Sheet(e.Sheet).Num))
		case session.WaterChanged:
			got = append(got, "water")
		case session.Undone, session.Spoiled, session.BathOverridden:
			t.Errorf("nobody meant %+v", e)
		}
	}
	var want []string
	for _, x := range p.deeds {
		if len(x) > 5 && x[:5] == "water" {
			x = "water"
		}
		want = append(want, x)
	}
	if !slices.Equal(got, want) {
		t.Errorf("recorded %q\nmeant    %q", got, want)
	}
	for _, s := range names {
		if s.Phase != session.Finished || len(s.Visits) != 4 {
			t.Errorf("sheet %d is %s after %d baths", s.Num, s.Phase, len(s.Visits))
		}
	}
}
