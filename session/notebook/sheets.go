package notebook

import (
	"cmp"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"slices"
	"strings"
	"time"

	"wetside/session"
)

// An indexer writes lines and what follows from them into the index.
type indexer struct {
	tx                  *sql.Tx
	put, seq, row, gone *sql.Stmt
	own                 *sql.Stmt
}

func newIndexer(tx *sql.Tx) (*indexer, error) {
	w := &indexer{tx: tx}
	var errs []error
	prepare := func(q string) *sql.Stmt {
		st, err := tx.Prepare(q) // closed with tx
		errs = append(errs, err)
		return st
	}
	w.put = prepare(`INSERT INTO line(id, sitting, text) VALUES(?,?,?) ON CONFLICT(id) DO NOTHING`)
	w.seq = prepare(`SELECT seq FROM line WHERE id = ?`)
	w.row = prepare(`INSERT INTO sheet(` + sheetColumns + `) VALUES(` + strings.Repeat("?,", strings.Count(sheetColumns, ",")) + `?)
ON CONFLICT(id) DO UPDATE SET ` + sheetUpdate)
	w.gone = prepare(`DELETE FROM sheet WHERE id = ?`)
	w.own = prepare(`INSERT OR REPLACE INTO sitting(id, open) VALUES(?,?)`)
	return w, errors.Join(errs...)
}

// add takes in rows of a sitting, and of the records of its sheets those that
// are among them.
func (w *indexer) add(m *memory, rows []*row) error {
	for _, r := range rows {
		if _, err := w.line(r); err != nil {
			return err
		}
	}
	for id, r := range m.recs {
		if slices.Contains(rows, r) {
			if err := w.sheet(r, id); err != nil {
				return err
			}
		}
	}
	return nil
}

// line adds a line, and reports whether it was not there yet.
func (w *indexer) line(r *row) (added bool, err error) {
	res, err := w.put.Exec(r.ID, r.Sitting, r.text)
	if err != nil {
		return false, err
	}
	n, err := res.RowsAffected()
	return n == 1, err
}

func (w *indexer) sitting(id string, open bool) error {
	_, err := w.own.Exec(id, open)
	return err
}

// sheet makes the list say what r, the newest record of a sheet, says of it. A
// sheet whose end was taken back is not listed.
func (w *indexer) sheet(r *row, id string) error {
	rec, err := decodeRecord(r.body)
	if err != nil {
		return nil // a newer program's; its line stays
	}
	if !rec.ended() {
		_, err := w.gone.Exec(id)
		return err
	}
	o := rowOf(&rec)
	if err := w.seq.QueryRow(r.ID).Scan(&o.line); err != nil {
		return err
	}
	_, err = w.row.Exec(append(o.cells(), int64(o.sum()))...)
	return err
}

// index brings what is known of a sitting into the index, if that can be had.
func (b *Book) index(m *memory) {
	if m.done == len(m.rows) || b.looks {
		return
	}
	err := b.indexNow(m)
	if err == nil || isBusy(err) {
		return
	}
	b.cfg.Logf("notebook: index: %v", err)
	b.damaged(err)
	if !b.connecting && !b.inRAM && b.there() && (isDamage(err) || errors.Is(err, errGone)) {
		_ = b.connect(false)
	}
}

func (b *Book) indexNow(m *memory) error {
	if b.db == nil || b.broken && !b.inRAM || b.making {
		return b.whyNot()
	}
	if b.changed() {
		return errGone
	}
	tx, err := b.db.Begin()
	if err != nil {
		return err
	}
	defer tx.Rollback()
	w, err := newIndexer(tx)
	if err != nil {
		return err
	}
	rows := m.rows[m.done:]
	if err := w.add(m, rows); err != nil {
		return err
	}
	if m.done == 0 || slices.ContainsFunc(rows, amendsSitting) {
		if err := w.sitting(m.sit, m.sitting().open()); err != nil {
			return err
		}
	}
	if err := tx.Commit(); err != nil {
		return err
	}
	m.done = len(m.rows)
	if b.commits++; b.commits > 200 && !b.inRAM {
		_ = b.checkpoint() // else at the next start
	}
	return nil
}

