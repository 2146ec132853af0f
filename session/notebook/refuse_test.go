package notebook

import (
	"database/sql"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"wetside/session"
	"wetside/session/sessiontest"
)

// need skips a test that lacks a rig, loudly, unless the rig is required.
func need(t *testing.T, ok bool, what string) {
	t.Helper()
	if ok {
		return
	}
	sessiontest.Skip(t, "the disk's refusals are not tried", what)
}

// disk mounts a small file system of its own.
func disk(t *testing.T, size string) string {
	t.Helper()
	need(t, runtime.GOOS == "linux" && os.Geteuid() == 0, "run as root on Linux, so that a small tmpfs can be mounted")
	dir := t.TempDir()
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", "size="+size, "tmpfs", dir).CombinedOutput(); err != nil {
		need(t, false, "mount a tmpfs (CAP_SYS_ADMIN): "+string(out))
	}
	t.Cleanup(func() {
		if out, err := exec.Command("umount", "-l", dir).CombinedOutput(); err != nil {
			t.Errorf("%s", out)
		}
	})
	return dir
}

func remount(t *testing.T, dir, how string) {
	t.Helper()
	if out, err := exec.Command("mount", "-o", "remount,"+how, dir).CombinedOutput(); err != nil {
		t.Fatalf("%s", out)
	}
}

func fill(t *testing.T, dir string) (free func()) {
	t.Helper()
	path := filepath.Join(dir, "ballast")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for n := 1 << 16; n > 0; {
		if _, err := f.Write(make([]byte, n)); err != nil {
			n /= 16
		}
	}
	return func() { os.Remove(path) }
}

// goOn lives a sheet through while the disk refuses, and then lets it return:
// the sheet finishes, everything recorded before is still there, and what was
// kept in memory is written, in order and once.
func goOn(t *testing.T, c Config, refuse, relent func()) {
	b := open(t, c)
	s, m := sitting(t, b, 1, eventAt(0))
	before := allEvents(t, b)
	refuse()
	evs, _ := life(c.NewID(), 1, 2*time.Hour, rnd(1))
	unsaved := 0
	for i, ev := range evs {
		got, err := b.Append(s.ID, ev)
		var u *Unsaved
		if errors.As(err, &u) {
			if unsaved++; unsaved == 1 {
				t.Log(u)
			}
		} else if err != nil {
			t.Fatal(err)
		}
		if len(got) != 1 {
			t.Fatalf("event %d: %d returned", i, len(got))
		}
		if err := m.Apply(got[0]); err != nil {
			t.Fatal(err)
		}
	}
	sh := m.Sheets()[1]
	if sh.Phase != session.Finished {
		t.Fatal("the sheet did not finish")
	}
	if err := b.SaveSheet(s, sh, m.Now(), nil); err != nil {
		t.Log(err)
	}
	if unsaved == 0 {
		t.Fatal("the disk did not refuse")
	}
	if b.Pending() == 0 {
		t.Error("nothing is pending")
	}
	if rows, err := b.Sheets(Filter{}); err != nil || len(rows) != 2 || rows[0].ID != sh.ID {
		t.Error("the list while the disk refuses:", len(rows), err)
	}
	if r, err := b.Sheet(sh.ID); err != nil || len(r.Stages) != 5 {
		t.Error(err)
	}
	relent()
	if err := b.Flush(); err != nil || b.Pending() != 0 {
		t.Fatal(err, b.Pending())
	}
	told := false
	for _, n := range b.Notices() {
		t.Log(n.Text)
		told = told || n.Kind == Back
	}
	if !told {
		t.Error("nobody was told that the disk is back")
	}
	if err := b.Flush(); err != nil {
		t.Error(err)
	}
	tidy(t, b)
	b = open(t, c)
	got := allEvents(t, b)
	for id, body := range before {
		if got[id] != body {
			t.Error("lost:", body)
		}
	}
	if len(got) != len(before)+len(evs) {
		t.Errorf("%d events, want %d", len(got), len(before)+len(evs))
	}
	_, all, ok, err := b.Live(false)
	if err != nil || !ok {
		t.Fatal(ok, err)
	}
	if sh := replayed(t, all).Sheets(); len(sh) != 2 || sh[1].Phase != session.Finished {
		t.Error("the sheet is not in the notebook as it was lived")
	}
	if rows, err := b.Sheets(Filter{}); err != nil || len(rows) != 2 {
		t.Error(len(rows), err)
	}
	csv := readCSV(t, filepath.Join(c.LogDir, "2026-05-09.csv"))
	if len(csv) != 12 {
		t.Error(len(csv), "rows in the log")
	}
	if err := b.Check(t.Context()); err != nil {
		t.Error(err)
	}
}

