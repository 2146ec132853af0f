package notebook

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"wetside/session"
)

// checkWhole is the greatest file (bytes) that is checked whole before Open
// returns. Checking reads every page, so a greater one is checked whole by
// [Book.Check], which the host runs beside the first frame.
const checkWhole = 1 << 20

// mendInline is the greatest file (bytes) that Append mends itself; a greater
// one waits for Flush, and Append goes on in memory and in the journal.
const mendInline = 8 << 20

// check looks for damage before anything is done with the file.
func check(db *sql.DB, path string) error {
	var pages, size int64
	if err := db.QueryRow(`PRAGMA page_count`).Scan(&pages); err != nil {
		return err
	}
	if err := db.QueryRow(`PRAGMA page_size`).Scan(&size); err != nil {
		return err
	}
	// A file shorter than it says was truncated, unless the rest is in the WAL.
	fi, err := os.Stat(path)
	if err != nil {
		return err
	}
	if fi.Size() < pages*size {
		wal, err := os.Stat(path + "-wal")
		if err != nil || wal.Size() == 0 {
			return fmt.Errorf("%w: it is %d bytes short", errDamaged, pages*size-fi.Size())
		}
	}
	if pages*size <= checkWhole {
		return quickCheck(context.Background(), db)
	}
	var last string
	for _, q := range []string{
		`SELECT coalesce((SELECT body FROM event ORDER BY seq DESC LIMIT 1), '')`,
		`SELECT coalesce((SELECT id FROM sitting WHERE closed IS NULL LIMIT 1), '')`,
	} {
		if err := db.QueryRow(q).Scan(&last); err != nil {
			return err
		}
	}
	return nil
}

func quickCheck(ctx context.Context, db *sql.DB) error {
	rs, err := db.QueryContext(ctx, `PRAGMA quick_check(3)`)
	if err != nil {
		return err
	}
	defer rs.Close()
	for rs.Next() {
		var s string
		if err := rs.Scan(&s); err != nil {
			return err
		}
		if s != "ok" {
			return fmt.Errorf("%w: %s", errDamaged, s)
		}
	}
	return rs.Err()
}

// Check reads the whole file for damage, beside whatever else goes on. If it
// finds any, the next Flush mends the file, and the error says what it was.
func (b *Book) Check(ctx context.Context) error {
	rd, _ := b.reader()
	if rd == nil {
		return nil
	}
	err := quickCheck(ctx, rd)
	if isDamage(err) {
		b.mu.Lock()
		defer b.mu.Unlock()
		if b.rd == rd {
			b.broken, b.why = true, err
		}
	}
	return err
}

// settle sets right whether a sitting is closed, and its sheets' records, by
// replaying it.
func settle(tx *sql.Tx, sit string) error {
	rows, err := fetch(tx, sit, 0)
	if err != nil {
		return err
	}
	if s := sittingOf(sit, rows); !s.Closed.IsZero() {
		if _, err := tx.Exec(`UPDATE sitting SET closed = ? WHERE id = ?`, s.Closed.UnixNano(), sit); err != nil {
			return err
		}
	}
	return rebuild(tx, sit, rows)
}

// mended says what mending found.
type mended struct {
	aside     string // where the damaged file is now
	read      int    // events read from it
	journaled int    // events that only the journal had
	lost      int    // events that neither had
}

func (m mended) text(why error) string {
	s := fmt.Sprintf("The notebook's file was damaged (%s). It was set aside as %s, nothing was deleted. %d events were read from it", plain(why), filepath.Base(m.aside), m.read)
	if m.journaled > 0 {
		s += fmt.Sprintf(" and %d from the journal", m.journaled)
	}
	if m.lost > 0 {
		return s + fmt.Sprintf("; %d could not be found.", m.lost)
	}
	return s + "; none is missing."
}

// mend makes a new file from all that can be read of the damaged one and from
// the journal, and puts it in its place. The caller holds the lock and has no
// connection open.
func mend(cfg *Config, journal string) (mended, error) {
	var m mended
	tmp := cfg.Path + ".mending"
	for _, s := range []string{"", "-wal", "-shm"} {
		if err := os.Remove(tmp + s); err != nil && !os.IsNotExist(err) {
			return m, err
		}
	}
	db, err := openWriter(tmp)
	if err != nil {
		return m, err
	}
	defer db.Close()
	if err := migrate(db, len(migrations)); err != nil {
		return m, err
	}
	tx, err := db.Begin()
	if err != nil {
		return m, err
	}
	defer tx.Rollback()
	var records []*Record
	err = carve(cfg.Path, func(r *row) error {
		n, err := insertAt(tx, r)
		m.read += n
		return err
	}, func(r *Record) error {
		records = append(records, r)
		return upsert(tx, r)
	})
	if err != nil {
		return m, err
	}
	for _, path := range append(journalFiles(journal), journalFiles(filepath.Join(journal, "kept"))...) {
		rows, err := readJournal(path)
		if err != nil {
			cfg.Logf("notebook: %s: %v", path, err)
		}
		for _, r := range rows {
			n, err := insertAt(tx, r)
			m.journaled += n
			if err != nil {
				return m, err
			}
		}
	}
	if err := rebuildSittings(tx); err != nil {
		return m, err
	}
	if err := rebuildAll(tx); err != nil {
		return m, err
	}
	if err := tx.QueryRow(`SELECT coalesce(max(seq), 0) - count(*) FROM event`).Scan(&m.lost); err != nil {
		return m, err
	}
	if err := tx.Commit(); err != nil {
		return m, err
	}
	m.aside, err = swap(cfg, db, tmp)
	return m, err
}

