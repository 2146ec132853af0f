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

// connect opens the index, makes it again if that is needed, and brings it and
// the journal together. A great one is made again only if anySize is true.
func (b *Book) connect(anySize bool) error {
	if b.connecting || b.making {
		return b.whyNot()
	}
	b.connecting = true
	defer func() { b.connecting = false }()
	var old *sql.DB
	if b.db != nil && !b.inRAM && b.changed() {
		old, b.db = b.db, nil // it still sees what was deleted
		defer old.Close()
	}
	if !b.there() {
		if old != nil {
			b.db, old = old, nil // better than nothing while the disk is away
		}
		b.gather()
		return errGone
	}
	unlock, err := lockFile(b.cfg.Path + ".lock")
	if err == nil {
		defer unlock()
		b.disconnect()
		if b.broken {
			err = b.dbErr
		} else {
			err = b.openWhole()
		}
		missing := errors.Is(err, fs.ErrNotExist)
		if missing || isDamage(err) || isRefusal(err) && b.probe() == nil {
			b.disconnect()
			b.broken = true
			if missing || anySize || b.small() {
				if err = b.remake(err, old); err == nil {
					b.broken = false
					err = b.open()
					b.believe = err == nil
					b.seen = b.files.db
				}
			}
		}
	} else {
		b.disconnect()
	}
	if err == nil {
		b.dbErr = nil
	} else {
		b.disconnect()
		b.dbErr = err
		if !b.broken && b.readOnly() == nil && b.small() {
			if verr := verify(context.Background(), b.rd); verr != nil {
				b.disconnect()
			}
		}
	}
	for _, m := range b.sits {
		m.done = 0
	}
	b.gather()
	if b.db != nil {
		if err := b.keptIn(); err != nil {
			b.cfg.Logf("notebook: journal: %v", err)
		}
		b.archiveLocked()
		// After many kills; SQLite reads it through at each start.
		if fi, err := os.Stat(b.cfg.Path + "-wal"); err == nil && fi.Size() > 1<<20 && b.checkpoint() == nil {
			b.vouch()
		}
	}
	if b.restored > 0 {
		b.note(Restored, "%d entries that either the notebook's journal or its database lacked were taken from the other.", b.restored)
		b.restored = 0
	}
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
			err = b.open()
			b.believe, b.seen = err == nil, b.files.db
			return err
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

func (b *Book) whyNot() error {
	if b.dbErr != nil {
		return b.dbErr
	}
	return errors.New("the notebook's database is not open")
}

func (b *Book) small() bool {
	fi, err := os.Stat(b.cfg.Path)
	return err != nil || fi.Size() <= b.inline
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

// gather reads the journals of all sittings that are not put away, and those
// that the index says can be gone on with, and brings both together.
func (b *Book) gather() {
	b.blind = nil
	sits := map[string]bool{}
	for i, d := range b.dirs()[home:] {
		if _, err := os.ReadDir(d); err != nil && !gone(err) {
			b.blind = err
		}
		for _, name := range journalFiles(d) {
			sit := strings.TrimSuffix(name, ".jsonl")
			if data, err := readFrom(filepath.Join(d, name), 0); err == nil {
				if rows, _, _ := lines(data); len(rows) > 0 {
					sit = rows[0].Sitting
				}
			} else if i == 0 && b.blind == nil {
				b.blind = err
			}
			sits[sit] = true
		}
	}
	if b.rd != nil && (!b.broken || b.inRAM) && !b.making {
		open, err := strs(b.rd, `SELECT id FROM sitting WHERE open`)
		b.damaged(err)
		for _, id := range open {
			sits[id] = true
		}
	} else if _, err := os.Lstat(b.journalDir()); err != nil && b.blind == nil {
		if _, err := os.Lstat(b.cfg.Path); err == nil {
			b.blind = b.whyNot() // what ran may have been in the index alone
		}
	}
	for sit := range sits {
		if m := b.sits[sit]; m != nil {
			m.pull()
			if b.connecting {
				b.settle(m)
			}
			continue
		}
		m := b.mem(sit)
		b.settle(m)
		if len(m.rows) == 0 {
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
	lost, elsewhere := len(m.unheld(len(m.files))), len(m.unheld(spare))
	elsewhere -= lost
	if f.bad > 0 || f.torn() {
		n := max(f.bad, 1)
		if unlock, err := lockFile(lockOf(f.path)); err == nil {
			if err = b.rewrite(m, home); err == nil {
				b.note(Recovered, "A session's journal was damaged and set aside. %d entries in it could not be read; %d were found in the database.", n, lost)
				lost = 0
			}
			unlock()
		}
	}
	if lost+elsewhere > 0 {
		if b.write(m) == nil && b.place == home {
			b.restored += lost
			if elsewhere > 0 {
				b.note(Back, "%d entries that were written elsewhere while the notebook's folder refused are joined to it.", elsewhere)
			}
		}
	} else if slices.ContainsFunc(m.files[spare:], func(f file) bool { return f.info != nil }) {
		b.joinSpares(m)
	}
	if rows := b.records(m); len(rows) > 0 {
		_ = b.put(m, rows...)
	}
	b.index(m)
}

// records makes the records of the sheets of a sitting that are done and have
// none, or one that its events have left behind. What a newer program wrote is
// left alone.
func (b *Book) records(m *memory) []*row {
	s := m.sitting()
	if s.Newer {
		return nil
	}
	events := m.events()
	mach, _, _ := replay(events)
	var out []*row
	for _, sh := range mach.Sheets() {
		old, had := m.record(sh.ID)
		if !had && !done(sh) {
			continue
		}
		r := recordIn(mach, s, sh, events, &old)
		body, err := r.encode()
		if err != nil {
			continue
		}
		if had {
			if was, _ := old.encode(); was == body {
				continue
			}
		}
		b.days[r.Day()] = true
		x := b.newRow(m, body, true)
		x.N += int64(len(out))
		x.seal()
		out = append(out, x)
	}
	return out
}

// record is the newest record of a sheet.
func (m *memory) record(sheet string) (Record, bool) {
	r := m.recs[sheet]
	if r == nil {
		return Record{}, false
	}
	rec, err := decodeRecord(r.body)
	return rec, err == nil
}

// index brings what is known of a sitting into the index, if that can be had.
func (b *Book) index(m *memory) {
	if m.done == len(m.rows) || b.looks {
		return
	}
	err := b.indexNow(m)
	if err == nil || isBusy(err) {
		return
	}
	b.cfg.Logf("notebook: index: %v", err)
	b.damaged(err)
	if !b.connecting && !b.inRAM && b.there() && (isDamage(err) || errors.Is(err, errGone)) {
		_ = b.connect(false)
	}
}

func (b *Book) indexNow(m *memory) error {
	if b.db == nil || b.broken && !b.inRAM || b.making {
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
	w, err := newIndexer(tx)
	if err != nil {
		return err
	}
	turn := m.done == 0
	for _, r := range m.rows[m.done:] {
		if _, err := w.line(r); err != nil {
			return err
		}
		turn = turn || r.isEvent() && amendsSitting(r)
	}
	for id, r := range m.recs {
		if slices.Contains(m.rows[m.done:], r) {
			if err := w.sheet(r, id); err != nil {
				return err
			}
		}
	}
	if turn {
		if err := w.sitting(m.sit, m.sitting().open()); err != nil {
			return err
		}
	}
	if err := tx.Commit(); err != nil {
		return err
	}
	m.done = len(m.rows)
	if b.commits++; b.commits > 200 && !b.inRAM {
		_ = b.checkpoint() // else at the next start
	}
	return nil
}

// keptSame reports whether kept/ is as the index knows it, by the time of the folder.
func (b *Book) keptSame(q querier) (bool, error) {
	var mtime, is int64
	err := q.QueryRow(`SELECT mtime FROM journal WHERE name = ''`).Scan(&mtime)
	if err != nil {
		if errors.Is(err, sql.ErrNoRows) {
			err = nil
		}
		return false, err
	}
	if fi, err := os.Stat(b.keptDir()); err == nil {
		is = fi.ModTime().UnixNano()
	} else if !gone(err) {
		return false, err
	}
	return is == mtime, nil
}

// keptIn brings the index and the journals that are put away together. As long
// as the folder is the one that the index knows, there is nothing to do.
func (b *Book) keptIn() error {
	dir := b.keptDir()
	if !b.recheck && !b.inRAM {
		if same, err := b.keptSame(b.db); err != nil || same {
			return err
		}
	}
	type entry struct {
		sit         string
		size, mtime int64
	}
	table := map[string]entry{}
	rs, err := b.db.Query(`SELECT name, sitting, size, mtime FROM journal WHERE name <> ''`)
	if err != nil {
		return err
	}
	for rs.Next() {
		var name string
		var e entry
		if err := rs.Scan(&name, &e.sit, &e.size, &e.mtime); err != nil {
			rs.Close()
			return err
		}
		table[name] = e
	}
	if err := errors.Join(rs.Err(), rs.Close()); err != nil {
		return err
	}
	es, err := os.ReadDir(dir)
	if err != nil && !gone(err) {
		return err
	}
	for _, e := range es {
		name := e.Name()
		fi, err := e.Info()
		if err != nil || !strings.HasSuffix(name, ".jsonl") {
			continue
		}
		t, in := table[name]
		if in && t.size == fi.Size() && t.mtime == fi.ModTime().UnixNano() {
			delete(table, name)
		} else if !in {
			t.sit = strings.TrimSuffix(name, ".jsonl")
			if data, err := readFrom(filepath.Join(dir, name), 0); err == nil {
				if rows, _, _ := lines(data); len(rows) > 0 {
					t.sit = rows[0].Sitting
				}
			}
			table[name] = t
		}
	}
	for _, e := range table {
		if err := b.bringIn(e.sit); err != nil {
			return err
		}
	}
	b.recheck = false
	if b.inRAM {
		return nil
	}
	return b.keptKnown()
}

// bringIn makes journal and index of one sitting, of which one has what the
// other lacks, the same.
func (b *Book) bringIn(sit string) error {
	had := b.sits[sit] != nil
	m := b.mem(sit)
	m.done = 0
	k := &m.files[kept]
	if bad := k.bad; (bad > 0 || k.torn() || k.err != nil) && !b.inRAM {
		b.note(Recovered, "The journal of a closed session was damaged and set aside. What the database has of it is used: %d entries.", len(m.rows))
	}
	m.learn(b.records(m)...)
	s := m.sitting()
	if s.open() {
		if !b.inRAM {
			if _, err := b.db.Exec(`DELETE FROM journal WHERE sitting = ?`, sit); err != nil {
				return err
			}
			if err := b.write(m); err != nil {
				return err
			}
		}
		return b.indexNow(m)
	}
	if err := b.indexNow(m); err != nil {
		return err
	}
	if !b.inRAM && len(m.rows) > 0 {
		if err := b.keep(m); err != nil {
			return err
		}
	}
	if !had {
		delete(b.sits, sit)
	}
	return nil
}

// keep puts the journal of a sitting away. All of it is in the index.
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
	m.pull()
	if k.err != nil {
		if err := b.aside(k.path, true); err != nil {
			return err
		}
	}
	whole := func(f *file) bool {
		return f.info != nil && f.bad == 0 && !f.torn() && !slices.ContainsFunc(m.rows, func(r *row) bool { return !f.has[r.ID] })
	}
	switch {
	case whole(k):
	case k.info == nil && whole(h):
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
	name := filepath.Base(k.path)
	data, err := os.ReadFile(k.path)
	if err != nil {
		return err
	}
	_, err = b.db.Exec(`INSERT OR REPLACE INTO journal(name, sitting, size, mtime, sum) VALUES(?,?,?,?,?)`,
		name, m.sit, k.info.Size(), k.info.ModTime().UnixNano(), int64(sum(string(data))))
	return err
}

// keptKnown notes that the index knows all that is in kept/.
func (b *Book) keptKnown() error {
	var mtime int64
	if fi, err := os.Stat(b.keptDir()); err == nil {
		mtime = fi.ModTime().UnixNano()
	}
	_, err := b.db.Exec(`INSERT OR REPLACE INTO journal(name, sitting, size, mtime, sum) VALUES('', '', 0, ?, 0)`, mtime)
	return err
}

// archive puts the journals of closed sittings away, and brings the WAL in.
func (b *Book) archive() {
	if b.db == nil || b.inRAM || b.broken || b.place > home {
		return
	}
	unlock, err := lockFile(b.cfg.Path + ".lock")
	if err != nil {
		return
	}
	defer unlock()
	b.archiveLocked()
}

func (b *Book) archiveLocked() {
	var closed []*memory
	for _, name := range journalFiles(b.journalDir()) {
		for _, m := range b.sits {
			if journalName(m.sit) == name {
				if rows := b.records(m); len(rows) > 0 {
					_ = b.put(m, rows...)
				}
			}
			if journalName(m.sit) == name && m.done == len(m.rows) && len(m.unheld(spare)) == 0 && !m.sitting().open() {
				closed = append(closed, m)
			}
		}
	}
	if len(closed) == 0 || b.changed() || b.checkpoint() != nil {
		return
	}
	for _, m := range closed {
		if err := b.keep(m); err != nil {
			b.cfg.Logf("notebook: %v", err)
			return
		}
	}
	if err := b.keptKnown(); err != nil {
		b.cfg.Logf("notebook: %v", err)
	}
}

// remake makes a new index from all journals and from all that can be read of
// the old one, and puts it in its place. The caller holds the lock and has no
// connection open but old, which may see what was deleted. Where the journal
// lacks something, that is noted for keptIn. A great index takes a while, and
// the Book is not held meanwhile.
func (b *Book) remake(why error, old *sql.DB) error {
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
	if err := create(db); err != nil {
		return err
	}
	from := []*sql.DB{old}
	for _, mode := range []string{"mode=ro", "mode=ro&immutable=1"} {
		if fi, err := os.Stat(b.cfg.Path); err == nil && fi.Mode().IsRegular() {
			if rd, err := openReader(b.cfg.Path, mode); err == nil {
				defer rd.Close()
				from = append(from, rd)
			}
		}
	}
	rep, err := b.fill(db, from)
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
	what := "damaged"
	var s *schemaError
	if errors.As(why, &s) {
		what = fmt.Sprintf("schema-%d", s.have)
	}
	aside, err := b.swap(tmp, what)
	if err != nil {
		return err
	}
	text := "The notebook's database was made again from its journal"
	if len(journalFiles(b.keptDir()))+len(journalFiles(b.journalDir()))+rep.salvaged == 0 {
		text = "Nothing could be read of the notebook's database, and no journal is beside it: a new one was begun"
	} else if rep.salvaged > 0 {
		text += fmt.Sprintf(", and %d entries from the old one", rep.salvaged)
	}
	text += " (" + plain(why) + ")."
	if aside != "" {
		text += " The old one is set aside as " + filepath.Base(aside) + "; nothing was deleted."
	}
	if rep.bad > 0 {
		text += fmt.Sprintf(" %d entries in the old one could not be read.", rep.bad)
	}
	b.notes(Recovered, text)
	return nil
}

// notes is note for whoever may not hold the Book.
func (b *Book) notes(k NoticeKind, text string) {
	if b.making {
		b.mu.Lock()
		defer b.mu.Unlock()
	}
	b.note(k, "%s", text)
}

type filled struct{ salvaged, bad int }

// fill fills an empty index with what is put away, and with what hold good of
// older ones. Sittings whose journal lacks something get size -1.
func (b *Book) fill(db *sql.DB, from []*sql.DB) (rep filled, err error) {
	tx, err := db.Begin()
	if err != nil {
		return rep, err
	}
	defer tx.Rollback()
	w, err := newIndexer(tx)
	if err != nil {
		return rep, err
	}
	for _, name := range journalFiles(b.keptDir()) {
		path := filepath.Join(b.keptDir(), name)
		f := file{path: path}
		rows, _ := f.pull()
		m := &memory{known: map[string]*row{}, recs: map[string]*row{}, sit: strings.TrimSuffix(name, ".jsonl")}
		if len(rows) > 0 {
			m.sit = rows[0].Sitting
		}
		m.learn(rows...)
		for _, r := range m.rows {
			if _, err := w.line(r); err != nil {
				return rep, err
			}
		}
		for id, r := range m.recs {
			if err := w.sheet(r, id); err != nil {
				return rep, err
			}
		}
		size, mtime, crc := int64(-1), int64(0), uint32(0)
		if f.err == nil && f.bad == 0 && !f.torn() && (len(m.recs) > 0 || len(m.inbox) < 2) {
			data, err := os.ReadFile(path)
			if err != nil {
				return rep, err
			}
			size, mtime, crc = f.info.Size(), f.info.ModTime().UnixNano(), sum(string(data))
		}
		if _, err := tx.Exec(`INSERT INTO journal(name, sitting, size, mtime, sum) VALUES(?,?,?,?,?)`, name, m.sit, size, mtime, int64(crc)); err != nil {
			return rep, err
		}
	}
	_, err = os.Lstat(b.journalDir())
	journaled := err == nil
	lack := map[string]bool{}
	for _, src := range from {
		if src == nil {
			continue
		}
		bad, err := salvage(src, "", func(r *row) error {
			if r.runs && journaled {
				// What ran here has its journal; this came in from elsewhere.
				if _, err := os.Lstat(filepath.Join(b.journalDir(), journalName(r.Sitting))); err != nil {
					r.From = "another notebook"
					r.seal()
				}
			}
			added, err := w.line(r)
			if added {
				rep.salvaged++
				lack[r.Sitting] = true
			}
			return err
		})
		if err != nil {
			return rep, err
		}
		rep.bad = max(rep.bad, bad)
	}
	for sit := range lack {
		if _, err := tx.Exec(`INSERT OR REPLACE INTO journal(name, sitting, size, mtime, sum) VALUES(?,?,-1,0,0)`, journalName(sit), sit); err != nil {
			return rep, err
		}
	}
	return rep, tx.Commit()
}

// inMemory makes the index in memory, for want of a file that can be read.
func (b *Book) inMemory() error {
	db, err := sql.Open("sqlite", "file::memory:?_txlock=immediate")
	if err != nil {
		return err
	}
	db.SetMaxOpenConns(1) // each connection would have a memory of its own
	if err := create(db); err != nil {
		return err
	}
	var from []*sql.DB
	for _, mode := range []string{"mode=ro", "mode=ro&immutable=1"} {
		if rd, err := openReader(b.cfg.Path, mode); err == nil {
			defer rd.Close()
			from = append(from, rd)
		}
	}
	if _, err := os.ReadDir(b.keptDir()); err != nil && !gone(err) {
		return err
	}
	if _, err := b.fill(db, from); err != nil {
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
	return b.keptIn()
}

// swap puts the file tmp in the place of the index; what stood there is set
// aside under a name that says what it was and when.
func (b *Book) swap(tmp, what string) (aside string, err error) {
	// From here on the new file is whole, and its name says so.
	ready := b.cfg.Path + ".made"
	if err := os.Rename(tmp, ready); err != nil {
		return "", err
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

// verify reads a whole index for damage: its pages, and the checksum of each row.
func verify(ctx context.Context, db *sql.DB) error {
	var pages int64
	if err := db.QueryRowContext(ctx, `PRAGMA page_count`).Scan(&pages); err != nil {
		return err
	}
	checks := []string{`PRAGMA integrity_check(3)`}
	if pages > 4096 { // the lines' own indexes are as great as they are, and the journal has the lines too
		checks = []string{`PRAGMA quick_check(3)`, `PRAGMA integrity_check(sheet)`}
	}
	for _, c := range checks {
		found, err := strs(ctxQuerier{ctx, db}, c)
		if err != nil {
			return err
		}
		for _, f := range found {
			if f != "ok" {
				return fmt.Errorf("%w: %s", errDamaged, f)
			}
		}
	}
	rs, err := db.QueryContext(ctx, `SELECT id, sitting, text FROM line`)
	if err != nil {
		return err
	}
	defer rs.Close()
	var id, sit, text sql.RawBytes
	for rs.Next() {
		if err := rs.Scan(&id, &sit, &text); err != nil {
			return err
		}
		if !intact(id, sit, text) {
			return fmt.Errorf("%w: line %s", errDamaged, id)
		}
	}
	if err := errors.Join(rs.Err(), rs.Close()); err != nil {
		return err
	}
	return eachRow(ctx, db, Filter{}, func(*Row) error { return nil })
}

// ctxQuerier is a database whose questions can be called off.
type ctxQuerier struct {
	ctx context.Context
	*sql.DB
}

func (q ctxQuerier) Query(query string, args ...any) (*sql.Rows, error) {
	return q.QueryContext(q.ctx, query, args...)
}

// Check reads the whole notebook for damage, index and journals, beside
// whatever else goes on. If it finds any, the next Flush mends it, and the error
// says what it was.
func (b *Book) Check(ctx context.Context) error {
	b.mu.Lock()
	rd, db := b.rd, b.db
	seen, _ := os.Stat(b.cfg.Path)
	busy := b.making || b.broken || b.inRAM
	b.mu.Unlock()
	if rd == nil || db == nil || busy {
		return nil
	}
	err := verify(ctx, rd)
	if err == nil {
		err = b.checkKept(ctx, rd)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.rd != rd {
		return nil // another one since
	}
	b.damaged(err)
	if fi, serr := os.Stat(b.cfg.Path); err == nil && serr == nil && sameState(fi, seen) {
		b.seen, b.believe = fi, true
		b.vouch()
	}
	return err
}

// errJournal says that a closed journal is not what the index knows.
var errJournal = errors.New("a closed journal was damaged")

func (b *Book) checkKept(ctx context.Context, rd *sql.DB) error {
	rs, err := rd.QueryContext(ctx, `SELECT name, sum FROM journal WHERE name <> '' AND size >= 0`)
	if err != nil {
		return err
	}
	defer rs.Close()
	var bad []string
	for rs.Next() {
		var name string
		var want int64
		if err := rs.Scan(&name, &want); err != nil {
			return err
		}
		if data, err := os.ReadFile(filepath.Join(b.keptDir(), name)); err != nil || int64(sum(string(data))) != want {
			bad = append(bad, name)
		}
	}
	if err := errors.Join(rs.Err(), rs.Close()); err != nil || len(bad) == 0 {
		return err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, name := range bad {
		if b.db == nil {
			break
		}
		if _, err := b.db.ExecContext(ctx, `UPDATE journal SET size = -1 WHERE name = ?`, name); err != nil {
			return err
		}
	}
	b.recheck = true
	return fmt.Errorf("%w: %s", errJournal, bad[0])
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
	if b.recheck && b.db != nil && !b.inRAM {
		if unlock, err := lockFile(b.cfg.Path + ".lock"); err == nil {
			if err := b.keptIn(); err != nil {
				b.cfg.Logf("notebook: %v", err)
			}
			unlock()
		}
	}
	for _, m := range b.sits {
		b.index(m)
	}
}

var errMaking = errors.New("the notebook's database is being looked through or made again: look once more in a minute")

// reader returns a handle for reading on an index that is whole, and the
// records that it lacks.
func (b *Book) reader() (*sql.DB, []*Record, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.closed {
		return nil, nil, errors.New("notebook: it is closed")
	}
	refused := func(err error) (*sql.DB, []*Record, error) {
		return nil, nil, fmt.Errorf("the notebook cannot be read: %s", plain(err))
	}
	if b.looks && !b.inRAM && !b.there() {
		return refused(errGone)
	}
	for try := 0; ; try++ {
		if b.making || b.broken && b.cfg.Served && !b.small() {
			return nil, nil, errMaking
		}
		if b.broken || b.rd == nil || b.db != nil && b.changed() && b.there() {
			_ = b.connect(true)
		}
		if b.rd == nil {
			if err := b.inMemory(); err != nil {
				return refused(err)
			}
		}
		if b.believe || b.inRAM || !b.there() {
			break
		}
		if b.cfg.Served && b.db != nil && b.files.db.Size() > checkWhole {
			return nil, nil, errMaking // Check is at it
		}
		if try > 1 {
			return refused(b.whyNot())
		}
		seen, _ := os.Stat(b.cfg.Path)
		if err := verify(context.Background(), b.rd); err == nil {
			b.seen, b.believe = seen, true
		} else if isDamage(err) {
			b.damaged(err)
		} else {
			return refused(err)
		}
	}
	if b.inRAM && b.blind != nil {
		return nil, nil, fmt.Errorf("the notebook cannot be read whole: %s", plain(b.blind))
	}
	var waiting []*Record
	for _, m := range b.sits {
		b.index(m)
		if m.done == len(m.rows) {
			continue
		}
		for id := range m.recs {
			if r, ok := m.record(id); ok && r.ended() {
				waiting = append(waiting, &r)
			}
		}
	}
	return b.rd, waiting, nil
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
