package desk

import (
	"fmt"

	"wetside/session/notebook"
)

// Several is the answer to a number that more than one sheet of a day has.
type Several struct{ Rows []notebook.Row }

// Error implements error.
func (s *Several) Error() string {
	return fmt.Sprintf("%d sheets of %s have that number", len(s.Rows), s.Rows[0].Day)
}

// Find resolves what a user calls a sheet: number n of a day, or of the latest
// day that has one where day is empty; with n 0, the begin of an identity. The
// error is [notebook.ErrNoSheet], [notebook.ErrAmbiguous] or a [*Several], or the
// notebook's own.
func Find(b *notebook.Book, id, day string, n int) (notebook.Record, error) {
	if n == 0 {
		return b.Sheet(id)
	}
	// A rehearsal never stands in the way of the real one, of whatever day.
	hits, err := hitsOf(b, notebook.Filter{Day: day, Limit: 500, Rehearsals: notebook.None}, n)
	if err == nil && len(hits) == 0 {
		hits, err = hitsOf(b, notebook.Filter{Day: day, Limit: 500, Rehearsals: notebook.Only}, n)
	}
	switch {
	case err != nil:
		return notebook.Record{}, err
	case len(hits) == 0:
		return notebook.Record{}, notebook.ErrNoSheet
	case len(hits) > 1:
		return notebook.Record{}, &Several{hits}
	}
	return b.Sheet(hits[0].ID)
}

// hitsOf are the sheets n of the latest day that has one.
func hitsOf(b *notebook.Book, f notebook.Filter, n int) ([]notebook.Row, error) {
	var hits []notebook.Row
	for {
		rows, err := b.Sheets(f)
		if err != nil {
			return nil, err
		}
		for _, r := range rows {
			if len(hits) > 0 && r.Day != hits[0].Day {
				return hits, nil // newest first: the rest is of earlier days
			}
			if r.Num == n {
				hits = append(hits, r)
			}
		}
		if len(rows) < f.Limit {
			return hits, nil
		}
		f.After = rows[len(rows)-1].Cursor()
	}
}
