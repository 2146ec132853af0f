package bench

import (
	"errors"
	"fmt"
	"math"
	"sort"
	"time"

	"wetside/session"
	"wetside/session/words"
)

func sortBy[T any](x []T, less func(a, b T) bool) {
	sort.SliceStable(x, func(i, j int) bool { return less(x[i], x[j]) })
}

// A Batch is what is in one wash tray: sheets that share their water.
type Batch struct {
	Bath   string
	Sheets []Washing
	// Done is when all of it has had its full time after Last.
	Done time.Duration
}

// A Washing is one sheet in a batch.
type Washing struct {
	ID       string
	In, Done time.Duration // session times; Done as things stand
	SetBack  time.Duration // by how much newcomers have put its end off
}

// Batches returns the wash trays that have sheets in them as of session time
// now. A sheet is done when its full time has
// passed since the last unwashed one came into the water with it.
func Batches(sheets []*session.Sheet, now time.Duration) []Batch {
	var out []Batch
	at := map[string]int{}
	for _, s := range sheets {
		v := s.Visit()
		if v == nil || v.Step == session.Holding || !shared(s, v) || v.In > now {
			continue
		}
		i, ok := at[v.Bath]
		if !ok {
			i = len(out)
			at[v.Bath] = i
			out = append(out, Batch{Bath: v.Bath})
		}
		b := &out[i]
		full := washTime(s, v)
		w := Washing{ID: s.ID, In: v.In}
		w.Done = arrived(sheets, v.Bath, v.In, now) + full
		w.SetBack = w.Done - v.In - full
		b.Sheets = append(b.Sheets, w)
		b.Done = max(b.Done, w.Done)
	}
	return out
}

// shared reports whether the visit is to water that sheets share.
func shared(s *session.Sheet, v *session.Visit) bool {
	return v.Step >= 0 && v.Step < len(s.Spec.Process.Steps) && s.Spec.Process.Steps[v.Step].Batch
}

// washTime is what the sheet needs in clean company.
func washTime(s *session.Sheet, v *session.Visit) time.Duration {
	st := s.Spec.Process.Steps[v.Step]
	if v.Short && st.ShortAfter > 0 {
		return st.ShortAfter
	}
	return st.AtLeast
}

// arrived returns the last arrival in the water, from since to until.
func arrived(sheets []*session.Sheet, bath string, since, until time.Duration) time.Duration {
	lastIn := since
	for _, s := range sheets {
		for i := range s.Visits {
			v := &s.Visits[i]
			if v.Bath == bath && shared(s, v) && v.In <= until {
				lastIn = max(lastIn, v.In)
			}
		}
	}
	return lastIn
}

// Washed reports whether the sheet may be called washed: it was taken out of
// its last wash after its full time had passed since the last unwashed sheet
// came into that water. Why says what is lacking.
func Washed(s *session.Sheet, sheets []*session.Sheet) (ok bool, why string) {
	var v *session.Visit
	for i := range s.Visits {
		if s.Visits[i].Stage == session.Wash && s.Visits[i].Step >= 0 {
			v = &s.Visits[i]
		}
	}
	switch {
	case v == nil:
		return false, "it was never in a wash"
	case v.Open:
		return false, "it is still in the wash"
	}
	from := v.In
	if shared(s, v) {
		from = arrived(sheets, v.Bath, v.In, v.Out)
		// One that comes in the moment this goes out has not met it; within
		// one instant the order is not known, so it counts against the wash.
	}
	if short := washTime(s, v) - (v.Out - from); short > 0 {
		return false, fmt.Sprintf("it was taken out %s too soon", words.Spoken(short))
	}
	return true, ""
}

