package notebook

import (
	"database/sql"
	"fmt"
)

// migrations are the steps that make a notebook: number i+1 turns schema i into
// schema i+1, and PRAGMA user_version says how many were done. A step that has
// left this file in a release is never changed again; a new one is added below.
var migrations = []string{
	// 1: events, the one thing everything else can be made from again, and the
	// sittings they belong to. sum is the CRC-32 (IEEE) of id, sitting and body
	// joined by line feeds: it tells a whole row from a damaged one when a
	// broken file has to be read page by page.
	`
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
`,
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
		if _, err := tx.Exec(migrations[v]); err != nil {
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