// The columns of the list, in the order of cells.
const sheetColumns = `id, sitting, num, name, maker, paper, camera, process, day, begun, zone, rehearsal, state, spoiled, exp_planned, exp_actual, stops, seen, line, sum`

var sheetUpdate = func() string {
	var out []string
	for _, c := range strings.Split(sheetColumns, ", ")[1:] {
		out = append(out, c+"=excluded."+c)
	}
	return strings.Join(out, ", ")
}()

// cells are the values of a row, its checksum apart.
func (r *Row) cells() []any {
	_, zone := r.Begun.Zone()
	var planned, actual, stops any
	if r.Exposure != nil {
		planned, actual = int64(r.Exposure[0]), int64(r.Exposure[1])
	}
	if r.Stops != nil {
		stops = *r.Stops
	}
	return []any{r.ID, r.Sitting, r.Num, r.Name, r.Maker, r.Paper, r.Camera, r.Process, r.Day, r.Begun.UnixNano(), zone, r.Rehearsal,
		r.State, r.Spoiled, planned, actual, stops, r.Seen, r.line}
}

func (r *Row) sum() uint32 {
	h := crc32.NewIEEE()
	for _, c := range r.cells() {
		fmt.Fprint(h, c, "\x00")
	}
	return h.Sum32()
}

func (r *Record) ended() bool {
	return session.Phase(r.State).Over()
}

// amendsSitting reports whether an event decides if a sitting is open.
func amendsSitting(r *row) bool {
	return r.isEvent() && (r.ev.Kind == session.Opened || r.ev.Kind == session.Closed)
}

func when(ns int64, zone int) time.Time {
	if zone == 0 {
		return time.Unix(0, ns).UTC()
	}
	return time.Unix(0, ns).In(time.FixedZone("", zone))
}

// recordIn makes the record of a sheet of a replayed sitting, with every
// judgement in the sitting's events, and of an older record the bath states and
// what else the events do not tell.
func recordIn(m *session.Machine, s Sitting, sh *session.Sheet, rows []*row, old *Record) Record {
	uses := Uses(m, sh)
	for i := range uses {
		for _, st := range old.Stages {
			if st.Use != nil && st.Serial == uses[i].Serial && st.Use.Mix == uses[i].Mix {
				uses[i].Share = st.Use.Share
			}
		}
	}
	r := RecordOf(sh, Context{Sitting: s, Baths: uses, Now: m.Now()})
	for _, x := range rows {
		if x.ev.Kind == session.Judged && x.ev.Sheet == sh.ID && sh.Judged != nil && !beyond(x.ev.Stops, session.MaxJudged) {
			r.judge(JudgementRecord{x.ev.At.Wall, x.ev.Stops, x.ev.Note})
		}
	}
	r.keep(old, rows)
	return r
}

// records makes the records of the sheets of a sitting that are done and have
// none, or one that its events have left behind. What a newer program wrote is
// left alone.
func (b *Book) records(m *memory) []*row {
	s := m.sitting()
	if s.Newer {
		return nil
	}
	events := m.events()
	mach, _, _ := replay(events)
	var out []*row
	for _, sh := range mach.Sheets() {
		old, had := m.record(sh.ID)
		if !had && !sh.Phase.Over() {
			continue
		}
		r := recordIn(mach, s, sh, events, &old)
		if had && old.ended() && !r.ended() && !slices.ContainsFunc(events, func(x *row) bool { return x.ev.Kind == session.Undone && x.ev.Sheet == sh.ID }) {
			continue // its last events are missing, as from a file that was cut short
		}
		body, err := r.encode()
		if err != nil {
			continue
		}
		if had {
			if was, _ := old.encode(); was == body {
				continue
			}
		}
		b.days[r.Day()] = true
		x := b.newRow(m, body, true)
		x.N += int64(len(out))
		x.seal()
		out = append(out, x)
	}
	return out
}

