package notebook

import (
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"github.com/gofrs/flock"
	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
	"wetside/session"
)

// dsn makes a URI file name as https://www.sqlite.org/uri.html has it.
func dsn(path, query string) string {
	p := filepath.ToSlash(path)
	if filepath.VolumeName(path) != "" {
		p = "/" + p
	}
	return "file:" + (&url.URL{Path: p}).EscapedPath() + "?" + query
}

// A WAL that is written over in place needs no new metadata, so fdatasync(2)
// makes a commit just as durable in half the time, as SQLite itself does where
// it knows of the call. On macOS, fullfsync is what fsync is elsewhere.
func openWriter(path string) (*sql.DB, error) {
	_, _ = sqlite.Fdatasync(true) // not everywhere; then it stays fsync
	db, err := sql.Open("sqlite", dsn(path, fmt.Sprintf(
		"mode=rwc&_txlock=immediate&_pragma=busy_timeout(%d)&_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)&_pragma=trusted_schema(0)&_pragma=fullfsync(1)&_pragma=journal_size_limit(8388608)",
		BusyWait.Milliseconds())))
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1) // data_version and the held WAL belong to one connection
	return db, nil
}

func openReader(path, mode string) (*sql.DB, error) {
	db, err := sql.Open("sqlite", dsn(path, fmt.Sprintf("%s&_pragma=busy_timeout(%d)&_pragma=query_only(1)&_pragma=trusted_schema(0)", mode, 2*BusyWait.Milliseconds())))
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(3)
	return db, nil
}

// identity tells whether the files under our names are still the ones we hold.
type identity struct{ db, wal fs.FileInfo }

func identify(path string) identity {
	var id identity
	id.db, _ = os.Stat(path)
	id.wal, _ = os.Stat(path + "-wal")
	return id
}

// changed reports whether the database or its WAL was deleted or replaced
// behind our back. SQLite would go on writing into files nobody can find.
func (b *Book) changed() bool {
	now := identify(b.cfg.Path)
	return now.db == nil || !os.SameFile(now.db, b.files.db) ||
		(b.files.wal != nil && (now.wal == nil || !os.SameFile(now.wal, b.files.wal)))
}

// lock takes the lock under which the file is opened, migrated and mended. On
// a disk where no lock can be made there is nothing to guard either.
func (b *Book) lock() (func(), error) {
	l := flock.New(b.cfg.Path+".lock", flock.SetFlag(os.O_CREATE|os.O_RDWR))
	for i := 0; ; i++ {
		ok, err := l.TryLock()
		switch {
		case err != nil:
			return func() {}, nil
		case ok:
			return func() { l.Close() }, nil
		case i == 60:
			return nil, errLocked
		}
		time.Sleep(BusyWait / 20)
	}
}

// connect opens the database, takes in what the journal knows and the database
// does not, and writes back what this program knows of its sittings. A damaged
// file is mended if it is small or anySize is true.
func (b *Book) connect(anySize bool) error {
	if err := os.MkdirAll(filepath.Dir(b.cfg.Path), 0o700); err != nil {
		b.readOnly()
		return err
	}
	unlock, err := b.lock()
	if err != nil {
		b.readOnly()
		return err
	}
	defer unlock()
	if _, err := os.Lstat(b.cfg.Path); os.IsNotExist(err) {
		// A power cut in the middle of [swap] leaves the mended file here.
		if os.Rename(b.cfg.Path+".mended", b.cfg.Path) == nil {
			b.note(Recovered, "The mended notebook was put in its place.")
		}
	}
	if b.db != nil && b.changed() {
		aside, rerr := b.rescue()
		switch {
		case rerr != nil:
			b.cfg.Logf("notebook: rescue: %v", rerr)
		case aside != "":
			b.note(Recovered, "The notebook's files were moved or deleted while in use. It was saved whole from what was still open; what was left is set aside as %s.", filepath.Base(aside))
		}
	}
	b.disconnect()
	if b.broken {
		err = errDamaged
		if b.why != nil {
			err = b.why
		}
	} else {
		err = b.open()
	}
	if isDamage(err) {
		b.disconnect()
		b.broken = true
		if !anySize && !b.small() {
			return err
		}
		why := err
		var m mended
		if m, err = b.mendFree(); err == nil {
			b.broken = false
			b.note(Recovered, "%s", m.text(why))
			err = b.open()
		}
	}
	if err == nil {
		err = b.reconcile()
	}
	if err == nil {
		err = b.giveBack()
	}
	if err != nil {
		b.disconnect()
		if !b.broken {
			b.readOnly()
		}
		return err
	}
	b.why = nil
	return nil
}

