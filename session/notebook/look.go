package notebook

import (
	"context"
	"database/sql"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
)

// Look opens a notebook to read it, and makes no file: no folder, no database,
// no lock. It returns nil when nothing was ever written there. A notebook that
// has to be set right before it can be read is opened as [Open] does it. The
// Book is not to be written to.
func Look(cfg Config) (*Book, []Notice, error) {
	if was, err := Written(cfg); err != nil || !was {
		return nil, nil, err
	}
	b, err := newBook(cfg)
	if err != nil {
		return nil, nil, err
	}
	if _, err := os.Stat(filepath.Dir(cfg.Path)); err != nil && gone(err) {
		b.looks = true
		b.note(Elsewhere, "The notebook's folder is gone: put the disk back, or the folder where it was. What is told is what was written elsewhere since.")
		return b, b.takeNotices(), nil
	}
	for _, mode := range []string{"mode=rw", "mode=ro", "mode=ro&immutable=1"} {
		if mode == "mode=ro&immutable=1" && waiting(cfg.Path) {
			break // it would be read without what the WAL holds
		}
		if b.rd, err = openReader(cfg.Path, mode); err != nil {
			continue
		}
		if err = b.sound(); err == nil {
			b.looks = true
			return b, nil, nil
		}
		b.cfg.Logf("notebook: it cannot be read as it is: %v", err)
		b.disconnect()
	}
	return Open(cfg)
}

// Written reports whether a notebook was begun at cfg.Path, or what it refused
// lies in a second place. The error says that this cannot be known.
func Written(cfg Config) (bool, error) {
	b := &Book{cfg: cfg}
	for _, p := range append(b.dirs(), cfg.Path, cfg.Path+".made") {
		if _, err := os.Lstat(p); err == nil {
			return true, nil
		} else if !gone(err) || p == cfg.Path && !errors.Is(err, fs.ErrNotExist) {
			return false, err // its folder, say, is a file: nobody knows what should be there
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
	if err := short(b.rd, b.cfg.Path); err != nil {
		return err
	}
	if err := checkSchema(b.rd); err != nil {
		return err
	}
	b.believe = b.vouched()
	fi, err := os.Stat(b.cfg.Path)
	if err != nil {
		return err
	}
	if b.seen = fi; !b.believe && fi.Size() <= checkWhole {
		if err := verify(context.Background(), b.rd); err != nil {
			return err
		}
		b.believe = true
	}
	_, err = os.Lstat(b.journalDir())
	alone := err != nil && gone(err) // a copy: it has all there is
	if same, err := b.keptSame(b.rd); err != nil || !same && !alone {
		return errors.Join(err, errors.New("there are journals that it does not know"))
	}
	// Not there, or not to be read: then Open says so.
	for i, d := range b.dirs()[home:] {
		es, err := os.ReadDir(d)
		if err != nil && !gone(err) {
			return err
		}
		if i > 0 && len(es) > 0 {
			return errors.New("something lies in a second place")
		}
	}
	open, err := strs(b.rd, `SELECT id FROM sitting WHERE open`)
	if err != nil {
		return err
	}
	for _, name := range journalFiles(b.journalDir()) {
		f := file{path: b.journalDir() + string(os.PathSeparator) + name}
		rows, _ := f.pull()
		if f.err != nil || f.bad > 0 || f.torn() || len(rows) == 0 {
			return errors.Join(f.err, errors.New("a journal is damaged"))
		}
		m := b.mem(rows[0].Sitting)
		if m.done != len(m.rows) || len(m.unheld(spare)) > 0 || b.broken || len(b.records(m)) > 0 {
			return errors.New("its journal and it do not know the same")
		}
	}
	for _, sit := range open {
		if b.sits[sit] == nil && !alone {
			return errors.New("a journal is missing")
		}
	}
	return nil
}

// Nothing returns a notebook with nothing in it and no file, to read from where
// none was ever begun.
func Nothing() (*Book, error) {
	db, err := sql.Open("sqlite", ":memory:")
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1) // each connection would have one of its own
	if err := create(db); err != nil {
		db.Close()
		return nil, err
	}
	b, err := newBook(Config{Path: ":memory:", NewID: func() string { return "" }})
	if err != nil {
		return nil, err
	}
	b.db, b.rd, b.inRAM, b.looks = db, db, true, true
	return b, nil
}