// rebuildSittings makes the sittings' own lines from their events.
func rebuildSittings(tx *sql.Tx) error {
	rs, err := tx.Query(`SELECT DISTINCT sitting FROM event WHERE sitting NOT IN (SELECT id FROM sitting WHERE closed IS NOT NULL)`)
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
	if rs.Err() != nil {
		return rs.Err()
	}
	rs.Close()
	for _, id := range ids {
		rows, err := fetch(tx, id, 0)
		if err != nil {
			return err
		}
		s := sittingOf(id, rows)
		if s.Opened.IsZero() { // its Opened event is lost
			if !slices.ContainsFunc(rows, func(r *row) bool { return !amends(r.ev.Kind) }) {
				continue // or never was here: a sheet that came without its events was judged
			}
			s.Opened = rows[0].ev.At.Wall
		}
		_, zone := s.Opened.Zone()
		var closed any
		if !s.Closed.IsZero() {
			closed = s.Closed.UnixNano()
		}
		if _, err := tx.Exec(`INSERT INTO sitting(id, opened, zone, closed, rehearsal, pace) VALUES(?,?,?,?,?,?)
ON CONFLICT(id) DO UPDATE SET closed = excluded.closed`, id, s.Opened.UnixNano(), zone, closed, s.Rehearsal, s.Pace); err != nil {
			return err
		}
	}
	return nil
}

// amends reports whether such an event may come to a sheet long after its sitting.
func amends(k session.Kind) bool {
	return k == session.Judged || k == session.Noted || k == session.MarkNamed || k == session.Scanned
}

// swap closes db, which is the file tmp, and puts that file in the place of the
// notebook; what stood there is set aside under a name that says when.
func swap(cfg *Config, db *sql.DB, tmp string) (aside string, err error) {
	var busy, log, done int
	if err := db.QueryRow(`PRAGMA wal_checkpoint(TRUNCATE)`).Scan(&busy, &log, &done); err != nil {
		return "", err
	}
	if err := db.Close(); err != nil {
		return "", err
	}
	// From here on the new file is whole, and its name says so.
	ready := cfg.Path + ".mended"
	if err := os.Rename(tmp, ready); err != nil {
		return "", err
	}
	stamp := "unknown-date"
	if cfg.Now != nil {
		stamp = cfg.Now().Format("20060102-150405")
	} else if fi, err := os.Stat(cfg.Path); err == nil {
		stamp = fi.ModTime().Format("20060102-150405")
	}
	aside = cfg.Path + ".damaged-" + stamp
	for i := 2; ; i++ {
		if !slices.ContainsFunc([]string{"", "-wal"}, func(s string) bool { _, err := os.Lstat(aside + s); return err == nil }) {
			break
		}
		aside = fmt.Sprintf("%s.damaged-%s-%d", cfg.Path, stamp, i)
	}
	for _, s := range []string{"-wal", "-shm", ""} {
		if err := os.Rename(cfg.Path+s, aside+s); err != nil && !os.IsNotExist(err) {
			return "", err
		}
	}
	if err := os.Rename(ready, cfg.Path); err != nil {
		return "", err
	}
	return aside, syncDir(filepath.Dir(cfg.Path))
}

// rescue saves a notebook whose files were moved or deleted while this Book had
// them open: what the open connection still sees is the whole of it. If another
// file stands in the place of the database it is left alone. The caller holds
// the lock.
func (b *Book) rescue() (aside string, err error) {
	now := identify(b.cfg.Path)
	if now.db != nil && !os.SameFile(now.db, b.files.db) {
		return "", nil // another program has put a mended file there
	}
	tmp := b.cfg.Path + ".mending"
	if err := os.Remove(tmp); err != nil && !os.IsNotExist(err) {
		return "", err
	}
	if err := quickCheck(context.Background(), b.db); err != nil {
		return "", err
	}
	if _, err := b.db.Exec(`VACUUM INTO ?`, tmp); err != nil {
		return "", err
	}
	b.disconnect()
	db, err := openWriter(tmp)
	if err != nil {
		return "", err
	}
	defer db.Close()
	return swap(&b.cfg, db, tmp)
}

// Backup writes a consistent copy of the notebook to path, while it is in use.
// The copy is one file, whole under its name or not there at all. An existing
// file is not overwritten.
func (b *Book) Backup(path string) error {
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("%s is there already: give the copy another name", path)
	}
	if err := b.Flush(); err != nil {
		return fmt.Errorf("a copy now would lack what is kept in memory: %w", err)
	}
	b.mu.Lock()
	live := b.rd != nil
	b.mu.Unlock()
	if !live {
		return errors.New("the notebook cannot be read")
	}
	db, err := openReader(b.cfg.Path, "mode=rw")
	if err != nil {
		return err
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	// Made in a folder of our own: nobody else can put a link in its way.
	dir, err := os.MkdirTemp(filepath.Dir(path), ".wetside-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	tmp := filepath.Join(dir, "copy")
	if _, err := db.Exec(`PRAGMA query_only = 0`); err != nil {
		return err
	}
	if _, err := db.Exec(`VACUUM INTO ?`, tmp); err != nil {
		return fmt.Errorf("the copy was not made: %w", errors.New(plain(err)))
	}
	if err := os.Chmod(tmp, 0o600); err != nil {
		return err
	}
	if err := syncFile(tmp); err != nil {
		return err
	}
	// A link rather than a new name: a name taken meanwhile is kept. Not every
	// disk has links.
	if err := os.Link(tmp, path); os.IsExist(err) {
		return err
	} else if err != nil {
		if err := os.Rename(tmp, path); err != nil {
			return err
		}
	}
	return syncDir(filepath.Dir(path))
}

func syncFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	defer f.Close()
	return f.Sync()
}
