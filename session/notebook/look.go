package notebook

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
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
	b.looks = true
	for _, mode := range append([]string{"mode=rw"}, readOnlyModes...) {
		if wal, err := os.Stat(cfg.Path + "-wal"); mode == readOnlyModes[1] && err == nil && wal.Size() > 0 {
			break // it would be read without what the WAL holds
		}
		if b.rd, err = openReader(cfg.Path, mode); err != nil {
			continue
		}
		if err = b.sound(); err == nil {
			return b, nil, nil
		}
		b.cfg.Logf("notebook: it cannot be read as it is: %v", err)
		b.disconnect()
		clear(b.sits)
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

// sound reports whether the open reader can be answered from as it is, with
// the journals beside it.
func (b *Book) sound() error {
	if err := errors.Join(short(b.rd, b.cfg.Path), checkSchema(b.rd)); err != nil {
		return err
	}
	fi, err := os.Stat(b.cfg.Path)
	if err != nil {
		return err
	}
	b.seen, b.believe = fi, b.vouched()
	if !b.believe && fi.Size() <= checkWhole {
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
	if b.gather(); b.blind != nil || b.broken {
		return errors.Join(b.blind, b.dbErr)
	}
	return b.agrees(alone)
}

// agrees reports where a journal and the index do not know the same. A copy stands
// alone: it has no journals.
func (b *Book) agrees(alone bool) error {
	for _, m := range b.sits {
		if slices.ContainsFunc(m.files, func(f file) bool { return f.err != nil || f.harmed() }) {
			return errors.New("a journal is damaged")
		}
		if m.done != len(m.rows) || !alone && len(m.unheld(spare)) > 0 || len(b.records(m)) > 0 {
			return errors.New("its journal and it do not know the same")
		}
	}
	return nil
}

// Nothing returns a notebook with nothing in it and no file, to read from where
// none was ever begun.
func Nothing() (*Book, error) {
	db, err := openMemory()
	if err == nil {
		err = create(db)
	}
	if err != nil {
		return nil, err
	}
	b, err := newBook(Config{Path: ":memory:", NewID: func() string { return "" }})
	if err != nil {
		return nil, err
	}
	b.db, b.rd, b.inRAM, b.looks = db, db, true, true
	return b, nil
}

var errMaking = errors.New("the notebook's database is being looked through or made again: look once more in a minute")

// reader returns a handle for reading on an index that is whole, and the
// records that it lacks.
func (b *Book) reader() (*sql.DB, []*Record, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.closed {
		return nil, nil, errors.New("the notebook is closed")
	}
	if b.looks && !b.inRAM && !b.there() {
		return nil, nil, refused(errGone)
	}
	for try := 0; ; try++ {
		if whole, err := b.readable(); err != nil {
			return nil, nil, err
		} else if whole {
			break
		}
		if try > 1 {
			return nil, nil, refused(b.whyNot())
		}
	}
	if b.inRAM && b.blind != nil {
		return nil, nil, fmt.Errorf("the notebook cannot be read whole: %s", plain(b.blind))
	}
	return b.rd, b.waiting(), nil
}

// waiting are the sheets that are done and not in the index yet.
func (b *Book) waiting() (out []*Record) {
	for _, m := range b.sits {
		b.index(m)
		if m.done == len(m.rows) {
			continue
		}
		for id := range m.recs {
			if r, ok := m.record(id); ok && r.ended() {
				out = append(out, &r)
			}
		}
	}
	return out
}

func refused(err error) error { return fmt.Errorf("the notebook cannot be read: %s", plain(err)) }

// readable opens an index to read, and sees whether it is whole.
func (b *Book) readable() (whole bool, err error) {
	if b.making || b.broken && b.cfg.Served && !b.small() {
		return false, errMaking
	}
	if b.broken || b.rd == nil || b.db != nil && b.changed() && b.there() {
		_ = b.connect(true)
	}
	if b.rd == nil {
		if err := b.inMemory(); err != nil {
			return false, refused(err)
		}
	}
	if b.believe || b.inRAM || !b.there() {
		return true, nil
	}
	if b.cfg.Served && b.db != nil && b.files.db.Size() > checkWhole {
		return false, errMaking // Check is at it
	}
	seen, _ := os.Stat(b.cfg.Path)
	err = verify(context.Background(), b.rd)
	if err == nil {
		b.seen, b.believe = seen, true
		return true, nil
	}
	if b.damaged(err); !isDamage(err) {
		return false, refused(err)
	}
	return false, nil
}

// read runs a question to the index; if that turns out to be damaged, once more
// with one made again.
func (b *Book) read(do func(*sql.DB, []*Record) error) error {
	for try := 0; ; try++ {
		rd, waiting, err := b.reader()
		if err != nil {
			return err
		}
		if err = do(rd, waiting); !isDamage(err) || try > 0 {
			return err
		}
		b.mu.Lock()
		b.damaged(err)
		b.mu.Unlock()
	}
}
