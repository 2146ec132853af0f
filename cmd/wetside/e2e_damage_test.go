package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/notebook"
	"wetside/session/sessiontest"
)

// inTheFixer begins a session with a sheet that was put into the fixer, beside
// one that is done, and ends as a kill would: nothing is closed.
func inTheFixer(t *testing.T, data string) (done string) {
	t.Helper()
	set, err := profiles.Load(nil)
	if err != nil {
		t.Fatal(err)
	}
	paper, err := set.Paper("direct-positive-fb")
	if err != nil {
		t.Fatal(err)
	}
	proc, err := set.Process("three-trays")
	if err != nil {
		t.Fatal(err)
	}
	steps, err := proc.At(0, paper.Base)
	if err != nil {
		t.Fatal(err)
	}
	b, _, err := notebook.Open(notebook.Config{Path: filepath.Join(data, "notebook.db"), NewID: uuid.NewString, Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	now := systemClock().Now()
	at := func(ago time.Duration) session.Instant { return now.Add(-ago) }
	sit, err := b.Begin(session.Event{Kind: session.Opened, At: at(2 * time.Hour), Pace: 1})
	if err != nil {
		t.Fatal(err)
	}
	m := session.New()
	m.Apply(session.Event{Kind: session.Opened, At: at(2 * time.Hour), Pace: 1})
	do := func(e session.Event) {
		t.Helper()
		if _, err := b.Append(sit.ID, e); err != nil {
			t.Fatal(err)
		}
		if err := m.Apply(e); err != nil {
			t.Fatal(e.Kind, err)
		}
	}
	spec := session.SheetSpec{Name: "the lever", Paper: paper.Session(), Process: steps}
	do(session.Event{Kind: session.SheetAdded, At: at(110 * time.Minute), Sheet: "aaaa-done", Spec: &spec})
	do(session.Event{Kind: session.Spoiled, At: at(109 * time.Minute), Sheet: "aaaa-done", Note: "torn"})
	if err := b.SaveSheet(sit, m.Sheet("aaaa-done"), m.Now(), nil); err != nil {
		t.Fatal(err)
	}
	do(session.Event{Kind: session.SheetAdded, At: at(10 * time.Minute), Sheet: "bbbb-wet", Spec: &spec})
	ago := 9 * time.Minute
	for from := 0; m.Sheet("bbbb-wet").Visit() == nil || m.Sheet("bbbb-wet").Visit().Stage != session.Fix; {
		do(session.Event{Kind: session.Moved, At: at(ago), Sheet: "bbbb-wet", From: from})
		from, ago = m.Sheet("bbbb-wet").Visit().Serial, ago-4*time.Minute
	}
	return "aaaa-done"
}

// told runs a command and returns what it printed, its complaint, and its status.
func (h home) told(t testing.TB, as uint32, args ...string) (out, errs string, status int) {
	t.Helper()
	cmd := exec.Command(binary(t), args...)
	cmd.Env = append(os.Environ(), h.env...)
	asUser(cmd, as)
	var o, e bytes.Buffer
	cmd.Stdout, cmd.Stderr = &o, &e
	err := cmd.Run()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		t.Fatal(err)
	}
	if s := o.String() + e.String(); strings.Contains(s, "panic:") || strings.Contains(s, "goroutine ") {
		t.Errorf("wetside %s: %s", strings.Join(args, " "), s)
	}
	return o.String(), e.String(), cmd.ProcessState.ExitCode()
}

// asks asks where the sheets stand, for the sheet that is done, and the program
// itself, by ear: it has to say where the sheet is. Each is right, or says why not.
func (h home) asks(t *testing.T, what string, as uint32) {
	t.Helper()
	fail := func(which, out, errs string, status int) {
		t.Helper()
		t.Errorf("%s: %s: status %d\n%s%s", what, which, status, out, errs)
	}
	out, errs, status := h.told(t, as, "where", "--json")
	var ps []place
	if status == 0 {
		if err := json.Unmarshal([]byte(out), &ps); err != nil {
			t.Error(err)
		}
		right := len(ps) == 2 && ps[1].Stage == "fix" && ps[1].Moves == 3
		if !right && errs == "" || len(ps) == 0 {
			fail("where", out, errs, status)
		}
	} else if errs == "" {
		fail("where", out, errs, status)
	}
	if out, errs, status := h.told(t, as, "sheet", "aaaa-done"); status == 0 && !strings.Contains(out, "torn") || status != 0 && errs == "" || strings.Contains(errs, "no sheet is called") {
		fail("sheet", out, errs, status)
	}
}

// Each damage a notebook can come to, asked through the built program: where,
// sheet, and the program itself, which goes on with the sheet in the fixer.
func TestTheBuiltProgramTellsTheTruthOfADamagedNotebook(t *testing.T) {
	t.Parallel()
	harms := map[string]func(t *testing.T, db string){
		"nothing": func(*testing.T, string) {},
		"shm":     func(t *testing.T, db string) { os.Remove(db + "-shm"); os.Mkdir(db+"-shm", 0o700) },
		"wal":     func(t *testing.T, db string) { os.Remove(db + "-wal") },
		"database a folder": func(t *testing.T, db string) {
			os.Remove(db)
			os.Mkdir(db, 0o700)
		},
		"torn journal": func(t *testing.T, db string) {
			js, _ := filepath.Glob(db + ".journal/*.jsonl")
			if len(js) != 1 {
				t.Fatal(js)
			}
			fi, _ := os.Stat(js[0])
			os.Truncate(js[0], fi.Size()-40)
		},
		"no journal": func(t *testing.T, db string) { os.RemoveAll(db + ".journal") },
	}
	for name, harm := range harms {
		t.Run(name, func(t *testing.T) {
			h := newHome(t)
			inTheFixer(t, h.data())
			harm(t, filepath.Join(h.data(), "notebook.db"))
			h.asks(t, name, 0)
			h.goesOn(t)
			h.asks(t, name+", afterwards", 0)
		})
	}
	t.Run("20 times some bytes", func(t *testing.T) {
		r := rand.New(rand.NewPCG(uint64(time.Now().UnixNano()), 1))
		for range 20 {
			h := newHome(t)
			inTheFixer(t, h.data())
			where := flipped(t, h.data(), r)
			h.asks(t, where, 0)
		}
	})
	t.Run("not ours to read", func(t *testing.T) {
		if runtime.GOOS != "linux" || os.Geteuid() != 0 {
			sessiontest.Skip(t, "rights that are missing", "run as root on Linux")
		}
		const nobody = 65534
		for _, x := range []string{"notebook.db", "notebook.db-shm", "notebook.db.journal"} {
			h := newHome(t)
			inTheFixer(t, h.data())
			for dir := h.dir; len(dir) > len(os.TempDir()); dir = filepath.Dir(dir) {
				if err := os.Chmod(dir, 0o755); err != nil {
					t.Fatal(err)
				}
			}
			if err := os.Chmod(filepath.Dir(binary(t)), 0o755); err != nil {
				t.Fatal(err)
			}
			if err := filepath.WalkDir(h.dir, func(path string, _ fs.DirEntry, err error) error {
				return errors.Join(err, os.Chown(path, nobody, nobody))
			}); err != nil {
				t.Fatal(err)
			}
			if err := os.Chmod(filepath.Join(h.data(), x), 0); err != nil {
				t.Fatal(err)
			}
			h.asks(t, x+" of mode 000", nobody)
		}
	})
}

// goesOn starts the program by ear, answers that it goes on, and sees that the
// sheet can be moved out of the fixer.
func (h home) goesOn(t *testing.T) {
	t.Helper()
	x := pipe(t, h)
	defer x.kill()
	x.press("y")
	until(t, "the program has gone on", func() bool {
		js, _ := filepath.Glob(filepath.Join(h.data(), "notebook.db.journal", "*.jsonl"))
		for _, j := range js {
			if data, _ := os.ReadFile(j); bytes.Contains(data, []byte(`"resumed"`)) {
				return true
			}
		}
		return false
	})
}

// flipped changes 1 to 20 bytes of some file below dir.
func flipped(t *testing.T, dir string, r *rand.Rand) string {
	t.Helper()
	var files []string
	if err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err == nil && d.Type().IsRegular() {
			if fi, err := d.Info(); err == nil && fi.Size() > 0 {
				files = append(files, path)
			}
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	name := files[r.IntN(len(files))]
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	at := r.IntN(len(data))
	for i := at; i < min(at+1+r.IntN(20), len(data)); i++ {
		data[i] = byte(r.IntN(256))
	}
	// In place, as a bad disk does it.
	f, err := os.OpenFile(name, os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if _, err := f.Write(data); err != nil {
		t.Fatal(err)
	}
	return filepath.Base(name)
}

// The notebook's folder is taken away while the program waits. Without any key
// all that is known of the session is written to the second place; what is
// pressed then goes there too. After a kill, and with the folder back, all of it
// is in the notebook.
func TestAFolderThatVanishesIsNoticed(t *testing.T) {
	t.Parallel()
	h := newHome(t)
	data, away := h.data(), h.data()+".away"
	lines := func(pattern, what string) int {
		n := 0
		js, _ := filepath.Glob(pattern)
		for _, j := range js {
			data, _ := os.ReadFile(j)
			n += bytes.Count(data, []byte(what))
		}
		return n
	}
	here, spare := filepath.Join(data, "notebook.db.journal", "*.jsonl"), filepath.Join(h.dir, ".local", "state", "wetside", "notebook-*", "*.jsonl")
	x := pipe(t, h)
	x.press("1a\t\t")
	until(t, "a sheet is known", func() bool { return lines(here, `"sheet added"`) == 1 })
	if err := os.Rename(data, away); err != nil {
		t.Fatal(err)
	}
	since := time.Now()
	until(t, "what is known is in the second place", func() bool { return lines(spare, `"sheet added"`) == 1 })
	t.Logf("after %v", time.Since(since).Round(10*time.Millisecond))
	x.press("m")
	until(t, "the mark is there too", func() bool { return lines(spare, `"marked"`) == 1 })
	if _, err := os.Stat(data); err == nil {
		t.Error("a folder was made where the disk was")
	}
	x.kill()
	if out, errs, status := h.told(t, 0, "where"); status != 0 || !strings.Contains(out, "sheet 1") {
		t.Errorf("where, while it is away: %d %s%s", status, out, errs)
	}
	if _, errs, status := h.told(t, 0, "sheets"); status != 1 || !strings.Contains(errs, "folder is gone") {
		t.Errorf("sheets, while it is away: %d %s", status, errs)
	}
	// Nor does the next start make the folder: it may lie on a disk that is out.
	x = pipe(t, h)
	x.press("y\tm") // it opens in the field, where the sheet is
	until(t, "the next start goes on there", func() bool { return lines(spare, `"marked"`) == 2 })
	if _, err := os.Stat(data); err == nil {
		t.Error("a folder was made where the disk was")
	}
	x.kill()
	if err := os.Rename(away, data); err != nil {
		t.Fatal(err)
	}
	pipe(t, h)
	until(t, "it is joined", func() bool { return lines(here, `"marked"`) == 2 && lines(spare, `"`) == 0 })
}
