package notebook

import (
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"wetside/session"
	"wetside/session/sessiontest"
)

// truth is what a notebook says.
type truth struct {
	open   string // the sitting that can be gone on with
	closed string // one that cannot
	events string // its events
	sheets string // every record, as the export has it
	list   string
}

func tell(b *Book) (t truth, err error) {
	s, evs, ok, err := b.Live(false)
	if err != nil {
		return t, err
	}
	if ok {
		t.open = s.ID
	}
	var out strings.Builder
	if err := b.Export(&out, JSON, Filter{}, Options{}); err != nil {
		return t, err
	}
	t.sheets = string(sheetsOf([]byte(out.String())))
	rows, err := b.Sheets(Filter{})
	for _, r := range rows {
		t.list += fmt.Sprintln(r.cells()[:18]...) + fmt.Sprintln(r.Exposure, r.Stops != nil && *r.Stops > 0)
	}
	body, jerr := json.Marshal(evs)
	t.events = string(body)
	return t, errors.Join(err, jerr)
}

// afternoon is a notebook with a closed sitting, one that came in from
// elsewhere, and one with a sheet in the fixer.
func afternoon(t *testing.T, c Config) (*Book, truth) {
	t.Helper()
	other := open(t, config(t))
	sitting(t, other, 1, eventAt(2*time.Hour))
	away := filepath.Join(t.TempDir(), "away.db")
	if err := other.Backup(away); err != nil {
		t.Fatal(err)
	}
	b := open(t, c)
	s, m := sitting(t, b, 2, eventAt(0))
	closeIt(t, b, s, m)
	if err := b.SaveSheet(s, m.Sheets()[0], m.Now(), []BathUse{{Serial: 3, Mix: "m1", Age: Secs(time.Hour), Share: .25}}); err != nil {
		t.Fatal(err)
	}
	if _, err := takeIn(b, away); err != nil {
		t.Fatal(err)
	}
	tidy(t, b)
	b = open(t, c)
	closed := s.ID
	s, m = sitting(t, b, 1, eventAt(24*time.Hour))
	evs, _ := life(c.NewID(), 1, 30*time.Hour, rnd(5))
	live(t, b, s, m, evs[:11]) // in the fixer
	if err := b.Judge(m.Sheets()[0].ID, at(40*time.Hour), .5, "thin"); err != nil {
		t.Fatal(err)
	}
	is, err := tell(b)
	if err != nil || is.open != s.ID {
		t.Fatal(is.open, err)
	}
	is.closed = closed
	return b, is
}

func (is truth) check(t *testing.T, got truth) {
	t.Helper()
	if got.open != is.open {
		t.Errorf("offered is %q, not %q", got.open, is.open)
	}
	for _, x := range [][3]string{{"events", got.events, is.events}, {"records", got.sheets, is.sheets}, {"list", got.list, is.list}} {
		if x[1] != x[2] {
			t.Errorf("%s differ:\n%s\nwere\n%s", x[0], x[1], x[2])
		}
	}
}

