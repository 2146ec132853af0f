package notebook

import (
	"bufio"
	"bytes"
	"cmp"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
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

// A BadRecord is an entry of a JSON export that could not be taken in.
type BadRecord struct {
	Line int    // of the file, from 1
	What string // "record" of a sheet, or "event"
	N    int    // in its list, from 1
	Why  error
}

func (r ImportReport) String() string {
	s := fmt.Sprintf("%s are new; %d were here already", words.List([]string{words.Count(r.Sittings, "sitting"), words.Count(r.Events, "event"),
		words.Count(r.Sheets, "sheet"), words.Count(r.Judgements, "judgement")}), r.Known)
	if n := r.Skipped + len(r.Bad); n > 0 {
		s += fmt.Sprintf("; left out, for they cannot be read: %d", n)
	}
	return s
}

// News reports whether anything came in.
func (r ImportReport) News() bool { return r.Sittings+r.Events+r.Sheets+r.Judgements > 0 }

// Import merges another notebook, or a JSON export, into this one. Everything
// has an identity, so nothing is doubled however often it is done, and nothing
// here is replaced: events and records that are missing are added, and of two
// judgements of one sheet the later counts and the other stays in its history.
// The other file is only read; name is what the user calls it.
func (b *Book) Import(path, name string) (ImportReport, error) {
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
	b.archive()
	if lerr := b.logDays(); err == nil {
		err = lerr
	}
	if isDamage(err) {
		err = fmt.Errorf("%s is damaged; what could be read of it is in: %w", name, err)
	}
	return rep, err
}

// openOther opens another notebook of any schema for reading.
func openOther(path, name string) (*sql.DB, error) {
	var last error
	for _, mode := range readOnlyModes {
		db, err := openReader(path, mode)
		if err != nil {
			return nil, err
		}
		var v, n int
		if last = db.QueryRow(`PRAGMA user_version`).Scan(&v); last == nil {
			last = db.QueryRow(`SELECT count(*) FROM (SELECT 1 FROM event LIMIT 1)`).Scan(&n)
		}
		if last == nil && v < 1 {
			db.Close()
			return nil, fmt.Errorf("%s is no notebook", name)
		}
		if last == nil {
			if v > schemaVersion {
				db.Close()
				return nil, fmt.Errorf("%s cannot be taken in: %w", name, &schemaError{v})
			}
			return db, nil
		}
		db.Close()
	}
	return nil, fmt.Errorf("%s is no notebook: %w", name, last)
}

func (b *Book) importBook(path, name string, rep *ImportReport) error {
	o, err := openOther(path, name)
	if err != nil {
		return err
	}
	defer o.Close()
	table := "line"
	if _, err := strs(o, `SELECT 1 FROM line LIMIT 1`); err != nil {
		table = "event"
	}
	sits, err := strs(o, `SELECT sitting FROM `+table+` GROUP BY sitting ORDER BY min(seq)`)
	if err != nil {
		return err
	}
	if more, err := strs(o, `SELECT DISTINCT sitting FROM sheet`); err == nil {
		for _, s := range more {
			if !slices.Contains(sits, s) {
				sits = append(sits, s) // records that came without events
			}
		}
	}
	for _, sit := range sits {
		var rows []*row
		_, skipped, err := salvage(o, sit, func(r *row) error { rows = append(rows, r); return nil })
		if err != nil {
			return err
		}
		rep.Skipped += skipped
		slices.SortStableFunc(rows, byPlace)
		if err := b.merge(sit, filepath.Base(name), rows, rep); err != nil {
			return err
		}
	}
	return nil
}

// merge takes in what another notebook knows of a sitting.
func (b *Book) merge(sit, from string, rows []*row, rep *ImportReport) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	m, left := b.visit(sit)
	defer left()
	judgements := func() (n int) {
		for id := range m.recs {
			r, _ := m.record(id)
			n += len(r.Judgements)
		}
		return n
	}
	sheets, judged, known := len(m.recs), judgements(), len(m.events()) > 0
	u := &union{b: b, m: m, from: from, rep: rep, last: m.last}
	theirs := map[string]*row{}
	for _, r := range rows {
		if !r.rec {
			u.event(r)
			continue
		}
		var who struct{ ID string }
		if json.Unmarshal([]byte(r.body), &who) != nil || who.ID == "" {
			rep.Skipped++
			continue
		}
		theirs[who.ID] = r // the last one counts
	}
	// What only the other host knew, as of the baths, comes with its records.
	for _, id := range slices.Sorted(maps.Keys(theirs)) {
		u.record(id, theirs[id])
	}
	if len(u.lack) == 0 {
		return nil
	}
	if u.told && !known {
		rep.Sittings++
	}
	m.learn(u.lack...)
	for id := range m.recs {
		if r, ok := m.record(id); ok {
			b.days[r.Day()] = true
		}
	}
	err := b.put(m, b.records(m)...)
	rep.Sheets += len(m.recs) - sheets
	rep.Judgements += judgements() - judged
	return err
}

// A union gathers what a sitting lacks of what another notebook has.
type union struct {
	b    *Book
	m    *memory
	from string
	rep  *ImportReport
	last int64
	lack []*row
	told bool // the other has events too
}

func (u *union) take(r *row) {
	u.last++
	x := *r
	x.N, x.From = u.last, cmp.Or(r.From, u.from)
	x.seal()
	u.lack = append(u.lack, &x)
}

func (u *union) event(r *row) {
	u.told = true
	switch {
	case u.m.known[r.ID] != nil:
		u.rep.Known++
	case r.ev.Kind == session.Judged && beyond(r.ev.Stops, session.MaxJudged):
		u.rep.Skipped++ // the machine would refuse it for ever
	default:
		u.take(r)
		u.rep.Events++
	}
}