// record is the newest record of a sheet.
func (m *memory) record(sheet string) (Record, bool) {
	r := m.recs[sheet]
	if r == nil {
		return Record{}, false
	}
	rec, err := decodeRecord(r.body)
	return rec, err == nil
}

// judge adds judgements that are not there yet. They stand in the order of time.
func (r *Record) judge(js ...JudgementRecord) {
	for _, j := range js {
		if !slices.ContainsFunc(r.Judgements, func(o JudgementRecord) bool {
			return o.At.Equal(j.At) && o.Stops == j.Stops && o.Seen == j.Seen
		}) {
			r.Judgements = append(slices.Clip(r.Judgements), j)
		}
	}
	slices.SortStableFunc(r.Judgements, func(a, b JudgementRecord) int {
		return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Stops, b.Stops), cmp.Compare(a.Seen, b.Seen))
	})
}

// keep takes over from an older record of the sheet what its events do not
// tell, because it came in, or was written, before they did: judgements, notes,
// the names of marks, and where the scan lies. What an event has emptied stays
// empty.
func (r *Record) keep(old *Record, rows []*row) {
	r.judge(old.Judgements...)
	for _, n := range old.Notes {
		if !slices.ContainsFunc(r.Notes, func(x NoteRecord) bool { return x.At.Equal(n.At) && x.Text == n.Text }) {
			r.Notes = append(r.Notes, n)
		}
	}
	slices.SortStableFunc(r.Notes, func(a, b NoteRecord) int { return a.At.Compare(b.At) })
	emptied := func(k session.Kind, n int) bool {
		for _, x := range slices.Backward(rows) { // the last one counts
			if x.ev.Kind == k && x.ev.Sheet == r.ID && x.ev.N == n {
				return x.ev.Note == ""
			}
		}
		return false
	}
	for _, k := range old.Marks {
		if !emptied(session.MarkNamed, k.N) {
			r.nameMark(k.N, k.Text, true)
		}
	}
	if r.Scan == "" && !emptied(session.Scanned, 0) {
		r.Scan = old.Scan
	}
	back := func(k session.Kind) bool {
		return slices.ContainsFunc(rows, func(x *row) bool {
			return x.ev.Kind == session.Undone && x.ev.What == k && x.ev.Sheet == r.ID
		})
	}
	if r.Dry.IsZero() && !back(session.Dried) {
		r.Dry = old.Dry
	}
	if r.Flat.IsZero() && !back(session.Flattened) && !r.Dry.IsZero() {
		r.Flat = old.Flat
	}
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
	m := b.mem(sit.ID)
	if old, had := m.record(r.ID); had {
		r.judge(old.Judgements...)
	}
	return b.save(m, &r)
}

func (b *Book) save(m *memory, r *Record) error {
	body, err := r.encode()
	if err != nil {
		return fmt.Errorf("this sheet cannot be written down: %w", err)
	}
	old := m.recs[r.ID]
	if old == nil && !r.ended() || old != nil && (old.body == body || m.sitting().Newer) {
		return nil
	}
	if was, had := m.record(r.ID); had {
		b.days[was.Day()] = true
	}
	b.days[r.Day()] = true
	if err := b.put(m, b.newRow(m, body, true)); err != nil {
		return err
	}
	return b.logDays()
}

// ErrNoSheet says that no sheet has that identity.
var ErrNoSheet = errors.New("there is no such sheet in the notebook")

// ErrAmbiguous is wrapped where an identity was given too short.
var ErrAmbiguous = errors.New("more than one sheet's identity begins")

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
	n, line        int64
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