// BeforeWash says what will happen when the sheet goes into its wash now, to be
// said before it does: empty when nothing is disturbed. OffersHold: it can wait
// in holding water instead.
func BeforeWash(s *session.Sheet, sheets []*session.Sheet, now time.Duration) (warning string, offersHold bool) {
	next := s.NextStep()
	if next < 0 {
		return "", false
	}
	st := s.Spec.Process.Steps[next]
	if st.Stage != session.Wash || !st.Batch {
		return "", false
	}
	for _, b := range Batches(sheets, now) {
		if b.Bath != st.Bath {
			continue
		}
		n, anew, left := b.others(s.ID, now)
		if n == 0 {
			return "", false
		}
		who := fmt.Sprintf("%s in the wash begin", words.CountSpelled(n, "sheet"))
		if n == 1 {
			who = "one sheet in the wash begins"
		}
		if left <= 0 {
			return fmt.Sprintf("%s again: %s more, though its time is over; take it out first, or hold this one in water", who, words.Spoken(anew)), true
		}
		return fmt.Sprintf("%s again: %s instead of %s; or hold this one in water", who, words.Spoken(anew), words.Spoken(left)), true
	}
	return "", false
}

// WashedOut returns the concentration after n fill-and-dump changes: each time
// the volume carried over mixes with the water put in. c_n = c_0 (v/(v+V))^n,
// the mass balance of successive washings. Volumes share one unit.
func WashedOut(c0, carry, water float64, n int) (float64, error) {
	if err := volumes(carry, water); err != nil {
		return 0, err
	}
	if n < 0 {
		return 0, errors.New("changes of water are counted from 0")
	}
	return c0 * math.Pow(carry/(carry+water), float64(n)), nil
}

func volumes(carry, water float64) error {
	if !(carry > 0) || !(water > 0) || math.IsInf(carry, 0) || math.IsInf(water, 0) {
		return fmt.Errorf("carried over %g and put in %g: both volumes must be above 0, in the same unit", carry, water)
	}
	return nil
}

// maxChanges is more than anyone would do by hand.
const maxChanges = 1000

// Changes returns how many times the water must be changed until no more than
// left (0 < left < 1) of what was carried in remains, and what then does.
func Changes(carry, water, left float64) (n int, remains float64, err error) {
	if err := volumes(carry, water); err != nil {
		return 0, 0, err
	}
	if !(left > 0) || left >= 1 {
		return 0, 0, fmt.Errorf("the share to be left is between 0 and 1, for instance 0.001; not %g", left)
	}
	f := carry / (carry + water)
	remains = 1
	for remains > left*(1+1e-12) {
		if n == maxChanges {
			return 0, 0, fmt.Errorf("more than %d changes: use more water each time, or drain the sheets longer", maxChanges)
		}
		remains *= f
		n++
	}
	return n, remains, nil
}

// RunningFor returns how long water must run until no more than left (0 < left
// < 1) of what was in the tray remains.
func RunningFor(flow, tray, left float64) (time.Duration, error) {
	if !(flow > 0) || !(tray > 0) || !(left > 0) || left >= 1 || math.IsInf(tray, 0) {
		return 0, errors.New("running water needs a flow and a tray volume above 0, and a share to be left between 0 and 1")
	}
	min := tray / flow * math.Log(1/left)
	if min*float64(time.Minute) > math.MaxInt64/2 {
		return 0, errors.New("this would take for ever: let more water run")
	}
	return time.Duration(min * float64(time.Minute)), nil
}

// Carry is what one sheet carries over, in ml, when no figure is known: the
// wet surface of both sides and, with fibre base, what the base has taken up.
// Common practice, no source: about 2 ml a square decimetre for FB, a third of
// it for RC, well drained.
func Carry(base session.Base, areaCM2 float64) float64 {
	per := 2.0
	if base == session.RC {
		per = 0.7
	}
	return per * areaCM2 / 100
}

// others counts the sheets beside one, and how long they wash when it is begun again,
// and without that.
func (b *Batch) others(id string, now time.Duration) (n int, anew, left time.Duration) {
	for _, w := range b.Sheets {
		if w.ID == id {
			continue
		}
		n++
		anew = max(anew, w.Done-w.In-w.SetBack)
		left = max(left, w.Done-now)
	}
	return n, anew, left
}
