package notebook

import (
	"database/sql"
	"errors"
	"os"
)

// Look opens a notebook to read it, and makes no file: no folder, no database,
// no lock. It returns nil when nothing was ever written there. A notebook that
// has to be set right before it can be read is opened as [Open] does it. The
// Book is not to be written to.
func Look(cfg Config) (*Book, []Notice, error) {
	if was, err := Written(cfg.Path); err != nil || !was {
		return nil, nil, err
	}
	b, err := newBook(cfg)
	if err != nil {
		return nil, nil, err
	}
	for _, mode := range []string{"mode=rw", "mode=ro", "mode=ro&immutable=1"} {
		if mode == "mode=ro&immutable=1" && waiting(cfg.Path) {
			break // it would be read without what the WAL holds
		}
		if b.rd, err = openReader(cfg.Path, mode); err != nil {
			continue
		}
		if err = b.sound(); err == nil {
			return b, nil, nil
		}
		b.disconnect()
	}
	return Open(cfg)
}

// Written reports whether anything of a notebook lies at path.
func Written(path string) (bool, error) {
	for _, p := range []string{path, path + ".mended", path + ".journal"} {
		_, err := os.Lstat(p)
		switch {
		case err == nil:
			return true, nil
		case !os.IsNotExist(err):
			return false, err
		}
	}
	return false, nil
}

// waiting reports whether a WAL lies there that may hold something.
func waiting(path string) bool {
	st, err := os.Stat(path + "-wal")
	return err == nil && st.Size() > 0
}

// sound reports whether the open reader can be answered from as it is.
func (b *Book) sound() error {
	var v int
	if err := b.rd.QueryRow(`PRAGMA user_version`).Scan(&v); err != nil {
		return err
	}
	if v != len(migrations) {
		return errors.New("it is of another schema")
	}
	if err := check(b.rd, b.cfg.Path); err != nil {
		return err
	}
	for _, path := range journalFiles(b.journalDir()) {
		rows, err := readJournal(path)
		if err != nil {
			return err
		}
		for _, r := range rows {
			var n int
			err := b.rd.QueryRow(`SELECT 1 FROM event WHERE id = ?`, r.id).Scan(&n)
			if errors.Is(err, sql.ErrNoRows) {
				return errors.New("its journal knows more")
			}
			if err != nil {
				return err
			}
		}
	}
	return nil
}

// Readable says why the notebook cannot be read; nil if it can.
func (b *Book) Readable() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.rd != nil {
		return nil
	}
	return &UnreadableError{b.cfg.Path, b.why}
}

// An UnreadableError says that nothing could be read of a notebook that is there.
type UnreadableError struct {
	Path string
	Err  error
}

func (e *UnreadableError) Error() string {
	return e.Path + " cannot be read: " + plain(e.Err)
}

func (e *UnreadableError) Unwrap() error { return e.Err }

// Nothing returns a notebook with nothing in it and no file, to read from where
// none was ever begun.
func Nothing() (*Book, error) {
	db, err := sql.Open("sqlite", ":memory:")
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1) // each connection would have one of its own
	if err := migrate(db, len(migrations)); err != nil {
		db.Close()
		return nil, err
	}
	b, err := newBook(Config{Path: ":memory:", NewID: func() string { return "" }})
	if err != nil {
		return nil, err
	}
	b.rd = db
	return b, nil
}
