package main

import (
	"math"
	"slices"
	"testing"
	"time"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/desk"
)

// A sheet whose time was set by hand in mid-exposure teaches what it was given,
// for its light is known.
func TestATimeSetByHandTeaches(t *testing.T) {
	h := &host{data: t.TempDir(), now: func() time.Time { return scriptNow }}
	if err := theWorkshop(h); err != nil {
		t.Fatal(err)
	}
	b, err := h.book()
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	set, _ := profiles.Load(nil)
	before := len(desk.JudgedIn(b, set.Today)())
	now := session.Instant{Wall: scriptNow, Boot: time.Hour, BootID: "b"}
	m := session.New()
	open := session.Event{Kind: session.Opened, At: now}
	sit, err := b.Begin(open)
	if err != nil {
		t.Fatal(err)
	}
	do := func(e session.Event) {
		t.Helper()
		if e.Kind != session.Opened {
			now = now.Add(2 * time.Minute)
			e.At, e.Sheet = now, "lamp"
			if _, err := b.Append(sit.ID, e); err != nil {
				t.Fatal(err)
			}
		}
		if err := m.Apply(e); err != nil {
			t.Fatal(err)
		}
	}
	do(open)
	plan, err := (&profiles.Planner{Set: set}).Plan(profiles.Form{Paper: "direct-positive-fb", Process: "three-trays", Camera: "tea-caddy", Light: "EV 12"})
	if err != nil {
		t.Fatal(err)
	}
	do(session.Event{Kind: session.SheetAdded, Spec: &plan.Spec})
	do(session.Event{Kind: session.ExposureBegun, Planned: plan.Exposure})
	do(session.Event{Kind: session.LightChanged, Planned: 8 * time.Minute, Stops: -0.1, Note: "EV 11.9", Lit: &session.Lit{EV: 11.9, Doubt: 1.0 / 3, As: "ev 11.9"}})
	do(session.Event{Kind: session.Retimed, Planned: 10 * time.Minute, Note: "10m"})
	do(session.Event{Kind: session.ExposureEnded})
	for n := 0; m.Sheet("lamp").Phase != session.Finished; n++ {
		from := 0
		if v := m.Sheet("lamp").Visit(); v != nil {
			from = v.Serial
		}
		do(session.Event{Kind: session.Moved, From: from})
	}
	do(session.Event{Kind: session.Judged, Stops: 0.5})
	if err := b.SaveSheet(sit, m.Sheet("lamp"), m.Now(), nil); err != nil {
		t.Fatal(err)
	}
	after := desk.JudgedIn(b, set.Today)()
	if len(after) != before+1 {
		t.Fatalf("%d sheets taught before, %d now", before, len(after))
	}
	// By hand: Schwarzschild's p 0.86 at f/150 on ISO 3. Two minutes at EV 12, four
	// at EV 11.9, of which the last half was by hand.
	full := func(ev float64) float64 { return math.Pow(150*150/(math.Exp2(ev)*0.03), 1/0.86) }
	given := full(12) * (120/full(12) + 240/full(11.9))
	want := 0.86*math.Log2(given) - math.Log2(150*150/(4096*0.03)) + 0.5
	if j := after[0]; math.Abs(j.Wanted-want) > 1e-6 || math.Abs(j.Seconds-given) > 1e-6 || j.Doubt != 1.0/3 {
		t.Errorf("it teaches %+v, not %.3f stops at %.1f s", j, want, given)
	}
	r, err := b.Sheet("lamp")
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, x := range r.Exposure.Readings {
		got = append(got, x.Words())
	}
	if want := []string{"light EV 11.9, 0.1 stop darker, the whole now 8:00", "time set to 10:00 in all"}; !slices.Equal(got, want) {
		t.Errorf("the record says %q, not %q", got, want)
	}
}
