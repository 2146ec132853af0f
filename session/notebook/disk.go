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
	"slices"
	"syscall"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// dsn makes a URI file name as https://www.sqlite.org/uri.html has it.
func dsn(path, query string) string {
	p := filepath.ToSlash(path)
	if filepath.VolumeName(path) != "" {
		p = "/" + p
	}
	return "file:" + (&url.URL{Path: p}).EscapedPath() + "?" + query
}

// The journal is what is synced; of the database, SQLite syncs as much as keeps
// it whole. Checkpoints are ours, so that nobody else writes to the file itself.
func openWriter(path string) (*sql.DB, error) {
	db, err := sql.Open("sqlite", dsn(path, fmt.Sprintf(
		"mode=rwc&_txlock=immediate&_pragma=busy_timeout(%d)&_pragma=journal_mode(WAL)&_pragma=synchronous(NORMAL)&_pragma=wal_autocheckpoint(0)&_pragma=trusted_schema(0)&_pragma=journal_size_limit(8388608)",
		busyWait.Milliseconds())))
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	return db, nil
}

func openReader(path, mode string) (*sql.DB, error) {
	db, err := sql.Open("sqlite", dsn(path, fmt.Sprintf("%s&_pragma=busy_timeout(%d)&_pragma=query_only(1)&_pragma=trusted_schema(0)", mode, 2*busyWait.Milliseconds())))
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(3)
	return db, nil
}

// readOnlyModes are the ways to open what cannot be written: immutable needs
// neither -wal nor -shm, and does not see what they hold.
var readOnlyModes = []string{"mode=ro", "mode=ro&immutable=1"}

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
	if b.inRAM {
		return false
	}
	now := identify(b.cfg.Path)
	return now.db == nil || !os.SameFile(now.db, b.files.db) ||
		(b.files.wal != nil && (now.wal == nil || !os.SameFile(now.wal, b.files.wal)))
}

// probe reports whether the notebook's folder takes new files. Each has a name of
// its own: of two programs that start at once, one took away the other's.
func (b *Book) probe() error {
	if !b.there() {
		return errGone
	}
	f, err := os.CreateTemp(filepath.Dir(b.cfg.Path), filepath.Base(b.cfg.Path)+".probe-*")
	if err != nil {
		return err
	}
	_, err = f.Write([]byte("wetside\n"))
	return errors.Join(err, f.Close(), os.Remove(f.Name()))
}

// open opens both handles on the file and looks whether it can be used.
func (b *Book) open() error {
	if f, err := os.OpenFile(b.cfg.Path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600); err == nil {
		f.Close() // with rights of its own; SQLite's other files take them over
	}
	db, err := openWriter(b.cfg.Path)
	if err != nil {
		return err
	}
	b.db = db
	if fi, err := os.Stat(b.cfg.Path); err == nil && fi.Size() == 0 {
		if _, err := os.Stat(b.cfg.Path + "-wal"); err != nil {
			if err := create(db); err != nil {
				return err
			}
		}
	}
	if err := short(db, b.cfg.Path); err != nil {
		return err
	}
	if err := checkSchema(db); err != nil {
		return err
	}
	// A write, so that a disk that refuses says so now.
	if _, err := db.Exec(`UPDATE sitting SET open = open WHERE rowid = -1`); err != nil {
		return err
	}
	if b.rd, err = openReader(b.cfg.Path, "mode=rw"); err != nil {
		return err
	}
	b.files = identify(b.cfg.Path)
	return nil
}

// short reports a file that is shorter than it says, unless the rest is in the WAL.
func short(db *sql.DB, path string) error {
	var pages, size int64
	if err := db.QueryRow(`PRAGMA page_count`).Scan(&pages); err != nil {
		return err
	}
	if err := db.QueryRow(`PRAGMA page_size`).Scan(&size); err != nil {
		return err
	}
	fi, err := os.Stat(path)
	if err != nil {
		return err
	}
	if wal, err := os.Stat(path + "-wal"); fi.Size() < pages*size && (err != nil || wal.Size() == 0) {
		return fmt.Errorf("%w: it is %d bytes short", errDamaged, pages*size-fi.Size())
	}
	return nil
}

