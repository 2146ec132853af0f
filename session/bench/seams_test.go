package bench_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"wetside/session"
	"wetside/session/bench"
)

// in is a sheet in the first of its trays since the start, due after each one's time.
func in(num int, id string, since time.Duration, steps ...bench.Op) bench.Running {
	return bench.Running{Job: bench.Job{ID: id, Num: num, Steps: steps}, Since: since}
}

// What is foretold of sheets whose next moves are seconds apart, by hand: a move takes
// eight seconds or the drain, and ends as the sheet enters the next tray.
func TestConflictsByHand(t *testing.T) {
	shop := bench.Shop{Move: 8 * s, Trays: map[string]int{"a": 4, "b": 4, "c": 4}}
	op := func(tray string, sec int) bench.Op { return bench.Op{Tray: tray, Time: time.Duration(sec) * s} }
	drained := func(o bench.Op, sec int) bench.Op { o.Drain = time.Duration(sec) * s; return o }
	water := func(o bench.Op) bench.Op { o.Flexible = true; return o }
	one := bench.Shop{Move: 8 * s}
	type c struct {
		clash       bench.Clash
		at          time.Duration
		first, then int
		tray        string
		short       time.Duration
	}
	for what, x := range map[string]struct {
		shop    bench.Shop
		now     time.Duration
		running []bench.Running
		want    []c
	}{
		"into the next tray":                {shop, 0, []bench.Running{in(1, "x", 0, op("a", 100), op("b", 500)), in(2, "y", 0, op("a", 105), op("c", 400))}, []c{{bench.Hands, 105 * s, 1, 2, "c", 3 * s}}},
		"out of the last":                   {shop, 0, []bench.Running{in(1, "x", 0, op("a", 100)), in(2, "y", 0, op("b", 105))}, []c{{bench.Hands, 105 * s, 1, 2, "", 3 * s}}},
		"the later one stands first":        {shop, 0, []bench.Running{in(2, "y", 0, op("a", 105)), in(1, "x", 0, op("a", 100))}, []c{{bench.Hands, 105 * s, 1, 2, "", 3 * s}}},
		"at once, the first drains longer":  {shop, 0, []bench.Running{in(1, "x", 0, drained(op("a", 100), 20)), in(2, "y", 0, op("a", 100))}, []c{{bench.Hands, 100 * s, 1, 2, "", 20 * s}}},
		"at once, the second drains longer": {shop, 0, []bench.Running{in(1, "x", 0, op("a", 100)), in(2, "y", 0, drained(op("a", 100), 20))}, []c{{bench.Hands, 100 * s, 1, 2, "", 20 * s}}},
		"one sheet's own moves":             {shop, 0, []bench.Running{in(1, "x", 0, op("a", 100), op("b", 4), op("c", 60))}, nil},
		// One that is overdue is moved now, not when it was due.
		"overdue": {shop, 100 * s, []bench.Running{in(1, "x", 0, op("a", 90)), in(2, "y", 0, op("a", 105))}, []c{{bench.Hands, 105 * s, 1, 2, "", 3 * s}}},
		// The second pair of moves would be too close too, the other way round.
		"twice, told once":                           {shop, 0, []bench.Running{in(1, "x", 0, op("a", 100), op("b", 60)), in(2, "y", 0, op("a", 103), op("b", 50))}, []c{{bench.Hands, 103 * s, 1, 2, "b", 5 * s}}},
		"twice, told once, whatever they are called": {shop, 0, []bench.Running{in(1, "y", 0, op("a", 100), op("b", 60)), in(2, "x", 0, op("a", 103), op("b", 50))}, []c{{bench.Hands, 103 * s, 1, 2, "b", 5 * s}}},
		"the soonest first": {shop, 0, []bench.Running{in(1, "x", 0, op("a", 100), op("b", 100)), in(2, "y", 0, op("c", 205)), in(3, "z", 0, op("c", 105))},
			[]c{{bench.Hands, 105 * s, 1, 3, "", 3 * s}, {bench.Hands, 205 * s, 1, 2, "", 3 * s}}},
		// Water gives its sheet up, and the hands need eight seconds for it.
		"the rinse is not free in time": {one, 0, []bench.Running{in(1, "x", 0, water(op("rinse", 100)), op("wash", 60)), in(2, "y", 0, op("a", 107), op("rinse", 60))}, []c{{bench.Room, 107 * s, 1, 2, "rinse", -7 * s}}},
		"the rinse is free in time":     {one, 0, []bench.Running{in(1, "x", 0, water(op("rinse", 100)), op("wash", 60)), in(2, "y", 0, op("a", 108), op("rinse", 60))}, nil},
		"as it leaves":                  {one, 0, []bench.Running{in(1, "x", 0, op("b", 100)), in(2, "y", 0, op("a", 100), op("b", 60))}, []c{{bench.Hands, 100 * s, 1, 2, "b", 8 * s}}},
		"in the same tray already":      {one, 10 * s, []bench.Running{in(1, "x", 0, op("b", 100)), in(2, "y", 0, op("b", 200))}, nil},
		"who leaves first is named": {bench.Shop{Move: 8 * s, Trays: map[string]int{"b": 2}}, 0,
			[]bench.Running{in(1, "x", 0, op("b", 300)), in(2, "y", 0, op("b", 200)), in(3, "z", 0, op("a", 100), op("b", 400))}, []c{{bench.Room, 100 * s, 2, 3, "b", 100 * s}}},
	} {
		var got []c
		for _, k := range bench.Conflicts(x.shop, x.running, x.now) {
			got = append(got, c{k.Clash, k.At, k.First, k.Then, k.Tray, k.Short})
			id := func(num int) string {
				return x.running[slices.IndexFunc(x.running, func(r bench.Running) bool { return r.Job.Num == num })].Job.ID
			}
			if k.IDs != [2]string{id(k.First), id(k.Then)} {
				t.Errorf("%s: %v are not the sheets %d and %d", what, k.IDs, k.First, k.Then)
			}
		}
		if !slices.Equal(got, x.want) {
			t.Errorf("%s: %+v, want %+v", what, got, x.want)
		}
	}
	// The key is that of the pair, whichever of them comes first.
	x, y := in(1, "x", 0, op("a", 100)), in(2, "y", 0, op("a", 103))
	y2 := y
	y2.Due = 97 * s
	a, b := bench.Conflicts(shop, []bench.Running{x, y}, 0), bench.Conflicts(shop, []bench.Running{x, y2}, 0)
	if len(a) != 1 || len(b) != 1 || a[0].Key == "" || a[0].Key != b[0].Key || a[0].First == b[0].First {
		t.Errorf("%+v\n%+v", a, b)
	}
}

