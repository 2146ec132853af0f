package notebook

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"sort"
	"strings"

	"wetside/session"
)

// A line is one event in a journal file.
type line struct {
	N       int64           `json:"n"` // its place in the database; 0: none when this was written
	ID      string          `json:"id"`
	Sitting string          `json:"sitting"`
	Event   json.RawMessage `json:"event"`
	Sum     uint32          `json:"sum"`
}

var fileSafe = regexp.MustCompile(`^[0-9A-Za-z][0-9A-Za-z-]{0,63}$`)

// journalName is the file name of a sitting's journal. Identities come from
// other people's notebooks too, so anything that is no plain word is hashed.
func journalName(sit string) string {
	if !fileSafe.MatchString(sit) {
		h := sha256.Sum256([]byte(sit))
		sit = "x-" + hex.EncodeToString(h[:16])
	}
	return sit + ".jsonl"
}

func (b *Book) journalDir() string { return b.cfg.Path + ".journal" }
func (b *Book) keptDir() string    { return filepath.Join(b.journalDir(), "kept") }

// journal appends rows to the sitting's file and syncs it.
func (b *Book) journal(sit string, rows ...*row) error {
	path := filepath.Join(b.journalDir(), journalName(sit))
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_APPEND, 0)
	if os.IsNotExist(err) {
		if err = os.MkdirAll(b.journalDir(), 0o700); err != nil {
			return err
		}
		if f, err = os.OpenFile(path, os.O_WRONLY|os.O_APPEND|os.O_CREATE, 0o600); err == nil {
			if serr := syncDir(b.journalDir()); serr != nil {
				b.cfg.Logf("notebook: %v", serr)
			}
		}
	}
	if err != nil {
		return err
	}
	var buf bytes.Buffer
	// A line before may have been cut short by a full disk: begin a new one.
	buf.WriteByte('\n')
	for _, r := range rows {
		l, err := json.Marshal(line{r.seq, r.id, r.sit, json.RawMessage(r.body), r.sum()})
		if err != nil {
			f.Close()
			return err
		}
		buf.Write(l)
		buf.WriteByte('\n')
	}
	if _, err = f.Write(buf.Bytes()); err == nil {
		err = f.Sync()
	}
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	return err
}

// readJournal returns the whole lines of a journal file, each event once.
func readJournal(path string) ([]*row, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	var out []*row
	seen := map[string]*row{}
	sc := bufio.NewScanner(f)
	sc.Buffer(nil, maxPayload)
	for sc.Scan() {
		var l line
		if len(sc.Bytes()) == 0 || json.Unmarshal(sc.Bytes(), &l) != nil {
			continue
		}
		r, ok := whole(l.ID, l.Sitting, string(l.Event), l.Sum)
		if !ok {
			continue
		}
		if old := seen[l.ID]; old != nil {
			old.seq = max(old.seq, l.N)
			continue
		}
		r.seq = l.N
		seen[l.ID] = r
		out = append(out, r)
	}
	return out, sc.Err()
}

// whole makes a row of what was read from a damaged place, if it is undamaged itself.
func whole(id, sit, body string, sum uint32) (*row, bool) {
	r := &row{id: id, sit: sit, body: body}
	if id == "" || sit == "" || r.sum() != sum {
		return nil, false
	}
	var ev session.Event
	if json.Unmarshal([]byte(body), &ev) != nil {
		return nil, false
	}
	r.ev = ev
	return r, true
}

func journalFiles(dir string) []string {
	es, err := os.ReadDir(dir)
	if err != nil {
		return nil
	}
	var out []string
	for _, e := range es {
		if !e.IsDir() && strings.HasSuffix(e.Name(), ".jsonl") {
			out = append(out, filepath.Join(dir, e.Name()))
		}
	}
	sort.Strings(out)
	return out
}

// reconcile brings journal and database together: a deleted WAL leaves events
// in the journal alone, a kill between the two commits leaves one in the
// database alone.
func (b *Book) reconcile() error {
	n := 0
	files := journalFiles(b.journalDir())
	var some bool
	if err := b.db.QueryRow(`SELECT EXISTS (SELECT 1 FROM event)`).Scan(&some); err != nil {
		return err
	}
	if !some { // new, or deleted, or emptied
		files = append(journalFiles(b.keptDir()), files...)
	}
	for _, path := range files {
		rows, err := readJournal(path)
		if err != nil {
			b.cfg.Logf("notebook: %s: %v", path, err)
		}
		got, err := b.restore(rows)
		if err != nil {
			return err
		}
		n += got
	}
	if n > 0 {
		b.note(Restored, "%d event(s) that the notebook had lost were taken from its journal.", n)
	}
	b.archive()
	return nil
}

// restore writes rows the database lacks, and gives the journal what it lacks.
func (b *Book) restore(rows []*row) (int, error) {
	bySit := map[string][]*row{}
	var sits []string
	for _, r := range rows {
		if bySit[r.sit] == nil {
			sits = append(sits, r.sit)
		}
		bySit[r.sit] = append(bySit[r.sit], r)
	}
	n := 0
	for _, sit := range sits {
		have, err := fetch(b.db, sit, 0)
		if err != nil {
			return n, err
		}
		in := map[string]bool{}
		for _, r := range have {
			in[r.id] = true
		}
		var lack []*row
		for _, r := range bySit[sit] {
			if !in[r.id] {
				lack = append(lack, r)
			}
			delete(in, r.id)
		}
		if len(lack) > 0 {
			if err := b.add(sit, lack); err != nil {
				return n, err
			}
			n += len(lack)
		}
		var only []*row
		for _, r := range have {
			if in[r.id] {
				only = append(only, r)
			}
		}
		if len(only) > 0 && fileSafe.MatchString(sit) {
			if err := b.journal(sit, only...); err != nil {
				b.cfg.Logf("notebook: journal: %v", err)
			}
		}
	}
	return n, nil
}

// add inserts rows into one sitting and sets right whether it is closed.
func (b *Book) add(sit string, rows []*row) error {
	tx, err := b.db.Begin()
	if err != nil {
		return err
	}
	defer tx.Rollback()
	for _, r := range rows {
		if _, err := insertAt(tx, r); err != nil {
			return err
		}
	}
	if err := settle(tx, sit); err != nil {
		return err
	}
	return tx.Commit()
}

// archive checkpoints the WAL and puts the journals of closed sittings away.
func (b *Book) archive() {
	files := journalFiles(b.journalDir())
	if b.db == nil || len(files) == 0 {
		return
	}
	var busy, log, done int
	if err := b.db.QueryRow(`PRAGMA wal_checkpoint(TRUNCATE)`).Scan(&busy, &log, &done); err != nil || busy != 0 {
		return // somebody reads; next time
	}
	for _, path := range files {
		sit := strings.TrimSuffix(filepath.Base(path), ".jsonl")
		var closed bool
		if err := b.db.QueryRow(`SELECT closed IS NOT NULL FROM sitting WHERE id = ?`, sit).Scan(&closed); err != nil || !closed {
			continue
		}
		if err := os.MkdirAll(b.keptDir(), 0o700); err != nil {
			return
		}
		to := filepath.Join(b.keptDir(), filepath.Base(path))
		for i := 2; ; i++ {
			if _, err := os.Lstat(to); os.IsNotExist(err) {
				break
			}
			to = filepath.Join(b.keptDir(), fmt.Sprintf("%s-%d.jsonl", sit, i))
		}
		if err := os.Rename(path, to); err != nil {
			b.cfg.Logf("notebook: %v", err)
		}
	}
}
