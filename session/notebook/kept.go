package notebook

import (
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"slices"
)

// keptSame reports whether kept/ is as the index knows it, by the time of the folder.
func (b *Book) keptSame(q querier) (bool, error) {
	var mtime int64
	if err := q.QueryRow(`SELECT mtime FROM journal WHERE name = ''`).Scan(&mtime); errors.Is(err, sql.ErrNoRows) {
		return false, nil
	} else if err != nil {
		return false, err
	}
	is, err := b.keptTime()
	return is == mtime, err
}

// keptTime is the time of kept/; 0: there is none.
func (b *Book) keptTime() (int64, error) {
	fi, err := os.Stat(b.keptDir())
	if err == nil {
		return fi.ModTime().UnixNano(), nil
	}
	if gone(err) {
		err = nil
	}
	return 0, err
}

// keptKnown notes that the index knows all that is in kept/.
func (b *Book) keptKnown() error {
	mtime, err := b.keptTime()
	if err == nil {
		_, err = b.db.Exec(`INSERT OR REPLACE INTO journal(name, sitting, size, mtime, sum) VALUES('', '', 0, ?, 0)`, mtime)
	}
	return err
}

// keptIn brings the index and the journals that are put away together. As long
// as the folder is the one that the index knows, there is nothing to do. Many of
// them take a while: with patience, others may have the Book in between.
func (b *Book) keptIn(patience bool) error {
	if !b.recheck && !b.inRAM {
		if same, err := b.keptSame(b.db); err != nil || same {
			return err
		}
	}
	amiss, err := b.keptAmiss()
	if err != nil {
		return err
	}
	many := len(amiss) > 20
	if b.recheck = many && b.cfg.Served && !patience; b.recheck {
		return nil // Flush does it
	}
	defer func() {
		if b.mended > 0 {
			b.note(Recovered, "Journals of closed sessions that were damaged: %d. They were set aside, and what the database has of them is used.", b.mended)
			b.mended = 0
		}
	}()
	for sit := range amiss {
		if many && patience {
			b.mu.Unlock()
			b.mu.Lock()
			if b.ending.Load() {
				return errEnding
			}
		}
		if err := b.bringIn(sit); err != nil {
			return err
		}
	}
	if b.inRAM {
		return nil
	}
	return b.keptKnown()
}

// errEnding says that what was begun is left to the next start.
var errEnding = errors.New("the program ends")

// keptAmiss are the sittings whose journal in kept/ is not as the index knows
// it. If it is another file with the same in it, as after a copy, the index
// learns that.
func (b *Book) keptAmiss() (map[string]bool, error) {
	there := map[string]file{}
	for _, name := range journalFiles(b.keptDir()) {
		path := filepath.Join(b.keptDir(), name)
		if fi, err := os.Stat(path); err == nil {
			there[name] = file{path: path, info: fi}
		}
	}
	amiss := map[string]bool{}
	copied := map[string]file{} // by sitting
	buf := make([]byte, 1<<17)
	var name, sit string
	var size, mtime, crc int64
	err := scan(b.db, []any{&name, &sit, &size, &mtime, &crc}, func() error {
		f, is := there[name]
		delete(there, name)
		if !is || f.info.Size() != size {
			amiss[sit] = true
		} else if f.info.ModTime().UnixNano() != mtime {
			if now, err := sumOf(f.path, buf); err == nil && int64(now) == crc {
				copied[sit] = f
			} else {
				amiss[sit] = true
			}
		}
		return nil
	}, `SELECT name, sitting, size, mtime, sum FROM journal WHERE name <> ''`)
	for _, f := range there {
		amiss[sittingOf(f.path)] = true
	}
	for sit, f := range copied {
		err = errors.Join(err, f.vouch(b.db, sit))
	}
	return amiss, err
}

