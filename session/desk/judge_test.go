package desk

import (
	"errors"
	"math"
	"strings"
	"testing"

	"wetside/session"
	"wetside/session/exposure"
	"wetside/session/notebook"
)

func TestAJudgementInWordsFollowsThePaper(t *testing.T) {
	for _, c := range []struct {
		words string
		paper session.Response
		stops float64
		seen  string
	}{
		{"1/2", session.Lighter, 0.5, ""},
		{"-1/2", session.Lighter, -0.5, ""},
		{"\u22121/3", session.Denser, -1.0 / 3, ""},
		{"right", session.Denser, 0, ""},
		{"right: just so", session.Denser, 0, "just so"},
		{"0,7 more, shadows blocked", session.Lighter, 0.7, "shadows blocked"},
		{"1 1/2 stops more: 3 windows white", session.Lighter, 1.5, "3 windows white"},
		// More exposure makes a direct positive lighter, a negative denser.
		{"1 too dark", session.Lighter, 1, ""},
		{"1/2 too dark, only the lamp shows", session.Lighter, 0.5, "only the lamp shows"},
		{"1/2 stop too light", session.Lighter, -0.5, ""},
		{"1 stops too dark", session.Denser, -1, ""},
		{"1 1/2 too light", session.Denser, 1.5, ""},
		{"1 too thin; sky is paper", session.Denser, 1, "sky is paper"},
		{"1/2 too light.", session.Lighter, -0.5, ""},
		{"1/2, too light!", session.Lighter, -0.5, ""},
		{"1/2: too-light", session.Lighter, -0.5, ""},
		{"1/2 too dark.", session.Denser, -0.5, ""},
		{"1/2 less", session.Lighter, -0.5, ""},
		{"1/2 stop less: sky gone", session.Denser, -0.5, "sky gone"},
		{"2/3 more", session.Lighter, 2.0 / 3, ""},
		{"+1/2 light leak at the lid", session.Lighter, 0.5, "light leak at the lid"},
		{"+1/2 sky too light", session.Lighter, 0.5, "sky too light"},
		{"-1/3 sky burnt out", session.Lighter, -1.0 / 3, "sky burnt out"},
		{"0 just so", session.Lighter, 0, "just so"},
		{"½", session.Lighter, 0.5, ""},
		{".5", session.Lighter, 0.5, ""},
		{"+ 1/2 grey", session.Lighter, 0.5, "grey"},
		{"1½ too dark", session.Lighter, 1.5, ""},
		{"left out, light leak", session.Denser, 0, "left out: light leak"},
		{"half a stop too dark", session.Lighter, 0.5, ""},
		{"Half a stop too dark, lamp gone", session.Denser, -0.5, "lamp gone"},
		{"a third of a stop less", session.Lighter, -1.0 / 3, ""},
		{"one stop too thin", session.Denser, 1, ""},
		{"one and a half stops more", session.Denser, 1.5, ""},
		{"too dark", session.Lighter, 1, ""},
		{"too dark: only the lamp", session.Denser, -1, "only the lamp"},
		{"too light", session.Lighter, -1, ""},
		{"ok", session.Lighter, 0, ""},
		{"okay", session.Lighter, 0, ""},
		{"Just  right", session.Lighter, 0, ""},
		{"good: soft", session.Lighter, 0, "soft"},
		{" fine ", session.Lighter, 0, ""},
		{"ok, a little flat", session.Lighter, 0, "a little flat"},
		// No light at all leaves a direct positive black and a negative white.
		{"black", session.Lighter, 3, "black"},
		{"white", session.Lighter, -3, "white"},
		{"all white", session.Denser, 3, "all white"},
		{"black.", session.Denser, -3, "black."},
		{"nothing there", session.Denser, 3, "nothing there"},
	} {
		r := &notebook.Record{}
		r.Paper.Response = string(c.paper)
		got, err := ReadJudgement(c.words, r)
		if err != nil || math.Abs(got.Stops-c.stops) > 1e-9 || got.Seen != c.seen {
			t.Errorf("%q on a paper that gets %s: %v stops, seen %q (%v); want %v, %q", c.words, c.paper, got.Stops, got.Seen, err, c.stops, c.seen)
		}
	}
	for _, bad := range []string{"", "nice", "more", "-1 too dark", "99", "left out", "1/2x", "7th try", "1/2 to light", "1/2 too bright", "1/2 too da",
		"1/2 much too light", "1/2 darker", "1/2 lighter", "1/2 light", "-1/2 less", "1/2 left out of the frame", "1/2 overexposed", "right side dark",
		"+1 too light", "-1 too light", "-1 more", "+1 less", "1/2 more, too light", "1/2 less: too dark", "nothing there"} {
		r := &notebook.Record{}
		r.Paper.Response = string(session.Lighter)
		if v, err := ReadJudgement(bad, r); err == nil {
			t.Errorf("%q was read as %+v", bad, v)
		}
	}
}