// eachRow hands over the rows of a filter, each checked.
func eachRow(q querier, f Filter, do func(*Row) error) error {
	var r Row
	var begun, crc int64
	var zone int
	var planned, actual sql.NullInt64
	var stops sql.NullFloat64
	w, args := f.where()
	return scan(q, []any{&r.n, &r.ID, &r.Sitting, &r.Num, &r.Name, &r.Maker, &r.Paper, &r.Camera, &r.Process, &r.Day, &begun, &zone,
		&r.Rehearsal, &r.State, &r.Spoiled, &planned, &actual, &stops, &r.Seen, &r.line, &crc}, func() error {
		r.Begun, r.Exposure, r.Stops = when(begun, zone), nil, nil
		if planned.Valid {
			r.Exposure = &[2]time.Duration{time.Duration(planned.Int64), time.Duration(actual.Int64)}
		}
		if stops.Valid {
			r.Stops = new(stops.Float64)
		}
		if int64(r.sum()) != crc {
			return fmt.Errorf("%w: sheet %s", errDamaged, r.ID)
		}
		return do(&r)
	}, `SELECT n, `+sheetColumns+` FROM sheet`+w, args...)
}

// Sheets lists sheets, newest first. Records that the index lacks are among the
// first page.
func (b *Book) Sheets(f Filter) (out []Row, err error) {
	err = b.read(func(rd *sql.DB, waiting []*Record) error {
		out = nil
		if err := eachRow(rd, f, func(r *Row) error { out = append(out, *r); return nil }); err != nil {
			return err
		}
		if len(waiting) == 0 || f.After != nil {
			return nil
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
		return nil
	})
	return out, err
}

func rowOf(r *Record) Row {
	o := Row{ID: r.ID, Sitting: r.Sitting, Num: r.Num, Name: r.Name, Maker: r.Maker, Paper: r.Paper.Key, Camera: r.Camera, Process: r.Process,
		Day: r.Day(), Begun: r.Begun, Rehearsal: r.Rehearsal, State: r.State, Spoiled: r.Spoiled, n: 1<<63 - 1}
	if e := r.Exposure; e != nil && !e.Unseen {
		o.Exposure = &[2]time.Duration{e.Planned.D(), e.Actual.D()}
	}
	if j, ok := r.Judged(); ok {
		o.Stops, o.Seen = &j.Stops, j.Seen
	}
	return o
}

// Count returns how many sheets the filter lets through, its limit apart.
func (b *Book) Count(f Filter) (n int, err error) {
	err = b.read(func(rd *sql.DB, waiting []*Record) error {
		f.Limit = 0
		w, args := f.where()
		w, _, _ = strings.Cut(w, " ORDER BY")
		if err := rd.QueryRow(`SELECT count(*) FROM sheet`+w, args...).Scan(&n); err != nil || len(waiting) == 0 {
			return err
		}
		n = 0
		return each(rd, f, waiting, func(sql.RawBytes) error { n++; return nil })
	})
	return n, err
}

// Sheet returns one record by its identity, or by the begin of it (4 signs or
// more) when only one sheet's begins so.
func (b *Book) Sheet(id string) (r Record, err error) {
	err = b.read(func(rd *sql.DB, waiting []*Record) error {
		r, err = sheetIn(rd, waiting, id)
		return err
	})
	return r, err
}

func sheetIn(rd *sql.DB, waiting []*Record, id string) (Record, error) {
	for _, w := range waiting {
		if w.ID == id || (len(id) >= 4 && strings.HasPrefix(w.ID, id)) {
			return *w, nil
		}
	}
	end := id // that very one
	if len(id) >= 4 {
		end = id + "\U0010ffff"
	}
	var found []Record
	var is string
	var text sql.NullString
	err := scan(rd, []any{&is, &text}, func() error {
		rec, err := indexed(is, text.String)
		found = append(found, rec)
		return err
	}, `SELECT id, (SELECT text FROM line WHERE seq = line) FROM sheet WHERE id >= ? AND id <= ? ORDER BY id LIMIT 2`, id, end)
	switch {
	case err != nil:
		return Record{}, err
	case len(found) == 0:
		return Record{}, fmt.Errorf("%w: %q", ErrNoSheet, id)
	case len(found) > 1 && found[0].ID != id:
		return Record{}, fmt.Errorf("%w with %q: give more of it", ErrAmbiguous, id)
	}
	return found[0], nil
}

// Judge records what a finished sheet says of its exposure: stops is how much
// more (positive) or less light it should have had, seen is what was seen.
func (b *Book) Judge(sheet string, at session.Instant, stops float64, seen string) error {
	return b.Amend(sheet, session.Event{Kind: session.Judged, At: at, Stops: stops, Note: seen})
}

// Correct puts right what was said of a sheet that has a record: its name, its
// photographer, its camera, its paper. change makes its words what they are to be.
func (b *Book) Correct(sheet string, at session.Instant, change func(*session.SheetSpec) error) error {
	r, err := b.Sheet(sheet)
	if err != nil {
		return err
	}
	b.mu.Lock()
	m, left := b.visit(r.Sitting)
	mach, _, _ := replay(m.events())
	left()
	b.mu.Unlock()
	s := mach.Sheet(r.ID)
	if s == nil {
		return errors.New("this sheet came from another notebook without its events: add a note to it")
	}
	spec := s.Spec
	if err := change(&spec); err != nil {
		return err
	}
	return b.Amend(r.ID, session.Event{Kind: session.Remade, At: at, Spec: &spec})
}

// Amend adds an event (Judged, Noted, MarkNamed, Scanned, Dried, Flattened) to a sheet that has a
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
	m, left := b.visit(r.Sitting)
	defer left()
	s := m.sitting()
	if s.Newer {
		return errors.New("a newer wetside wrote this session too, and only that can change its sheets")
	}
	mach, _, _ := replay(m.events())
	if mach.Sheet(r.ID) != nil {
		if err := mach.Apply(ev); err != nil {
			return err
		}
	}
	body, err := json.Marshal(ev)
	if err != nil {
		return fmt.Errorf("this event cannot be written down: %w", err)
	}
	x := b.newRow(m, string(body), false)
	if !x.read() {
		return errors.New("this event cannot be read again")
	}
	aerr := b.put(m, x)
	rows := m.events()
	mach, _, _ = replay(rows)
	nr := r
	if sh := mach.Sheet(r.ID); sh != nil {
		nr = recordIn(mach, s, sh, rows, &r)
	} else {
		nr.amend(ev)
	}
	return errors.Join(aerr, b.save(m, &nr))
}

