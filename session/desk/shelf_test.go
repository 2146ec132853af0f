package desk

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"wetside/session"
	"wetside/session/exposure"
	"wetside/session/notebook"
)

// A shelf is a notebook on disk, with the sheets that a test puts there.
type shelf struct {
	*testing.T
	*notebook.Book
	path string
}

func newShelf(t *testing.T) *shelf {
	t.Helper()
	s := &shelf{T: t, path: t.TempDir() + "/notebook.db"}
	b, notices, err := notebook.Open(notebook.Config{Path: s.path, NewID: uuid.NewString})
	if err != nil || len(notices) > 0 {
		t.Fatal(notices, err)
	}
	t.Cleanup(func() { b.Close() })
	s.Book = b
	return s
}

// noon is a day's middle, so many days and so long after.
func noon(days int, d time.Duration) time.Time {
	return time.Date(2026, 5, 9, 12, 0, 0, 0, time.UTC).AddDate(0, 0, days).Add(d)
}

func instant(t time.Time) session.Instant {
	return session.Instant{Wall: t, Boot: time.Duration(t.UnixNano()), BootID: "b"}
}

// A life is a sheet as it is put on the shelf.
type life struct {
	base     session.Base
	exposed  time.Time // zero: never
	spoiled  bool
	washed   time.Time
	response session.Response
	lit      *session.Lit
}

// evening puts sheets on the shelf, all in one session of that day, and returns who
// they are.
func (s *shelf) evening(rehearsal bool, lives ...life) (ids []string) {
	s.Helper()
	first := lives[0].washed
	for _, l := range lives {
		for _, t := range []time.Time{l.exposed, l.washed} {
			if !t.IsZero() && t.Before(first) {
				first = t
			}
		}
	}
	opened := session.Event{Kind: session.Opened, At: instant(first.Add(-time.Hour)), Rehearsal: rehearsal}
	if rehearsal {
		opened.Pace = 1
	}
	sit, err := s.Begin(opened)
	if err != nil {
		s.Fatal(err)
	}
	m := session.New()
	m.Replay(opened)
	do := func(at time.Time, e session.Event) {
		s.Helper()
		e.At = instant(at)
		got, err := s.Append(sit.ID, e)
		if err != nil {
			s.Fatal(err)
		}
		for _, e := range got {
			if err := m.Apply(e); err != nil {
				s.Fatal(e.Kind, err)
			}
		}
	}
	for i, l := range lives {
		id := uuid.NewString()
		spec := &session.SheetSpec{Camera: "tin", Paper: session.Paper{Key: "p", Name: "p", Base: l.base, Response: l.response},
			Process:  session.Process{Key: "w", Name: "w", Steps: []session.Step{{Stage: session.Wash, Bath: "wash", AtLeast: time.Minute, AtMost: time.Minute}}},
			Exposure: time.Minute, Base: time.Minute, Rehearsal: rehearsal,
			Reckoned: &session.Reckoned{Hole: 1, Box: 1, FNumber: 150, ISO: 3, Lit: l.lit}}
		do(first.Add(-time.Hour+time.Duration(i)*time.Second), session.Event{Kind: session.SheetAdded, Sheet: id, Spec: spec})
		if !l.exposed.IsZero() {
			do(l.exposed.Add(-time.Minute), session.Event{Kind: session.ExposureBegun, Sheet: id, Planned: time.Minute})
			do(l.exposed, session.Event{Kind: session.ExposureEnded, Sheet: id})
		}
		if l.spoiled {
			do(l.washed, session.Event{Kind: session.Spoiled, Sheet: id, Note: "torn"})
		} else {
			do(l.washed.Add(-time.Minute), session.Event{Kind: session.Moved, Sheet: id})
			do(l.washed, session.Event{Kind: session.Moved, Sheet: id, From: m.Sheet(id).Visit().Serial})
		}
		if err := s.SaveSheet(sit, m.Sheet(id), m.Now(), nil); err != nil {
			s.Fatal(err)
		}
		ids = append(ids, id)
	}
	do(lives[len(lives)-1].washed.Add(time.Hour), session.Event{Kind: session.Closed})
	return ids
}

func (s *shelf) say(id string, at time.Time, kind session.Kind) {
	s.Helper()
	if err := s.Amend(id, session.Event{Kind: kind, At: instant(at)}); err != nil {
		s.Fatal(err)
	}
}

