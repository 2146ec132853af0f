package notebook

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"wetside/session"
)

func eventAt(d time.Duration) session.Event { return session.Event{Kind: session.Opened, At: at(d)} }

// crash ends a Book as a kill would: nothing is flushed or checkpointed. The
// files are taken as they stand, for closing the handles would tidy them up.
func crash(t *testing.T, b *Book) Config {
	t.Helper()
	defer b.Close()
	return crashCopy(t, b)
}

func crashCopy(t *testing.T, b *Book) Config {
	t.Helper()
	c := b.cfg
	dir := folder(t)
	if err := os.CopyFS(dir, os.DirFS(filepath.Dir(c.Path))); err != nil {
		t.Fatal(err)
	}
	c.Path, c.LogDir = filepath.Join(dir, filepath.Base(c.Path)), filepath.Join(dir, "log")
	return c
}

// tidy closes a Book as a quit would.
func tidy(t *testing.T, b *Book) Config {
	t.Helper()
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	return b.cfg
}

func same(t *testing.T, got, want map[string]string) {
	t.Helper()
	for id, body := range want {
		if got[id] != body {
			t.Errorf("event %s: %q, was %q", id, got[id], body)
		}
	}
	if len(got) != len(want) {
		t.Errorf("%d events, were %d", len(got), len(want))
	}
}

// Whatever happens to the files between two runs, nothing recorded is lost, the
// sitting goes on where it was, and the broken file is still there.
func TestDamagedFilesLoseNothing(t *testing.T) {
	size := func(path string) int64 {
		fi, err := os.Stat(path)
		if err != nil {
			t.Fatal(err)
		}
		return fi.Size()
	}
	scribble := func(path string, off int64, n int) {
		t.Helper()
		f, err := os.OpenFile(path, os.O_WRONLY, 0)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		junk := make([]byte, n)
		for i := range junk {
			junk[i] = byte(i*7 + 13)
		}
		if _, err := f.WriteAt(junk, off); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		name  string
		end   func(*testing.T, *Book) Config
		harm  func(path string)
		aside bool // the file has to be set aside
	}{
		{"killed", crash, func(string) {}, false},
		{"wal deleted", crash, func(p string) { os.Remove(p + "-wal") }, false},
		{"wal and shm deleted", crash, func(p string) { os.Remove(p + "-wal"); os.Remove(p + "-shm") }, false},
		{"wal overwritten", crash, func(p string) { scribble(p+"-wal", 0, int(size(p+"-wal"))) }, false},
		{"database truncated to half", tidy, func(p string) { os.Truncate(p, size(p)/2) }, true},
		{"database truncated within a page", tidy, func(p string) { os.Truncate(p, size(p)-1000) }, true},
		{"database truncated to its first page", tidy, func(p string) { os.Truncate(p, 4096) }, true},
		{"database truncated to some bytes", tidy, func(p string) { os.Truncate(p, 60) }, true},
		{"database truncated to nothing", tidy, func(p string) { os.Truncate(p, 0) }, false},
		{"database deleted", tidy, func(p string) { os.Remove(p) }, false},
		{"first page overwritten", tidy, func(p string) { scribble(p, 0, 4096) }, true},
		{"first page's rows overwritten", tidy, func(p string) { scribble(p, 100, 3996) }, true},
		{"all overwritten", tidy, func(p string) { scribble(p, 0, int(size(p))) }, true},
		{"killed, then emptied", crash, func(p string) { os.Truncate(p, 0) }, false},
		{"killed, then first page overwritten", crash, func(p string) { scribble(p, 0, 4096) }, false},
		{"killed, wal truncated within a frame", crash, func(p string) { os.Truncate(p+"-wal", size(p+"-wal")-777) }, false},
		{"killed, wal overwritten in its middle", crash, func(p string) { scribble(p+"-wal", size(p+"-wal")/2, 3000) }, false},
		{"killed, then truncated", crash, func(p string) { os.Truncate(p, size(p)-4096) }, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := open(t, config(t))
			sitting(t, b, 2, eventAt(0))
			s, m := sitting(t, b, 3, eventAt(24*time.Hour))
			closeIt(t, b, s, m)
			s, _ = sitting(t, b, 1, eventAt(48*time.Hour))
			want := allEvents(t, b)
			cfg := c.end(t, b)
			c.harm(cfg.Path)
			b = open(t, cfg)
			same(t, allEvents(t, b), want)
			if rows, err := b.Sheets(Filter{}); err != nil || len(rows) != 6 {
				t.Error(len(rows), "sheets", err)
			}
			got, evs, ok, err := b.Live(false)
			if err != nil || !ok || got.ID != s.ID || len(evs) != 16 {
				t.Error(got.ID == s.ID, len(evs), ok, err)
			}
			replayed(t, evs)
			if _, err := b.Append(s.ID, session.Event{Kind: session.Noted, At: at(50 * time.Hour), Note: "on"}); err != nil {
				t.Error(err)
			}
			if err := b.Check(t.Context()); err != nil {
				t.Error(err)
			}
			found, _ := filepath.Glob(cfg.Path + ".damaged-*")
			if (len(found) > 0) != c.aside && c.aside {
				t.Error("the damaged file is not there:", found)
			}
		})
	}
}

