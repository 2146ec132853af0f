package notebook

import (
	"bufio"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"wetside/session"
	"wetside/session/words"
)

// An ImportReport says what an import brought.
type ImportReport struct {
	Sittings   int // new ones
	Events     int // new ones
	Sheets     int // new records
	Judgements int // new ones, of sheets old and new
	Known      int // events and records that were here already
	Skipped    int // rows of a notebook that were damaged
	Bad        []BadRecord
	// Refused are figures that no key would have taken; see [Refusal].
	Refused []Refusal
}

// A Refusal is a figure that an import left out, for it cannot be.
type Refusal struct {
	Num   int
	Day   string
	What  string  // "a judgement", "an exposure"
	Value float64 // stops, or seconds where Whole
	Whole bool    // the sheet itself is left out
}

// Words names the sheet and says what was left out.
func (r Refusal) Words() string {
	s := fmt.Sprintf("sheet %d of %s: ", r.Num, r.Day)
	if r.Whole {
		return s + fmt.Sprintf("left out, for it has %s of %s", r.What, words.Num(r.Value))
	}
	return s + fmt.Sprintf("%s of %s stops is left out: it is at most %d", r.What, words.Num(r.Value), session.MaxJudged)
}

// takes reports whether a record can be taken in. Of one that can, judgements
// that cannot be are cut off; what is refused is told.
func (rep *ImportReport) takes(r *Record) bool {
	if what, v, bad := r.impossible(); bad {
		rep.Refused = append(rep.Refused, Refusal{r.Num, r.Day(), what, v, true})
		return false
	}
	r.Judgements = slices.DeleteFunc(r.Judgements, func(j JudgementRecord) bool {
		bad := beyond(j.Stops, session.MaxJudged)
		if bad {
			rep.Refused = append(rep.Refused, Refusal{r.Num, r.Day(), "a judgement", j.Stops, false})
		}
		return bad
	})
	return true
}

// A BadRecord is a record of a JSON export that could not be taken in.
type BadRecord struct {
	Line   int // of the file, from 1
	Record int // in the list of sheets, from 1
	Why    error
}

func (r ImportReport) String() string {
	s := fmt.Sprintf("%d sittings, %d events, %d sheets and %d judgements are new; %d were here already", r.Sittings, r.Events, r.Sheets, r.Judgements, r.Known)
	if n := r.Skipped + len(r.Bad); n > 0 {
		s += fmt.Sprintf("; left out, for they cannot be read: %d", n)
	}
	return s
}

// News reports whether anything came in.
func (r ImportReport) News() bool { return r.Sittings+r.Events+r.Sheets+r.Judgements > 0 }

// importBatch is how many events go into one transaction: other writers wait
// for no more than that.
const importBatch = 2000

// Import merges another notebook, or a JSON export, into this one. Everything
// has an identity, so nothing is doubled however often it is done, and nothing
// here is replaced: events and records that are missing are added, and of two
// judgements of one sheet the later counts and the other stays in its history.
// The other file is only read.
func (b *Book) Import(path string) (ImportReport, error) { return b.ImportAs(path, path) }