// A bare number behind which stands anything but a verdict may mean more or less.
func TestABareNumberWithOtherWordsMayMeanEither(t *testing.T) {
	for _, words := range []string{"1 really too light", "1/2 sky too light", "1, sky is grey", "1: way too dark", "0,7 shadows blocked", "1 1/2 stops 3 windows white", "1 overexposed"} {
		r := &notebook.Record{}
		r.Paper.Response = string(session.Lighter)
		_, err := ReadJudgement(words, r)
		var either *EitherWay
		if !errors.As(err, &either) || either.More.Stops <= 0 || either.Less.Stops != -either.More.Stops {
			t.Errorf("%q: %v", words, err)
			continue
		}
		// What the error says to write is what it says it means.
		for write, want := range map[string]float64{"more": either.More.Stops, "less": either.Less.Stops} {
			j, err := ReadJudgement(either.Number+" "+write+", "+either.Words, r)
			if err != nil || j.Stops != want || j.Seen != either.Words {
				t.Errorf("%q, written with %s: %+v (%v)", words, write, j, err)
			}
		}
	}
}

// Who says more and sees less is told how this paper behaves.
func TestAContradictionSaysHowThePaperBehaves(t *testing.T) {
	for paper, want := range map[session.Response]string{
		session.Lighter: `"1/2 more, too light" contradicts itself: on this paper more exposure makes the picture lighter, so too light wants less: write "1/2 too light"`,
		session.Denser:  `"1/2 more, too dark" contradicts itself: on this paper more exposure makes the picture denser, that is darker, so too dark wants less: write "1/2 too dark"`,
	} {
		r := &notebook.Record{}
		r.Paper.Response = string(paper)
		if _, err := ReadJudgement(strings.SplitN(want, `"`, 3)[1], r); err == nil || err.Error() != want {
			t.Errorf("%v, not %s", err, want)
		}
	}
}