func (u *union) record(id string, r *row) {
	rec, err := decodeRecord(r.body)
	if err != nil || !u.rep.takes(&rec) {
		return
	}
	mine, have := u.m.record(id)
	switch {
	case have:
		if !u.told {
			u.rep.Known++
		}
		was, _ := mine.encode()
		mine.judge(rec.Judgements...)
		mine.Scan = cmp.Or(mine.Scan, rec.Scan)
		if body, err := mine.encode(); err == nil && body != was {
			u.take(u.b.newRow(u.m, body, true))
			u.b.days[mine.Day()] = true
		}
	case rec.ended():
		x := *r
		if x.body, err = rec.encode(); err == nil {
			u.take(&x)
		}
	}
}

// A merger takes in records and events some at a time, those of a sitting together.
type merger struct {
	b    *Book
	rep  *ImportReport
	from string
	rs   []*row
}

func (m *merger) add(r *Record) error {
	body, err := r.encode()
	if err != nil {
		return err
	}
	return m.put(&row{head: head{ID: m.b.cfg.NewID(), Sitting: cmp.Or(r.Sitting, "of-"+r.ID)}, body: body, rec: true})
}

func (m *merger) put(x *row) error {
	if len(m.rs) > 0 && m.rs[0].Sitting != x.Sitting {
		if err := m.flush(); err != nil {
			return err
		}
	}
	m.rs = append(m.rs, x)
	return nil
}

func (m *merger) flush() error {
	if len(m.rs) == 0 {
		return nil
	}
	rs := m.rs
	m.rs = nil
	return m.b.merge(rs[0].Sitting, m.from, rs, m.rep)
}

// importJSON takes in a JSON export that begins at a place in a file. A record
// that cannot be read is left out, and the next one is taken.
func (b *Book) importJSON(f *os.File, from int64, name string, rep *ImportReport) error {
	file, err := readJSONFile(f, from)
	if err != nil {
		return err
	}
	x := &jsonImport{jsonFile: file, b: b, name: name, rep: rep}
	err = x.read()
	var none *noExport
	switch {
	case err == nil || errors.As(err, &none):
		return err
	case errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, io.EOF):
		return fmt.Errorf("%s is cut short; what stands before the end is in", name)
	}
	_, line := x.next()
	return fmt.Errorf("%s:%d: %w", name, line, jsonFault(err))
}

// A noExport says why a file is no export of ours.
type noExport struct{ name, why string }

func (e *noExport) Error() string {
	return fmt.Sprintf("%s is no JSON export of a notebook: %s", e.name, e.why)
}

// A jsonImport reads an export.
type jsonImport struct {
	*jsonFile
	b           *Book
	name        string
	rep         *ImportReport
	known, some bool // its format; a list of sheets
}

func (x *jsonImport) read() error {
	if _, err := x.Token(); err != nil {
		return err
	}
	for x.More() {
		k, err := x.Token()
		if err == nil {
			err = x.value(k)
		}
		if err != nil {
			return err
		}
	}
	if _, err := x.Token(); err != nil {
		return err
	}
	if !x.some {
		return &noExport{x.name, "it has no list of sheets"}
	}
	if _, err := x.Token(); err != io.EOF {
		return errors.New("something stands behind the end of the export, and was not taken in")
	}
	return nil
}

// value reads what stands behind a name.
func (x *jsonImport) value(name json.Token) error {
	switch name {
	case "format":
		var s string
		if err := x.Decode(&s); err != nil {
			return err
		}
		if x.known = s == jsonName; !x.known {
			return &noExport{x.name, fmt.Sprintf("its format is %q, not %q", s, jsonName)}
		}
	case "version":
		var n int
		if err := x.Decode(&n); err != nil {
			return err
		}
		if n < 1 || n > jsonVersion {
			return fmt.Errorf("version %d of the format is not known here: use a newer wetside", n)
		}
	case "sheets":
		x.some = true
		return x.take("record", (*merger).addJSON)
	case "events":
		return x.take("event", (*merger).putJSON)
	default:
		var skip json.RawMessage
		return x.Decode(&skip)
	}
	return nil
}

// take takes in a list of records or of events.
func (x *jsonImport) take(what string, do func(*merger, json.RawMessage) error) error {
	if !x.known {
		return &noExport{x.name, fmt.Sprintf(`it does not begin with "format":%q`, jsonName)}
	}
	m := merger{b: x.b, rep: x.rep, from: filepath.Base(x.name)}
	err := x.list(func(raw json.RawMessage) error { return do(&m, raw) }, func(line, n int, why error) {
		x.rep.Bad = append(x.rep.Bad, BadRecord{line, what, n, why})
	})
	return errors.Join(err, m.flush())
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
	case !session.Phase(r.State).Over():
		return fmt.Errorf("its state is %q, not %s or %s", r.State, session.Finished, session.Ruined)
	}
	for _, s := range r.Stages {
		if !sane(s.In) && !(s.Unseen && s.In.IsZero()) {
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

// addJSON takes a record as it stands in an export.
func (m *merger) addJSON(raw json.RawMessage) error {
	var r Record
	if err := json.Unmarshal(raw, &r); err != nil {
		return &badEntry{jsonFault(err)}
	}
	if err := r.makesSense(); err != nil {
		return &badEntry{err}
	}
	return m.add(&r)
}

// putJSON takes an event as it stands in an export.
func (m *merger) putJSON(raw json.RawMessage) error {
	var line bytes.Buffer
	if err := json.Compact(&line, raw); err != nil {
		return err
	}
	r, ok := parse(line.String())
	if !ok || r.rec {
		return &badEntry{errors.New("its checksum does not hold")}
	}
	return m.put(r)
}