// bringIn makes journal and index of one sitting, of which one has what the
// other lacks, the same.
func (b *Book) bringIn(sit string) error {
	_, had := b.sits[sit]
	m := b.mem(sit)
	m.done = 0
	if k := &m.files[kept]; !b.inRAM && (k.harmed() || k.err != nil) {
		b.mended++
	}
	m.learn(b.records(m)...)
	open := m.sitting().open()
	var err error
	if open && !b.inRAM {
		if _, err = b.db.Exec(`DELETE FROM journal WHERE sitting = ?`, sit); err == nil {
			err = b.write(m)
		}
	}
	if err == nil {
		err = b.indexNow(m)
	}
	if err == nil && !open && !b.inRAM && len(m.rows) > 0 {
		err = b.keep(m)
	}
	if err == nil && !open && !had {
		delete(b.sits, sit)
	}
	return err
}

// keep puts the journal of a sitting away, of which all is in the index.
func (b *Book) keep(m *memory) error {
	if err := os.MkdirAll(b.keptDir(), 0o700); err != nil {
		return err
	}
	h, k := &m.files[home], &m.files[kept]
	unlock, err := lockFile(lockOf(h.path))
	if err != nil {
		return err
	}
	defer unlock()
	if m.pull(); m.done < len(m.rows) {
		return nil // another program has just added to it: once that is in the index
	}
	if k.err != nil {
		if err := b.aside(k.path, true); err != nil {
			return err
		}
	}
	switch {
	case m.whole(k):
	case k.info == nil && m.whole(h):
		if err := os.Rename(h.path, k.path); err != nil {
			return err
		}
		_ = syncDir(b.keptDir())
	default:
		if err := b.rewrite(m, kept); err != nil {
			return err
		}
	}
	if err := os.Remove(h.path); err != nil && !gone(err) {
		return err
	}
	_ = os.Remove(lockOf(h.path))
	m.pull()
	return k.vouch(b.db, m.sit)
}

// vouch has the index know a journal that is put away.
func (f *file) vouch(db execer, sit string) error {
	data, err := os.ReadFile(f.path)
	if err == nil {
		_, err = db.Exec(`INSERT OR REPLACE INTO journal(name, sitting, size, mtime, sum) VALUES(?,?,?,?,?)`,
			filepath.Base(f.path), sit, f.info.Size(), f.info.ModTime().UnixNano(), int64(sum(string(data))))
	}
	return err
}

// archive puts the journals of closed sittings away, and brings the WAL in.
func (b *Book) archive() {
	if b.db == nil || b.inRAM || b.broken || b.place > home {
		return
	}
	if unlock, err := lockFile(b.cfg.Path + ".lock"); err == nil {
		b.archiveLocked()
		unlock()
	}
}

func (b *Book) archiveLocked() {
	var closed []*memory
	for _, m := range b.sits {
		if m.files[home].info == nil || m.sitting().open() {
			continue
		}
		if b.settle(m); m.done == len(m.rows) && len(m.unheld(spare)) == 0 {
			closed = append(closed, m)
		}
	}
	if len(closed) == 0 || b.changed() || b.checkpoint() != nil {
		return
	}
	var err error
	for _, m := range closed {
		err = errors.Join(err, b.keep(m))
	}
	if err == nil {
		err = b.keptKnown()
	}
	if err != nil {
		b.cfg.Logf("notebook: %v", err)
	}
}

// kept takes in a journal that is put away, and reports whether it is whole and
// has a record of each sheet.
func (w *indexer) kept(path string) (whole bool, sit string, err error) {
	f := file{path: path}
	rows, _ := f.pull()
	m := &memory{known: map[string]*row{}, recs: map[string]*row{}, sit: sittingOf(path)}
	m.learn(rows...)
	if err := w.add(m, m.rows); err != nil {
		return false, "", err
	}
	if f.err != nil || f.bad > 0 || f.torn() || len(m.recs) == 0 && len(m.inbox) > 1 {
		return false, m.sit, nil
	}
	return true, m.sit, f.vouch(w.tx, m.sit)
}

// whole reports whether a file has every line of the session, and nothing else.
func (m *memory) whole(f *file) bool {
	return f.info != nil && !f.harmed() && !slices.ContainsFunc(m.rows, func(r *row) bool { return !f.has[r.ID] })
}
