package bench_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"wetside/session"
	"wetside/session/bench"
)

// The mass balance of washing against worked figures.
func TestMassBalance(t *testing.T) {
	// D. Harvey, Modern Analytical Chemistry, 2000, example 7.15 (p. 219): 50 ml
	// extracted with portions of 15 ml at a distribution ratio of 5, which holds
	// as much as 75 ml of water would. After two and three: 0.160 and 0.064; for
	// 0.001 a minimum of eight.
	for n, want := range map[int]float64{2: 0.160, 3: 0.064} {
		got, err := bench.WashedOut(1, 50, 75, n)
		if err != nil {
			t.Fatal(err)
		}
		near(t, fmt.Sprint(n, " portions"), got, want, 0.0005)
	}
	n, rest, err := bench.Changes(50, 75, 0.001)
	if err != nil || n != 8 || rest > 0.001 {
		t.Errorf("%d changes leave %v, %v", n, rest, err)
	}
	// By hand: 50 parts in 250 leave a fifth each time, and 5^-5 is 0.00032.
	got, _ := bench.WashedOut(1, 50, 200, 5)
	near(t, "five portions", got, 0.00032, 0.000005)
	// G. James, Modern Engineering Mathematics, 6th ed., chapter 1: a precipitate
	// that retains v in a beaker of capacity V keeps (v/V)^n after n fillings. A
	// beaker of 100 that retains 10 has 90 of water put in.
	got, _ = bench.WashedOut(100, 10, 90, 3)
	near(t, "beaker, percent", got, 0.1, 1e-12)
	n, _, _ = bench.Changes(10, 90, 0.001)
	if n != 3 {
		t.Errorf("three fillings leave a thousandth, not %d", n)
	}

	// A stirred tank, by hand: 200 l of brine with 20 kg of salt, pure water at
	// 5 l/min. One filling has gone through in 40 min, which leaves 20/e = 7.36 kg.
	d, err := bench.RunningFor(5, 200, 7.36/20)
	if err != nil || (d-40*time.Minute).Abs() > 2*time.Second {
		t.Errorf("7.36 of 20 kg remain after %v, %v", d, err)
	}
	// Ten thousand small changes come close to running water, and never do
	// better: the limit of (1+x/n)^-n is exp(-x), from above.
	dumped, _ := bench.WashedOut(1, 1, 3.0/10000, 10000)
	run, err := bench.RunningFor(1, 1, dumped)
	if over := 3*time.Minute - run; err != nil || over < 0 || over > time.Second {
		t.Errorf("three minutes' worth in many small changes is worth %v of running water, %v", run, err)
	}
	for _, err := range []error{
		second(bench.WashedOut(1, 0, 1, 1)), second(bench.WashedOut(1, 1, -1, 1)), second(bench.WashedOut(1, 1, 1, -1)),
		third(bench.Changes(1, 1, 0)), third(bench.Changes(1, 1, 1)), third(bench.Changes(1, 1e-9, 0.5)), third(bench.Changes(math.NaN(), 1, 0.5)),
		second(bench.WashedOut(1, math.Inf(1), 1, 1)), second(bench.WashedOut(1, 1, math.Inf(1), 1)), second(bench.WashedOut(1, 1, 0, 1)),
		second(bench.RunningFor(0, 1, 0.5)), second(bench.RunningFor(1e-300, 1, 0.5)), second(bench.RunningFor(-1, -1, 0.5)),
		second(bench.RunningFor(1, 0, 0.5)), second(bench.RunningFor(1, math.Inf(1), 0.5)), second(bench.RunningFor(1, 1, 0)),
		second(bench.RunningFor(1, 1, -1)), second(bench.RunningFor(1, 1, 1)), second(bench.RunningFor(math.NaN(), 1, 0.5)),
	} {
		if err == nil {
			t.Error("nonsense was reckoned with")
		}
	}
	if c, err := bench.WashedOut(7, 1, 1, 0); err != nil || c != 7 {
		t.Errorf("before any change: %v, %v", c, err)
	}
}

func second[A any](_ A, err error) error        { return err }
func third[A, B any](_ A, _ B, err error) error { return err }

func TestCarry(t *testing.T) {
	if f, r := bench.Carry(session.FB, 108), bench.Carry(session.RC, 108); r >= f || r <= 0 {
		t.Errorf("RC carries %v, FB %v", r, f)
	}
	// By hand: 2 ml a square decimetre, and 0.7.
	near(t, "FB of 108 cm2", bench.Carry(session.FB, 108), 2.16, 1e-12)
	near(t, "RC of 108 cm2", bench.Carry(session.RC, 108), 0.756, 1e-12)
}

