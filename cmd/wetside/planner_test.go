package main

import (
	"math"
	"slices"
	"testing"
	"time"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/exposure"
	"wetside/tui"
)

// A camera that needs exactly one stop more, judged without error, is to be
// learned as one stop.
func TestOneStopIsLearnedAsOneStop(t *testing.T) {
	set, err := profiles.Load(nil)
	if err != nil {
		t.Fatal(err)
	}
	var sheets []exposure.Judged
	p := &planner{set: set, judged: func() []exposure.Judged { return sheets }}
	f := tui.Form{Paper: "direct-positive-fb", Process: "three-trays", Camera: "tea-caddy", Light: "overcast"}
	paper, err := set.Paper(f.Paper)
	if err != nil {
		t.Fatal(err)
	}
	rec := reciprocity(paper)
	var judged float64
	for range 30 {
		p.dirty = true
		plan, err := p.plan(f)
		if err != nil {
			t.Fatal(err)
		}
		base, _ := rec.Metered(plan.Spec.Base.Seconds())
		given, _ := rec.Metered(plan.Exposure.Seconds())
		judged = 1 - math.Log2(given/base) // what it still lacks, in light
		sheets = append(sheets, exposure.Judged{Camera: f.Camera, Paper: f.Paper, Seconds: plan.Spec.Base.Seconds(),
			Given: exposure.GivenStops(plan.Spec.Learned, 1), Stops: judged})
	}
	if math.Abs(judged) > 0.1 {
		t.Errorf("after 30 sheets each is still judged %+.2f stop: the correction does not settle where the sheets are right", judged)
	}
}

// A light typed in mid-exposure is so many stops brighter or darker than the one
// before, however that one came to be known.
func TestALightInMidExposureIsComparedWithTheOneBefore(t *testing.T) {
	set, err := profiles.Load(nil)
	if err != nil {
		t.Fatal(err)
	}
	p := &planner{set: set}
	form := func(light string) tui.Form {
		return tui.Form{Paper: "direct-positive-fb", Process: "three-trays", Camera: "tea-caddy", Light: light}
	}
	for _, c := range []struct {
		first    string
		readings []session.Reading
		typed    string
		want     float64
		within   float64
	}{
		{"EV 12", nil, "EV 11", -1, 1e-9},
		{"overcast", nil, "overcast", 0, 1e-9},
		{"EV 12", []session.Reading{{Stops: 1.0 / 3}}, "EV 12", -1.0 / 3, 1e-9},
		{"EV 12", []session.Reading{{Stops: 2, Light: "EV 14"}, {Light: "9m", Open: 9 * time.Minute}}, "EV 13.5", -0.5, 1e-9},
		{"EV 12", []session.Reading{{Light: "EV 14"}}, "EV 13", -1, 1e-9}, // as they were kept before
		{"7m15s", nil, "EV 11", -1, 0.05}, // 7:15 is what EV 12 takes, rounded
	} {
		plan, err := p.plan(form(c.first))
		if err != nil {
			t.Fatal(err)
		}
		s := &session.Sheet{Spec: plan.Spec, Light: session.Light{Planned: plan.Exposure, Readings: c.readings}}
		then, err := p.plan(form(c.typed))
		if err != nil {
			t.Fatal(err)
		}
		if got := p.brighter(s, c.typed, then.Exposure); math.Abs(got-c.want) > c.within {
			t.Errorf("%s, %+v, and then %s: %v stops brighter, not %v", c.first, c.readings, c.typed, got, c.want)
		}
	}
	if plan, _ := p.plan(form("EV 12")); plan.ByHand {
		t.Error("a light is taken for a time given by hand")
	}
	if plan, _ := p.plan(form("8m")); !plan.ByHand {
		t.Error("a time is taken for a light")
	}
}

// A sheet whose time was set by hand in mid-exposure says nothing of the light.
func TestATimeSetByHandTeachesNothing(t *testing.T) {
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
	before := len(judgedIn(b, set)())
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
	plan, err := (&planner{set: set}).plan(tui.Form{Paper: "direct-positive-fb", Process: "three-trays", Camera: "tea-caddy", Light: "EV 12"})
	if err != nil {
		t.Fatal(err)
	}
	do(session.Event{Kind: session.SheetAdded, Spec: &plan.Spec})
	do(session.Event{Kind: session.ExposureBegun, Planned: plan.Exposure})
	do(session.Event{Kind: session.LightChanged, Planned: 8 * time.Minute, Stops: -0.1, Note: "EV 11.9"})
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
	if after := len(judgedIn(b, set)()); after != before {
		t.Errorf("%d sheets taught before, %d now", before, after)
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
