package session_test

import (
	"testing"
	"time"

	"wetside/session"
)

// Each kind of deed by itself: what was done by mistake and is taken back 20 s later
// leaves the sheets, the baths and the room as they are where it was never done, then
// and a quarter of an hour on, and the number of the next sheet too.
func TestEachDeedTakenBackIsAsIfNeverDone(t *testing.T) {
	const sec, min = time.Second, time.Minute
	type event = session.Event
	type life []struct {
		at time.Duration
		e  event
	}
	const a, b, c = "a", "b", "c"
	spec := session.SheetSpec{Name: "tea caddy", Camera: "tea-caddy", Paper: session.Paper{AreaCM2: 100, Safe: 8 * min}, Process: session.Process{Steps: []session.Step{
		{Stage: session.Develop, Bath: "developer", AtLeast: 30 * sec, AtMost: 2 * min, Factor: 5},
		{Stage: session.Stop, Bath: "stop bath", AtLeast: 30 * sec, AtMost: 30 * sec, ByClock: true},
		{Stage: session.Fix, Bath: "fixer", AtLeast: 3 * min, AtMost: 3 * min},
		{Stage: session.Wash, Bath: "wash tray", AtLeast: 5 * min, AtMost: 5 * min, Batch: true, Changes: 3},
	}}}
	other := spec
	other.Name, other.Process.Steps = "hat box", []session.Step{spec.Process.Steps[0], spec.Process.Steps[1], spec.Process.Steps[2]}
	other.Process.Steps[0].AtMost = min
	other.Paper.Safe = time.Minute
	move := func(sheet string, from int) event { return event{Kind: session.Moved, Sheet: sheet, From: from} }
	mix := func(id, tray string) event {
		return event{Kind: session.BathMixed, Mix: &session.Mix{ID: id, Name: tray, ML: 500}}
	}
	of := func(k session.Kind) event { return event{Kind: k, Sheet: a} }
	expose := event{Kind: session.ExposureBegun, Sheet: a, Planned: 8 * min}
	bright := event{Kind: session.LightChanged, Sheet: a, Stops: 1, Planned: 4 * min}
	developed := life{{0, move(a, 0)}, {min, move(a, 1)}, {4 * min, move(a, 3)}}
	washed := append(developed[:3:3], life{{9 * min, move(a, 4)}}...)
	fixing := append(developed[:2:2], life{{100 * sec, event{Kind: session.Noted, Note: "in the fixer by now"}}}...)
	fixers := life{{0, mix("f1", "fixer")}, {0, mix("f2", "second fixer")}}
	covered := life{{0, expose}, {min, of(session.PinholeCovered)}}

	tried := map[session.Kind]bool{}
	for _, x := range []struct {
		what   string
		before life
		deed   event
		stage  session.Stage // that is left again
		lit    bool          // what light fell stays
		out    bool          // so does that it lay out
	}{
		{"another sheet", nil, event{Kind: session.SheetAdded, Sheet: c, Spec: &spec}, "", false, false},
		{"a sheet taken away", nil, of(session.SheetWithdrawn), "", false, false},
		{"a sheet put right", nil, event{Kind: session.Remade, Sheet: a, Spec: &other}, "", false, false},
		{"one in the developer put right", developed[:1], event{Kind: session.Remade, Sheet: a, Spec: &other}, "", false, false},
		{"one whose clock ends at once", life{{0, move(a, 0)}, {min, move(a, 1)}}, event{Kind: session.Remade, Sheet: a, Spec: &session.SheetSpec{Process: session.Process{Steps: []session.Step{
			spec.Process.Steps[0], {Stage: session.Stop, Bath: "stop bath", AtLeast: sec, AtMost: sec, ByClock: true}, spec.Process.Steps[2]}}}}, "", false, false},
		{"one that is done put right", washed, event{Kind: session.Remade, Sheet: a, Spec: &session.SheetSpec{Name: "biscuit tin", Process: spec.Process}}, "", false, false},
		{"out of the bag", nil, of(session.SheetOut), "", false, false},
		{"back into the bag", life{{0, of(session.SheetOut)}}, of(session.SheetAway), "", false, false},
		{"into the camera", life{{0, of(session.SheetOut)}}, of(session.Loaded), "", false, false},
		{"out of the camera", life{{0, of(session.Loaded)}}, of(session.Unloaded), "", false, false},
		{"the box opened", nil, event{Kind: session.BoxOpened}, "", false, false},
		{"the box put away", life{{0, event{Kind: session.BoxOpened}}}, event{Kind: session.BoxAway}, "", false, false},
		{"the wrong pinhole opened", life{{0, of(session.SheetOut)}}, expose, session.Exposure, true, true},
		{"covered", life{{0, expose}}, of(session.PinholeCovered), "", false, false},
		{"covered in another light", life{{0, expose}, {min, bright}}, of(session.PinholeCovered), "", false, false},
		{"uncovered", covered, of(session.PinholeUncovered), "", true, false},
		{"a brighter light", life{{0, expose}}, bright, "", false, false},
		{"a brighter light while covered", covered, bright, "", false, false},
		{"a time by hand", life{{0, expose}}, event{Kind: session.Retimed, Sheet: a, Planned: 9 * min}, "", false, false},
		{"an exposure ended", life{{0, expose}}, of(session.ExposureEnded), session.Exposure, false, false},
		{"one ended that was covered", covered, of(session.ExposureEnded), session.Exposure, false, false},
		{"a watch's exposure", life{{0, of(session.SheetOut)}}, event{Kind: session.ExposureTold, Sheet: a, Planned: min, Told: &session.Told{From: storyDay.Wall.Add(-time.Hour)}}, "", false, false},
		{"the wrong sheet in", nil, move(a, 0), session.Develop, false, true},
		{"out of the developer", developed[:1], move(a, 1), session.Stop, false, false},
		{"out of the fixer", fixing, move(a, 3), session.Wash, false, false},
		{"out of the wash", developed, move(a, 4), "", false, false},
		{"into the wash of another", append(washed[:3:3], life{{4 * min, move(b, 0)}, {5 * min, move(b, 1)}, {6 * min, event{Kind: session.Noted, Note: "in the fixer"}}}...), move(b, 3), session.Wash, false, false},
		{"into holding water", fixing, event{Kind: session.Held, Sheet: a, From: 3}, session.Hold, false, false},
		{"the image", developed[:1], of(session.ImageSeen), "", false, false},
		{"a time for the step", developed[:1], event{Kind: session.StepTimed, Sheet: a, From: 1, Planned: 5 * min}, "", false, false},
		{"a time that is over", life{{0, move(a, 0)}, {min, move(a, 1)}}, event{Kind: session.StepTimed, Sheet: a, From: 2, Planned: 25 * sec}, "", false, false},
		{"a second time for it", append(developed[:1:1], life{{sec, event{Kind: session.StepTimed, Sheet: a, From: 1, Planned: 4 * min}}}...),
			event{Kind: session.StepTimed, Sheet: a, From: 1, Planned: 5 * min}, "", false, false},
		{"water", append(developed[:3:3], life{{5 * min, event{Kind: session.WaterChanged, Bath: "wash tray"}}}...), event{Kind: session.WaterChanged, Bath: "wash tray"}, "", false, false},
		{"nobody saw it", developed[:1], event{Kind: session.Unseen, Sheet: a, From: 1, Planned: sec, What: session.Moved}, "", false, false},
		{"its end not seen", life{{0, expose}}, event{Kind: session.Unseen, Sheet: a, What: session.Moved}, "", false, false},
		{"developed elsewhere", life{{0, of(session.SheetOut)}}, of(session.Developed), "", false, false},
		{"spoiled in the light", life{{0, expose}}, of(session.Spoiled), "", false, false},
		{"spoiled in the developer", developed[:1], of(session.Spoiled), "", false, false},
		{"dry", washed, of(session.Dried), "", false, false},
		{"flat", append(washed[:4:4], life{{9*min + sec, of(session.Dried)}}...), of(session.Flattened), "", false, false},
		{"a mark", append(developed[:1:1], life{{sec, of(session.Marked)}}...), of(session.Marked), "", false, false},
		{"the lamp off", developed[:1], event{Kind: session.SafelightOff}, "", false, false},
		{"the lamp on", append(life{{0, event{Kind: session.SafelightOff}}}, developed[:1]...), event{Kind: session.SafelightOn}, "", false, false},
		{"a bath in an empty tray", nil, mix("f3", "fixer"), "", false, false},
		{"a bath in place of another", fixers, mix("f3", "fixer"), "", false, false},
		{"a bath that a clock went into since", append(life{{0, mix("f1", "fixer")}}, developed[:2]...), mix("f3", "fixer"), "", false, false},
		{"a bath poured away", fixers, event{Kind: session.BathRetired, Bath: "f1"}, "", false, false},
		{"one poured away that a clock went into since", append(life{{0, mix("f1", "fixer")}}, developed[:2]...), event{Kind: session.BathRetired, Bath: "f1"}, "", false, false},
		{"the second fixer made the first", fixers, event{Kind: session.BathPromoted, Bath: "f2", Into: "fixer"}, "", false, false},
	} {
		t.Run(x.what, func(t *testing.T) {
			did, never := session.New(), session.New()
			both := func(at time.Duration, e event) {
				t.Helper()
				e.At = storyDay.Add(at)
				for _, m := range []*session.Machine{did, never} {
					autos(m, e.At)
					if err := m.Apply(e); err != nil {
						t.Fatalf("%s at %v: %v", e.Kind, at, err)
					}
				}
			}
			both(0, event{Kind: session.Opened})
			both(0, event{Kind: session.SheetAdded, Sheet: a, Spec: &spec})
			both(0, event{Kind: session.SheetAdded, Sheet: b, Spec: &spec})
			now := time.Duration(0)
			for _, l := range x.before {
				now = l.at
				both(now, l.e)
			}
			had, _ := did.LastDeed("")
			now += 20 * sec
			x.deed.At = storyDay.Add(now)
			autos(did, x.deed.At)
			if err := did.Apply(x.deed); err != nil {
				t.Fatal(err)
			}
			begun := now
			d, _ := did.LastDeed("")
			tried[d.Kind] = true
			if d.Kind != x.deed.Kind || d.Sheet != x.deed.Sheet || d.T != now || d.Sheet != "" && did.Sheet(d.Sheet) != nil && d.Num != did.Sheet(d.Sheet).Num {
				t.Fatalf("the last deed is %+v", d)
			}
			now += 20 * sec
			at := storyDay.Add(now)
			autos(did, at)
			undo := event{Kind: session.Undone, At: at, Sheet: d.Sheet, What: d.Kind}
			if d.Sheet == "" {
				undo.Bath = d.Bath
			}
			if err := did.Apply(undo); err != nil {
				t.Fatal(err)
			}
			if l, _ := did.LastDeed(""); l.Kind != had.Kind || l.T != had.T {
				t.Errorf("the last deed is %+v, and was %+v", l, had)
			}
			if s := did.Sheet(d.Sheet); s != nil {
				if u := s.Undone[len(s.Undone)-1]; u.What != d.Kind || u.T != now || u.Since != begun || u.Stage != x.stage {
					t.Errorf("the record says of it: %+v", u)
				}
				if l, _ := did.LastDeed(s.ID); l.Kind != d.Kind && did.Would(undo) == nil {
					t.Error("it can be taken back twice")
				}
			}
			lit, out := map[string]bool{a: x.lit}, map[string]bool{a: x.out}
			same := func(when string) {
				t.Helper()
				autos(did, at)
				autos(never, at)
				if x, y := state(did, at, begun, lit, out), state(never, at, begun, lit, out); x != y {
					t.Errorf("%s it is\n%s\nand where it was never done\n%s", when, x, y)
				}
			}
			same("then")
			if s := did.Sheet(a); x.lit && s.Light.OpenFor(now) != never.Sheet(a).Light.OpenFor(begun)+20*sec {
				t.Errorf("20 s of light fell, and it has had %v", s.Light.OpenFor(now))
			}
			now += 15 * min
			at = storyDay.Add(now)
			same("later")
			both(now, event{Kind: session.SheetAdded, Sheet: "next", Spec: &spec})
			same("with another sheet")
		})
	}
	for _, k := range session.Deeds() {
		if !tried[k] {
			t.Errorf("nothing here takes back %q", k)
		}
	}
}
