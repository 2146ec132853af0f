package notebook

import (
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"

	"wetside/session"
)

// schemaVersion is the number of the present schema. A database with any other
// is made again.
const schemaVersion = 3

// schema makes the index. The view is for whoever asks it with a tool of their own.
const schema = `
CREATE TABLE line (
	seq     INTEGER PRIMARY KEY,
	id      TEXT NOT NULL UNIQUE,
	sitting TEXT NOT NULL,
	text    TEXT NOT NULL -- as in the journal, its checksum included
);
CREATE INDEX line_sitting ON line(sitting, seq);
CREATE TABLE sitting (id TEXT PRIMARY KEY, open INTEGER NOT NULL); -- open: can be gone on with here
CREATE INDEX sitting_open ON sitting(id) WHERE open;
CREATE TABLE journal ( -- the files of kept/; the folder itself has no name
	name  TEXT PRIMARY KEY,
	sitting TEXT NOT NULL,
	size  INTEGER NOT NULL, -- -1: it has to be made
	mtime INTEGER NOT NULL, -- ns since 1970 UTC
	sum   INTEGER NOT NULL  -- CRC-32 (IEEE) of what is in it
);
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
	seen        TEXT NOT NULL,
	line        INTEGER NOT NULL, -- line.seq of the record
	sum         INTEGER NOT NULL  -- CRC-32 (IEEE) of all that stands before it
);
CREATE INDEX sheet_begun ON sheet(begun, n);
CREATE INDEX sheet_paper ON sheet(paper, begun, n);
CREATE INDEX sheet_camera ON sheet(camera, begun, n);
CREATE INDEX sheet_day ON sheet(day, begun, n);
CREATE INDEX sheet_sitting ON sheet(sitting);
CREATE VIEW event AS SELECT seq, id, sitting, json_extract(text, '$.event') AS body FROM line WHERE json_extract(text, '$.event') IS NOT NULL;
`

// create makes the schema in an empty database.
func create(db *sql.DB) error {
	_, err := db.Exec(fmt.Sprintf("BEGIN; %s PRAGMA user_version = %d; COMMIT;", schema, schemaVersion))
	return err
}

// openMemory opens an empty database in memory.
func openMemory() (*sql.DB, error) {
	db, err := sql.Open("sqlite", "file::memory:?_txlock=immediate")
	if err == nil {
		db.SetMaxOpenConns(1) // each connection would have one of its own
	}
	return db, err
}

// objects counts the tables, indexes and views of schema.
var objects = strings.Count(schema, "\nCREATE ")

// A schemaError says that a database is of another schema.
type schemaError struct{ have int }

func (e *schemaError) Error() string {
	if e.have > schemaVersion {
		return fmt.Sprintf("a newer wetside made it (schema %d, this one knows %d)", e.have, schemaVersion)
	}
	return fmt.Sprintf("it is of schema %d, and this wetside's is %d", e.have, schemaVersion)
}

// checkSchema reports whether db has the present schema, whole.
func checkSchema(db querier) error {
	v, n := 0, 0
	if err := db.QueryRow(`PRAGMA user_version`).Scan(&v); err != nil {
		return err
	}
	if v != schemaVersion {
		return &schemaError{v}
	}
	if err := db.QueryRow(`SELECT count(*) FROM sqlite_schema WHERE sql IS NOT NULL`).Scan(&n); err != nil {
		return err
	}
	if n != objects {
		return fmt.Errorf("%w: some of its tables are missing", errDamaged)
	}
	return nil
}

type querier interface {
	Query(string, ...any) (*sql.Rows, error)
	QueryRow(string, ...any) *sql.Row
}

type execer interface {
	Exec(string, ...any) (sql.Result, error)
}

// scan calls do for each row of a query, with its values in to.
func scan(q querier, to []any, do func() error, query string, args ...any) error {
	rs, err := q.Query(query, args...)
	if err != nil {
		return err
	}
	defer rs.Close()
	for rs.Next() {
		if err := rs.Scan(to...); err != nil && rs.Err() == nil {
			return fmt.Errorf("%w: %w", errDamaged, err) // a text where a number should be
		} else if err != nil {
			return rs.Err() // called off
		}
		if err := do(); err != nil {
			return err
		}
	}
	return rs.Err()
}

// strs is the first column of a query.
func strs(q querier, query string) (out []string, err error) {
	var s string
	err = scan(q, []any{&s}, func() error { out = append(out, s); return nil }, query)
	return out, err
}

// linesOf reads the lines of one sitting. Those that hold are returned with the error.
func linesOf(q querier, sit string) (out []*row, err error) {
	var id, text string
	var bad error
	err = scan(q, []any{&id, &text}, func() error {
		if r, ok := parse(text); ok && r.ID == id && r.Sitting == sit {
			out = append(out, r)
		} else {
			bad = fmt.Errorf("%w: line %s", errDamaged, id)
		}
		return nil
	}, `SELECT id, text FROM line WHERE sitting = ? ORDER BY seq`, sit)
	return out, errors.Join(bad, err)
}

// salvage hands over every line of a database of any schema whose checksum
// holds, of one sitting or (sit empty) of all, and returns how many do and how
// many do not. A damaged file is read from both ends, so that a line may come twice.
func salvage(db *sql.DB, sit string, each func(*row) error) (read, skipped int, err error) {
	var do error
	where, args := "", []any(nil)
	if sit != "" {
		where, args = " WHERE sitting = ?", []any{sit}
	}
	scan := func(query string, to []any, one func() (*row, bool)) {
		for _, order := range []string{" ORDER BY 1", " ORDER BY 1 DESC"} {
			if do != nil {
				return
			}
			rs, err := db.Query(query+where+order, args...)
			if err != nil {
				return
			}
			for do == nil && rs.Next() {
				if rs.Scan(to...) != nil {
					skipped++
				} else if r, ok := one(); !ok {
					skipped++
				} else {
					read++
					do = each(r)
				}
			}
			err = rs.Err()
			rs.Close()
			if err == nil {
				return
			}
			skipped++ // the rest, from here or from both ends
		}
	}
	var n, sum int64
	var id, body, text string
	scan(`SELECT seq, text FROM line`, []any{&n, &text}, func() (*row, bool) { return parse(text) })
	running, _ := strs(db, `SELECT id FROM sitting WHERE closed IS NULL`)
	old := func(rec bool) (*row, bool) {
		r := &row{head: head{ID: id, Sitting: sit, N: n}, body: body, rec: rec}
		if rowSum(id, sit, body) != uint32(sum) || !json.Valid([]byte(body)) {
			return nil, false
		}
		if rec {
			// It had no identity of its own, and comes after its events.
			r.ID, r.N = fmt.Sprintf("%s-%08x", id, uint32(sum)), 1<<40+n
		}
		r.seal()
		ok := r.read()
		if r.ev.Kind == session.Opened && slices.Contains(running, sit) {
			r.runs = true
		}
		return r, ok
	}
	scan(`SELECT seq, id, sitting, body, sum FROM event`, []any{&n, &id, &sit, &body, &sum}, func() (*row, bool) { return old(false) })
	scan(`SELECT n, id, sitting, record, sum FROM sheet`, []any{&n, &id, &sit, &body, &sum}, func() (*row, bool) { return old(true) })
	return read, skipped, do
}
