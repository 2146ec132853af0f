package desk

import (
	"fmt"

	"wetside/session"
	"wetside/session/exposure"
	"wetside/session/notebook"
)

// JudgedIn reads the judged sheets of a notebook, rehearsals and spoiled ones
// left out. law is the reciprocity failure of a paper.
func JudgedIn(b *notebook.Book, law func(paper string) exposure.Reciprocity) func() []exposure.Judged {
	return func() []exposure.Judged {
		rows, err := b.Sheets(notebook.Filter{Judged: notebook.Only, Rehearsals: notebook.None, Limit: 2000})
		if err != nil {
			return nil
		}
		var out []exposure.Judged
		for _, r := range rows {
			if r.Exposure == nil || r.Stops == nil || r.State == string(session.Ruined) || r.Camera == "" {
				continue
			}
			rec, err := b.Sheet(r.ID)
			// A time given by hand says nothing of the reckoning.
			if err != nil || rec.Exposure == nil || rec.Exposure.Share <= 0 || rec.Base <= 0 || rec.Exposure.ByHand() {
				continue
			}
			// A share is one of time, and what is learned is light.
			share := law(r.Paper).LightShare(rec.Exposure.Planned.D().Seconds(), rec.Exposure.Share)
			out = append(out, exposure.Judged{ID: fmt.Sprintf("sheet %d of %s", r.Num, r.Day), Camera: r.Camera, Paper: r.Paper, Seconds: rec.Base.D().Seconds(),
				Stops: *r.Stops, Given: exposure.GivenStops(rec.Learned, share),
				Left: notebook.JudgementRecord{Seen: r.Seen}.LeftOut()})
		}
		return out
	}
}