// A word that is no number is told as that, with how it is written; the stops of a test
// sheet with the strips there are.
func TestWhatIsNoJudgementIsTold(t *testing.T) {
	lighter := &notebook.Record{Num: 4}
	lighter.Paper.Response = string(session.Lighter)
	test := &notebook.Record{Num: 5, Reckoned: &session.Reckoned{Test: &session.Test{Strips: 5, Step: 1, Shares: []float64{1. / 16, 1. / 8, 1. / 4, 1. / 2, 1}}}}
	test.Paper.Response = string(session.Lighter)
	for _, c := range []struct {
		r           *notebook.Record
		said, wants string
	}{
		{lighter, "strip 2", "sheet 4 is no test in strips: write 1/2 for more"},
		{lighter, "nice", `"nice" is no judgement: write 1/2 for more`},
		{lighter, "left out", "say why it is left out"},
		{lighter, "nothing there", `"3 nothing there" may mean more or less: write "3 more, nothing there" or "3 less, nothing there"`},
		{lighter, "1/2 to light", `write "1/2 more, to light" or "1/2 less, to light"`},
		{lighter, "+1/2 to light", `"+1/2 to light" is not clear`},
		{lighter, "-1 more", "says less twice"},
		{lighter, "+1 less", "says more and less"},
		{test, "1/2 more", "sheet 5 is a test: say which of its 5 strips is right"},
		{test, "strip 0", "sheet 5 has strips 1 to 5: say one, or two beside each other"},
		{test, "strip 6", "sheet 5 has strips 1 to 5"},
		{test, "strips 0 and 1", "sheet 5 has strips 1 to 5"},
		{test, "strips 5 and 6", "sheet 5 has strips 1 to 5"},
		{test, "strips 1 and 3", "sheet 5 has strips 1 to 5"},
		{test, "strip 3, 1/2 to dark", `write "1/2 more, to dark" or "1/2 less, to dark"`},
		{test, "strip 3, +1/2 to dark", "is not clear"},
		{test, "strip 3, sky grey", ""},
	} {
		_, err := ReadJudgement(c.said, c.r)
		if c.wants == "" && err != nil || c.wants != "" && (err == nil || !strings.Contains(err.Error(), c.wants)) {
			t.Errorf("%q: %v; want %q", c.said, err, c.wants)
		}
	}
	for said, want := range map[string]notebook.JudgementRecord{
		"strip 5":                  {Stops: 0, Seen: "strip 5"},
		"strip 3":                  {Stops: -2, Seen: "strip 3"},
		"strips 4 and 5":           {Stops: -0.5, Seen: "strips 4 and 5"},
		"Strips 5 or 4: even":      {Stops: -0.5, Seen: "strips 5 and 4, even"},
		"strip 5, 1 too dark":      {Stops: 1, Seen: "strip 5"},
		"strip 5, 1 too dark, dim": {Stops: 1, Seen: "strip 5, dim"},
		"strip 2. clouds":          {Stops: -3, Seen: "strip 2, clouds"},
		"left out: torn":           {Stops: 0, Seen: "left out: torn"},
	} {
		if j, err := ReadJudgement(said, test); err != nil || j.Stops != want.Stops || j.Seen != want.Seen {
			t.Errorf("%q: %+v, %v; want %+v", said, j, err, want)
		}
	}
	// Of a strip that is much, the stops from the strip are what was looked at.
	if _, err := Judge("strip 1", test, nil, func(string, string) (exposure.Ask, int, int, bool) { return exposure.Ask{}, 0, 0, false }); err != nil {
		t.Error(err)
	}
}

