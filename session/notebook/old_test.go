package notebook

import (
	"database/sql"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"wetside/session"
)

// The schemas of earlier notebooks, as they were released.
const schemaOne = `
CREATE TABLE sitting (
	id        TEXT PRIMARY KEY,
	opened    INTEGER NOT NULL, -- ns since 1970 UTC
	zone      INTEGER NOT NULL, -- seconds east of UTC
	closed    INTEGER,          -- ns; NULL: not closed
	rehearsal INTEGER NOT NULL,
	pace      REAL NOT NULL
);
CREATE TABLE event (
	seq     INTEGER PRIMARY KEY AUTOINCREMENT,
	id      TEXT NOT NULL UNIQUE,
	sitting TEXT NOT NULL,
	at      INTEGER NOT NULL, -- ns since 1970 UTC, by the wall clock
	zone    INTEGER NOT NULL, -- seconds east of UTC
	body    TEXT NOT NULL,    -- the event as JSON
	sum     INTEGER NOT NULL
);
CREATE INDEX event_sitting ON event(sitting, seq);
CREATE INDEX sitting_live ON sitting(rehearsal, opened) WHERE closed IS NULL;
`

const schemaTwo = schemaOne + `
CREATE TABLE sheet (
	n           INTEGER PRIMARY KEY,
	id          TEXT NOT NULL UNIQUE,
	sitting     TEXT NOT NULL,
	num         INTEGER NOT NULL,
	name        TEXT NOT NULL,
	maker       TEXT NOT NULL,
	paper       TEXT NOT NULL,
	camera      TEXT NOT NULL,
	process     TEXT NOT NULL,
	day         TEXT NOT NULL,    -- date where it was made
	begun       INTEGER NOT NULL, -- ns since 1970 UTC
	zone        INTEGER NOT NULL, -- seconds east of UTC
	rehearsal   INTEGER NOT NULL,
	state       TEXT NOT NULL,
	spoiled     TEXT NOT NULL,
	exp_planned INTEGER,          -- ns; NULL: no exposure was timed
	exp_actual  INTEGER,
	stops       REAL,             -- of the judgement that counts; NULL: none
	seen        TEXT,
	sum         INTEGER NOT NULL,
	record      TEXT NOT NULL     -- a Record as JSON
);
CREATE INDEX sheet_begun ON sheet(begun, n);
CREATE INDEX sheet_paper ON sheet(paper, begun, n);
CREATE INDEX sheet_camera ON sheet(camera, begun, n);
CREATE INDEX sheet_day ON sheet(day, begun, n);
CREATE INDEX sheet_sitting ON sheet(sitting);
CREATE TABLE stage (
	sheet    INTEGER NOT NULL, -- sheet.n
	i        INTEGER NOT NULL, -- from 1
	stage    TEXT NOT NULL,
	bath     TEXT NOT NULL,
	at       INTEGER NOT NULL, -- ns since 1970 UTC
	zone     INTEGER NOT NULL,
	at_least INTEGER NOT NULL, -- ns
	at_most  INTEGER NOT NULL,
	actual   INTEGER NOT NULL,
	over     INTEGER NOT NULL, -- past at_most; negative: short of at_least
	PRIMARY KEY (sheet, i)
) WITHOUT ROWID;
CREATE TABLE judgement (
	sheet TEXT NOT NULL, -- sheet.id
	at    INTEGER NOT NULL,
	zone  INTEGER NOT NULL,
	stops REAL NOT NULL,
	seen  TEXT NOT NULL,
	PRIMARY KEY (sheet, at, stops, seen)
) WITHOUT ROWID;
`

// An oldBook makes a notebook as an earlier version did.
type oldBook struct {
	t      testing.TB
	db     *sql.DB
	path   string
	events int
}