// amend takes an event into a record that came without its events.
func (r *Record) amend(ev session.Event) {
	switch ev.Kind {
	case session.Judged:
		r.judge(JudgementRecord{ev.At.Wall, ev.Stops, ev.Note})
	case session.Noted:
		r.Notes = append(r.Notes, NoteRecord{ev.At.Wall, ev.Note})
	case session.Scanned:
		r.Scan = ev.Note
	case session.Dried:
		r.Dry = ev.At.Wall
	case session.Flattened:
		r.Flat = ev.At.Wall
	case session.Undone:
		r.Flat = time.Time{}
		if ev.What == session.Dried {
			r.Dry = time.Time{}
		}
	case session.MarkNamed:
		r.nameMark(ev.N, ev.Note, false)
	}
}

// nameMark gives the mark of that number its words, or only one that has none yet.
func (r *Record) nameMark(n int, text string, onlyEmpty bool) {
	for i := range r.Marks {
		if m := &r.Marks[i]; m.N == n && !(onlyEmpty && m.Text != "") {
			m.Text = text
		}
	}
}

// indexed is the record of a sheet as its line in the index has it.
func indexed(id, line string) (Record, error) {
	if r, ok := parse(line); ok && r.rec {
		if rec, err := decodeRecord(r.body); err == nil && rec.ID == id {
			return rec, nil
		}
	}
	return Record{}, fmt.Errorf("%w: sheet %s", errDamaged, id)
}
