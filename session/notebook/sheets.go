package notebook

import (
	"cmp"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"wetside/session"
)

// upsert writes a record into the tables. Judgements already known for the
// sheet are joined to the record's own; the latest counts.
func upsert(tx *sql.Tx, r *Record) error {
	for _, j := range r.Judgements {
		_, zone := j.At.Zone()
		if _, err := tx.Exec(`INSERT INTO judgement(sheet, at, zone, stops, seen) VALUES(?,?,?,?,?) ON CONFLICT DO NOTHING`,
			r.ID, j.At.UnixNano(), zone, j.Stops, j.Seen); err != nil {
			return err
		}
	}
	rs, err := tx.Query(`SELECT at, zone, stops, seen FROM judgement WHERE sheet = ? ORDER BY at, stops, seen`, r.ID)
	if err != nil {
		return err
	}
	defer rs.Close()
	r.Judgements = nil
	for rs.Next() {
		var at int64
		var zone int
		var j JudgementRecord
		if err := rs.Scan(&at, &zone, &j.Stops, &j.Seen); err != nil {
			return err
		}
		j.At = when(at, zone)
		r.Judgements = append(r.Judgements, j)
	}
	if err := rs.Err(); err != nil {
		return err
	}
	rs.Close()

	body, err := r.encode()
	if err != nil {
		return err
	}
	var planned, actual, stops, seen any
	if e := r.Exposure; e != nil {
		planned, actual = int64(e.Planned), int64(e.Actual)
	}
	if j, ok := r.Judged(); ok {
		stops, seen = j.Stops, j.Seen
	}
	_, zone := r.Begun.Zone()
	var n int64
	err = tx.QueryRow(`INSERT INTO sheet(id, sitting, num, name, maker, paper, camera, process, day, begun, zone, rehearsal, state, spoiled, exp_planned, exp_actual, stops, seen, sum, record)
VALUES(?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)
ON CONFLICT(id) DO UPDATE SET sitting=excluded.sitting, num=excluded.num, name=excluded.name, maker=excluded.maker, paper=excluded.paper,
camera=excluded.camera, process=excluded.process, day=excluded.day, begun=excluded.begun, zone=excluded.zone, rehearsal=excluded.rehearsal,
state=excluded.state, spoiled=excluded.spoiled, exp_planned=excluded.exp_planned, exp_actual=excluded.exp_actual, stops=excluded.stops,
seen=excluded.seen, sum=excluded.sum, record=excluded.record
RETURNING n`,
		r.ID, r.Sitting, r.Num, r.Name, r.Maker, r.Paper.Key, r.Camera, r.Process, r.Day(), r.Begun.UnixNano(), zone, r.Rehearsal,
		r.State, r.Spoiled, planned, actual, stops, seen, int64(rowSum(r.ID, r.Sitting, body)), body).Scan(&n)
	if err != nil {
		return err
	}
	if _, err := tx.Exec(`DELETE FROM stage WHERE sheet = ?`, n); err != nil {
		return err
	}
	for i, s := range r.Stages {
		_, zone := s.In.Zone()
		if _, err := tx.Exec(`INSERT INTO stage(sheet, i, stage, bath, at, zone, at_least, at_most, actual, over) VALUES(?,?,?,?,?,?,?,?,?,?)`,
			n, i+1, s.Stage, s.Bath, s.In.UnixNano(), zone, int64(s.AtLeast), int64(s.AtMost), int64(s.Actual), int64(s.Over)); err != nil {
			return err
		}
	}
	return nil
}

func (r *Record) ended() bool {
	return r.State == string(session.Finished) || r.State == string(session.Ruined)
}

// drop takes the record of a sheet out of the tables, if there is one. Its
// events and judgements stay.
func (b *Book) drop(tx *sql.Tx, r *Record) error {
	var n int64
	var day string
	err := tx.QueryRow(`SELECT n, day FROM sheet WHERE id = ?`, r.ID).Scan(&n, &day)
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	}
	if err == nil {
		b.days[day] = true
		_, err = tx.Exec(`DELETE FROM stage WHERE sheet = ?`, n)
	}
	if err == nil {
		_, err = tx.Exec(`DELETE FROM sheet WHERE n = ?`, n)
	}
	return err
}

func when(ns int64, zone int) time.Time {
	if zone == 0 {
		return time.Unix(0, ns).UTC()
	}
	return time.Unix(0, ns).In(time.FixedZone("", zone))
}