// A sheet in holding water stays where it is until there is room, and then has its next
// tray before it; one that is out counts for the minute in which the hands were on it.
func TestFromMachineHeldAndOut(t *testing.T) {
	r := newRoom(t)
	p := steps("fix 60 fixer 1", "rinse 30 rinse", "wash 600 wash tray")
	r.add("a", 100, p)
	r.add("b", 100, p)
	where := func(tray string, step int, flexible bool, due time.Duration, then ...string) {
		t.Helper()
		running, _ := bench.FromMachine(r.m, r.now())
		if len(running) != 1 || running[0].Step != step || running[0].Due != due {
			t.Fatalf("%+v", running)
		}
		trays := []string{}
		for _, o := range running[0].Job.Steps[step:] {
			trays = append(trays, o.Tray)
		}
		if !slices.Equal(trays, append([]string{tray}, then...)) || running[0].Job.Steps[step].Flexible != flexible {
			t.Errorf("%q are before it, want %s and %q; %+v", trays, tray, then, running[0])
		}
	}
	r.move("a")
	where("fixer 1", 0, false, r.now()+60*s, "rinse", "wash tray")
	r.move("a")
	where("rinse", 1, true, r.now()+30*s, "wash tray")
	r.hold("a")
	where("holding water", 2, true, r.now(), "wash tray")
	r.wait(5)
	r.move("a")
	where("wash tray", 2, true, r.now()+600*s)
	r.wait(600)
	r.move("a")
	for _, c := range []struct {
		wait float64
		n    int
	}{{0, 1}, {59, 1}, {1, 0}} {
		r.wait(c.wait)
		if running, _ := bench.FromMachine(r.m, r.now()); len(running) != c.n {
			t.Errorf("%v after it came out: %+v", c.wait, running)
		}
	}
}