func closeIt(t *testing.T, b *Book, s Sitting, m *session.Machine) {
	t.Helper()
	if _, err := b.Append(s.ID, session.Event{Kind: session.Closed, At: m.Last()}); err != nil {
		t.Fatal(err)
	}
}

// replayed checks that events come in an order that the machine takes whole.
func replayed(t *testing.T, evs []session.Event) *session.Machine {
	t.Helper()
	m := session.New()
	for i, ev := range evs {
		if err := m.Apply(ev); err != nil {
			t.Errorf("event %d (%s): %v", i, ev.Kind, err)
		}
	}
	return m
}

// Every page in turn is overwritten; once with the journal, when nothing may be
// lost, and once without: what can still be read comes back, nothing is made
// up, and it is said.
func TestEveryPageOverwritten(t *testing.T) {
	b := open(t, config(t))
	s, m := sitting(t, b, 8, eventAt(0))
	closeIt(t, b, s, m)
	want := allEvents(t, b)
	cfg := tidy(t, b)
	file, err := os.ReadFile(cfg.Path)
	if err != nil {
		t.Fatal(err)
	}
	pages := len(file) / 4096
	step := 1
	if testing.Short() {
		step = 7
	}
	worst := 0
	for _, journal := range []bool{true, false} {
		for p := 0; p < pages; p += step {
			c := config(t)
			bad := append([]byte(nil), file...)
			for i := range 4096 {
				bad[p*4096+i] = byte(i*31 + p)
			}
			if err := os.WriteFile(c.Path, bad, 0o600); err != nil {
				t.Fatal(err)
			}
			if journal {
				if err := os.CopyFS(c.Path+".journal", os.DirFS(cfg.Path+".journal")); err != nil {
					t.Fatal(err)
				}
			}
			c.Logf = nil
			b, notices, err := Open(c)
			if err != nil {
				t.Fatal(err)
			}
			got := allEvents(t, b)
			if journal {
				same(t, got, want)
			} else {
				worst = max(worst, len(want)-len(got))
				for id, body := range got {
					if want[id] != body {
						t.Errorf("page %d: an event that never was: %q", p, body)
					}
				}
			}
			if len(notices) == 0 || notices[0].Kind != Recovered {
				t.Errorf("page %d: nothing was said: %v", p, notices)
			}
			b.Close()
		}
	}
	t.Logf("%d pages; without the journal one page cost at most %d of %d events", pages, worst, len(want))
}

