package bench_test

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"wetside/session"
	"wetside/session/bench"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if math.Abs(got-want) > within {
		t.Errorf("%s: %v, want %v within %v", what, got, want, within)
	}
}

func TestMixUp(t *testing.T) {
	for _, c := range []struct {
		dilution string
		total    float64
		want     []float64
		words    string
	}{
		{"1+9", 500, []float64{50, 450}, "1+9 to make 500 ml: 50 ml stock + 450 ml water"},
		{"1+4", 1000, []float64{200, 800}, "1+4 to make 1000 ml: 200 ml stock + 800 ml water"},
		{"1 + 1 + 100", 510, []float64{5, 5, 500}, "1 + 1 + 100 to make 510 ml: 5 ml stock A + 5 ml stock B + 500 ml water"},
		{"1+31", 500, []float64{15.625, 484.375}, "1+31 to make 500 ml: 15.6 ml stock + 484 ml water"},
		{"1+0", 300, []float64{300, 0}, "1+0 to make 300 ml: 300 ml stock + 0 ml water"},
		{"2.5+1", 350, []float64{250, 100}, "2.5+1 to make 350 ml: 250 ml stock + 100 ml water"},
	} {
		parts, err := bench.MixUp(c.dilution, c.total)
		if err != nil || len(parts) != len(c.want) {
			t.Errorf("%s: %v, %v", c.dilution, parts, err)
			continue
		}
		for i, p := range parts {
			near(t, c.dilution, p.ML, c.want[i], 1e-9)
		}
		if w := bench.MixWords(c.dilution, parts); w != c.words {
			t.Errorf("said %q, want %q", w, c.words)
		}
	}
	for _, bad := range []string{"", "9", "1:9", "1+", "-1+9", "0+0", "NaN+1", "Inf+1", "1e308+1e308", "a+b"} {
		if p, err := bench.MixUp(bad, 500); err == nil || !strings.Contains(err.Error(), "1+9") {
			t.Errorf("%q gave %v, and said %v", bad, p, err)
		}
	}
	for _, v := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if _, err := bench.MixUp("1+9", v); err == nil {
			t.Errorf("%v ml were mixed", v)
		}
	}
}

// The pharmacist's square against sums by hand: what is dissolved is neither lost nor
// made.
func TestAlligation(t *testing.T) {
	for _, c := range []struct {
		what                   string
		high, low, want, total float64
		ofHigh, ofLow          float64
		within                 float64
	}{
		// 1 x 70 + 4 x 20 = 150 = 5 x 30.
		{"elixir", 70, 20, 30, 5, 1, 4, 1e-9},
		// 20 x 95 + 25 x 50 = 3150 = 45 x 70.
		{"alcohol", 95, 50, 70, 45, 20, 25, 1e-9},
		// 25/70 of a litre is 5000/14 = 357.14 ml.
		{"syrup and water", 70, 0, 25, 1000, 357.142857, 642.857143, 1e-6},
		{"half and half", 30, 10, 20, 100, 50, 50, 1e-9},
	} {
		a, b, err := bench.Alligation(c.high, c.low, c.want, c.total)
		if err != nil {
			t.Errorf("%s: %v", c.what, err)
			continue
		}
		near(t, c.what+", strong", a, c.ofHigh, c.within)
		near(t, c.what+", weak", b, c.ofLow, c.within)
		near(t, c.what+", balance", a*c.high+b*c.low, c.want*c.total, 1e-9*c.total*100)
	}
	for _, bad := range [][4]float64{{30, 10, 40, 100}, {30, 10, 5, 100}, {20, 20, 30, 100}, {30, 10, 20, -1},
		{math.NaN(), 10, 20, 100}, {30, math.Inf(-1), 20, 100}, {30, 10, 20, math.Inf(1)}} {
		if a, b, err := bench.Alligation(bad[0], bad[1], bad[2], bad[3]); err == nil {
			t.Errorf("%v made %v and %v", bad, a, b)
		}
	}
	for _, c := range []struct{ high, low, want, total, ofHigh float64 }{
		{20, 20, 20, 100, 100}, {30, 10, 30, 100, 100}, {30, 10, 10, 100, 0}, {30, 10, 20, 0, 0},
	} {
		a, b, err := bench.Alligation(c.high, c.low, c.want, c.total)
		if err != nil || a != c.ofHigh || b != c.total-c.ofHigh {
			t.Errorf("%+v: %v and %v, %v", c, a, b, err)
		}
	}
	// 90 kg at 36 C of 48 C and 12 C: the balance of heat, by hand 24/36 of it is hot.
	hot, cold, err := bench.Temper(48, 12, 36, 90)
	if err != nil || math.Abs(hot-60) > 1e-9 || math.Abs(cold-30) > 1e-9 {
		t.Errorf("60 and 30 kg, not %v and %v (%v)", hot, cold, err)
	}
	if _, _, err := bench.Temper(15, 12, 20, 90); err == nil {
		t.Error("20 C was had of 15 C and 12 C")
	}
	// 1+9 of a 1+4: half of it and half water, for 1/10 is half of 1/5.
	sol, water, err := bench.FromWorking("1+4", "1+9", 500)
	if err != nil || math.Abs(sol-250) > 1e-9 || math.Abs(water-250) > 1e-9 {
		t.Errorf("1+9 of 1+4: %v and %v, %v", sol, water, err)
	}
	if _, _, err := bench.FromWorking("1+9", "1+4", 500); err == nil || !strings.Contains(err.Error(), "stock") {
		t.Errorf("water made it stronger: %v", err)
	}
}