// What is said before a sheet goes to others in the wash.
func TestBeforeWash(t *testing.T) {
	other := steps("fix 60 fixer 1", "wash 600 other tray")
	alone := steps("fix 60 fixer 1", "wash 600 wash tray")
	alone.Steps[1].Batch = false
	for _, c := range []struct {
		what    string
		process session.Process
		inIt    int
		since   float64
		want    string
	}{
		{"one", steps("fix 60 fixer 1", "wash 600 wash tray"), 1, 400, "one sheet in the wash begins again: ten minutes instead of three minutes twenty seconds; or hold this one in water"},
		{"two", steps("fix 60 fixer 1", "wash 600 wash tray"), 2, 400, "two sheets in the wash begin again: ten minutes instead of three minutes twenty seconds; or hold this one in water"},
		{"over", steps("fix 60 fixer 1", "wash 600 wash tray"), 1, 600, "one sheet in the wash begins again: ten minutes more, though its time is over; take it out first, or hold this one in water"},
		{"none", steps("fix 60 fixer 1", "wash 600 wash tray"), 0, 0, ""},
		{"another tray", other, 1, 400, ""},
		{"water of its own", alone, 1, 400, ""},
	} {
		r := newRoom(t)
		for i := range c.inIt {
			id := string(rune('a' + i))
			r.add(id, 100, steps("fix 60 fixer 1", "wash 600 wash tray"))
			r.move(id)
			r.move(id)
		}
		r.add("z", 100, c.process)
		r.move("z")
		r.wait(c.since)
		w, hold := bench.BeforeWash(r.m.Sheet("z"), r.m.Sheets(), r.now())
		if w != c.want || hold != (w != "") {
			t.Errorf("%s: %q, %v; want %q", c.what, w, hold, c.want)
		}
		r.move("z")
		if w, _ := bench.BeforeWash(r.m.Sheet("z"), r.m.Sheets(), r.now()); w != "" {
			t.Errorf("%s: it is in, and %q is said", c.what, w)
		}
	}
}

func TestWashedSaysWhatIsLacking(t *testing.T) {
	r := newRoom(t)
	r.add("a", 100, steps("fix 60 fixer 1", "wash 600 wash tray", "rinse 30 rinse"))
	check := func(want string) {
		t.Helper()
		if ok, why := bench.Washed(r.m.Sheet("a"), r.m.Sheets()); ok != (want == "") || why != want {
			t.Errorf("%v, %q; want %q", ok, why, want)
		}
	}
	r.move("a")
	check("it was never in a wash")
	r.move("a")
	r.wait(700)
	check("it is still in the wash")
	r.move("a") // the rinse after it takes nothing away
	check("")
}

// How a maker's sheets stand, each in a state of its own.
func TestMakerInWords(t *testing.T) {
	r := newRoom(t)
	p := steps("fix 60 fixer 1", "wash 600 wash tray")
	for _, id := range []string{"fresh", "exposed", "wet", "washed", "short", "spoiled"} {
		r.do(session.Event{Kind: session.SheetAdded, Sheet: id, Spec: &session.SheetSpec{Name: id, Process: p, Paper: session.Paper{AreaCM2: 100, Safe: time.Hour, SafeExp: time.Hour}}})
	}
	r.expose("exposed")
	r.do(session.Event{Kind: session.Spoiled, Sheet: "spoiled", Note: "dropped"})
	for _, id := range []string{"washed", "short", "wet"} {
		r.move(id)
	}
	r.move("washed")
	r.wait(600)
	r.move("washed")
	r.wait(1)
	r.move("short")
	r.wait(10)
	r.move("short")
	sums := bench.ByMaker(r.m.Sheets())
	if want := "no photographer named: six sheets, one washed, one done, not washed in full, one in the trays, one waiting, one not exposed, one spoiled"; len(sums) != 1 || sums[0].Words() != want {
		t.Errorf("%+v, want %q", sums, want)
	}
}