// While the program runs its files are deleted, replaced or damaged. It goes
// on, says so, and the file under its name has everything in the end.
func TestFilesHarmedWhileOpen(t *testing.T) {
	for name, harm := range map[string]func(path string) error{
		"wal deleted":         func(p string) error { return os.Remove(p + "-wal") },
		"wal and shm deleted": func(p string) error { os.Remove(p + "-shm"); return os.Remove(p + "-wal") },
		"database deleted":    os.Remove,
		"all deleted":         func(p string) error { os.Remove(p + "-wal"); os.Remove(p + "-shm"); return os.Remove(p) },
		"database renamed":    func(p string) error { return os.Rename(p, p+".old") },
		"database replaced by nothing much": func(p string) error {
			if err := os.WriteFile(p+".x", []byte("hello"), 0o600); err != nil {
				return err
			}
			return os.Rename(p+".x", p)
		},
		"database truncated": func(p string) error { return os.Truncate(p, 4096) },
		"database zeroed":    func(p string) error { return os.Truncate(p, 0) },
	} {
		t.Run(name, func(t *testing.T) {
			c := config(t)
			a, b := open(t, c), open(t, c)
			s, m := sitting(t, a, 2, eventAt(0))
			if _, evs, _, err := b.Live(false); err != nil || len(evs) != 31 {
				t.Fatal(len(evs), err)
			}
			want := allEvents(t, a)
			if err := harm(c.Path); err != nil {
				t.Fatal(err)
			}
			evs, _ := life(c.NewID(), 2, 3*time.Hour, rnd(3))
			for i, ev := range evs {
				if i%3 == 2 {
					// The other program writes too.
					if got, err := b.Append(s.ID, session.Event{Kind: session.Noted, At: ev.At, Note: "field"}); err != nil {
						t.Log(err)
					} else if len(got) == 0 {
						t.Error("nothing returned")
					}
				}
				got, err := a.Append(s.ID, ev)
				if err != nil && !IsUnsaved(err) {
					t.Fatal(err)
				}
				for _, g := range got {
					if err := m.Apply(g); err != nil {
						t.Error(g.Kind, err)
					}
				}
			}
			if err := a.Flush(); err != nil {
				t.Error(err)
			}
			if err := b.Flush(); err != nil {
				t.Error(err)
			}
			for _, n := range append(a.Notices(), b.Notices()...) {
				t.Log(n.Text)
			}
			tidy(t, a)
			tidy(t, b)
			a = open(t, c)
			got := allEvents(t, a)
			for id, body := range want {
				if got[id] != body {
					t.Errorf("lost: %s", body)
				}
			}
			if len(got) != len(want)+15+5 {
				t.Errorf("%d events, want %d", len(got), len(want)+20)
			}
			if err := a.Check(t.Context()); err != nil {
				t.Error(err)
			}
			_, all, _, err := a.Live(false)
			if err != nil {
				t.Fatal(err)
			}
			if sh := replayed(t, all).Sheets(); len(sh) != 3 || sh[2].Phase != session.Finished {
				t.Error("the running sheet did not come through")
			}
		})
	}
}