// ImportAs is Import of a file that the user knows by another name.
func (b *Book) ImportAs(path, name string) (ImportReport, error) {
	var rep ImportReport
	f, err := OpenFile(path)
	if err != nil {
		return rep, err
	}
	defer f.Close()
	br := bufio.NewReader(f)
	head, err := br.Peek(16)
	if err != nil && err != io.EOF {
		return rep, err
	}
	const mark = "\ufeff" // which some editors put before UTF-8
	text := strings.TrimPrefix(string(head), mark)
	b.mu.Lock()
	live, why := b.db != nil && !b.broken, b.whyNot()
	b.mu.Unlock()
	if !live {
		return rep, fmt.Errorf("nothing can be taken in now: %s", plain(why))
	}
	if string(head) == "SQLite format 3\x00" {
		f.Close() // a second descriptor, closed later, would drop SQLite's locks
		err = b.importBook(path, name, &rep)
	} else if strings.HasPrefix(strings.TrimLeft(text, " \t\r\n"), "{") {
		err = b.importJSON(f, int64(len(head)-len(text)), name, &rep)
	} else {
		return rep, fmt.Errorf("%s is neither a notebook nor a JSON export of one", name)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if ferr := b.fetchAll(); err == nil {
		err = ferr
	}
	if lerr := b.logDays(); err == nil {
		err = lerr
	}
	if isDamage(err) {
		err = fmt.Errorf("%s is damaged; what could be read of it is in: %w", name, err)
	}
	return rep, err
}

func openOther(path, name string) (*sql.DB, int, error) {
	var last error
	for _, mode := range []string{"mode=ro", "mode=ro&immutable=1"} {
		db, err := openReader(path, mode)
		if err != nil {
			return nil, 0, err
		}
		var v, n int
		if last = db.QueryRow(`PRAGMA user_version`).Scan(&v); last == nil {
			last = db.QueryRow(`SELECT count(*) FROM (SELECT 1 FROM event LIMIT 1)`).Scan(&n)
		}
		if last == nil && v < 1 {
			db.Close()
			return nil, 0, fmt.Errorf("%s is no notebook", name)
		}
		if last == nil {
			if v > len(migrations) {
				db.Close()
				return nil, 0, &NewerError{v, len(migrations)}
			}
			return db, v, nil
		}
		db.Close()
	}
	return nil, 0, fmt.Errorf("%s is no notebook: %w", name, last)
}

func (b *Book) importBook(path, name string, rep *ImportReport) error {
	o, version, err := openOther(path, name)
	if err != nil {
		return err
	}
	defer o.Close()
	sits, err := strs(o, `SELECT sitting FROM event GROUP BY sitting ORDER BY min(seq)`)
	if err != nil {
		return err
	}
	told := map[string]bool{}
	for _, s := range sits {
		told[s] = true
	}
	for len(sits) > 0 {
		n, took := 0, 0
		batch := map[string][]*row{}
		for _, sit := range sits {
			rows, skipped, err := fetchGood(o, sit)
			if err != nil {
				return err
			}
			rep.Skipped += skipped
			batch[sit] = rows
			took++
			if n += len(rows); n >= importBatch {
				break
			}
		}
		if err := b.transact(func(tx *sql.Tx) error {
			for _, sit := range sits[:took] {
				if err := b.mergeSitting(tx, o, version, sit, batch[sit], rep); err != nil {
					return err
				}
			}
			return nil
		}); err != nil {
			return err
		}
		sits = sits[took:]
	}
	if version < 2 {
		return nil
	}
	// Records that came without events, and judgements of them.
	m := merger{b: b, rep: rep, told: told}
	if err := each(o, Filter{OldestFirst: true}, nil, func(body sql.RawBytes) error {
		r, err := decodeRecord(string(body))
		if err != nil || r.ID == "" {
			rep.Skipped++
			return nil
		}
		return m.add(&r)
	}); err != nil {
		return err
	}
	return m.flush()
}

// A merger takes in records some at a time.
type merger struct {
	b   *Book
	rep *ImportReport
	rs  []*Record
	// told are the sittings whose events were counted: their sheets are not
	// counted once more.
	told map[string]bool
}

func (m *merger) add(r *Record) error {
	if !m.rep.takes(r) {
		return nil
	}
	m.rs = append(m.rs, r)
	if len(m.rs) < importBatch/10 {
		return nil
	}
	return m.flush()
}

func (m *merger) flush() error {
	rep := *m.rep
	err := m.b.transact(func(tx *sql.Tx) error {
		for _, r := range m.rs {
			known := rep.Known
			if err := m.b.mergeRecord(tx, r, &rep); err != nil {
				return err
			}
			if m.told[r.Sitting] {
				rep.Known = known
			}
		}
		return nil
	})
	if err == nil {
		*m.rep, m.rs = rep, nil
	}
	return err
}

// transact runs one transaction, with the Book held.
func (b *Book) transact(do func(*sql.Tx) error) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.db == nil || b.broken || b.mending {
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
	if err := do(tx); err != nil {
		return err
	}
	return tx.Commit()
}

// fetchGood reads the rows of a sitting that are whole by their checksum.
func fetchGood(o *sql.DB, sit string) (rows []*row, skipped int, err error) {
	rs, err := o.Query(`SELECT id, body, sum FROM event WHERE sitting = ? ORDER BY seq`, sit)
	if err != nil {
		return nil, 0, err
	}
	defer rs.Close()
	for rs.Next() {
		var id, body string
		var sum int64
		if err := rs.Scan(&id, &body, &sum); err != nil {
			return nil, 0, err
		}
		if r, ok := whole(id, sit, body, uint32(sum)); ok {
			rows = append(rows, r)
		} else {
			skipped++
		}
	}
	return rows, skipped, rs.Err()
}

func (b *Book) mergeSitting(tx *sql.Tx, o *sql.DB, version int, sit string, rows []*row, rep *ImportReport) error {
	have, err := strs(tx, `SELECT id FROM event WHERE sitting = ?`, sit)
	if err != nil {
		return err
	}
	in := make(map[string]bool, len(have))
	for _, id := range have {
		in[id] = true
	}
	var lack []*row
	for _, r := range rows {
		switch {
		case in[r.id]:
			rep.Known++
		case r.ev.Kind == session.Judged && beyond(r.ev.Stops, session.MaxJudged):
			rep.Skipped++ // the machine would refuse it for ever
		default:
			lack = append(lack, r)
			if r.ev.Kind == session.Judged {
				rep.Judgements++
			}
		}
	}
	if len(lack) == 0 {
		return nil
	}
	if len(have) == 0 {
		rep.Sittings++
	}
	rep.Events += len(lack)
	if err := insert(tx, lack); err != nil {
		return err
	}
	var before int
	if err := tx.QueryRow(`SELECT count(*) FROM sheet WHERE sitting = ?`, sit).Scan(&before); err != nil {
		return err
	}
	if version >= 2 {
		// What only the other host knew of the baths comes with its records.
		bodies, err := strs(o, `SELECT record FROM sheet WHERE sitting = ?`, sit)
		if err != nil {
			return err
		}
		for _, body := range bodies {
			r, err := decodeRecord(body)
			if err != nil || r.ID == "" {
				continue
			}
			var n int
			if err := tx.QueryRow(`SELECT count(*) FROM sheet WHERE id = ?`, r.ID).Scan(&n); err != nil {
				return err
			}
			if seen := new(ImportReport); n == 0 && seen.takes(&r) { // told when all records are gone through
				if err := upsert(tx, &r); err != nil {
					return err
				}
			}
		}
	}
	if err := settle(tx, sit); err != nil {
		return err
	}
	var after int
	if err := tx.QueryRow(`SELECT count(*) FROM sheet WHERE sitting = ?`, sit).Scan(&after); err != nil {
		return err
	}
	rep.Sheets += after - before
	days, err := strs(tx, `SELECT DISTINCT day FROM sheet WHERE sitting = ?`, sit)
	for _, d := range days {
		b.days[d] = true
	}
	return err
}

// mergeRecord takes in a record that came without its events, or what another
// notebook says of one that is here.
func (b *Book) mergeRecord(tx *sql.Tx, r *Record, rep *ImportReport) error {
	var old string
	err := tx.QueryRow(`SELECT record FROM sheet WHERE id = ?`, r.ID).Scan(&old)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		rep.Sheets++
		rep.Judgements += len(r.Judgements)
		b.days[r.Day()] = true
		return upsert(tx, r)
	case err != nil:
		return err
	}
	mine, err := decodeRecord(old)
	if err != nil {
		return fmt.Errorf("%w: %v", errDamaged, err)
	}
	n := len(mine.Judgements)
	mine.Judgements = append(mine.Judgements, r.Judgements...)
	more := mine.Scan == "" && r.Scan != ""
	if more {
		mine.Scan = r.Scan
	}
	rep.Known++
	if len(r.Judgements) == 0 && !more {
		return nil
	}
	var was, is int
	count := `SELECT count(*) FROM judgement WHERE sheet = ?`
	if err := tx.QueryRow(count, r.ID).Scan(&was); err != nil {
		return err
	}
	if err := upsert(tx, &mine); err != nil {
		return err
	}
	if err := tx.QueryRow(count, r.ID).Scan(&is); err != nil {
		return err
	}
	rep.Judgements += is - was
	if is > n || more {
		b.days[mine.Day()] = true
	}
	return nil
}