// A newcomer is foretold, offered the holding bath, and sets the batch back;
// taken back, it never was.
func TestWashStory(t *testing.T) {
	r := newRoom(t)
	p := steps("fix 60 fixer 1", "wash 600 wash tray")
	r.add("a", 100, p)
	r.add("b", 100, p)
	r.move("a")
	r.move("b")
	if w, _ := bench.BeforeWash(r.m.Sheet("a"), r.m.Sheets(), r.now()); w != "" {
		t.Errorf("warned of an empty wash: %q", w)
	}
	r.move("a")
	r.wait(400)
	w, hold := bench.BeforeWash(r.m.Sheet("b"), r.m.Sheets(), r.now())
	if want := "one sheet in the wash begins again: ten minutes instead of three minutes twenty seconds; or hold this one in water"; w != want || !hold {
		t.Errorf("said %q, %v", w, hold)
	}
	r.hold("b")
	if bs := bench.Batches(r.m.Sheets(), r.now()); len(bs) != 1 || len(bs[0].Sheets) != 1 || bs[0].Done != 600*s {
		t.Errorf("held water counts as the wash: %+v", bs)
	}
	if w, _ := bench.BeforeWash(r.m.Sheet("b"), r.m.Sheets(), r.now()); w == "" {
		t.Error("no warning from the holding water")
	}
	r.move("b")
	bs := bench.Batches(r.m.Sheets(), r.now())
	if len(bs) != 1 || bs[0].Done != 1000*s || bs[0].Sheets[0].SetBack != 400*s || bs[0].Sheets[1].SetBack != 0 {
		t.Errorf("%+v", bs)
	}
	r.undo("b")
	if bs := bench.Batches(r.m.Sheets(), r.now()); bs[0].Done != 600*s {
		t.Errorf("the undo did not give the time back: %+v", bs)
	}
	r.move("b")
	r.wait(250) // 650 since a came, 250 since b
	r.move("a")
	if ok, why := bench.Washed(r.m.Sheet("a"), r.m.Sheets()); ok || why != "it was taken out five minutes fifty seconds too soon" {
		t.Errorf("%v, %q", ok, why)
	}
	r.wait(350)
	r.move("b")
	if ok, why := bench.Washed(r.m.Sheet("b"), r.m.Sheets()); !ok {
		t.Error(why)
	}
	sums := bench.ByMaker(r.m.Sheets())
	if len(sums) != 1 || sums[0].Words() != "Ash: two sheets, one washed, one done, not washed in full" {
		t.Errorf("%+v, %q", sums, sums[0].Words())
	}
}

// Hypo-clear shortens the wash only when it was done for its time.
func TestShortWash(t *testing.T) {
	p := steps("fix 60 fixer 1", "hypo-clear 120 clear", "wash 1800 wash tray")
	p.Steps[2].ShortAfter = 600 * s
	for _, c := range []struct {
		clear float64
		ok    bool
		plan  time.Duration
	}{{120, true, 600 * s}, {119, false, 1800 * s}} {
		r := newRoom(t)
		r.add("a", 100, p)
		if d := bench.JobOf(r.m.Sheet("a")).Steps[2].Time; d != 600*s {
			t.Errorf("before the hypo-clear the wash is planned at %v", d)
		}
		r.move("a")
		r.move("a")
		r.wait(c.clear)
		r.move("a")
		if d := bench.JobOf(r.m.Sheet("a")).Steps[2].Time; d != c.plan {
			t.Errorf("after %v s of hypo-clear the wash is planned at %v", c.clear, d)
		}
		r.wait(600)
		r.move("a")
		if short := r.m.Sheet("a").Visits[2].Short; short != c.ok {
			t.Errorf("after %v s of hypo-clear the wash is short: %v", c.clear, short)
		}
		if ok, _ := bench.Washed(r.m.Sheet("a"), r.m.Sheets()); ok != c.ok {
			t.Errorf("after %v s of hypo-clear, ten minutes of wash: washed is %v", c.clear, ok)
		}
	}
}

// A ledger keeps by itself what each sheet did, for the properties.
type ledger struct {
	sheets map[string][]stayed
	mixes  map[string]string // tray -> mix
}

type stayed struct {
	stage   session.Stage
	mix     string
	in, out time.Duration
	open    bool
}

