package session_test

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"wetside/session"
)

// autos makes the moves that clocks make, as a host does before each event.
func autos(m *session.Machine, at session.Instant) {
	for e, ok := m.AutoMove(at, nil); ok && m.Apply(e) == nil; e, ok = m.AutoMove(at, nil) {
	}
}

// takeBack takes the last deed back.
func takeBack(t *rapid.T, m *session.Machine, at session.Instant) session.Deed {
	d, ok := m.LastDeed("")
	if !ok {
		t.Fatal("there is nothing to take back")
	}
	e := session.Event{Kind: session.Undone, At: at, Sheet: d.Sheet, What: d.Kind}
	if d.Sheet == "" {
		e.Bath = d.Bath
	}
	if err := m.Would(e); err != nil {
		t.Fatalf("%+v: %v", e, err)
	}
	if err := m.Apply(e); err != nil {
		t.Fatalf("%+v: %v", e, err)
	}
	return d
}

// Any sequence of deeds, and then as many taken back, is the state before, but
// for what stays in the paper: light that fell, and time in the open.
func TestDeedsTakenBackAreTheStateBefore(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := session.New(), session.New()
		for _, e := range anyEvents(t, 4) {
			a.Apply(e)
			b.Apply(e)
		}
		for at := a.Last(); a.Applied() < 10; {
			at = at.Add(time.Duration(rapid.IntRange(1, 60_000).Draw(t, "gap")) * time.Millisecond)
			autos(a, at)
			autos(b, at)
			e := anyDeed(t, a, at)
			a.Apply(e)
			b.Apply(e)
		}
		was, had := a.LastDeed("")
		var deeds, log int
		lit, out := map[string]bool{}, map[string]bool{}
		at := a.Last()
		begun := a.T(at)
		for range rapid.IntRange(1, 8).Draw(t, "deeds") {
			at = at.Add(time.Duration(rapid.IntRange(1, 60_000).Draw(t, "gap")) * time.Millisecond)
			autos(a, at)
			before, _ := a.LastDeed("")
			if e := anyDeed(t, a, at); a.Apply(e) == nil {
				log++
				if d, _ := a.LastDeed(""); d.Kind != before.Kind || d.T != before.T || d.Sheet != before.Sheet || d.Bath != before.Bath {
					deeds++
				}
			}
		}
		for range deeds {
			at = at.Add(time.Duration(rapid.IntRange(1, 30_000).Draw(t, "gap")) * time.Millisecond)
			autos(a, at)
			d := takeBack(t, a, at)
			log++
			switch d.Kind {
			case session.ExposureBegun, session.PinholeUncovered:
				lit[d.Sheet] = true
			}
			switch d.Kind {
			case session.ExposureBegun, session.Moved:
				out[d.Sheet] = true
			}
		}
		if now, has := a.LastDeed(""); has != had || now.Kind != was.Kind || now.T != was.T {
			t.Fatalf("the last deed is %+v, and was %+v", now, was)
		}
		autos(a, at)
		autos(b, at)
		// What fell on paper meanwhile stays in its account: up to the deeds it is the same,
		// and then it is no less than if there had been none.
		for i, s := range a.Sheets() {
			was := b.Sheets()[i]
			if had, is := inOpen(was.Open, at, b), inOpen(s.Open, at, a); !lit[s.ID] && is < had { // else it was in its camera
				t.Fatalf("sheet %d: %v under the safelight, and %v without the deeds", s.Num, is, had)
			}
			if had, is := was.Light.Share(b.T(at)), s.Light.Share(a.T(at)); lit[s.ID] && s.Light.Full() == was.Light.Full() && is < had {
				t.Fatalf("sheet %d: %v of its light, and %v without the deeds", s.Num, is, had)
			}
		}
		if x, y := state(a, at, begun, lit, out), state(b, at, begun, lit, out); x != y {
			t.Fatalf("after %d deeds taken back:\n%s\nbefore them:\n%s", deeds, x, y)
		}
	})
}

// inOpen is how long the spans are by an instant.
func inOpen(spans []session.Span, at session.Instant, m *session.Machine) (all time.Duration) {
	for _, sp := range spans {
		all += sp.Len(m.T(at))
	}
	return all
}

// upTo is a span as it stood at t; ok is false where it had not begun.
func upTo(sp session.Span, t time.Duration) (session.Span, bool) {
	if sp.Running || sp.To >= t {
		sp.To, sp.Running = t, true
	}
	return sp, sp.From < t
}

