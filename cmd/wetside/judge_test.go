package main

import (
	"testing"

	"wetside/session"
	"wetside/session/desk"
	"wetside/session/notebook"
)

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