// readOnly opens what can be read although nothing can be written.
func (b *Book) readOnly() error {
	err := errors.New("there is none")
	for _, mode := range readOnlyModes {
		var rd *sql.DB
		if rd, err = openReader(b.cfg.Path, mode); err != nil {
			continue
		}
		if err = checkSchema(rd); err == nil {
			b.rd = rd
			return nil
		}
		rd.Close()
	}
	return err
}

// disconnect closes the handles. What was whole before is whole after it, if
// nobody else wrote to it, and that is noted beside the file.
func (b *Book) disconnect() {
	whole := b.rd != nil && !b.inRAM && b.whole()
	if b.rd != nil && b.rd != b.db {
		b.rd.Close()
	}
	if b.db != nil {
		b.db.Close()
	}
	b.db, b.rd, b.inRAM = nil, nil, false
	if whole {
		b.seen, _ = os.Stat(b.cfg.Path)
		b.vouch()
	}
	b.seen, b.believe = nil, false
}

// whole reports whether the file is still as it was when it was found whole.
func (b *Book) whole() bool {
	fi, err := os.Stat(b.cfg.Path)
	return err == nil && b.believe && sameState(fi, b.seen)
}

func sameState(a, b fs.FileInfo) bool {
	return b != nil && os.SameFile(a, b) && a.Size() == b.Size() && a.ModTime().Equal(b.ModTime())
}

// A state is a file's size and time, as they are noted beside the index.
type state struct {
	Size  int64 `json:"size"`
	MTime int64 `json:"mtime"`
	Sum   int64 `json:"sum"` // of the two
}

func stateOf(fi fs.FileInfo) state {
	s := state{Size: fi.Size(), MTime: fi.ModTime().UnixNano()}
	s.Sum = int64(sum(fmt.Sprint(s.Size, s.MTime)))
	return s
}

// clockTick is more than the step of the clock a disk takes its times from: a
// later change than the one noted has another time.
const clockTick = 20 * time.Millisecond

// vouch notes that the file as it is now is whole.
func (b *Book) vouch() {
	if b.seen == nil || b.vouched() {
		return
	}
	if _, err := os.Lstat(b.cfg.Path + ".seen"); err != nil && b.looks {
		return // who only reads makes no file
	}
	b.cfg.Sleep(clockTick)
	if fi, err := os.Stat(b.cfg.Path); err != nil || !sameState(fi, b.seen) {
		return
	}
	data, _ := json.Marshal(stateOf(b.seen))
	_ = os.WriteFile(b.cfg.Path+".seen", data, 0o600)
}

// vouched reports whether the file is the one that was noted as whole.
func (b *Book) vouched() bool {
	fi, err := os.Stat(b.cfg.Path)
	if err != nil {
		return false
	}
	data, err := os.ReadFile(b.cfg.Path + ".seen")
	var s state
	return err == nil && json.Unmarshal(data, &s) == nil && s == stateOf(fi)
}

// checkpoint brings the WAL into the file.
func (b *Book) checkpoint() error {
	was := b.whole()
	var busy, log, done int
	if err := b.db.QueryRow(`PRAGMA wal_checkpoint(TRUNCATE)`).Scan(&busy, &log, &done); err != nil {
		return err
	}
	if b.believe = was; was {
		b.seen, _ = os.Stat(b.cfg.Path)
	}
	b.commits = 0
	if busy != 0 {
		return errLocked
	}
	return nil
}

// damaged notes an error that says that the file itself is broken.
func (b *Book) damaged(err error) {
	if isDamage(err) && !b.broken {
		b.broken, b.dbErr = true, err
	}
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
	switch code(err) {
	case sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_ERROR, sqlite3.SQLITE_FORMAT, sqlite3.SQLITE_MISMATCH:
		return true // SQLITE_ERROR: no such table
	}
	var s *schemaError
	return errors.Is(err, errDamaged) || errors.As(err, &s)
}

// isRefusal reports whether the file could not be had, though others in its
// folder may be.
func isRefusal(err error) bool {
	return slices.Contains([]int{sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_AUTH}, code(err))
}

func isBusy(err error) bool {
	c := code(err)
	return c == sqlite3.SQLITE_BUSY || c == sqlite3.SQLITE_LOCKED || errors.Is(err, errLocked)
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
	case errors.Is(err, errGone), errors.Is(err, fs.ErrNotExist):
		return "its folder is gone: put the disk back, or the folder where it was"
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
	return err.Error()
}