func (b *Book) small() bool {
	fi, err := os.Stat(b.cfg.Path)
	return err != nil || fi.Size() <= b.inline
}

// mendFree mends the file. A great one takes minutes, so the Book is not held
// meanwhile: Append goes on in memory and in the journal.
func (b *Book) mendFree() (mended, error) {
	if b.small() {
		return mend(&b.cfg, b.journalDir())
	}
	b.mending = true
	b.mu.Unlock()
	m, err := mend(&b.cfg, b.journalDir())
	b.mu.Lock()
	b.mending = false
	b.mended.Broadcast()
	return m, err
}

// open opens both handles, migrates, and looks for damage.
func (b *Book) open() error {
	db, err := openWriter(b.cfg.Path)
	if err != nil {
		return err
	}
	b.db = db
	if err := check(db, b.cfg.Path); err != nil {
		return err
	}
	if err := migrate(db, len(migrations)); err != nil {
		return err
	}
	// A write, so that a disk that refuses says so now and not at the first event.
	if _, err := db.Exec(`UPDATE sitting SET pace = pace WHERE rowid = -1`); err != nil {
		return err
	}
	if b.rd, err = openReader(b.cfg.Path, "mode=rw"); err != nil {
		return err
	}
	if err := db.QueryRow(`PRAGMA data_version`).Scan(&b.version); err != nil {
		return err
	}
	b.files = identify(b.cfg.Path)
	return nil
}

func (b *Book) disconnect() {
	if b.rd != nil {
		b.rd.Close()
	}
	if b.db != nil {
		b.db.Close()
	}
	b.db, b.rd = nil, nil
}

// readOnly opens what can be read although nothing can be written.
func (b *Book) readOnly() {
	for _, mode := range []string{"mode=ro", "mode=ro&immutable=1"} {
		rd, err := openReader(b.cfg.Path, mode)
		if err != nil {
			continue
		}
		var n int
		if rd.QueryRow(`SELECT count(*) FROM (SELECT 1 FROM sitting LIMIT 1)`).Scan(&n) == nil {
			b.rd = rd
			return
		}
		rd.Close()
	}
}

// write brings everything that waits into the database, in order, in one transaction.
func (b *Book) write(anySize bool) error {
	if b.mending {
		return errMending
	}
	if len(b.pending) == 0 && len(b.saves) == 0 && !(anySize && b.broken) {
		return nil
	}
	if !anySize && b.cfg.Now != nil && !b.retryAt.IsZero() && b.cfg.Now().Before(b.retryAt) {
		return b.whyNot()
	}
	err := b.commit()
	if err != nil && (b.db == nil || isDamage(err) || errors.Is(err, errGone)) {
		if isDamage(err) && b.db != nil {
			b.broken, b.why = true, err
		}
		if err = b.connect(anySize); err == nil {
			err = b.commit()
		}
	}
	if err != nil {
		b.why = err
		b.failed = true
		if b.cfg.Now != nil && (isBusy(err) || errors.Is(err, errLocked)) {
			// Whoever holds the file may hold it for long; the next event
			// must not wait for them again.
			b.retryAt = b.cfg.Now().Add(2 * time.Second)
		}
		return err
	}
	b.retryAt = time.Time{}
	b.why = nil
	if b.failed {
		b.failed = false
		b.note(Back, "The notebook can be written again. Everything that was kept in memory is in it.")
	}
	return nil
}