func oldNotebook(t testing.TB, path string, version int) *oldBook {
	t.Helper()
	db, err := sql.Open("sqlite", dsn(path, "mode=rwc&_pragma=journal_mode(WAL)"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	o := &oldBook{t: t, db: db, path: path}
	o.exec([]string{"", schemaOne, schemaTwo}[version])
	o.exec(fmt.Sprintf("PRAGMA user_version = %d", version))
	return o
}

func (o *oldBook) exec(q string, args ...any) {
	o.t.Helper()
	if _, err := o.db.Exec(q, args...); err != nil {
		o.t.Fatal(err)
	}
}

// put stores an event as version 1 and 2 did, and if journaled in the journal
// of its sitting as they did.
func (o *oldBook) put(sit string, ev session.Event, journaled bool) {
	o.t.Helper()
	o.events++
	body, id := marshal(o.t, ev), fmt.Sprintf("%s-%d", sit, o.events)
	crc := rowSum(id, sit, body)
	_, zone := ev.At.Wall.Zone()
	o.exec(`INSERT INTO event(seq, id, sitting, at, zone, body, sum) VALUES(?,?,?,?,?,?,?)`, o.events, id, sit, ev.At.Wall.UnixNano(), zone, body, int64(crc))
	switch ev.Kind {
	case session.Opened:
		o.exec(`INSERT INTO sitting(id, opened, zone, rehearsal, pace) VALUES(?,?,?,?,?)`, sit, ev.At.Wall.UnixNano(), zone, ev.Rehearsal, 1)
	case session.Closed:
		o.exec(`UPDATE sitting SET closed = ? WHERE id = ?`, ev.At.Wall.UnixNano(), sit)
	}
	if !journaled {
		return
	}
	dir := o.path + ".journal"
	if err := os.MkdirAll(dir, 0o700); err != nil {
		o.t.Fatal(err)
	}
	f, err := os.OpenFile(filepath.Join(dir, journalName(sit)), os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		o.t.Fatal(err)
	}
	defer f.Close()
	l, err := json.Marshal(struct {
		N       int             `json:"n"`
		ID      string          `json:"id"`
		Sitting string          `json:"sitting"`
		Event   json.RawMessage `json:"event"`
		Sum     uint32          `json:"sum"`
	}{o.events, id, sit, json.RawMessage(body), crc})
	if err != nil {
		o.t.Fatal(err)
	}
	fmt.Fprintf(f, "\n%s\n", l)
}

// record stores the record of a sheet as version 2 did.
func (o *oldBook) record(r *Record) {
	o.t.Helper()
	body, err := r.encode()
	if err != nil {
		o.t.Fatal(err)
	}
	_, zone := r.Begun.Zone()
	o.exec(`INSERT OR REPLACE INTO sheet(id, sitting, num, name, maker, paper, camera, process, day, begun, zone, rehearsal, state, spoiled, sum, record)
VALUES(?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)`, r.ID, r.Sitting, r.Num, r.Name, r.Maker, r.Paper.Key, r.Camera, r.Process, r.Day(), r.Begun.UnixNano(), zone,
		r.Rehearsal, r.State, r.Spoiled, int64(rowSum(r.ID, r.Sitting, body)), body)
}

// versionOne makes a notebook as the first schema had it, with one closed
// sitting of two sheets and one that is not closed.
func versionOne(t *testing.T, path string) (events int) {
	t.Helper()
	o := oldNotebook(t, path, 1)
	defer o.db.Close()
	o.life(false)
	return o.events
}

func (o *oldBook) life(journaled bool) {
	o.put("s1", eventAt(0), journaled)
	for n, id := range []string{"aaaa-1", "aaaa-2"} {
		evs, _ := life(id, n, time.Duration(n+1)*time.Hour, rnd(uint64(n)))
		for _, ev := range evs {
			o.put("s1", ev, journaled)
		}
	}
	o.put("s1", session.Event{Kind: session.Closed, At: at(9 * time.Hour)}, journaled)
	o.put("s2", eventAt(24*time.Hour), journaled)
	evs, _ := life("bbbb-1", 3, 25*time.Hour, rnd(3))
	for _, ev := range evs[:9] {
		o.put("s2", ev, journaled)
	}
}