// Damage that only a full check finds is mended by the next Flush.
func TestACheckLeadsToMending(t *testing.T) {
	c := config(t)
	b := open(t, c)
	sitting(t, b, 3, eventAt(0))
	b.db.QueryRow(`PRAGMA wal_checkpoint(TRUNCATE)`).Scan(new(int), new(int), new(int))
	want := allEvents(t, b)
	f, err := os.OpenFile(c.Path, os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	for p := int64(3); p < 12; p++ {
		f.WriteAt(make([]byte, 4096), p*4096)
	}
	f.Close()
	b.rd.Close() // its pages may be cached
	if b.rd, err = openReader(c.Path, "mode=rw"); err != nil {
		t.Fatal(err)
	}
	if err := b.Check(context.Background()); !isDamage(err) {
		t.Fatal(err)
	}
	if err := b.Flush(); err != nil {
		t.Fatal(err)
	}
	same(t, allEvents(t, b), want)
	if n := b.Notices(); len(n) == 0 || !strings.Contains(n[0].Text, "set aside") {
		t.Error(n)
	}
}

// While a great file is mended, Append returns at once and loses nothing.
func TestAppendGoesOnWhileAGreatFileIsMended(t *testing.T) {
	c := config(t)
	b := open(t, c)
	s, m := sitting(t, b, 4, eventAt(0))
	want := allEvents(t, b)

	b.mu.Lock()
	b.inline = 0 // from here on it is a great file
	b.broken, b.dbErr = true, errDamaged
	b.mu.Unlock()
	evs, _ := life(c.NewID(), 1, 5*time.Hour, rnd(1))
	got, err := b.Append(s.ID, evs[0])
	if err != nil || len(got) != 1 {
		t.Fatal(got, err)
	}
	flushed := make(chan error, 1)
	go func() { flushed <- b.Flush() }()
	for _, ev := range evs[1:] {
		if _, err := b.Append(s.ID, ev); err != nil && !IsUnsaved(err) {
			t.Fatal(err)
		}
	}
	if err := <-flushed; err != nil && !errors.Is(err, errMaking) {
		t.Error(err)
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	b = open(t, c)
	all := allEvents(t, b)
	for id, body := range want {
		if all[id] != body {
			t.Error("lost:", body)
		}
	}
	if len(all) != len(want)+15 {
		t.Errorf("%d events, want %d", len(all), len(want)+15)
	}
	_, got, _, err = b.Live(false)
	if err != nil {
		t.Fatal(err)
	}
	if n := len(replayed(t, got).Sheets()); n != len(m.Sheets())+1 {
		t.Error(n, "sheets")
	}
}

// A great index is not looked through line by line. What is missing of it is
// found all the same, and so is a list that is not what it was.
func TestAGreatIndexThatLacksSomething(t *testing.T) {
	made, _ := afternoon(t, config(t))
	from := tidy(t, made)
	for what, harm := range map[string]string{
		"nothing":              `SELECT 1`,
		"a line":               `DELETE FROM line WHERE seq = 5`,
		"a record of a sheet":  `DELETE FROM line WHERE seq = (SELECT max(line) FROM sheet)`,
		"a digit in the list":  `UPDATE sheet SET begun = begun + 1`,
		"a state in the list":  `UPDATE sheet SET state = 7`,
		"a table of the index": `DROP TABLE sitting`,
	} {
		t.Run(what, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "notebook.db")
			data, err := os.ReadFile(from.Path)
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(path, data, 0o600); err != nil {
				t.Fatal(err)
			}
			ask(t, path, harm)
			rd, err := openReader(path, "mode=ro")
			if err != nil {
				t.Fatal(err)
			}
			defer rd.Close()
			if err := errors.Join(checkSchema(rd), verifyGreat(rd)); isDamage(err) != (what != "nothing") {
				t.Error(err)
			}
		})
	}
}

