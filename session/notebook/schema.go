package notebook

import (
	"database/sql"
	"fmt"
)

// migrations are the steps that make a notebook: number i+1 turns schema i into
// schema i+1, and PRAGMA user_version says how many were done. A step that has
// left this file in a release is never changed again; a new one is added below.
var migrations = []migration{
	// 1: events, the one thing everything else can be made from again, and the
	// sittings they belong to. sum is the CRC-32 (IEEE) of id, sitting and body
	// joined by line feeds: it tells a whole row from a damaged one when a
	// broken file has to be read page by page.
	{`
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
`, nil},

	// 2: the records of sheets, in tables that can be asked. All of it can be
	// made again from the events, but for what the host handed in (the state of
	// the baths), which is in sheet.record. sum is the CRC-32 of id, sitting and
	// record, as in event.
	{`
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
`, rebuildAll},
}

type migration struct {
	sql  string
	then func(*sql.Tx) error // what SQL cannot say
}

// migrate brings db up to schema version upto (normally len(migrations)). Each
// step is one transaction, its version number included.
func migrate(db *sql.DB, upto int) error {
	var v int
	if err := db.QueryRow(`PRAGMA user_version`).Scan(&v); err != nil {
		return err
	}
	if v > len(migrations) {
		return &NewerError{Have: v, Know: len(migrations)}
	}
	for ; v < upto; v++ {
		tx, err := db.Begin()
		if err != nil {
			return err
		}
		// Another program may have done this step while we waited for the lock.
		var now int
		if err := tx.QueryRow(`PRAGMA user_version`).Scan(&now); err != nil {
			tx.Rollback()
			return err
		}
		if now > v {
			tx.Rollback()
			continue
		}
		_, err = tx.Exec(migrations[v].sql)
		if then := migrations[v].then; err == nil && then != nil {
			err = then(tx)
		}
		if err != nil {
			tx.Rollback()
			return fmt.Errorf("notebook: schema step %d: %w", v+1, err)
		}
		if _, err := tx.Exec(fmt.Sprintf(`PRAGMA user_version = %d`, v+1)); err != nil {
			tx.Rollback()
			return err
		}
		if err := tx.Commit(); err != nil {
			return err
		}
	}
	return nil
}

// A NewerError says that the notebook was written by a newer program.
type NewerError struct{ Have, Know int }

func (e *NewerError) Error() string {
	return fmt.Sprintf("this notebook has schema %d and this program knows %d: use a newer wetside; nothing was changed", e.Have, e.Know)
}