// rebuild makes the records of a sitting's done sheets again from its events.
// What only the host knew is kept from the record that stands.
func rebuild(tx *sql.Tx, sit string, rows []*row) error {
	m, _ := replay(rows)
	s := sittingOf(sit, rows)
	for _, sh := range m.Sheets() {
		if !done(sh) {
			continue
		}
		old := ""
		err := tx.QueryRow(`SELECT record FROM sheet WHERE id = ?`, sh.ID).Scan(&old)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		r := recordIn(m, s, sh, rows, old)
		if err := upsert(tx, &r); err != nil {
			return err
		}
	}
	return nil
}

func done(s *session.Sheet) bool { return s.Phase == session.Finished || s.Phase == session.Ruined }

// recordIn makes the record of a sheet of a replayed sitting, with every
// judgement in the sitting's events, and of an older record the bath states and
// what else the events do not tell.
func recordIn(m *session.Machine, s Sitting, sh *session.Sheet, rows []*row, old string) Record {
	uses := Uses(m, sh)
	var o Record
	if old != "" {
		var err error
		if o, err = decodeRecord(old); err != nil {
			o = Record{}
		}
	}
	for i := range uses {
		for _, st := range o.Stages {
			if st.Use != nil && st.Serial == uses[i].Serial && st.Use.Mix == uses[i].Mix {
				uses[i].Share = st.Use.Share
			}
		}
	}
	r := RecordOf(sh, Context{Sitting: s, Baths: uses, Now: m.Now()})
	r.keep(&o, rows)
	if sh.Judged != nil {
		r.Judgements = nil
		for _, x := range rows {
			if x.ev.Kind == session.Judged && x.ev.Sheet == sh.ID {
				r.Judgements = append(r.Judgements, JudgementRecord{x.ev.At.Wall, x.ev.Stops, x.ev.Note})
			}
		}
		slices.SortStableFunc(r.Judgements, func(a, b JudgementRecord) int { return a.At.Compare(b.At) })
	}
	return r
}

// keep takes over from an older record of the sheet what its events do not
// tell, because it came in, or was written, before they did: notes, the names of
// marks, and where the scan lies. What an event has emptied stays empty.
func (r *Record) keep(old *Record, rows []*row) {
	for _, n := range old.Notes {
		if !slices.ContainsFunc(r.Notes, func(x NoteRecord) bool { return x.At.Equal(n.At) && x.Text == n.Text }) {
			r.Notes = append(r.Notes, n)
		}
	}
	slices.SortStableFunc(r.Notes, func(a, b NoteRecord) int { return a.At.Compare(b.At) })
	emptied := func(k session.Kind, n int) bool {
		is := false
		for _, x := range rows {
			if x.ev.Kind == k && x.ev.Sheet == r.ID && x.ev.N == n {
				is = x.ev.Note == ""
			}
		}
		return is
	}
	for i := range r.Marks {
		for _, k := range old.Marks {
			if m := &r.Marks[i]; k.N == m.N && m.Text == "" && !emptied(session.MarkNamed, m.N) {
				m.Text = k.Text
			}
		}
	}
	if r.Scan == "" && !emptied(session.Scanned, 0) {
		r.Scan = old.Scan
	}
}

// rebuildAll makes every record again from the events.
func rebuildAll(tx *sql.Tx) error {
	rs, err := tx.Query(`SELECT id FROM sitting ORDER BY opened`)
	if err != nil {
		return err
	}
	defer rs.Close()
	var ids []string
	for rs.Next() {
		var id string
		if err := rs.Scan(&id); err != nil {
			return err
		}
		ids = append(ids, id)
	}
	if err := rs.Err(); err != nil {
		return err
	}
	rs.Close()
	for _, id := range ids {
		rows, err := fetch(tx, id, 0)
		if err != nil {
			return err
		}
		if err := rebuild(tx, id, rows); err != nil {
			return err
		}
	}
	return nil
}

// SaveSheet writes the record of a sheet that is finished or spoiled (or was
// judged since), and rewrites the CSV log of its day. The record of a sheet that
// is neither any more is taken out again. baths says what state the
// baths were in: [Uses] with the shares filled in. A disk that refuses gives an
// [Unsaved]; the record then waits with the events.
func (b *Book) SaveSheet(sit Sitting, s *session.Sheet, now time.Duration, baths []BathUse) error {
	r := RecordOf(s, Context{Sitting: sit, Baths: baths, Now: now})
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.save(&r)
}