// A story of two fixers: each sheet adds its area to both, the one that sees it
// second is not used up by it; what is undone counts no more.
func TestBathsStory(t *testing.T) {
	r := newRoom(t)
	r.mix("f1", "fixer 1", 500, 1000, 0) // takes 500 cm2
	r.mix("f2", "fixer 2", 500, 1000, 2*time.Hour)
	p := steps("fix 60 fixer 1", "second-fix 60 fixer 2")
	for _, id := range []string{"a", "b", "c", "d", "e"} {
		r.add(id, 100, p)
		r.move(id)
		r.wait(20)
	}
	acc := bench.Account(r.m.Trays(), r.m.Sheets(), r.m.Now())
	if b := acc[0]; b.Sheets != 5 || b.AreaCM2 != 500 || b.CarryML != 10 || !b.Spent() || b.Cause != bench.ByArea {
		t.Errorf("fixer 1: %+v", b)
	}
	if q, must := bench.Ask(acc[0]); !must || !strings.Contains(q, "spent") {
		t.Errorf("asked %q, %v", q, must)
	}
	r.undo("e")
	acc = bench.Account(r.m.Trays(), r.m.Sheets(), r.m.Now())
	if b := acc[0]; b.Sheets != 4 || b.AreaCM2 != 400 || b.Spent() || !b.High() {
		t.Errorf("after the undo: %+v", b)
	}
	if q, must := bench.Ask(acc[0]); must || q != "fixer 1 is nearly spent, 80 percent of the paper it can take" {
		t.Errorf("asked %q, %v", q, must)
	}
	r.move("a")
	acc = bench.Account(r.m.Trays(), r.m.Sheets(), r.m.Now())
	if b := acc[1]; b.AreaCM2 != 100 || b.SecondCM2 != 100 || b.AreaShare != 0 || b.Cause != bench.ByAge {
		t.Errorf("fixer 2: %+v", b)
	}
	r.move("e")
	r.add("f", 100, p)
	// The second takes the first one's place: nothing on its account but age.
	acc = bench.Account(r.m.Trays(), r.m.Sheets(), r.m.Now())
	for _, g := range bench.Promotion(acc[0], acc[1]) {
		switch g.Kind {
		case session.BathRetired, session.BathPromoted:
			r.do(session.Event{Kind: g.Kind, Bath: g.Bath, Into: g.Into})
		}
	}
	acc = bench.Account(r.m.Trays(), r.m.Sheets(), r.m.Now())
	now, ok := bench.Standing(acc, "fixer 1")
	if !ok || now.Mix.ID != "f2" || now.AreaShare != 0 {
		t.Errorf("after the promotion: %+v", now)
	}
	r.add("g", 100, p)
	r.move("g")
	acc = bench.Account(r.m.Trays(), r.m.Sheets(), r.m.Now())
	if now, _ := bench.Standing(acc, "fixer 1"); now.AreaShare != 0.2 {
		t.Errorf("a fifth of it is used: %+v", now)
	}
	if d := bench.Disposal(acc[0]); !strings.Contains(d, "silver") || !strings.Contains(d, "local rules") || !strings.Contains(d, "data sheet") {
		t.Errorf("caution: %q", d)
	}
}

