//go:build linux

package main

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"wetside/session"
	"wetside/session/notebook"
)

// A week after the battery died with a sheet in the wash, by each answer to what
// became of it, with a habitual space and enter before: the record tells no time
// that nobody saw or said.
func TestAfterAWeekNoAnswerWritesAFalseTime(t *testing.T) {
	t.Parallel()
	binary(t)
	week := session.Instant{Wall: time.Now().AddDate(0, 0, -7).Truncate(time.Second), BootID: "of a week ago"}
	for _, c := range []struct {
		name, keys string
		wash       time.Duration // as recorded; 0: not seen
		state      session.Phase
	}{
		{"as planned", "y", 0, session.Finished},
		{"at a time", "ny" + week.Wall.Add(35*time.Minute).Format("15:04:05") + "\r", 35 * time.Minute, session.Finished},
		{"spoiled", "nny", 0, session.Ruined},
		{"it goes on, and is taken out", "nnny ", 0, session.Finished},
	} {
		t.Run(c.name, func(t *testing.T) {
			h := newHome(t)
			var moved []session.Event
			for range 4 {
				moved = append(moved, session.Event{Kind: session.Moved, At: week})
			}
			h.interrupted(t, "", moved...)
			x := pipe(t, h)
			defer x.kill()
			// Enter between two presses of n, which would else be a key that is held:
			// however late they are read, it keeps them apart, and answers nothing.
			for _, k := range " \r" + strings.ReplaceAll(c.keys, "n", "n\r") {
				x.press(string(k))
				next := time.Now().Add(50 * time.Millisecond)
				until(t, "the key is read", func() bool { return time.Now().After(next) })
			}
			var r notebook.Record
			until(t, "the sheet has come to its end", func() bool {
				out := h.wetside(t, "sheets", "--json")
				var rows []struct{ ID string }
				if json.Unmarshal([]byte(out), &rows) != nil || len(rows) == 0 {
					return false
				}
				return json.Unmarshal([]byte(h.wetside(t, "sheet", rows[0].ID, "--json")), &r) == nil
			})
			wash := r.Stages[len(r.Stages)-1]
			if r.State != string(c.state) || wash.Stage != string(session.Wash) || !wash.Unseen || wash.Actual.D() != c.wash || wash.Over != 0 || r.Washed {
				t.Errorf("%s, %+v", r.State, wash)
			}
			if c.wash == 0 && !wash.Out.IsZero() || c.wash > 0 && !wash.Out.Equal(week.Wall.Add(c.wash)) || !r.Ended.IsZero() && !r.Ended.Equal(wash.Out) && c.wash > 0 {
				t.Errorf("out of the wash %v, ended %v", wash.Out, r.Ended)
			}
		})
	}
}
