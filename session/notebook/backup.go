package notebook

import (
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// Backup writes a consistent copy of the notebook to path, while it is in use.
// The copy is one file, whole under its name or not there at all; it holds all
// lines of the journal, and opened as a notebook it gets a journal of its own.
// An existing file is not overwritten.
func (b *Book) Backup(path string) error {
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("%s is there already: give the copy another name", path)
	}
	if err := b.saved(); err != nil {
		return fmt.Errorf("a copy now would lack what is kept in memory: %w", err)
	}
	// Made in a folder of our own: nobody else can put a link in its way.
	dir, err := os.MkdirTemp(filepath.Dir(path), ".wetside-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	tmp := filepath.Join(dir, "copy")
	err = b.read(func(rd *sql.DB, _ []*Record) error {
		b.mu.Lock()
		ram := b.inRAM
		b.mu.Unlock()
		if !ram {
			var err error
			if rd, err = openReader(b.cfg.Path, "mode=rw"); err != nil {
				return err
			}
			defer rd.Close()
			rd.SetMaxOpenConns(1)
			if _, err := rd.Exec(`PRAGMA query_only = 0`); err != nil {
				return err
			}
		}
		_, err := rd.Exec(`VACUUM INTO ?`, tmp)
		return err
	})
	if err != nil {
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

// saved writes what waits, where this Book writes.
func (b *Book) saved() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.looks {
		return nil
	}
	return b.flush()
}

func syncFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	defer f.Close()
	return f.Sync()
}