// 80 % and 100 % are said once each, when they are reached, whichever of paper
// and hours is first; less than a minute apart the second alone; and taken back with
// the move.
func TestBathCues(t *testing.T) {
	r := newRoom(t)
	r.mix("f1", "fixer 1", 500, 1000, 0)
	r.mix("dev", "developer", 500, 0, 1000*time.Second)
	p := steps("fix 60 fixer 1")
	for _, id := range []string{"a", "b", "c", "d", "e", "f"} {
		r.add(id, 100, p)
		r.wait(60)
		r.move(id)
	}
	said := func() string {
		var out []string
		for _, c := range bench.BathCues(r.m.Trays(), r.m.Sheets(), 0, time.Hour) {
			out = append(out, c.Label+" "+string(c.Kind)+" "+c.T.String())
		}
		return strings.Join(out, "; ")
	}
	if got, want := said(), "fixer 1 bath nearly spent 4m0s; fixer 1 bath spent 5m0s; developer bath nearly spent 13m20s; developer bath spent 16m40s"; got != want {
		t.Errorf("said %q\nwant %q", got, want)
	}
	r.mix("f2", "fixer 2", 500, 100, 0)
	r.add("g", 100, steps("fix 60 fixer 2"))
	r.move("g")
	if got := said(); strings.Contains(got, "fixer 2 bath nearly spent") || !strings.Contains(got, "fixer 2 bath spent") {
		t.Errorf("one sheet uses up all of a bath: said %q", got)
	}
	r.undo("g")
	r.undo("e")
	r.undo("f")
	if got, want := said(), "fixer 1 bath nearly spent 4m0s; developer bath nearly spent 13m20s; developer bath spent 16m40s"; got != want {
		t.Errorf("said %q\nwant %q", got, want)
	}
}

// Where a bath is spent less than a minute after it is nearly so, that alone is said:
// by paper, by hours, and by hours what paper has nearly used up.
func TestABathThatIsSpentIsNotNearlySo(t *testing.T) {
	r := newRoom(t)
	r.mix("f", "fixer", 500, 200, 0) // it takes 100 cm2
	r.mix("old", "old bath", 500, 0, 290*time.Second)
	r.mix("both", "both bath", 500, 200, 100*time.Second)
	for _, id := range []string{"a", "b"} {
		r.add(id, 90, steps("fix 60 fixer", "stop 60 both bath"))
		r.wait(59)
		r.move(id)
		r.move(id)
	}
	var got []string
	for _, c := range bench.BathCues(r.m.Trays(), r.m.Sheets(), 0, time.Hour) {
		got = append(got, c.Label+" "+string(c.Kind)+" "+c.T.String())
	}
	if want := []string{"fixer bath spent 1m58s", "old bath bath spent 4m50s", "both bath bath spent 1m40s"}; !slices.Equal(got, want) {
		t.Errorf("said %q\nwant %q", got, want)
	}
}