// The journals of many closed sittings are seen to while the program runs, and
// it is not held up by them; a copy of the folder, whose files all have other
// times, is taken for what it is.
func TestManyClosedJournalsHoldNobodyUp(t *testing.T) {
	c := config(t)
	c.Served = true
	b := open(t, c)
	const n = 40
	for i := range n {
		s, m := sitting(t, b, 0, eventAt(time.Duration(i)*time.Hour))
		closeIt(t, b, s, m)
	}
	tidy(t, b)
	kept, _ := filepath.Glob(c.Path + ".journal/kept/*.jsonl")
	if len(kept) != n {
		t.Fatal(len(kept))
	}
	for _, k := range kept {
		if err := os.Chtimes(k, t0, t0); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Chtimes(filepath.Dir(kept[0]), t0, t0); err != nil {
		t.Fatal(err)
	}
	b = open(t, c)
	if amiss, err := b.keptAmiss(); b.recheck || len(amiss) > 0 || err != nil {
		t.Error("a copy is looked through again:", len(amiss), err)
	}
	tidy(t, b)
	for _, k := range kept {
		edit(t, k, `"kind":"opened"`, `"kind":"openet"`)
	}
	if err := os.Chtimes(filepath.Dir(kept[0]), t0.Add(time.Hour), t0); err != nil {
		t.Fatal(err)
	}
	if err := os.Chtimes(filepath.Dir(kept[0]), t0, t0.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	b = open(t, c)
	if !b.recheck {
		t.Fatal("all of it was done by Open")
	}
	s, _ := sitting(t, b, 0, eventAt(100*time.Hour))
	done := make(chan error)
	go func() { done <- b.Flush() }()
	during := 0
	for going := true; going; {
		select {
		case err := <-done:
			if going = false; err != nil {
				t.Error(err)
			}
		default:
			if _, err := b.Append(s.ID, session.Event{Kind: session.Noted, At: at(101 * time.Hour), Note: "on"}); err != nil {
				t.Fatal(err)
			}
			during++
		}
	}
	t.Log(during, "events while they were seen to")
	if during < 3 {
		t.Error("events had to wait for it")
	}
	for _, k := range kept {
		if data, err := os.ReadFile(k); err != nil || strings.Contains(string(data), "openet") {
			t.Error("not mended:", k, err)
		}
	}
	if err := b.Check(t.Context()); err != nil {
		t.Error(err)
	}
}

// appendTo adds to a journal, as another program does.
func appendTo(t *testing.T, path, text string) {
	t.Helper()
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_APPEND, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if _, err := f.WriteString(text); err != nil {
		t.Fatal(err)
	}
}

// A journal is not put away with a line that the index does not have.
func TestALineThatComesWhileAJournalIsPutAway(t *testing.T) {
	c := config(t)
	b := open(t, c)
	s, _ := sitting(t, b, 1, eventAt(0))
	if _, err := b.Append(s.ID, session.Event{Kind: session.Closed, At: at(24 * time.Hour)}); err != nil {
		t.Fatal(err)
	}
	m := b.sits[s.ID]
	b.settle(m)
	if m.done != len(m.rows) {
		t.Fatal("all of it is in the index first")
	}
	r := &row{head: head{ID: "other", Sitting: s.ID, N: m.last + 1}, body: marshal(t, session.Event{Kind: session.Noted, At: at(25 * time.Hour), Note: "x"})}
	r.seal()
	appendTo(t, m.files[home].path, r.text+"\n")
	if err := b.keep(m); err != nil {
		t.Fatal(err)
	}
	var there int // a kill may come now
	if err := b.db.QueryRow(`SELECT count(*) FROM line WHERE id = 'other'`).Scan(&there); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(m.files[kept].path); err == nil && there == 0 {
		t.Error("the index lacks a line of a journal that was put away")
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	b = open(t, c)
	if _, there := allEvents(t, b)["other"]; !there {
		t.Error("the line is lost")
	}
}

// A line that is cut short, as by a kill in the middle of a write, was never
// confirmed, and is told as that. One that another program finishes meanwhile
// is a line like any other.
func TestALineCutShort(t *testing.T) {
	for _, finished := range []bool{false, true} {
		c := config(t)
		b := open(t, c)
		s, _ := sitting(t, b, 0, eventAt(0))
		m := b.sits[s.ID]
		r := &row{head: head{ID: "other", Sitting: s.ID, N: m.last + 1}, body: marshal(t, session.Event{Kind: session.Noted, At: at(time.Hour), Note: "x"})}
		r.seal()
		path := m.files[home].path
		add := func(text string) { appendTo(t, path, text) }
		half := len(r.text) / 2
		add(r.text[:half])
		m.pull()
		if !m.files[home].torn() {
			t.Fatal("half a line is none")
		}
		if finished {
			add(r.text[half:] + "\n")
		}
		had := len(m.rows)
		b.Notices()
		b.settle(m)
		told := slices.IndexFunc(b.Notices(), func(n Notice) bool { return n.Kind == CutShort })
		aside, _ := filepath.Glob(path + ".damaged-*")
		_, known := m.known["other"]
		if finished != known || finished != (told < 0) || finished != (len(aside) == 0) || len(m.rows) < had || m.files[home].torn() {
			t.Errorf("finished %v: known %v, told %d, set aside %q, %d rows of %d", finished, known, told, aside, len(m.rows), had)
		}
	}
}