// Whatever is done and undone: the account of every bath is the sum over the
// sheets, and no sheet is called washed unless its full time had passed since
// the last unwashed one came into its water.
func TestAccountsWhateverIsUndone(t *testing.T) {
	const full = 300 * s
	washed, dirty := 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		m := session.New()
		at := day
		if err := m.Apply(session.Event{Kind: session.Opened, At: at}); err != nil {
			rt.Fatal(err)
		}
		l := ledger{map[string][]stayed{}, map[string]string{}}
		areas := map[string]float64{}
		p := steps("develop 60 developer", "fix 60 fixer 1", "wash 300 wash tray")
		mixed := 0
		for range rapid.IntRange(5, 60).Draw(rt, "events") {
			at = at.Add(time.Duration(rapid.IntRange(1, 200_000).Draw(rt, "gap")) * time.Millisecond)
			id := fmt.Sprint("s", rapid.IntRange(1, 4).Draw(rt, "sheet"))
			now := m.T(at)
			v := l.sheets[id]
			switch rapid.SampledFrom([]string{"move", "move", "move", "move", "move", "undo", "mix", "hold"}).Draw(rt, "what") {
			case "mix":
				mixed++
				tray := rapid.SampledFrom([]string{"developer", "fixer 1"}).Draw(rt, "tray")
				e := session.Event{Kind: session.BathMixed, At: at, Mix: &session.Mix{ID: fmt.Sprint("m", mixed), Name: tray, ML: 500, PerLitre: 1000, CarryML: 2}}
				if m.Apply(e) == nil {
					l.mixes[tray] = e.Mix.ID
				}
			case "undo":
				if m.Apply(session.Event{Kind: session.Undone, At: at, Sheet: id}) != nil {
					continue
				}
				if n := len(v); v[n-1].open {
					v = v[:n-1]
				}
				if n := len(v); n > 0 {
					v[n-1].open = true
				}
				l.sheets[id] = v
			case "hold", "move":
				if m.Sheet(id) == nil {
					areas[id] = float64(rapid.IntRange(50, 300).Draw(rt, "area"))
					m.Apply(session.Event{Kind: session.SheetAdded, At: at, Sheet: id, Spec: &session.SheetSpec{Paper: session.Paper{AreaCM2: areas[id]}, Process: p}})
				}
				e := session.Event{Kind: session.Moved, At: at, Sheet: id}
				if vis := m.Sheet(id).Visit(); vis != nil {
					e.From = vis.Serial
				}
				if rapid.IntRange(0, 5).Draw(rt, "held") == 0 {
					e.Kind = session.Held
				}
				if m.Apply(e) != nil {
					continue
				}
				done := 0
				for i := range v {
					if v[i].open {
						v[i].open, v[i].out = false, now
					}
					if v[i].stage != session.Hold {
						done++
					}
				}
				if e.Kind == session.Held {
					v = append(v, stayed{stage: session.Hold, in: now, open: true})
				} else if done < 3 {
					st := p.Steps[done]
					v = append(v, stayed{stage: st.Stage, mix: l.mixes[st.Bath], in: now, open: true})
				}
				l.sheets[id] = v
			}
			now = m.Now()
			for _, b := range bench.Account(m.Trays(), m.Sheets(), now) {
				var n int
				var area float64
				for id, v := range l.sheets {
					for _, x := range v {
						if x.mix == b.Mix.ID {
							n++
							area += areas[id]
						}
					}
				}
				if b.Sheets != n || math.Abs(b.AreaCM2-area) > 1e-6 || math.Abs(b.CarryML-2*float64(n)) > 1e-6 || math.Abs(b.Share-area/500) > 1e-9 {
					rt.Fatalf("%s has %d sheets, %v cm2; the sum is %d, %v", b.Mix.ID, b.Sheets, b.AreaCM2, n, area)
				}
			}
			for _, sh := range m.Sheets() {
				ok, why := bench.Washed(sh, m.Sheets())
				v := l.sheets[sh.ID]
				if ok != (why == "") {
					rt.Fatalf("washed %v, why %q", ok, why)
				}
				if !ok {
					continue
				}
				washed++
				w := v[len(v)-1]
				if w.stage != session.Wash || w.open {
					rt.Fatalf("sheet %s is called washed at %s", sh.ID, w.stage)
				}
				since := w.in
				for id, o := range l.sheets {
					for _, x := range o {
						if id != sh.ID && x.stage == session.Wash && x.in > w.in && x.in < w.out {
							since = max(since, x.in)
							dirty++
						}
					}
				}
				if w.out-since < full {
					rt.Fatalf("sheet %s is called washed %v after the last one came", sh.ID, w.out-since)
				}
				if !sh.Washed() && !hadUndo(m) {
					rt.Fatalf("the session says sheet %s is not washed", sh.ID)
				}
			}
		}
	})
	if (washed == 0 || dirty == 0) && !testing.Short() { // of the few cases of a short run none may
		t.Errorf("%d times washed, %d newcomers: the property was not tried", washed, dirty)
	}
}

func hadUndo(m *session.Machine) bool {
	for _, s := range m.Sheets() {
		if len(s.Undone) > 0 {
			return true
		}
	}
	return false
}

func TestFogTestStale(t *testing.T) {
	today := time.Date(2026, 11, 9, 12, 0, 0, 0, time.UTC)
	tested := func(on string) session.Paper { return session.Paper{Tested: true, TestedOn: on} }
	for _, c := range []struct {
		p         session.Paper
		then, now session.Level
		want      string
	}{
		{tested("2026-05-10"), "ember", "ember", ""},
		{tested("2026-05-09"), "ember", "ember", "six months"},
		{tested("2026-05-10"), "ember", "torch", "the screen was at ember"},
		{tested("2026-05-10"), "", "ember", "is not noted"},
		{tested("last spring"), "ember", "ember", "2026-05-09"},
		{tested("2027-01-01"), "ember", "ember", "still to come"},
		{session.Paper{}, "ember", "ember", "never tested"},
	} {
		got := bench.FogTestStale(c.p, today, c.then, c.now)
		if (c.want == "") != (got == "") || !strings.Contains(got, c.want) {
			t.Errorf("%+v %s %s: %q, want %q", c.p, c.then, c.now, got, c.want)
		}
	}
}