var (
	errMending = errors.New("the notebook is being mended")
	errLocked  = errors.New("another program is mending the notebook")
)

var errGone = errors.New("the notebook's files were moved or deleted while they were open")

func (b *Book) commit() error {
	if b.db == nil || b.broken {
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
	type news struct {
		m    *memory
		rows []*row
	}
	var got []news
	done := map[string]bool{}
	for _, r := range b.pending {
		if done[r.sit] {
			continue
		}
		done[r.sit] = true
		m := b.mem(r.sit)
		rows, err := fetch(tx, r.sit, m.last)
		if err != nil {
			return err
		}
		got = append(got, news{m, rows})
	}
	if err := insert(tx, b.pending); err != nil {
		return err
	}
	for _, g := range got {
		for _, r := range b.pending {
			if r.ev.Kind == session.Closed && b.mem(r.sit) == g.m {
				all := append(append(append([]*row{}, g.m.rows...), g.rows...), unlisted(g.m.rows, b.pending, r.sit)...)
				if s := sittingOf(r.sit, all); !s.Closed.IsZero() {
					if _, err := tx.Exec(`UPDATE sitting SET closed = ? WHERE id = ?`, s.Closed.UnixNano(), r.sit); err != nil {
						return err
					}
				}
			}
		}
	}
	for _, r := range b.saves {
		put := upsert
		if !r.ended() {
			put = b.drop // its end was taken back
		}
		if err := put(tx, r); err != nil {
			return err
		}
	}
	if err := tx.Commit(); err != nil {
		return err
	}
	b.saves = nil
	for _, g := range got {
		g.m.take(g.rows)
	}
	for _, r := range b.pending {
		m := b.mem(r.sit)
		m.last = max(m.last, r.seq)
		if r.journaled { // without its place in the file, so far
			if err := b.journal(r.sit, r); err != nil {
				b.cfg.Logf("notebook: journal: %v", err)
			}
		}
	}
	b.pending = nil
	return nil
}

// unlisted returns the pending rows of a sitting that are not among have.
func unlisted(have, pending []*row, sit string) []*row {
	var out []*row
	in := map[*row]bool{}
	for _, r := range have {
		in[r] = true
	}
	for _, r := range pending {
		if r.sit == sit && !in[r] {
			out = append(out, r)
		}
	}
	return out
}

// giveBack writes what this program knows of its sittings into a file that may
// lack it. Identities keep anything from being written twice.
func (b *Book) giveBack() error {
	tx, err := b.db.Begin()
	if err != nil {
		return err
	}
	defer tx.Rollback()
	for sit, m := range b.sits {
		m.last = 0
		n := 0
		for _, r := range append(append([]*row{}, m.rows...), m.inbox...) {
			if r.seq == 0 {
				continue // it is pending
			}
			got, err := insertAt(tx, r)
			if err != nil {
				return err
			}
			n += got
		}
		if n > 0 {
			if err := settle(tx, sit); err != nil {
				return err
			}
		}
	}
	return tx.Commit()
}

// insertAt adds a row at its own place in the file, if that is free, and else
// at the end. It returns how many rows that made, 0 or 1.
func insertAt(tx *sql.Tx, r *row) (int, error) {
	if r.seq > 0 {
		_, zone := r.ev.At.Wall.Zone()
		res, err := tx.Exec(`INSERT OR IGNORE INTO event(seq, id, sitting, at, zone, body, sum) VALUES(?,?,?,?,?,?,?)`,
			r.seq, r.id, r.sit, r.ev.At.Wall.UnixNano(), zone, r.body, int64(r.sum()))
		if err != nil {
			return 0, err
		}
		if n, _ := res.RowsAffected(); n == 1 {
			c := *r
			return 1, insert(tx, []*row{&c}) // its sitting
		}
	}
	var n int
	if err := tx.QueryRow(`SELECT count(*) FROM event WHERE id = ?`, r.id).Scan(&n); err != nil || n > 0 {
		return 0, err
	}
	c := *r
	return 1, insert(tx, []*row{&c})
}

func (b *Book) whyNot() error {
	if b.why != nil {
		return b.why
	}
	return errors.New("the notebook is not open")
}

type querier interface {
	Query(string, ...any) (*sql.Rows, error)
}

// fetch reads the events of one sitting after seq.
func fetch(q querier, sit string, seq int64) ([]*row, error) {
	rs, err := q.Query(`SELECT seq, id, body FROM event WHERE sitting = ? AND seq > ? ORDER BY seq`, sit, seq)
	if err != nil {
		return nil, err
	}
	defer rs.Close()
	var out []*row
	for rs.Next() {
		r := &row{sit: sit}
		if err := rs.Scan(&r.seq, &r.id, &r.body); err != nil {
			return nil, err
		}
		if err := json.Unmarshal([]byte(r.body), &r.ev); err != nil {
			return nil, fmt.Errorf("%w: event %s: %v", errDamaged, r.id, err)
		}
		out = append(out, r)
	}
	return out, rs.Err()
}

// insert adds rows that are not there yet, and fills in their seq. A sitting
// comes into being with its Opened event.
func insert(tx *sql.Tx, rows []*row) error {
	for _, r := range rows {
		_, zone := r.ev.At.Wall.Zone()
		res, err := tx.Exec(`INSERT INTO event(id, sitting, at, zone, body, sum) VALUES(?,?,?,?,?,?) ON CONFLICT(id) DO NOTHING`,
			r.id, r.sit, r.ev.At.Wall.UnixNano(), zone, r.body, int64(r.sum()))
		if err != nil {
			return err
		}
		if n, _ := res.RowsAffected(); n == 1 {
			if r.seq, err = res.LastInsertId(); err != nil {
				return err
			}
		} else if err := tx.QueryRow(`SELECT seq FROM event WHERE id = ?`, r.id).Scan(&r.seq); err != nil {
			return err
		}
		if r.ev.Kind == session.Opened {
			s := sittingOf(r.sit, []*row{r})
			if _, err := tx.Exec(`INSERT INTO sitting(id, opened, zone, rehearsal, pace) VALUES(?,?,?,?,?) ON CONFLICT(id) DO NOTHING`,
				r.sit, s.Opened.UnixNano(), zone, s.Rehearsal, s.Pace); err != nil {
				return err
			}
		}
	}
	return nil
}

var errDamaged = errors.New("the notebook's file is damaged")

func code(err error) int {
	var e *sqlite.Error
	if errors.As(err, &e) {
		return e.Code() & 0xff
	}
	return -1
}

// isDamage reports whether err says that the file itself is broken.
func isDamage(err error) bool {
	c := code(err)
	return c == sqlite3.SQLITE_CORRUPT || c == sqlite3.SQLITE_NOTADB || errors.Is(err, errDamaged)
}

func isBusy(err error) bool {
	c := code(err)
	return c == sqlite3.SQLITE_BUSY || c == sqlite3.SQLITE_LOCKED
}

// plain says in a person's words why the disk refused.
func plain(err error) string {
	if err == nil {
		return "the disk refused"
	}
	switch {
	case errors.Is(err, syscall.ENOSPC):
		return "the disk is full: make room on it"
	case errors.Is(err, syscall.EROFS), errors.Is(err, fs.ErrPermission):
		return "the folder may not be written to: give yourself the right to, or make the disk writable"
	}
	switch code(err) {
	case sqlite3.SQLITE_FULL:
		return "the disk is full: make room on it"
	case sqlite3.SQLITE_READONLY:
		return "the notebook's folder may not be written to: give yourself the right to, or make the disk writable"
	case sqlite3.SQLITE_CANTOPEN:
		return "the notebook's file cannot be opened or made: look at its folder's rights and at free space"
	case sqlite3.SQLITE_IOERR:
		return "the disk reports an error: it may be full, unplugged or failing"
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED:
		return "another program holds the notebook"
	case sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB:
		return "the notebook's file is damaged"
	}
	return strings.TrimPrefix(err.Error(), "notebook: ")
}
