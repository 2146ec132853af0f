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
	"strings"
)

// checkWhole is the greatest index (bytes) that is checked whole before Open
// returns, if its size or time are not those that were noted. A greater one is
// checked before it is first read, or by [Book.Check].
const checkWhole = 1 << 20

// makeInline is the greatest index (bytes) that Append makes again itself; a
// greater one waits for Flush or for a reader.
const makeInline = 8 << 20

func (b *Book) small() bool {
	fi, err := os.Stat(b.cfg.Path)
	return err != nil || fi.Size() <= b.inline
}

func (b *Book) whyNot() error {
	if b.dbErr != nil {
		return b.dbErr
	}
	return errors.New("the notebook's database is not open")
}

// connect opens the index, makes it again if that is needed, and brings it and
// the journal together. A great one is made again only if anySize is true.
func (b *Book) connect(anySize bool) error {
	if b.connecting || b.making {
		return b.whyNot()
	}
	b.connecting = true
	defer func() {
		b.connecting = false
		b.made.Broadcast()
	}()
	if !b.there() {
		b.gather() // what is open is better than nothing
		return errGone
	}
	unlock, err := lockFile(b.cfg.Path + ".lock")
	b.disconnect()
	if err == nil {
		defer unlock()
		err = b.openOrMake(anySize)
	}
	if b.dbErr = err; err != nil {
		b.disconnect()
		if !b.broken && b.readOnly() == nil && b.small() && verify(context.Background(), b.rd) != nil {
			b.disconnect()
		}
	}
	for _, m := range b.sits {
		m.done = 0
	}
	b.gather()
	if b.db != nil {
		if err := b.keptIn(anySize); err != nil {
			b.cfg.Logf("notebook: journal: %v", err)
		}
		b.archiveLocked()
		// After many kills; SQLite reads it through at each start.
		if fi, err := os.Stat(b.cfg.Path + "-wal"); err == nil && fi.Size() > 1<<20 && b.checkpoint() == nil {
			b.vouch()
		}
	}
	if b.restored > 0 {
		b.note(Restored, "The notebook's journal or its database lacked %s, taken from the other.", entries(b.restored))
		b.restored = 0
	}
	return err
}

// openOrMake opens the index, or makes it again. The caller holds its lock.
func (b *Book) openOrMake(anySize bool) error {
	why := b.dbErr
	if !b.broken {
		why = b.openWhole()
	}
	missing := errors.Is(why, fs.ErrNotExist)
	if !missing && !isDamage(why) && !(isRefusal(why) && b.probe() == nil) {
		return why
	}
	b.disconnect()
	b.broken = true
	if !missing && !anySize && !b.small() {
		return why
	}
	if err := b.remake(why); err != nil {
		return err
	}
	b.broken = false
	return b.openNew()
}

// openNew opens an index that is whole.
func (b *Book) openNew() error {
	err := b.open()
	b.seen, b.believe = b.files.db, err == nil
	return err
}

// openWhole opens the index, and sees that it is whole if it is small and may
// not be. A missing one with a journal beside it is an error.
func (b *Book) openWhole() error {
	if _, err := os.Lstat(b.cfg.Path); os.IsNotExist(err) {
		// A power cut in the middle of [swap] leaves the new file here.
		if os.Rename(b.cfg.Path+".made", b.cfg.Path) != nil {
			if len(journalFiles(b.keptDir())) > 0 {
				return err
			}
			return b.openNew()
		}
	}
	believe := b.vouched()
	if err := b.open(); err != nil {
		return err
	}
	b.seen, b.believe = b.files.db, believe
	if believe || b.files.db == nil || b.files.db.Size() > checkWhole {
		return nil
	}
	err := verify(context.Background(), b.rd)
	b.believe = err == nil
	return err
}

func entries(n int) string {
	if n == 1 {
		return "1 entry"
	}
	return fmt.Sprintf("%d entries", n)
}