// What is still to do with a washed sheet, to the second: it dries for a day on fibre
// base and four hours on resin-coated paper (common practice, no source), then only
// fibre base is flattened, and what was exposed is judged.
func TestWhatIsToDoAfterTheWash(t *testing.T) {
	s := newShelf(t)
	w := noon(0, 0)
	ids := s.evening(false,
		life{base: session.FB, exposed: w.Add(-2 * time.Hour), washed: w},
		life{base: session.RC, exposed: w.Add(-2 * time.Hour), washed: w},
		life{base: session.FB, washed: w}, // never exposed: there is nothing to judge
		life{base: session.FB, exposed: w.Add(-2 * time.Hour), washed: w, spoiled: true},
	)
	s.evening(true, life{base: session.FB, exposed: noon(-1, 0), washed: noon(-1, time.Hour)}) // of a rehearsal nothing
	fb, rc, blank := ids[0], ids[1], ids[2]
	num := map[string]string{fb: "fb", rc: "rc", blank: "blank"}
	is := func(at time.Time, want string) {
		t.Helper()
		a, err := AfterWash(s.Book, at)
		if err != nil {
			t.Fatal(err)
		}
		var out []string
		for _, l := range []struct {
			name string
			rs   []notebook.Record
		}{{"drying", a.Drying}, {"undried", a.Undried}, {"flatten", a.Flatten}, {"judge", a.Judge}} {
			if len(l.rs) == 0 {
				continue
			}
			x := l.name
			for _, r := range l.rs {
				x += " " + num[r.ID]
			}
			out = append(out, x)
		}
		if got := strings.Join(out, ", "); got != want {
			t.Errorf("%s after the wash: %q, want %q", at.Sub(w), got, want)
		}
		if none := len(out) == 0 || len(out) == 1 && len(a.Undried) > 0; a.None() != none {
			t.Errorf("%s after the wash: none %v", at.Sub(w), a.None())
		}
	}
	const hour, day, sec = time.Hour, 24 * time.Hour, time.Second
	is(w.Add(4*hour-sec), "drying fb rc blank, undried fb rc blank")
	is(w.Add(4*hour), "drying fb blank, undried fb rc blank, judge rc")
	is(w.Add(day-sec), "drying fb blank, undried fb rc blank, judge rc")
	is(w.Add(day), "undried fb rc blank, judge fb rc")
	is(w.Add(30*day-sec), "undried fb rc blank, judge fb rc")
	is(w.Add(30*day), "judge fb rc") // nobody waits for them to dry any more
	s.say(rc, w.Add(hour), session.Dried)
	is(w.Add(2*hour), "drying fb blank, undried fb blank, judge rc")
	s.say(fb, w.Add(2*hour), session.Dried)
	is(w.Add(3*hour), "drying blank, undried blank, flatten fb, judge fb rc")
	is(w.Add(2*hour+30*day), "judge fb rc") // nor to be flat
	s.say(fb, w.Add(3*hour), session.Flattened)
	is(w.Add(4*hour), "drying blank, undried blank, judge fb rc")
	for _, id := range []string{fb, rc} {
		if err := s.Judge(id, instant(w.Add(5*hour)), 0.5, ""); err != nil {
			t.Fatal(err)
		}
	}
	is(w.Add(6*hour), "drying blank, undried blank")
	s.say(blank, w.Add(7*hour), session.Dried)
	is(w.Add(8*hour), "flatten blank")
	s.say(blank, w.Add(8*hour), session.Flattened)
	is(w.Add(9*hour), "")
}

// A sheet that is judged is dry, whatever nobody has said.
func TestAJudgedSheetIsDry(t *testing.T) {
	s := newShelf(t)
	id := s.evening(false, life{base: session.FB, exposed: noon(0, -time.Hour), washed: noon(0, 0)})[0]
	if err := s.Judge(id, instant(noon(0, time.Minute)), 0, ""); err != nil {
		t.Fatal(err)
	}
	a, err := AfterWash(s.Book, noon(0, time.Hour))
	if err != nil || len(a.Drying) != 0 || len(a.Undried) != 1 || len(a.Judge) != 0 || !a.None() {
		t.Errorf("%+v, %v", a, err)
	}
}

// A number is of the latest day that has it, of the day that is said, and of a rehearsal
// only where no real sheet has it.
func TestFindingASheetByItsNumber(t *testing.T) {
	s := newShelf(t)
	one := func(days int) life {
		return life{base: session.RC, exposed: noon(days, -time.Hour), washed: noon(days, 0)}
	}
	older := s.evening(false, one(0), one(0), one(0))
	newer := s.evening(false, one(3))
	practice := s.evening(true, one(5), one(5), one(5), one(5))
	twice := [][]string{s.evening(false, one(7)), s.evening(false, one(7))}
	for _, c := range []struct {
		id, day string
		n       int
		want    string
	}{
		{"", "2026-05-09", 1, older[0]},
		{"", "2026-05-12", 1, newer[0]},
		{"", "", 2, older[1]}, // the rehearsal's is newer
		{"", "", 4, practice[3]},
		{"", "2026-05-14", 1, practice[0]},
		{older[2][:12], "", 0, older[2]},
	} {
		r, err := Find(s.Book, c.id, c.day, c.n)
		if err != nil || r.ID != c.want {
			t.Errorf("%q %s %d: sheet %d of %s, %v", c.id, c.day, c.n, r.Num, r.Day(), err)
		}
	}
	for _, c := range []struct {
		id, day string
		n       int
	}{{"", "", 5}, {"", "2026-05-12", 2}, {"none", "", 0}} {
		if _, err := Find(s.Book, c.id, c.day, c.n); !errors.Is(err, notebook.ErrNoSheet) {
			t.Errorf("%v: %v", c, err)
		}
	}
	var several *Several
	if _, err := Find(s.Book, "", "", 1); !errors.As(err, &several) || len(several.Rows) != 2 {
		t.Errorf("two of one day: %v", err)
	} else if got := several.Error(); got != "2 sheets of 2026-05-16 have that number" {
		t.Error(got)
	}
	if _, err := Find(s.Book, twice[0][0], "", 0); err != nil {
		t.Error(err)
	}
}