func strs(q querier, query string, args ...any) ([]string, error) {
	rs, err := q.Query(query, args...)
	if err != nil {
		return nil, err
	}
	defer rs.Close()
	var out []string
	for rs.Next() {
		var s string
		if err := rs.Scan(&s); err != nil {
			return nil, err
		}
		out = append(out, s)
	}
	return out, rs.Err()
}

// importJSON takes in a JSON export that begins at a place in a file. A record
// that cannot be read is left out, and the next one is taken.
func (b *Book) importJSON(f *os.File, from int64, name string, rep *ImportReport) error {
	x, err := readJSONFile(f, from)
	if err != nil {
		return err
	}
	bad := func(err error) error {
		if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) {
			return fmt.Errorf("%s is cut short; what stands before the end is in", name)
		}
		_, line := x.next()
		return fmt.Errorf("%s:%d: %w", name, line, jsonFault(err))
	}
	none := func(why string) error { return fmt.Errorf("%s is no JSON export of a notebook: %s", name, why) }
	if _, err := x.Token(); err != nil {
		return bad(err)
	}
	known, some := false, false
	for x.More() {
		k, err := x.Token()
		if err != nil {
			return bad(err)
		}
		switch k {
		case "format":
			var s string
			if err := x.Decode(&s); err != nil {
				return bad(err)
			}
			if s != JSONName {
				return none(fmt.Sprintf("its format is %q, not %q", s, JSONName))
			}
			known = true
		case "version":
			var n int
			if err := x.Decode(&n); err != nil {
				return bad(err)
			}
			if n < 1 || n > JSONVersion {
				return bad(fmt.Errorf("version %d of the format is not known here: use a newer wetside", n))
			}
		case "sheets":
			if !known {
				return none(fmt.Sprintf(`it does not begin with "format":%q`, JSONName))
			}
			some = true
			m := merger{b: b, rep: rep}
			err := x.list(func(raw json.RawMessage) error {
				var r Record
				if err := json.Unmarshal(raw, &r); err != nil {
					return &badEntry{jsonFault(err)}
				}
				if err := r.makesSense(); err != nil {
					return &badEntry{err}
				}
				return m.add(&r)
			}, func(line, n int, why error) {
				rep.Bad = append(rep.Bad, BadRecord{line, n, why})
			})
			if err := errors.Join(err, m.flush()); err != nil {
				return bad(err)
			}
		default:
			var skip json.RawMessage
			if err := x.Decode(&skip); err != nil {
				return bad(err)
			}
		}
	}
	if _, err := x.Token(); err != nil {
		return bad(err)
	}
	if !some {
		return none("it has no list of sheets")
	}
	if _, err := x.Token(); err != io.EOF {
		return bad(errors.New("something stands behind the end of the export, and was not taken in"))
	}
	return nil
}

// makesSense says what cannot be so in a record that came from elsewhere.
func (r *Record) makesSense() error {
	sane := func(t time.Time) bool { return t.Year() >= 1970 && t.Year() < 2200 }
	switch {
	case r.ID == "":
		return errors.New("it has no id")
	case r.Num < 1:
		return fmt.Errorf("no sheet has the number %d", r.Num)
	case r.Begun.IsZero():
		return errors.New("it does not say when it was begun")
	case !sane(r.Begun):
		return fmt.Errorf("it was begun in the year %d", r.Begun.Year())
	case r.State != string(session.Finished) && r.State != string(session.Ruined):
		return fmt.Errorf("its state is %q, not %s or %s", r.State, session.Finished, session.Ruined)
	}
	for _, s := range r.Stages {
		if !sane(s.In) {
			return fmt.Errorf("its %s was begun in the year %d", s.Stage, s.In.Year())
		}
	}
	for _, j := range r.Judgements {
		if !sane(j.At) {
			return fmt.Errorf("it was judged in the year %d", j.At.Year())
		}
	}
	return nil
}