func (b *Book) save(r *Record) error {
	if _, err := r.encode(); err != nil {
		return fmt.Errorf("notebook: this sheet cannot be written down: %w", err)
	}
	b.saves = slices.DeleteFunc(b.saves, func(o *Record) bool { return o.ID == r.ID })
	b.saves = append(b.saves, r)
	if r.ended() {
		b.days[r.Day()] = true
	}
	if err := b.write(false); err != nil {
		return &Unsaved{N: len(b.pending), Err: err}
	}
	return b.logDays()
}

// ErrNoSheet says that no sheet has that identity.
var ErrNoSheet = errors.New("there is no such sheet in the notebook")

// A Filter chooses sheets. The zero value is all of them, newest first.
type Filter struct {
	Paper, Camera, Process string // profile keys
	Maker                  string
	Day                    string // 2026-11-25, where it was made
	Sitting                string
	Rehearsals             Which
	Judged                 Which
	Limit                  int     // 0: no limit
	After                  *Cursor // the page after this row; nil: the first
	OldestFirst            bool
}

// Which says whether some kind of sheet is wanted.
type Which int

// Both is the zero value.
const (
	Both Which = iota
	Only
	None
)

// A Cursor marks a place in the list: see [Row.Cursor].
type Cursor struct{ begun, n int64 }

// A Row is one line of the list of sheets.
type Row struct {
	ID, Sitting    string
	Num            int
	Name, Maker    string
	Paper, Camera  string
	Process        string
	Day            string
	Begun          time.Time
	Rehearsal      bool
	State, Spoiled string
	Exposure       *[2]time.Duration // planned, actual; nil: none was timed
	Stops          *float64          // nil: not judged
	Seen           string
	n              int64
}

// Cursor returns the place of r, for the page after it.
func (r *Row) Cursor() *Cursor { return &Cursor{r.Begun.UnixNano(), r.n} }

func (f *Filter) where() (string, []any) {
	var w []string
	var a []any
	add := func(s string, v ...any) { w, a = append(w, s), append(a, v...) }
	for _, x := range []struct{ col, val string }{{"day", f.Day}, {"camera", f.Camera}, {"paper", f.Paper}, {"process", f.Process}, {"maker", f.Maker}, {"sitting", f.Sitting}} {
		if x.val != "" {
			add(x.col+" = ?", x.val)
		}
	}
	switch f.Rehearsals {
	case Only:
		add("rehearsal = 1")
	case None:
		add("rehearsal = 0")
	}
	switch f.Judged {
	case Only:
		add("stops IS NOT NULL")
	case None:
		add("stops IS NULL")
	}
	if f.After != nil {
		op := "<"
		if f.OldestFirst {
			op = ">"
		}
		add("(begun, n) "+op+" (?, ?)", f.After.begun, f.After.n)
	}
	s := ""
	if len(w) > 0 {
		s = " WHERE " + strings.Join(w, " AND ")
	}
	if f.OldestFirst {
		s += " ORDER BY begun, n"
	} else {
		s += " ORDER BY begun DESC, n DESC"
	}
	if f.Limit > 0 {
		s += " LIMIT ?"
		a = append(a, f.Limit)
	}
	return s, a
}

func (f *Filter) match(r *Record) bool {
	_, judged := r.Judged()
	is := func(w Which, x bool) bool { return w == Both || (w == Only) == x }
	eq := func(want, have string) bool { return want == "" || want == have }
	return eq(f.Paper, r.Paper.Key) && eq(f.Camera, r.Camera) && eq(f.Process, r.Process) && eq(f.Maker, r.Maker) &&
		eq(f.Day, r.Day()) && eq(f.Sitting, r.Sitting) && is(f.Rehearsals, r.Rehearsal) && is(f.Judged, judged)
}

// reader returns the handle for reading, and the records that still wait to be written.
func (b *Book) reader() (*sql.DB, []*Record) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.rd, slices.Clone(b.saves)
}