func journalFiles(dir string) []string {
	es, _ := os.ReadDir(dir)
	var out []string
	for _, e := range es {
		if strings.HasSuffix(e.Name(), ".jsonl") {
			out = append(out, e.Name())
		}
	}
	return out
}

// sittingOf is the sitting of a journal: its name, or if that was made of
// something else (see [journalName]) what stands in its first line that holds.
func sittingOf(path string) string {
	name := strings.TrimSuffix(filepath.Base(path), ".jsonl")
	if strings.HasPrefix(name, "x-") {
		data, _ := readFrom(path, 0)
		if rows, _, _ := lines(data); len(rows) > 0 {
			return rows[0].Sitting
		}
	}
	return name
}

// indexed reports whether the index can be asked.
func (b *Book) indexed() bool { return b.rd != nil && (!b.broken || b.inRAM) && !b.making }

// gather reads the journals of all sittings that are not put away, of those that
// the index says can be gone on with and of those that are at hand, and brings
// index and journals together.
func (b *Book) gather() {
	b.blind = nil
	sits := map[string]bool{}
	for sit := range b.sits {
		sits[sit] = true // another program may have closed it and put it away
	}
	for _, d := range b.dirs()[home:] {
		if _, err := os.ReadDir(d); err != nil && !gone(err) {
			b.blind = err
		}
		for _, name := range journalFiles(d) {
			sits[sittingOf(filepath.Join(d, name))] = true
		}
	}
	if b.indexed() {
		open, err := strs(b.rd, `SELECT id FROM sitting WHERE open`)
		b.damaged(err)
		for _, id := range open {
			sits[id] = true
		}
	} else if b.blind == nil && !exists(b.journalDir()) && exists(b.cfg.Path) {
		b.blind = b.whyNot() // what ran may have been in the index alone
	}
	for sit := range sits {
		m, had := b.sits[sit]
		if had {
			m.pull()
		} else {
			m = b.mem(sit)
		}
		if !had || b.connecting {
			b.settle(m)
		}
		if len(m.rows) == 0 && !b.looks {
			delete(b.sits, sit)
		}
	}
}

// settle gives the journal of a sitting what only the index, or a second place,
// has, and the index what only the journal has.
func (b *Book) settle(m *memory) {
	if b.looks {
		return
	}
	f := &m.files[home]
	if f.err != nil && len(m.rows) > 0 && b.aside(f.path, true) == nil {
		b.note(Recovered, "A session's journal could not be read. It was set aside; what the database has of it is used.")
		b.blind = nil
		m.pull()
	}
	count := func() (lost, elsewhere int) {
		lost = len(m.unheld(len(m.files)))
		return lost, len(m.unheld(spare)) - lost
	}
	lost, elsewhere := count()
	if f.harmed() {
		if unlock, err := lockFile(lockOf(f.path)); err == nil {
			m.pull() // another program may have been in the middle of its line
			lost, elsewhere = count()
			if bad := f.bad; f.harmed() && b.rewrite(m, home) == nil {
				b.tellMended(bad, lost)
				lost = 0
			}
			unlock()
		}
	}
	if lost+elsewhere > 0 {
		b.join(m, lost, elsewhere)
	} else if slices.ContainsFunc(m.files[spare:], func(f file) bool { return f.info != nil }) {
		b.joinSpares(m)
	}
	if rows := b.records(m); len(rows) > 0 {
		_ = b.put(m, rows...)
	}
	b.index(m)
}

