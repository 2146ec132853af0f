package main

import (
	"errors"
	"math"
	"strings"
	"testing"

	"wetside/session"
	"wetside/session/desk"
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
		{minus + "1/3", session.Denser, -1.0 / 3, ""},
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
		got, err := desk.ReadJudgement(c.words, r)
		if err != nil || math.Abs(got.Stops-c.stops) > 1e-9 || got.Seen != c.seen {
			t.Errorf("%q on a paper that gets %s: %v stops, seen %q (%v); want %v, %q", c.words, c.paper, got.Stops, got.Seen, err, c.stops, c.seen)
		}
	}
	for _, bad := range []string{"", "nice", "more", "-1 too dark", "99", "left out", "1/2x", "7th try", "1/2 to light", "1/2 too bright", "1/2 too da",
		"1/2 much too light", "1/2 darker", "1/2 lighter", "1/2 light", "-1/2 less", "1/2 left out of the frame", "1/2 overexposed", "right side dark",
		"+1 too light", "+1 less", "1/2 more, too light", "1/2 less: too dark", "nothing there"} {
		r := &notebook.Record{}
		r.Paper.Response = string(session.Lighter)
		if v, err := desk.ReadJudgement(bad, r); err == nil {
			t.Errorf("%q was read as %+v", bad, v)
		}
	}
}

// A bare number behind which stands anything but a verdict may mean more or less.
func TestABareNumberWithOtherWordsMayMeanEither(t *testing.T) {
	for _, words := range []string{"1 really too light", "1/2 sky too light", "1, sky is grey", "1: way too dark", "0,7 shadows blocked", "1 1/2 stops 3 windows white", "1 overexposed"} {
		r := &notebook.Record{}
		r.Paper.Response = string(session.Lighter)
		_, err := desk.ReadJudgement(words, r)
		var either *desk.EitherWay
		if !errors.As(err, &either) || either.More.Stops <= 0 || either.Less.Stops != -either.More.Stops {
			t.Errorf("%q: %v", words, err)
			continue
		}
		// What the error says to write is what it says it means.
		for write, want := range map[string]float64{"more": either.More.Stops, "less": either.Less.Stops} {
			j, err := desk.ReadJudgement(either.Number+" "+write+", "+either.Words, r)
			if err != nil || j.Stops != want || j.Seen != either.Words {
				t.Errorf("%q, written with %s: %+v (%v)", words, write, j, err)
			}
		}
	}
}

// What was seen goes with the judgement it was said with, not with the next; a
// sheet that is left out is not right because of it.
func TestAJudgementAfterAnother(t *testing.T) {
	r := &notebook.Record{}
	r.Paper.Response = string(session.Lighter)
	for _, c := range []struct{ words, seen, says, column string }{
		{"1/3 more: sky burnt out", "sky burnt out", "next time 1/3 stop more: this one was too dark; seen: sky burnt out", "+1/3 sky burnt out"},
		{"1/2", "", "next time 1/2 stop more: this one was too dark", "+1/2"},
		{"1/3 more: sky burnt out", "sky burnt out", "next time 1/3 stop more: this one was too dark; seen: sky burnt out", "+1/3 sky burnt out"},
		{"left out: light leak", "left out: light leak", "left out: light leak", "left out: light leak"},
		{"right", "", "right as it was", "right"},
	} {
		j, err := desk.ReadJudgement(c.words, r)
		if err != nil {
			t.Fatal(err)
		}
		if j.Seen != c.seen || judgement(r, j) != c.says || verdict(j.Stops, j.Seen) != c.column {
			t.Errorf("%q: seen %q, %q, %q", c.words, j.Seen, judgement(r, j), verdict(j.Stops, j.Seen))
		}
		r.Judgements = append(r.Judgements, j)
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
		if _, err := desk.ReadJudgement(strings.SplitN(want, `"`, 3)[1], r); err == nil || err.Error() != want {
			t.Errorf("%v, not %s", err, want)
		}
	}
}