func on(dir string, t *testing.T) Config {
	return Config{Path: filepath.Join(dir, "data", "notebook.db"), LogDir: filepath.Join(dir, "log"), NewID: uuid.NewString, Now: time.Now, Logf: t.Logf}
}

func TestDiskFull(t *testing.T) {
	dir := disk(t, "2m")
	var free func()
	goOn(t, on(dir, t), func() { free = fill(t, dir) }, func() { free() })
}

func TestDiskReadOnly(t *testing.T) {
	dir := disk(t, "4m")
	// Whoever has a file open for writing cannot have its file system made
	// read-only, so the program's end, as after a crash, is part of it.
	c := on(dir, t)
	b := open(t, c)
	s, _ := sitting(t, b, 1, eventAt(0))
	tidy(t, b)
	remount(t, dir, "ro")
	b, notices, err := Open(c)
	if err != nil || len(notices) != 1 || notices[0].Kind != Memory {
		t.Fatal(notices, err)
	}
	t.Log(notices[0].Text)
	t.Cleanup(func() { b.Close() })
	if rows, err := b.Sheets(Filter{}); err != nil || len(rows) != 1 {
		t.Error("what is there can be read:", len(rows), err)
	}
	got, evs, ok, err := b.Live(false)
	if err != nil || !ok || got.ID != s.ID || len(evs) != 16 {
		t.Fatal(got, len(evs), ok, err)
	}
	b.Flush()
	if n := b.Notices(); len(n) > 0 {
		t.Error("nothing was written, for there was nothing to write, and it is told:", n)
	}
	m := replayed(t, evs)
	more, _ := life(c.NewID(), 1, 2*time.Hour, rnd(1))
	for _, ev := range more {
		got, err := b.Append(s.ID, ev)
		if !IsUnsaved(err) || len(got) != 1 {
			t.Fatal(got, err)
		}
		if err := m.Apply(got[0]); err != nil {
			t.Fatal(err)
		}
	}
	if err := b.SaveSheet(s, m.Sheets()[1], m.Now(), nil); !IsUnsaved(err) {
		t.Error(err)
	}
	remount(t, dir, "rw")
	if err := b.Flush(); err != nil {
		t.Fatal(err)
	}
	tidy(t, b)
	b = open(t, c)
	if n := len(allEvents(t, b)); n != 31 {
		t.Error(n, "events")
	}
	if _, evs, _, _ := b.Live(false); len(evs) != 31 {
		t.Error(len(evs))
	} else {
		replayed(t, evs)
	}
	if n := len(readCSV(t, filepath.Join(c.LogDir, "2026-05-09.csv"))); n != 12 {
		t.Error(n, "rows in the log")
	}
}

// A folder that takes no new names, with the notebook open in it.
func TestFolderMadeImmutable(t *testing.T) {
	need(t, runtime.GOOS == "linux" && os.Geteuid() == 0, "run as root on Linux, so that chattr +i can be done")
	dir := t.TempDir()
	c := on(dir, t)
	goOnFiles := func(flag string) {
		for _, p := range []string{c.Path, c.Path + "-wal", c.Path + ".journal", filepath.Dir(c.Path), c.LogDir} {
			if out, err := exec.Command("chattr", "-R", flag, p).CombinedOutput(); err != nil {
				need(t, false, "chattr (e2fsprogs) on a file system that knows it: "+string(out))
			}
		}
	}
	t.Cleanup(func() { exec.Command("chattr", "-R", "-i", dir).Run() })
	goOn(t, c, func() { goOnFiles("+i") }, func() { goOnFiles("-i") })
}