// A bath that was poured away ages no more, and another in its tray is another bath.
func TestARetiredBath(t *testing.T) {
	r := newRoom(t)
	r.mix("f1", "fixer 1", 500, 1000, 1000*s)
	p := steps("fix 60 fixer 1")
	r.add("a", 300, p)
	r.move("a")
	r.wait(100)
	r.do(session.Event{Kind: session.BathRetired, Bath: "f1"})
	r.wait(2000)
	acc := bench.Account(r.m.Trays(), r.m.Sheets(), r.now())
	if b := acc[0]; !b.Retired || b.Age != 100*s || b.AgeShare != 0.1 || b.Share != 0.6 || b.Cause != bench.ByArea {
		t.Errorf("%+v", b)
	}
	if q, must := bench.Ask(acc[0]); !must || q != "fixer 1 was retired: mix a new one first" {
		t.Errorf("asked %q, %v", q, must)
	}
	if b, ok := bench.Standing(acc, "fixer 1"); ok {
		t.Errorf("%+v stands there", b)
	}
	if cues := bench.BathCues(r.m.Trays(), r.m.Sheets(), 0, time.Hour); len(cues) != 0 {
		t.Errorf("it was poured away, and %+v is said", cues)
	}
	r.mix("f2", "fixer 1", 500, 1000, 0)
	r.mix("d1", "developer", 500, 0, 0)
	acc = bench.Account(r.m.Trays(), r.m.Sheets(), r.now())
	if b, ok := bench.Standing(acc, "fixer 1"); !ok || b.Mix.ID != "f2" || b.Sheets != 0 {
		t.Errorf("%+v", b)
	}
	if d, ok := bench.Standing(acc, "developer"); !ok || d.Share != 0 || d.Cause != "" || bench.Disposal(d) != "" {
		t.Errorf("nothing is stated of it: %+v, %q", d, bench.Disposal(d))
	} else if q, must := bench.Ask(d); q != "" || must {
		t.Errorf("asked %q, %v", q, must)
	}
	// As it was before the first sheet came.
	if b := bench.Account(r.m.Trays(), r.m.Sheets(), -s)[0]; b.Sheets != 0 || b.Age != 0 {
		t.Errorf("%+v", b)
	}
}

// Which sheet and tray a cue of a bath is about, and when: each once, in the span that
// begins with its instant.
func TestBathCueIsOfASheet(t *testing.T) {
	r := newRoom(t)
	r.mix("f1", "fixer 1", 500, 1000, 300*s) // takes 500 cm2, for five minutes
	r.mix("f2", "fixer 2", 500, 1000, 0)
	p := steps("fix 60 fixer 1", "second-fix 60 fixer 2")
	for _, id := range []string{"a", "b"} {
		r.add(id, 200, p)
	}
	r.wait(30)
	r.move("b")
	r.wait(30)
	r.move("a") // 400 of 500: nearly spent, at 60 s; and both go on into the second fixer
	r.move("b")
	r.move("a")
	var got []string
	for from := time.Duration(0); from < 400*s; from += 60 * s {
		for _, c := range bench.BathCues(r.m.Trays(), r.m.Sheets(), from, from+60*s) {
			if c.T < from || c.T >= from+60*s {
				t.Errorf("%v is said of %v to %v", c.T, from, from+60*s)
			}
			got = append(got, strings.Join([]string{c.Label, string(c.Kind), c.Sheet, string(c.Stage), c.T.String()}, ","))
		}
	}
	// What the second fixer saw came from the first: it is not used up by it.
	if want := []string{"fixer 1,bath nearly spent,a,fix,1m0s", "fixer 1,bath spent,,fix,5m0s"}; !slices.Equal(got, want) {
		t.Errorf("said %q\nwant %q", got, want)
	}
}

// The wash and holding water take as many as come; a small tray takes one.
func TestShopForOne(t *testing.T) {
	p := steps("fix 60 fixer 1", "wash 600 wash tray", "rinse 30 rinse")
	p.Steps[1].Batch = false
	shop := bench.ShopFor(8*s, p)
	for tray, many := range map[string]bool{"fixer 1": false, "rinse": false, "wash tray": true, "holding water": true} {
		if n := shop.Trays[tray]; (n > 8) != many {
			t.Errorf("the %s takes %d", tray, n)
		}
	}
}