// remake makes a new index from all journals and from all that can be read of
// the old one, and puts it in its place. The caller holds the lock and has no
// connection open. Where the journal lacks something, that is noted for keptIn.
// A great index takes a while, and the Book is not held meanwhile.
func (b *Book) remake(why error) error {
	if !b.small() {
		b.making = true
		b.mu.Unlock()
		defer func() {
			b.mu.Lock()
			b.making = false
			b.made.Broadcast()
		}()
	}
	tmp := b.cfg.Path + ".making"
	for _, s := range []string{"", "-wal", "-shm"} {
		if err := os.RemoveAll(tmp + s); err != nil {
			return err
		}
	}
	if f, err := os.OpenFile(tmp, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600); err != nil {
		return err
	} else {
		f.Close()
	}
	db, err := openWriter(tmp)
	if err != nil {
		return err
	}
	defer db.Close()
	salvaged, bad, err := b.build(db)
	if err != nil {
		return err
	}
	var busy, log, done int
	if err := db.QueryRow(`PRAGMA wal_checkpoint(TRUNCATE)`).Scan(&busy, &log, &done); err != nil {
		return err
	}
	if err := db.Close(); err != nil {
		return err
	}
	aside, err := b.swap(tmp, why)
	if err != nil {
		return err
	}
	text := b.remade(salvaged, bad, why, aside)
	if b.making {
		b.mu.Lock()
		defer b.mu.Unlock()
	}
	b.note(Recovered, "%s", text)
	return nil
}

// remade says from what the database was made, and what became of the old one.
func (b *Book) remade(salvaged, bad int, why error, aside string) string {
	text := "The notebook's database was made again from its journal"
	switch {
	case salvaged > 0:
		text += ", and " + entries(salvaged) + " from the old one"
	case len(journalFiles(b.keptDir()))+len(journalFiles(b.journalDir())) == 0:
		text = "Nothing could be read of the notebook's database, and no journal is beside it: a new one was begun"
	}
	text += " (" + plain(why) + ")."
	if aside != "" {
		text += " The old one is set aside as " + filepath.Base(aside) + "; nothing was deleted."
	}
	if bad > 0 {
		text += " " + entries(bad) + " in the old one could not be read."
	}
	return text
}

// build makes the index in an empty database, of what is put away and of what
// holds good in the index there was: salvaged is how much only that had, bad how
// much of it does not hold. Sittings whose journal lacks something get size -1.
func (b *Book) build(db *sql.DB) (salvaged, bad int, err error) {
	if err := create(db); err != nil {
		return 0, 0, err
	}
	tx, err := db.Begin()
	if err != nil {
		return 0, 0, err
	}
	defer tx.Rollback()
	w, err := newIndexer(tx)
	if err != nil {
		return 0, 0, err
	}
	lack := map[string]bool{}
	for _, name := range journalFiles(b.keptDir()) {
		if err := b.hurried(); err != nil {
			return 0, 0, err
		}
		whole, sit, err := w.kept(filepath.Join(b.keptDir(), name))
		if err != nil {
			return 0, 0, err
		}
		if !whole {
			lack[sit] = true
		}
	}
	journaled := exists(b.journalDir())
	take := func(r *row) error {
		if err := b.hurried(); err != nil {
			return err
		}
		if r.runs && journaled && !exists(filepath.Join(b.journalDir(), journalName(r.Sitting))) {
			r.From = "another notebook" // what ran here has its journal
			r.seal()
		}
		added, err := w.line(r)
		if added {
			salvaged++
			lack[r.Sitting] = true
		}
		return err
	}
	if bad, err = b.salvageAll(take); err != nil {
		return 0, 0, err
	}
	for sit := range lack {
		if _, err := tx.Exec(`INSERT OR REPLACE INTO journal(name, sitting, size, mtime, sum) VALUES(?,?,-1,0,0)`, journalName(sit), sit); err != nil {
			return 0, 0, err
		}
	}
	return salvaged, bad, tx.Commit()
}

// inMemory makes the index in memory, for want of a file that can be read.
func (b *Book) inMemory() error {
	if _, err := os.ReadDir(b.keptDir()); err != nil && !gone(err) {
		return err
	}
	db, err := openMemory()
	if err != nil {
		return err
	}
	if _, _, err := b.build(db); err != nil {
		db.Close()
		return err
	}
	b.disconnect()
	b.db, b.rd, b.inRAM = db, db, true
	for _, m := range b.sits {
		m.done = 0
	}
	b.connecting = true
	defer func() { b.connecting = false }()
	b.gather()
	return b.keptIn(false)
}