// Sheets lists sheets, newest first. Records that wait for the disk are among
// the first page.
func (b *Book) Sheets(f Filter) ([]Row, error) {
	rd, waiting := b.reader()
	var out []Row
	if rd != nil {
		w, args := f.where()
		rs, err := rd.Query(`SELECT n, id, sitting, num, name, maker, paper, camera, process, day, begun, zone, rehearsal, state, spoiled, exp_planned, exp_actual, stops, coalesce(seen, '') FROM sheet`+w, args...)
		if err != nil {
			return nil, err
		}
		defer rs.Close()
		for rs.Next() {
			var r Row
			var begun int64
			var zone int
			var planned, actual sql.NullInt64
			var stops sql.NullFloat64
			if err := rs.Scan(&r.n, &r.ID, &r.Sitting, &r.Num, &r.Name, &r.Maker, &r.Paper, &r.Camera, &r.Process, &r.Day, &begun, &zone,
				&r.Rehearsal, &r.State, &r.Spoiled, &planned, &actual, &stops, &r.Seen); err != nil {
				return nil, err
			}
			r.Begun = when(begun, zone)
			if planned.Valid {
				r.Exposure = &[2]time.Duration{time.Duration(planned.Int64), time.Duration(actual.Int64)}
			}
			if stops.Valid {
				r.Stops = &stops.Float64
			}
			out = append(out, r)
		}
		if err := rs.Err(); err != nil {
			return nil, err
		}
	}
	if len(waiting) == 0 || f.After != nil {
		return out, nil
	}
	for _, w := range waiting {
		out = slices.DeleteFunc(out, func(r Row) bool { return r.ID == w.ID })
		if f.match(w) {
			out = append(out, rowOf(w))
		}
	}
	slices.SortStableFunc(out, func(a, b Row) int {
		c := cmp.Or(a.Begun.Compare(b.Begun), cmp.Compare(a.n, b.n))
		if !f.OldestFirst {
			c = -c
		}
		return c
	})
	if f.Limit > 0 && len(out) > f.Limit {
		out = out[:f.Limit]
	}
	return out, nil
}

func rowOf(r *Record) Row {
	o := Row{ID: r.ID, Sitting: r.Sitting, Num: r.Num, Name: r.Name, Maker: r.Maker, Paper: r.Paper.Key, Camera: r.Camera, Process: r.Process,
		Day: r.Day(), Begun: r.Begun, Rehearsal: r.Rehearsal, State: r.State, Spoiled: r.Spoiled, n: 1<<63 - 1}
	if e := r.Exposure; e != nil {
		o.Exposure = &[2]time.Duration{e.Planned.D(), e.Actual.D()}
	}
	if j, ok := r.Judged(); ok {
		o.Stops, o.Seen = &j.Stops, j.Seen
	}
	return o
}

// Count returns how many sheets the filter lets through, its limit apart.
func (b *Book) Count(f Filter) (int, error) {
	rd, _ := b.reader()
	if rd == nil {
		rows, err := b.Sheets(f)
		return len(rows), err
	}
	f.Limit = 0
	w, args := f.where()
	w, _, _ = strings.Cut(w, " ORDER BY")
	var n int
	err := rd.QueryRow(`SELECT count(*) FROM sheet`+w, args...).Scan(&n)
	return n, err
}

// Sheet returns one record by its identity, or by the begin of it (4 signs or
// more) when only one sheet's begins so.
func (b *Book) Sheet(id string) (Record, error) {
	rd, waiting := b.reader()
	for _, w := range waiting {
		if w.ID == id || (len(id) >= 4 && strings.HasPrefix(w.ID, id)) {
			return *w, nil
		}
	}
	if rd == nil {
		return Record{}, ErrNoSheet
	}
	var body string
	err := rd.QueryRow(`SELECT record FROM sheet WHERE id = ?`, id).Scan(&body)
	if err == nil {
		return decodeRecord(body)
	}
	if !errors.Is(err, sql.ErrNoRows) {
		return Record{}, err
	}
	if len(id) < 4 {
		return Record{}, fmt.Errorf("%w: %q", ErrNoSheet, id)
	}
	rs, err := rd.Query(`SELECT record FROM sheet WHERE id >= ? AND id < ? LIMIT 2`, id, id+"\U0010ffff")
	if err != nil {
		return Record{}, err
	}
	defer rs.Close()
	n := 0
	for rs.Next() {
		n++
		if err := rs.Scan(&body); err != nil {
			return Record{}, err
		}
	}
	switch {
	case rs.Err() != nil:
		return Record{}, rs.Err()
	case n == 0:
		return Record{}, fmt.Errorf("%w: %q", ErrNoSheet, id)
	case n > 1:
		return Record{}, fmt.Errorf("more than one sheet's identity begins with %q: give more of it", id)
	}
	return decodeRecord(body)
}