// Only what is meant as a judgement is read from the notebook, the newest first.
func TestWhichJudgedSheetsTeach(t *testing.T) {
	s := newShelf(t)
	lit := &session.Lit{EV: 12, Doubt: 0.5, As: "overcast"}
	l := func(days int) life {
		return life{base: session.RC, exposed: noon(days, -time.Hour), washed: noon(days, 0), lit: lit}
	}
	blank, torn := l(0), l(0)
	blank.exposed, torn.spoiled = time.Time{}, true
	ids := s.evening(false, l(0), blank, torn, l(0))
	ids = append(ids, s.evening(false, l(1))...)
	ids = append(ids, s.evening(true, l(2))...)
	for i, id := range ids {
		if i == 3 {
			continue // nobody judged it
		}
		if err := s.Judge(id, instant(noon(3, 0)), 1, ""); err != nil {
			t.Fatal(i, err)
		}
	}
	today := func(camera, paper string) (exposure.Ask, int, int, bool) {
		return exposure.Ask{FNumber: 150, ISO: 3}, 1, 1, camera == "tin" && paper == "p"
	}
	var got []string
	for _, j := range JudgedIn(s.Book, today)() {
		got = append(got, j.ID)
		if j.Camera != "tin" || j.Paper != "p" || j.Hole != 1 || j.Box != 1 || j.Stops != 1 || j.Doubt != 0.5 || j.Seconds < 59 || j.Seconds > 61 {
			t.Errorf("%+v", j)
		}
	}
	if want := "sheet 1 of 2026-05-10; sheet 1 of 2026-05-09"; strings.Join(got, "; ") != want {
		t.Errorf("%q, want %q", got, want)
	}
}

// What a judgement is asked about before it is kept: what is much, and what does not agree
// with the others; never what is sure, and never what is left out.
func TestAJudgementThatIsUnlikely(t *testing.T) {
	record := func(n int, stops ...float64) notebook.Record {
		ev := 12.0
		r := notebook.Record{Num: n, Camera: "tin", Paper: notebook.PaperRecord{Key: "p", Response: string(session.Denser)},
			Reckoned: &session.Reckoned{Lit: &session.Lit{EV: ev, Doubt: 0.3, As: fmt.Sprint("overcast", n)}, Hole: 1, Box: 1, FNumber: 150, ISO: 3},
			Exposure: &notebook.ExposureRecord{Begun: noon(n, 0), Share: 1, Spells: []notebook.SpellRecord{{EV: &ev, For: notebook.Secs(15 * time.Minute)}}}}
		for _, x := range stops {
			r.Judgements = append(r.Judgements, notebook.JudgementRecord{Stops: x})
		}
		return r
	}
	today := func(string, string) (exposure.Ask, int, int, bool) {
		return exposure.Ask{FNumber: 150, ISO: 3}, 1, 1, true
	}
	var others []exposure.Judged
	for n := range 12 {
		r := record(n+1, 0)
		e, ok := Evidence(&r, today)
		if !ok {
			t.Fatal("it teaches nothing")
		}
		others = append(others, e)
	}
	for _, c := range []struct {
		said string
		odd  string // empty: it is kept
	}{
		{"1/2 more", ""},
		{"2 2/3 more", "this does not agree with the other sheets"},
		{"2 2/3 less", "this does not agree with the other sheets"},
		{"3 more", "3 stops is much"},
		{"3 less", "3 stops is much"},
		{"3 more, sure", ""},
		{"2 2/3 more, only the sky shows. Sure", ""},
		{"left out: light leak at the lid", ""},
	} {
		r := record(20)
		j, err := Judge(c.said, &r, others, today)
		var u *Unlikely
		switch {
		case c.odd == "" && err != nil:
			t.Errorf("%s: %v", c.said, err)
		case c.odd != "" && (!errors.As(err, &u) || !strings.Contains(u.Why, c.odd) || u.Judgement.Stops != j.Stops):
			t.Errorf("%s: %v, want %q", c.said, err, c.odd)
		}
		if strings.Contains(strings.ToLower(j.Seen), "sure") {
			t.Errorf("%s: seen is %q", c.said, j.Seen)
		}
	}
	// A sheet is not held against what it was judged before.
	r := record(1)
	if _, err := Judge("1/2 more", &r, others[:1], today); err != nil {
		t.Error(err)
	}
	if j, err := Judge("sure", &r, nil, today); err == nil {
		t.Errorf("a word alone is no judgement: %+v", j)
	}
}