func ask(t *testing.T, path string, queries ...string) {
	t.Helper()
	db, err := sql.Open("sqlite", dsn(path, "mode=rw"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for _, q := range queries {
		if _, err := db.Exec(q); err != nil {
			t.Fatal(q, err)
		}
	}
}

func only(t *testing.T, pattern string) string {
	t.Helper()
	found, err := filepath.Glob(pattern)
	if err != nil || len(found) == 0 {
		t.Fatal(pattern, found, err)
	}
	return found[0]
}

func edit(t *testing.T, path, old, new string) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil || !strings.Contains(string(data), old) {
		t.Fatal(path, old, err)
	}
	if err := os.WriteFile(path, []byte(strings.Replace(string(data), old, new, 1)), 0o600); err != nil {
		t.Fatal(err)
	}
}

// harms are what befalls a notebook between two starts. The journal of the open
// sitting is live, of the closed one kept.
var harms = []struct {
	name string
	do   func(t *testing.T, db, live, kept string)
	told bool // there is something to tell
}{
	{"nothing", func(t *testing.T, db, live, kept string) {}, false},
	{"shm cannot be read", func(t *testing.T, db, live, kept string) { os.Remove(db + "-shm"); os.Mkdir(db+"-shm", 0o700) }, true},
	{"wal cannot be read", func(t *testing.T, db, live, kept string) { os.Remove(db + "-wal"); os.Mkdir(db+"-wal", 0o700) }, true},
	{"wal deleted", func(t *testing.T, db, live, kept string) { os.Remove(db + "-wal") }, false},
	{"database cannot be read", func(t *testing.T, db, live, kept string) { os.Remove(db); os.Mkdir(db, 0o700) }, true},
	{"database deleted", func(t *testing.T, db, live, kept string) { os.Remove(db) }, true},
	{"table of lines dropped", func(t *testing.T, db, live, kept string) { ask(t, db, `DROP VIEW event`, `DROP TABLE line`) }, true},
	{"table of sheets dropped", func(t *testing.T, db, live, kept string) { ask(t, db, `DROP TABLE sheet`) }, true},
	{"rows of sheets deleted", func(t *testing.T, db, live, kept string) { ask(t, db, `DELETE FROM sheet`, `PRAGMA user_version = -1`) }, true},
	{"of a newer schema", func(t *testing.T, db, live, kept string) { ask(t, db, `PRAGMA user_version = 99`) }, true},
	{"of no schema", func(t *testing.T, db, live, kept string) { ask(t, db, `PRAGMA user_version = 0`) }, true},
	{"of a negative schema", func(t *testing.T, db, live, kept string) { ask(t, db, `PRAGMA user_version = -7`) }, true},
	{"a digit in an event", func(t *testing.T, db, live, kept string) {
		ask(t, db, `UPDATE line SET text = replace(text, '"planned":270000000000', '"planned":970000000000') WHERE text LIKE '%exposure begun%'`)
	}, true},
	{"a digit in a record", func(t *testing.T, db, live, kept string) {
		ask(t, db, `UPDATE line SET text = replace(text, '"planned_s":270', '"planned_s":970') WHERE text LIKE '%"record"%'`)
	}, true},
	{"a digit in the list", func(t *testing.T, db, live, kept string) {
		ask(t, db, `UPDATE sheet SET exp_actual = exp_actual + 3000000000`)
	}, true},
	{"a letter in the list", func(t *testing.T, db, live, kept string) { ask(t, db, `UPDATE sheet SET camera = 'hat-boy'`) }, true},
	{"a digit in the open journal", func(t *testing.T, db, live, kept string) {
		edit(t, live, `"planned":270000000000`, `"planned":970000000000`)
	}, true},
	{"a digit in a closed journal", func(t *testing.T, db, live, kept string) {
		edit(t, kept, `"planned":270000000000`, `"planned":970000000000`)
	}, false},
	{"a digit in a closed journal, and the database deleted but for a copy of it", func(t *testing.T, db, live, kept string) {
		edit(t, kept, `"planned":270000000000`, `"planned":970000000000`)
		ask(t, db, `DROP TABLE sheet`)
	}, true},
	{"open journal torn", func(t *testing.T, db, live, kept string) {
		fi, err := os.Stat(live)
		if err != nil {
			t.Fatal(err)
		}
		os.Truncate(live, fi.Size()-30)
	}, true},
	{"open journal cut at a line", func(t *testing.T, db, live, kept string) {
		data, _ := os.ReadFile(live)
		i := strings.LastIndex(string(data[:len(data)-1]), "\n")
		os.Truncate(live, int64(i+1))
	}, true},
	{"open journal deleted", func(t *testing.T, db, live, kept string) { os.Remove(live) }, true},
	{"open journal a folder", func(t *testing.T, db, live, kept string) { os.Remove(live); os.Mkdir(live, 0o700) }, true},
	{"closed journals deleted", func(t *testing.T, db, live, kept string) { os.RemoveAll(filepath.Dir(kept)) }, false},
	{"all journals deleted", func(t *testing.T, db, live, kept string) { os.RemoveAll(filepath.Dir(live)) }, true},
	{"a file in place of the journals", func(t *testing.T, db, live, kept string) {
		os.RemoveAll(filepath.Dir(live))
		os.WriteFile(filepath.Dir(live), []byte("hello"), 0o600)
	}, true},
	{"garbage in place of the database", func(t *testing.T, db, live, kept string) { os.WriteFile(db, make([]byte, 70000), 0o600) }, true},
}

// Each is done to a notebook with a sitting open, after a quit and after a kill.
// What is told after is what was, with no question, twice the same.
func TestWhateverIsDamagedTheTruthIsTold(t *testing.T) {
	made, is := afternoon(t, config(t))
	killed := crashCopy(t, made)
	quit := tidy(t, made)
	for _, h := range harms {
		for end, from := range map[string]Config{"killed": killed, "quit": quit} {
			t.Run(h.name+", "+end, func(t *testing.T) {
				c := config(t)
				if err := os.CopyFS(filepath.Dir(c.Path), os.DirFS(filepath.Dir(from.Path))); err != nil {
					t.Fatal(err)
				}
				live := only(t, c.Path+".journal/"+journalName(is.open))
				kept := only(t, c.Path+".journal/kept/"+journalName(is.closed))
				h.do(t, c.Path, live, kept)
				for range 2 {
					b, notices, err := Open(c)
					if err != nil {
						t.Fatal(err)
					}
					got, err := tell(b)
					if err != nil {
						t.Fatal(err)
					}
					is.check(t, got)
					err = b.Check(t.Context())
					if errors.Is(err, errJournal) {
						if err := b.Flush(); err != nil { // which mends it
							t.Error(err)
						}
						err = b.Check(t.Context())
					}
					if err != nil {
						t.Error(err)
					}
					notices = append(notices, b.Notices()...)
					if h.told && len(notices) == 0 {
						t.Error("nothing was told")
					}
					for _, n := range notices {
						t.Log(n.Text)
					}
					h.told = false
					if err := b.Close(); err != nil {
						t.Error(err)
					}
				}
				if b, err := os.ReadFile(live); err != nil || len(b) == 0 {
					t.Error("the open sitting has no journal:", err)
				}
			})
		}
	}
}

// 1 to 20 bytes changed anywhere in the folder: what is told is what was, or it
// is said that something is amiss. It is never silently something else.
func TestBytesChangedAnywhere(t *testing.T) {
	made, is := afternoon(t, config(t))
	from := tidy(t, made)
	r := rnd(uint64(time.Now().UnixNano()))
	n := 200
	if testing.Short() {
		n = 40
	}
	told, whole := 0, 0
	for i := range n {
		c := config(t)
		c.Logf = nil
		if err := os.CopyFS(filepath.Dir(c.Path), os.DirFS(filepath.Dir(from.Path))); err != nil {
			t.Fatal(err)
		}
		where := flip(t, filepath.Dir(c.Path), r.IntN)
		b, notices, err := Open(c)
		if err != nil {
			t.Fatal(err)
		}
		got, terr := tell(b)
		cerr := b.Check(t.Context())
		if cerr != nil {
			_ = b.Flush()
		}
		notices = append(notices, b.Notices()...)
		b.Close()
		if len(notices) > 0 {
			told++
		}
		got.closed = is.closed
		switch {
		case got == is && terr == nil:
			whole++
		case terr == nil && len(notices) == 0:
			t.Errorf("%d: %s: silently wrong", i, where)
			is.check(t, got)
		case got.open != is.open && terr == nil:
			t.Errorf("%d: %s: an empty bench; %v", i, where, notices)
		default:
			t.Log(where, terr, notices)
		}
		os.RemoveAll(filepath.Dir(c.Path))
	}
	t.Logf("of %d, %d were told as they were; something was said of %d", n, whole, told)
}

// flip changes 1 to 20 bytes in one of the files below dir, in proportion to
// their size.
func flip(t testing.TB, dir string, intN func(int) int) string {
	t.Helper()
	var files []string
	var sizes []int
	all := 0
	if err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err == nil && d.Type().IsRegular() {
			fi, err := d.Info()
			if err != nil {
				return err
			}
			files, sizes = append(files, path), append(sizes, int(fi.Size()))
			all += int(fi.Size())
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	at, i := intN(all), 0
	if intN(3) == 0 { // the small ones too
		for i = intN(len(files)); sizes[i] == 0; i = intN(len(files)) {
		}
		at = intN(sizes[i])
	} else {
		for at >= sizes[i] {
			at -= sizes[i]
			i++
		}
	}
	data, err := os.ReadFile(files[i])
	if err != nil {
		t.Fatal(err)
	}
	n := 1 + intN(20)
	for k := at; k < min(at+n, len(data)); k++ {
		data[k] = byte(intN(256))
	}
	if err := os.WriteFile(files[i], data, 0o600); err != nil {
		t.Fatal(err)
	}
	return fmt.Sprintf("%s: %d bytes at %d", filepath.Base(files[i]), n, at)
}

// What a newer program wrote is kept as it is, and what is understood goes on.
func TestANewerProgramsSittingGoesOn(t *testing.T) {
	c := config(t)
	b, is := afternoon(t, c)
	tidy(t, b)
	ask(t, c.Path, `PRAGMA user_version = 99`)
	live := filepath.Join(c.Path+".journal", journalName(is.open))
	strange := &row{head: head{ID: "x1", Sitting: is.open, N: 900}, body: `{"kind":"sheet toned","at":{"wall":"2026-05-10T14:03:22+02:00","boot":1,"boot_id":"b1"},"tone":"sepia"}`}
	strange.seal()
	sort := `{"id":"x2","sitting":"` + is.open + `","n":901,"tray":{"a":1}`
	sort += end(sort)
	f, err := os.OpenFile(live, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	fmt.Fprintf(f, "%s\n%s\n", strange.text, sort)
	f.Close()
	for range 2 {
		b, notices, err := Open(c)
		if err != nil {
			t.Fatal(err)
		}
		s, evs, ok, err := b.Live(false)
		if err != nil || !ok || s.ID != is.open || !s.Newer {
			t.Fatal(s, ok, err)
		}
		notices = append(notices, b.Notices()...)
		if !slices.ContainsFunc(notices, func(n Notice) bool { return n.Kind == Newer }) {
			t.Error(notices)
		}
		m := session.New()
		for _, e := range evs {
			m.Apply(e)
		}
		sh := m.Sheets()[1]
		if v := sh.Visit(); v != nil && v.Stage == session.Fix {
			if _, err := b.Append(s.ID, session.Event{Kind: session.Moved, At: at(50 * time.Hour), Sheet: sh.ID, From: v.Serial}); err != nil {
				t.Error(err)
			}
		}
		before, err := b.Sheet(m.Sheets()[0].ID)
		if err != nil {
			t.Fatal(err)
		}
		if err := b.Judge(before.ID, at(60*time.Hour), 1, "x"); err == nil {
			t.Error("a finished sheet was changed")
		}
		if after, err := b.Sheet(before.ID); err != nil || len(after.Judgements) != len(before.Judgements) {
			t.Error(after.Judgements, err)
		}
		if err := b.Close(); err != nil {
			t.Error(err)
		}
		data, err := os.ReadFile(live)
		if err != nil || !strings.Contains(string(data), strange.text) || !strings.Contains(string(data), sort) {
			t.Error("it was not kept as it is:", err)
		}
	}
}

// The folder refuses in the midst of a sheet, and the program is killed at some
// event or other. The next start, with the folder back or not, has every event.
func TestRefusedAndKilledLosesNothing(t *testing.T) {
	for name, how := range map[string]func(t *testing.T) (dir string, refuse, relent func()){
		"full": func(t *testing.T) (string, func(), func()) {
			dir := disk(t, "2m")
			var free func()
			return dir, func() { free = fill(t, dir) }, func() { free() }
		},
		"read-only": func(t *testing.T) (string, func(), func()) {
			need(t, runtime.GOOS == "linux" && os.Geteuid() == 0, "run as root on Linux, so that chattr +i can be done")
			dir := t.TempDir()
			ch := func(flag string) {
				if out, err := exec.Command("chattr", "-R", flag, dir).CombinedOutput(); err != nil {
					need(t, false, "chattr (e2fsprogs) on a file system that knows it: "+string(out))
				}
			}
			t.Cleanup(func() { exec.Command("chattr", "-R", "-i", dir).Run() })
			return dir, func() { ch("+i") }, func() { ch("-i") }
		},
		"vanished": func(t *testing.T) (string, func(), func()) {
			dir := t.TempDir()
			data := filepath.Join(dir, "data")
			return dir, func() { os.Rename(data, data+".away") }, func() { os.RemoveAll(data); os.Rename(data+".away", data) }
		},
	} {
		t.Run(name, func(t *testing.T) {
			if name == "read-only" && testing.Short() {
				// SQLite writes to the -shm file through mapped memory. Once the file
				// is immutable that raises SIGBUS, which the driver catches and
				// takes for an I/O error; but not where the race detector makes the
				// store, for that is C.
				sessiontest.Leave(t, "the race detector, whose pass is run with -short, makes the store into mapped memory at which an immutable file raises SIGBUS, and the driver can catch that in Go alone", "run without -short and without -race")
			}
			dir, refuse, relent := how(t)
			r := rnd(uint64(time.Now().UnixNano()))
			for run := range 20 {
				data := filepath.Join(dir, "data")
				os.RemoveAll(data)
				c := Config{Path: filepath.Join(data, "notebook.db"), LogDir: filepath.Join(data, "log"), NewID: uuid.NewString, Now: time.Now,
					Spare: []string{filepath.Join(t.TempDir(), "state"), t.TempDir()}}
				if run%2 == 1 {
					os.WriteFile(c.Spare[0], nil, 0o600) // the first of them refuses too
				}
				b := open(t, c)
				s, m := sitting(t, b, 1, eventAt(0))
				want := 16
				at, killed := r.IntN(14), 0
				evs, _ := life(uuid.NewString(), 1, 2*time.Hour, r)
				killed = at + 1 + r.IntN(14-at)
				for i, ev := range evs[:killed] {
					if i == at {
						refuse()
						if _, err := b.Poll(s.ID); err != nil {
							t.Fatal(err)
						}
					}
					got, err := b.Append(s.ID, ev)
					if err != nil || len(got) != 1 {
						t.Fatal(got, err)
					}
					want++
				}
				if n := b.Pending(); n != 0 {
					t.Errorf("%d in memory", n)
				}
				notices := b.Notices()
				if name != "full" && !slices.ContainsFunc(notices, func(n Notice) bool { return n.Kind == Elsewhere }) {
					t.Error("nobody was told where it is written:", notices)
				}
				// Killed: it is not closed. The next start finds the folder as it is.
				_ = m
				again, notices, err := Open(c)
				if err != nil {
					t.Fatal(err)
				}
				if got, evs, ok, err := again.Live(false); err != nil || !ok || got.ID != s.ID || len(evs) != want {
					t.Errorf("run %d, while it refuses: %d events, want %d, %v %v; %v", run, len(evs), want, ok, err, notices)
				} else {
					replayed(t, evs)
				}
				again.Close()
				relent()
				b.Close()
				third := open(t, c)
				if got, evs, ok, err := third.Live(false); err != nil || !ok || got.ID != s.ID || len(evs) != want {
					t.Errorf("run %d, when it is back: %d events, want %d, %v %v", run, len(evs), want, ok, err)
				} else {
					replayed(t, evs)
				}
				if n := len(allEvents(t, third)); n != want {
					t.Errorf("run %d: %d in the index, want %d", run, n, want)
				}
				tidy(t, third)
				for _, d := range (&Book{cfg: c}).dirs()[spare:] {
					if es, _ := os.ReadDir(d); len(es) > 0 {
						t.Error("left in the second place:", es)
					}
				}
			}
		})
	}
}

// A notebook of each earlier schema becomes one of this, with all that its
// database alone held, and opens twice the same.
func TestNotebooksOfEveryEarlierSchema(t *testing.T) {
	for version := 1; version <= 2; version++ {
		for _, journaled := range []bool{true, false} {
			t.Run(fmt.Sprintf("schema %d, journal %v", version, journaled), func(t *testing.T) {
				c := config(t)
				o := oldNotebook(t, c.Path, version)
				o.life(journaled)
				if version == 2 {
					src := open(t, config(t))
					s, m := sitting(t, src, 1, eventAt(0))
					closeIt(t, src, s, m)
					r, err := src.Sheet(m.Sheets()[0].ID)
					if err != nil {
						t.Fatal(err)
					}
					// One came in without its events, with a note and a scan.
					r.Sitting, r.Scan, r.Notes = "elsewhere", "signal-box-1.png", []NoteRecord{{at(0).Wall, "the lamp shows"}}
					o.record(&r)
					// And a sitting that runs on another laptop.
					o.put("far", eventAt(48*time.Hour), false)
				}
				n := o.events
				o.db.Close()
				var first truth
				for i := range 2 {
					b, notices, err := Open(c)
					if err != nil {
						t.Fatal(err)
					}
					got, err := tell(b)
					if err != nil {
						t.Fatal(err)
					}
					want := "s2"
					if version == 2 && !journaled {
						want = "far" // without any journal it cannot be told from one's own
					}
					if k := len(allEvents(t, b)); k != n || got.open != want {
						t.Errorf("%d events, want %d; open is %q", k, n, got.open)
					}
					if rows, err := b.Sheets(Filter{}); err != nil || len(rows) != 1+version {
						t.Error(len(rows), err)
					}
					if version == 2 && (!strings.Contains(got.sheets, "signal-box-1.png") || !strings.Contains(got.sheets, "the lamp shows")) {
						t.Error("the record that came in is not what it was")
					}
					if i == 0 {
						if first = got; len(notices) == 0 {
							t.Error("nothing was told")
						}
						t.Log(notices)
						if len(only(t, c.Path+".schema-*")) == 0 {
							t.Error("the old one is gone")
						}
						// Now the journal has it all.
						if err := b.Close(); err != nil {
							t.Fatal(err)
						}
						os.Remove(c.Path)
						continue
					}
					first.check(t, got)
					b.Close()
				}
			})
		}
	}
}