// swap puts the file tmp in the place of the index; what stood there is set
// aside under a name that says what it was and when.
func (b *Book) swap(tmp string, why error) (aside string, err error) {
	// From here on the new file is whole, and its name says so.
	ready := b.cfg.Path + ".made"
	if err := os.Rename(tmp, ready); err != nil {
		return "", err
	}
	what := "damaged"
	var s *schemaError
	if errors.As(why, &s) {
		what = fmt.Sprintf("schema-%d", s.have)
	}
	name := b.asideName(b.cfg.Path, what)
	for _, s := range []string{"-wal", "-shm", ""} {
		if err := os.Rename(b.cfg.Path+s, name+s); err == nil {
			aside = name
		} else if !gone(err) {
			return "", err
		}
	}
	_ = os.Remove(b.cfg.Path + ".seen")
	if err := os.Rename(ready, b.cfg.Path); err != nil {
		return "", err
	}
	return aside, syncDir(filepath.Dir(b.cfg.Path))
}

// catchUp brings the index up to date, or makes it where there is none.
func (b *Book) catchUp() {
	if b.making {
		return
	}
	if b.db == nil || b.broken || b.inRAM || b.changed() {
		if b.probe() != nil {
			return
		}
		_ = b.connect(true)
	}
	if b.recheck && b.db != nil && !b.inRAM && !b.connecting {
		b.bringKept()
	}
	for _, m := range b.sits {
		b.index(m)
	}
}

// salvageAll gives every line that can be read of the database that there is, and
// counts those that cannot.
func (b *Book) salvageAll(take func(*row) error) (bad int, err error) {
	for _, mode := range readOnlyModes {
		if fi, err := os.Stat(b.cfg.Path); err != nil || !fi.Mode().IsRegular() {
			break
		}
		rd, err := openReader(b.cfg.Path, mode)
		if err != nil {
			continue
		}
		read, skipped, err := salvage(rd, "", take)
		rd.Close()
		if err != nil {
			return bad, err
		}
		if bad = max(bad, skipped); read > 0 && skipped == 0 {
			break
		}
	}
	return bad, nil
}

// hurried ends what is made beside the programs when this one ends.
func (b *Book) hurried() error {
	if b.making && b.ending.Load() {
		return errEnding
	}
	return nil
}

func exists(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}

// tellMended says what was amiss with a journal that was written anew.
func (b *Book) tellMended(bad, lost int) {
	if bad+lost == 0 {
		b.note(CutShort, "The last entry in a session's journal was cut short, as when the program is killed while it writes. It had not been confirmed. A copy of the journal was set aside.")
		return
	}
	b.note(Recovered, "A session's journal was damaged and set aside. %s in it could not be read; the database had %d.", entries(max(bad, 1)), lost)
}

// join writes to the journal what it lacks, from the database and from elsewhere.
func (b *Book) join(m *memory, lost, elsewhere int) {
	if b.write(m) != nil || b.place != home {
		return
	}
	b.restored += lost
	if elsewhere > 0 {
		b.note(Back, "Joined to the notebook: %s written elsewhere while its folder refused.", entries(elsewhere))
	}
}

// harmed reports whether something in the file cannot be read.
func (f *file) harmed() bool { return f.bad > 0 || f.torn() }

// bringKept brings in the closed sessions that were left for later.
func (b *Book) bringKept() {
	unlock, err := lockFile(b.cfg.Path + ".lock")
	if err != nil {
		return
	}
	defer unlock()
	b.connecting = true
	if err := b.keptIn(true); err != nil {
		b.cfg.Logf("notebook: %v", err)
	}
	b.connecting = false
	b.made.Broadcast()
}
