package session_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"wetside/session"
	"wetside/session/say"
)

// Like calls of several sheets are one call with all their numbers; no call is made
// before the one ahead of it can have been heard whole; what is no longer so by
// then is left out.
func TestCuesThatFallTogetherAreFoldedOrMoved(t *testing.T) {
	const s = time.Second
	at := func(k session.CueKind, num int, at time.Duration, next session.Stage) session.Cue {
		return session.Cue{Key: string(k) + string(rune('0'+num)), Kind: k, Num: num, T: at, Next: next}
	}
	got := session.Arrange([]session.Cue{
		at(session.CueMinutes, 1, 10*s-300*time.Millisecond, ""),
		at(session.CueMove, 2, 10*s, session.Stop),
		at(session.CueRockOn, 4, 10*s, ""),
		at(session.CueMove, 3, 10*s+200*time.Millisecond, session.Stop),
		at(session.CueMove, 5, 10*s+300*time.Millisecond, session.Fix),
		at(session.CuePip, 6, 10*s+300*time.Millisecond, ""),
		at(session.CuePip, 6, 14*s, ""),
		at(session.CueRockOn, 7, 20*s, ""),
		at(session.CueThirty, 7, 20*s, ""),
	})
	var is []string
	for _, c := range got {
		is = append(is, c.T.String()+" "+string(c.Kind)+" "+strings.Trim(strings.ReplaceAll(say.MoveNow.Of("x").To(c.Numbers()).String(), "move the sheet on now", ""), ": "))
	}
	want := []string{
		"10s move now sheets 2, 3",
		"13.1s move now sheet 5",
		"14s pip sheet 6",
		"15.6s minutes left sheet 1",
		"20s agitate sheet 7",
		"20.5s thirty seconds sheet 7",
	}
	if !slices.Equal(is, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(is, "\n"), strings.Join(want, "\n"))
	}
	if k := got[0].Also; k != "move now3" {
		t.Errorf("the folded cue answers for %q too", k)
	}
}
