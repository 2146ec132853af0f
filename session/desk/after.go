package desk

import (
	"slices"
	"time"

	"wetside/session"
	"wetside/session/notebook"
)

// DryIn is how long after its wash a sheet is taken to be dry where nobody says so:
// fibre base is left overnight, resin-coated paper for some hours. Common practice, no
// source.
func DryIn(base session.Base) time.Duration {
	if base == session.RC {
		return 4 * time.Hour
	}
	return 24 * time.Hour
}

// Quick are the judgements that a key is enough for, in the order of the keys.
var Quick = []string{"right", "1/2 too dark", "1/2 too light", "1 too dark", "1 too light"}

// lately is how long there is a word about a sheet that nobody has said to be flat.
const lately = 30 * 24 * time.Hour

// An After is what there is still to do with sheets that are washed, the oldest of
// each first. No clock runs for any of it.
type After struct {
	Drying  []notebook.Record // not likely to be dry yet
	Undried []notebook.Record // those, and what is likely dry by now; nobody has said so
	Flatten []notebook.Record // dry, on fibre base, which curls, and not said to be flat
	Judge   []notebook.Record // dry, exposed and not judged
}

// None reports whether nothing is left to do.
func (a After) None() bool { return len(a.Drying)+len(a.Flatten)+len(a.Judge) == 0 }

// AfterWash reads it from the notebook, rehearsals left out.
func AfterWash(b *notebook.Book, now time.Time) (a After, err error) {
	rows, err := b.Sheets(notebook.Filter{Rehearsals: notebook.None, Limit: 600})
	if err != nil {
		return a, err
	}
	for _, row := range slices.Backward(rows) {
		if row.State != string(session.Finished) || row.Stops != nil && now.Sub(row.Begun) > lately {
			continue
		}
		if r, err := b.Sheet(row.ID); err == nil { // what is damaged is told elsewhere
			a.take(r, now)
		}
	}
	return a, nil
}

// take puts a sheet that was washed where there is something to do with it.
func (a *After) take(r notebook.Record, now time.Time) {
	since := r.Ended
	if since.IsZero() {
		since = r.Begun // when it was washed is not known
	}
	_, judged := r.Judged()
	said := !r.Dry.IsZero()
	dry := said || judged || now.Sub(since) >= DryIn(session.Base(r.Paper.Base))
	for _, x := range []struct {
		list *[]notebook.Record
		in   bool
	}{
		{&a.Undried, !said && now.Sub(since) < lately},
		{&a.Drying, !dry},
		{&a.Flatten, said && r.Flat.IsZero() && r.Paper.Base == string(session.FB) && now.Sub(r.Dry) < lately},
		{&a.Judge, dry && !judged && r.Exposure != nil},
	} {
		if x.in {
			*x.list = append(*x.list, r)
		}
	}
}