// A disk on which the notebook cannot even be made: everything is in memory,
// and can be gone on with, and is written once there is a place.
func TestNothingCanBeMade(t *testing.T) {
	for name, c := range map[string]struct {
		refuse, relent func(t *testing.T, dir string)
	}{
		"read-only": {func(t *testing.T, dir string) { remount(t, dir, "ro") }, func(t *testing.T, dir string) { remount(t, dir, "rw") }},
		"full":      {func(t *testing.T, dir string) { fill(t, dir) }, func(t *testing.T, dir string) { os.Remove(filepath.Join(dir, "ballast")) }},
	} {
		t.Run(name, func(t *testing.T) {
			dir := disk(t, "2m")
			cfg := on(dir, t)
			c.refuse(t, dir)
			b, notices, err := Open(cfg)
			if err != nil || len(notices) != 1 || notices[0].Kind != Memory {
				t.Fatal(notices, err)
			}
			t.Log(notices[0].Text)
			t.Cleanup(func() { b.Close() })
			s, m := sitting(t, b, 1, eventAt(0))
			if _, evs, ok, err := b.Live(false); err != nil || !ok || len(evs) != 16 {
				t.Error(len(evs), ok, err)
			}
			if rows, err := b.Sheets(Filter{}); err != nil || len(rows) != 1 {
				t.Error(len(rows), err)
			}
			var out strings.Builder
			if err := b.Export(&out, CSV, Filter{}, Options{}); err != nil || strings.Count(out.String(), "\n") != 7 {
				t.Error(out.String(), err)
			}
			c.relent(t, dir)
			if err := b.Flush(); err != nil {
				t.Fatal(err)
			}
			closeIt(t, b, s, m)
			tidy(t, b)
			b = open(t, cfg)
			if n := len(allEvents(t, b)); n != 17 {
				t.Error(n, "events")
			}
			if _, _, ok, _ := b.Live(false); ok {
				t.Error("the sitting is not closed")
			}
		})
	}
}

// Another program that holds the file, stopped in the middle of a transaction,
// holds nobody up: after one short wait events go to memory and to the journal.
func TestAHeldFileBlocksNobody(t *testing.T) {
	c := config(t)
	now := t0
	c.Now = func() time.Time { return now }
	b := open(t, c)
	s, m := sitting(t, b, 0, eventAt(0))
	other, err := sql.Open("sqlite", dsn(c.Path, "_txlock=immediate"))
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	tx, err := other.Begin()
	if err != nil {
		t.Fatal(err)
	}
	evs, _ := life(c.NewID(), 0, time.Minute, rnd(0))
	for _, ev := range evs {
		got, err := b.Append(s.ID, ev)
		if err != nil || len(got) != 1 { // the journal has it
			t.Fatal(got, err)
		}
		m.Apply(got[0])
	}
	// Killed now, they are in the journal all the same.
	copied := crashCopy(t, b)
	tx.Rollback()
	again := open(t, copied)
	if n := len(allEvents(t, again)); n != 16 {
		t.Error(n, "events after a kill")
	}
	now = now.Add(time.Minute)
	if _, err := b.Append(s.ID, session.Event{Kind: session.Noted, At: at(3 * time.Hour), Note: "on"}); err != nil {
		t.Error(err)
	}
	if n := len(allEvents(t, b)); n != 17 {
		t.Error(n, "events")
	}
}

// A notebook that another program holds when this one starts is opened for
// reading at once, and written as soon as it can be.
func TestHeldWhileOpening(t *testing.T) {
	c := config(t)
	now := t0
	c.Now = func() time.Time { return now }
	b := open(t, c)
	s, _ := sitting(t, b, 1, eventAt(0))
	tx, err := b.db.Begin()
	if err != nil {
		t.Fatal(err)
	}
	second, notices, err := Open(c)
	if err != nil || len(notices) != 0 {
		t.Fatal(notices, err)
	}
	defer second.Close()
	got, evs, ok, err := second.Live(false)
	if err != nil || !ok || got.ID != s.ID || len(evs) != 16 {
		t.Fatal(len(evs), ok, err)
	}
	if evs, err := second.Append(s.ID, session.Event{Kind: session.Noted, At: at(3 * time.Hour), Note: "second"}); err != nil || len(evs) != 1 {
		t.Fatal(evs, err)
	}
	tx.Rollback()
	if err := second.Flush(); err != nil {
		t.Fatal(err)
	}
	if evs, err := b.Poll(s.ID); err != nil || len(evs) != 1 || evs[0].Note != "second" {
		t.Error(evs, err)
	}
}
