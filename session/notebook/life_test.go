package notebook

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"wetside/session"
)

// The demo scenario: a weekend workshop at a disused signal box, with cameras
// made of a tea caddy, a hat box and a biscuit tin.
var (
	cameras = []string{"tea-caddy", "hat-box", "biscuit-tin"}
	makers  = []string{"", "Ada", "Bo", "Çiğdem"}
	papers  = []session.Paper{
		{Key: "direct-positive-fb", Name: "direct positive FB, ISO 3", Base: session.FB, Response: session.Lighter, AreaCM2: 130, Safe: 4 * time.Minute, SafeExp: 3 * time.Minute},
		{Key: "negative-rc", Name: "paper negative RC, ISO 6", Base: session.RC, Response: session.Denser, AreaCM2: 130},
	}
	process = session.Process{Key: "short-wash", Name: "rinse, hypo-clear and short wash", Steps: []session.Step{
		{Stage: session.Develop, Bath: "developer", AtLeast: 90 * time.Second, AtMost: 180 * time.Second, Drain: 10 * time.Second},
		{Stage: session.Stop, Bath: "stop", AtLeast: 10 * time.Second, AtMost: 10 * time.Second},
		{Stage: session.Fix, Bath: "fixer 1", AtLeast: time.Minute, AtMost: time.Minute},
		{Stage: session.Clear, Bath: "hypo-clear", AtLeast: 2 * time.Minute, AtMost: 2 * time.Minute},
		{Stage: session.Wash, Bath: "wash tray", AtLeast: 20 * time.Minute, AtMost: 20 * time.Minute},
	}}
)

func spec(n int) *session.SheetSpec {
	return &session.SheetSpec{Name: fmt.Sprintf("signal box, %d", n), Maker: makers[n%len(makers)], Camera: cameras[n%len(cameras)],
		Paper: papers[n%len(papers)], Process: process, Celsius: 20, Light: "EV 12.5", Working: "4m30s at f/150 for EV 12.5 and ISO 3"}
}

// life is a sheet from its box to the end of the wash in 15 events, and the
// time it ends. jitter is by how much the user is late at each move.
func life(id string, n int, from time.Duration, r *rand.Rand) ([]session.Event, time.Duration) {
	t := from
	late := func() time.Duration { return time.Duration(r.Int64N(int64(8 * time.Second))) }
	var evs []session.Event
	add := func(after time.Duration, ev session.Event) {
		t += after
		ev.At, ev.Sheet = at(t), id
		evs = append(evs, ev)
	}
	add(0, session.Event{Kind: session.SheetAdded, Spec: spec(n)})
	add(time.Second, session.Event{Kind: session.SheetOut})
	add(20*time.Second, session.Event{Kind: session.SheetAway})
	add(time.Minute, session.Event{Kind: session.ExposureBegun, Planned: 270 * time.Second, Note: "4m30s at f/150"})
	add(100*time.Second, session.Event{Kind: session.PinholeCovered})
	add(30*time.Second, session.Event{Kind: session.PinholeUncovered})
	add(170*time.Second+late(), session.Event{Kind: session.ExposureEnded})
	add(5*time.Minute, session.Event{Kind: session.Moved})
	add(14*time.Second, session.Event{Kind: session.ImageSeen})
	add(130*time.Second+late(), session.Event{Kind: session.Moved, From: 1})
	add(10*time.Second+late(), session.Event{Kind: session.Moved, From: 2})
	add(time.Minute+late(), session.Event{Kind: session.Moved, From: 3})
	add(2*time.Minute+late(), session.Event{Kind: session.Moved, From: 4})
	add(20*time.Minute+late(), session.Event{Kind: session.Moved, From: 5})
	add(time.Minute, session.Event{Kind: session.Judged, Stops: float64(r.IntN(9)-4) / 2, Note: "sky has no drawing"})
	return evs, t
}

func rnd(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 1)) }

// live plays events into a book and a machine, as the program does, and saves
// every sheet that is done.
func live(t testing.TB, b *Book, s Sitting, m *session.Machine, evs []session.Event) {
	t.Helper()
	for _, ev := range evs {
		got, err := b.Append(s.ID, ev)
		if err != nil && !IsUnsaved(err) {
			t.Fatal(err)
		}
		for _, g := range got {
			if err := m.Apply(g); err != nil {
				t.Fatal(g.Kind, err)
			}
		}
		if sh := m.Sheet(ev.Sheet); sh != nil && sh.Phase.Over() {
			if err := b.SaveSheet(s, sh, m.Now(), Uses(m, sh)); err != nil && !IsUnsaved(err) {
				t.Fatal(err)
			}
		}
	}
}

// sitting begins a sitting in b and lives n sheets through in it.
func sitting(t testing.TB, b *Book, n int, opened session.Event) (Sitting, *session.Machine) {
	t.Helper()
	opened.Kind = session.Opened
	if opened.At.IsZero() {
		opened.At = at(0)
	}
	s, err := b.Begin(opened)
	if err != nil && !IsUnsaved(err) {
		t.Fatal(err)
	}
	m := session.New()
	if err := m.Apply(opened); err != nil {
		t.Fatal(err)
	}
	now := opened.At.Wall.Sub(t0)
	for i := range n {
		var evs []session.Event
		evs, now = life(b.cfg.NewID(), i, now+time.Minute, rnd(uint64(i)))
		live(t, b, s, m, evs)
	}
	return s, m
}

// allEvents reads every event of the index, by identity.
func allEvents(t testing.TB, b *Book) map[string]string {
	t.Helper()
	out := map[string]string{}
	rd, _, err := b.reader()
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := salvage(rd, "", func(r *row) error {
		if r.isEvent() {
			out[r.ID] = r.body
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return out
}

func marshal(t testing.TB, v any) string {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