// Values lists the different values of a column of the list, for a filter:
// "paper", "camera", "day" (newest first). It looks each one up in an index, so
// that it takes as long as there are values, not sheets. limit 0 is no limit.
func (b *Book) Values(column string, limit int) ([]string, error) {
	if column != "paper" && column != "camera" && column != "day" {
		return nil, fmt.Errorf("notebook: there is no list of %q: use paper, camera or day", column)
	}
	rd, waiting := b.reader()
	var out []string
	for _, w := range waiting {
		v := map[string]string{"paper": w.Paper.Key, "camera": w.Camera, "day": w.Day()}[column]
		if !slices.Contains(out, v) {
			out = append(out, v)
		}
	}
	agg, op := "min", ">"
	if column == "day" {
		agg, op = "max", "<"
	}
	var last sql.NullString
	for rd != nil && (limit == 0 || len(out) < limit) {
		q, args := fmt.Sprintf(`SELECT %s(%s) FROM sheet`, agg, column), []any{}
		if last.Valid {
			q += fmt.Sprintf(` WHERE %s %s ?`, column, op)
			args = append(args, last.String)
		}
		if err := rd.QueryRow(q, args...).Scan(&last); err != nil {
			return nil, err
		}
		if !last.Valid {
			break
		}
		if !slices.Contains(out, last.String) {
			out = append(out, last.String)
		}
	}
	slices.Sort(out)
	if column == "day" {
		slices.Reverse(out)
	}
	return out, nil
}

// Judge records what a finished sheet says of its exposure: stops is how much
// more (positive) or less light it should have had, seen is what was seen.
func (b *Book) Judge(sheet string, at session.Instant, stops float64, seen string) error {
	return b.Amend(sheet, session.Event{Kind: session.Judged, At: at, Stops: stops, Note: seen})
}

// Amend adds an event (Judged, Noted, MarkNamed, Scanned) to a sheet that has a
// record, whatever sitting it belongs to, and saves the record anew. If the
// sitting is one the host has at hand, Poll returns the event. An event that
// the machine refuses is not stored.
func (b *Book) Amend(sheet string, ev session.Event) error {
	r, err := b.Sheet(sheet)
	if err != nil {
		return err
	}
	ev.Sheet = r.ID
	b.mu.Lock()
	defer b.mu.Unlock()
	m, had := b.sits[r.Sitting]
	if m == nil {
		m = b.mem(r.Sitting)
	}
	if len(m.rows) == 0 && b.rd != nil {
		if m.rows, err = fetch(b.rd, r.Sitting, 0); err != nil {
			return err
		}
		for _, x := range m.rows {
			m.known[x.id], m.last = true, max(m.last, x.seq)
		}
	}
	if !had {
		// Not the host's: do not keep every sitting ever judged.
		defer func() {
			if !slices.ContainsFunc(b.pending, func(x *row) bool { return x.sit == r.Sitting }) {
				delete(b.sits, r.Sitting)
			}
		}()
	}
	before := len(m.rows)
	try := append(slices.Clone(m.rows), m.inbox...)
	mach, _ := replay(try)
	if mach.Sheet(r.ID) != nil {
		if err := mach.Apply(ev); err != nil {
			return err
		}
	}
	_, aerr := b.append(r.Sitting, ev)
	if aerr != nil && !IsUnsaved(aerr) {
		return aerr
	}
	rows := slices.Clone(m.rows)
	if had {
		m.inbox = append(slices.Clone(m.rows[before:]), m.inbox...)
		m.rows = m.rows[:before]
	}
	mach, _ = replay(rows)
	var nr Record
	if sh := mach.Sheet(r.ID); sh != nil {
		old, err := r.encode()
		if err != nil {
			return err
		}
		nr = recordIn(mach, sittingOf(r.Sitting, rows), sh, rows, old)
	} else {
		// A record that came without its events.
		nr = r
		switch ev.Kind {
		case session.Judged:
			nr.Judgements = append(nr.Judgements, JudgementRecord{ev.At.Wall, ev.Stops, ev.Note})
		case session.Noted:
			nr.Notes = append(nr.Notes, NoteRecord{ev.At.Wall, ev.Note})
		case session.Scanned:
			nr.Scan = ev.Note
		case session.MarkNamed:
			for i := range nr.Marks {
				if nr.Marks[i].N == ev.N {
					nr.Marks[i].Text = ev.Note
				}
			}
		}
	}
	if err := b.save(&nr); err != nil {
		return err
	}
	return aerr
}