// state is all that a machine shows at an instant, as text, without the
// identities of instants and visits. Of sheets that had light by a deed, or lay out,
// it is the account as it stood at begun.
func state(m *session.Machine, at session.Instant, begun time.Duration, lit, out map[string]bool) string {
	v := m.View(at)
	text := ""
	put := func(x any) {
		raw, err := json.Marshal(x)
		if err != nil {
			panic(err)
		}
		text += strings.ReplaceAll(string(raw), "[]", "null") + "\n"
	}
	for i, s := range m.Sheets() {
		c, sv := *s, v.Sheets[i]
		c.AddedAt, c.EndedAt, c.Undone, sv.Visit = session.Instant{}, session.Instant{}, nil, 0
		if c.InCamera() {
			c.LoadedAt = storyDay
		} else {
			c.LoadedAt, c.UnloadedAt = session.Instant{}, session.Instant{}
		}
		if !c.DryAt.IsZero() {
			c.DryAt = storyDay
		}
		if !c.FlatAt.IsZero() {
			c.FlatAt = storyDay
		}
		c.EmergedIn = 0
		c.Visits = append([]session.Visit{}, c.Visits...)
		for j := range c.Visits {
			x := &c.Visits[j]
			x.Serial, x.InAt, x.OutAt = 0, session.Instant{}, session.Instant{}
		}
		c.Light.BegunAt, c.Light.EndedAt = session.Instant{}, session.Instant{}
		if lit[s.ID] {
			var spells []session.Spell
			for _, sp := range c.Light.Spells {
				if x, ok := upTo(sp.Span, begun); ok {
					spells = append(spells, session.Spell{Span: x, Full: sp.Full, EV: sp.EV})
				}
			}
			put(spells)
			c.Light, sv.Share, sv.Left, sv.Ends, sv.Elapsed, sv.AtLeast, sv.AtMost, sv.Over, sv.Doing = session.Light{}, 0, 0, 0, 0, 0, 0, 0, ""
		}
		if out[s.ID] {
			var open []session.Span
			for _, sp := range c.Open {
				if x, ok := upTo(sp, begun); ok {
					open = append(open, x)
				}
			}
			var glow []session.Glow
			for _, g := range c.Screen {
				if x, ok := upTo(g.Span, begun); ok {
					glow = append(glow, session.Glow{Span: x, Lux: g.Lux})
				}
			}
			put(open)
			put(glow)
			c.Out, c.Open, c.Screen = false, nil, nil
			sv.SafeUsed, sv.SafeAllowed, sv.SafeShare, sv.SafeScreen = 0, 0, 0, false
		}
		put(c)
		put(sv)
	}
	put(m.BoxOpen())
	put(m.Safelight())
	for _, b := range m.Trays() {
		put(*b)
	}
	return text
}

// anyDeed draws a deed that can be.
func anyDeed(t *rapid.T, m *session.Machine, at session.Instant) session.Event {
	id := rapid.SampledFrom([]string{"s1", "s2", "s3"}).Draw(t, "of")
	s := m.Sheet(id)
	from := 0
	spec := session.SheetSpec{Name: "another", Camera: rapid.SampledFrom([]string{"tea-caddy", "hat-box"}).Draw(t, "camera"), Paper: session.Paper{AreaCM2: 100}, Process: anyProcess(t)}
	remade := spec
	if s != nil {
		remade.Process = s.Spec.Process
		if rapid.Bool().Draw(t, "another process") {
			remade.Process.Steps = slices.Clone(remade.Process.Steps)
			for i := range remade.Process.Steps {
				st := &remade.Process.Steps[i]
				by := time.Duration(rapid.IntRange(1, 8).Draw(t, "quarters"))
				st.AtLeast, st.AtMost, st.Drain = st.AtLeast*by/4, st.AtMost*by/4, st.Drain*by/4
			}
		}
		if s.Visit() != nil {
			from = s.Visit().Serial
		}
	}
	planned := time.Duration(rapid.IntRange(1, 900).Draw(t, "planned")) * time.Second
	mix := session.Mix{ID: rapid.StringMatching("[a-z]{6}").Draw(t, "mix"), Name: rapid.SampledFrom([]string{"fix", "develop", "wash"}).Draw(t, "tray"), ML: 500}
	bath := ""
	if n := len(m.Trays()); n > 0 {
		bath = m.Trays()[rapid.IntRange(0, n-1).Draw(t, "bath")].Mix.ID
	}
	var can []session.Event
	for _, e := range []session.Event{
		{Kind: session.SheetAdded, Sheet: id, Spec: &spec}, {Kind: session.SheetWithdrawn, Sheet: id}, {Kind: session.Remade, Sheet: id, Spec: &remade},
		{Kind: session.Loaded, Sheet: id}, {Kind: session.Unloaded, Sheet: id}, {Kind: session.SheetOut, Sheet: id}, {Kind: session.SheetAway, Sheet: id}, {Kind: session.BoxOpened}, {Kind: session.BoxAway},
		{Kind: session.ExposureBegun, Sheet: id, Planned: planned}, {Kind: session.PinholeCovered, Sheet: id}, {Kind: session.PinholeUncovered, Sheet: id},
		{Kind: session.LightChanged, Sheet: id, Stops: 1, Planned: planned}, {Kind: session.Retimed, Sheet: id, Planned: planned}, {Kind: session.ExposureEnded, Sheet: id},
		{Kind: session.Moved, Sheet: id, From: from}, {Kind: session.Moved, Sheet: id, From: from}, {Kind: session.Moved, Sheet: id, From: from}, {Kind: session.Held, Sheet: id, From: from},
		{Kind: session.ImageSeen, Sheet: id}, {Kind: session.StepTimed, Sheet: id, From: from, Planned: planned}, {Kind: session.WaterChanged, Bath: string(session.Wash)},
		{Kind: session.Dried, Sheet: id}, {Kind: session.Flattened, Sheet: id}, {Kind: session.Spoiled, Sheet: id}, {Kind: session.Marked, Sheet: id}, {Kind: session.SafelightOff}, {Kind: session.SafelightOn},
		{Kind: session.BathMixed, Mix: &mix}, {Kind: session.BathRetired, Bath: bath}, {Kind: session.BathPromoted, Bath: bath, Into: "fix"}} {
		if e.At = at; m.Would(e) == nil {
			can = append(can, e)
		}
	}
	return rapid.SampledFrom(can).Draw(t, "deed")
}