// What a judged sheet teaches, by hand. The paper is without reciprocity, f/150, ISO 3:
// in EV 12 a picture takes t = N^2 / 2^EV * 100/ISO = 22500/4096*33.3 = 183.1 s
// (the exposure equation, ISO 2720). A sheet open for twice that and judged right teaches
// one stop more than reckoned.
func TestWhatASheetTeaches(t *testing.T) {
	ev, dim := 12.0, 11.0
	const base = 22500.0 / 4096 * 100 / 3
	secs := func(s float64) notebook.Secs { return notebook.Secs(math.Round(s * 1e9)) }
	spell := func(ev *float64, s float64) notebook.SpellRecord { return notebook.SpellRecord{EV: ev, For: secs(s)} }
	fresh := func() *notebook.Record {
		return &notebook.Record{Num: 2, Camera: "tin", Paper: notebook.PaperRecord{Key: "p"}, Light: "EV 12", Base: secs(base),
			Judgements: []notebook.JudgementRecord{{}},
			Reckoned:   &session.Reckoned{Hole: 1, Box: 1, FNumber: 150, ISO: 3, Lit: &session.Lit{EV: ev, Doubt: 0.3, As: "ev 12"}},
			Exposure: &notebook.ExposureRecord{Begun: noon(0, 0), Planned: secs(base), Actual: secs(2 * base), Share: 2,
				Spells: []notebook.SpellRecord{spell(&ev, 2*base)}}}
	}
	today := func(f float64, hole, box int) Today {
		return func(string, string) (exposure.Ask, int, int, bool) {
			return exposure.Ask{FNumber: f, ISO: 3}, hole, box, true
		}
	}
	for _, c := range []struct {
		name   string
		change func(r *notebook.Record)
		today  Today
		wanted float64 // stops; NaN: it teaches nothing
		doubt  float64
	}{
		{"as it is", func(*notebook.Record) {}, nil, 1, 0.3},
		{"judged a half more", func(r *notebook.Record) { r.Judgements[0].Stops = 0.5 }, nil, 1.5, 0.3},
		{"today's hole is another", func(*notebook.Record) {}, today(300, 2, 1), 1, 0.3},
		{"today's box is another", func(r *notebook.Record) { r.Reckoned.ISO = 1.5 }, today(150, 1, 2), 0, 0.3},
		{"today's f-number was corrected: it is the same hole", func(*notebook.Record) {}, today(300, 1, 1), -1, 0.3},
		{"the profiles are gone", func(*notebook.Record) {}, func(string, string) (exposure.Ask, int, int, bool) { return exposure.Ask{}, 0, 0, false }, 1, 0.3},
		{"half of it in half the light", func(r *notebook.Record) {
			r.Exposure.Spells = []notebook.SpellRecord{spell(&ev, base), spell(&dim, 2*base)}
		}, nil, 1, 0.3},
		{"the light of the last spell is not known", func(r *notebook.Record) {
			r.Exposure.Spells = append(r.Exposure.Spells, spell(nil, base))
		}, nil, math.Log2(3), 0.3}, // it is that of the opening
		{"a light read only while it ran", func(r *notebook.Record) { r.Reckoned.Lit = nil }, nil, 1, lateDoubt},
		{"no light, but the user's words", func(r *notebook.Record) { r.Reckoned = nil; r.Exposure.Spells = nil }, nil, 1, -1},
		{"no light at all: against the reckoned time", func(r *notebook.Record) {
			r.Reckoned.Lit, r.Exposure.Spells = nil, []notebook.SpellRecord{spell(nil, 2*base)}
		}, nil, 1, 0.5},
		{"and none was reckoned", func(r *notebook.Record) {
			r.Reckoned.Lit, r.Exposure.Spells, r.Base = nil, []notebook.SpellRecord{spell(nil, 2*base)}, 0
		}, nil, math.NaN(), 0},
		{"an old notebook, its light changed", func(r *notebook.Record) {
			r.Exposure.Spells, r.Exposure.Readings, r.Exposure.Share = nil, []notebook.ReadingRecord{{Stops: -1}}, 1
		}, nil, 0, 0.3},
		{"and its time set by hand", func(r *notebook.Record) {
			r.Exposure.Spells, r.Exposure.Readings = nil, []notebook.ReadingRecord{{Open: secs(base)}}
		}, nil, math.NaN(), 0},
		{"not judged", func(r *notebook.Record) { r.Judgements = nil }, nil, math.NaN(), 0},
		{"not exposed", func(r *notebook.Record) { r.Exposure = nil }, nil, math.NaN(), 0},
		{"nobody saw its end", func(r *notebook.Record) { r.Exposure.Unseen = true }, nil, math.NaN(), 0},
		{"no share of it was given", func(r *notebook.Record) { r.Exposure.Share = 0 }, nil, math.NaN(), 0},
		{"no camera", func(r *notebook.Record) { r.Camera = "" }, nil, math.NaN(), 0},
	} {
		r := fresh()
		c.change(r)
		if c.today == nil {
			c.today = today(150, 1, 1)
		}
		j, ok := Evidence(r, c.today)
		if ok == math.IsNaN(c.wanted) {
			t.Errorf("%s: it teaches %v: %+v", c.name, ok, j)
		}
		if !ok {
			continue
		}
		// Wanted is to a hundredth of a stop; of the user's words the doubt is what they say.
		if math.Abs(j.Wanted-c.wanted) > 0.01 || c.doubt >= 0 && math.Abs(j.Doubt-c.doubt) > 1e-9 || j.Seconds <= 0 {
			t.Errorf("%s: %.3f stops wanted, doubt %.2f, %.0f s; want %.3f, %.2f", c.name, j.Wanted, j.Doubt, j.Seconds, c.wanted, c.doubt)
		}
		if j.ID != "sheet 2 of "+r.Day() || j.Camera != "tin" || j.Paper != "p" || j.Hole != 1 || j.Box != 1 {
			t.Errorf("%s: %+v", c.name, j)
		}
	}
}
