package notebook

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/uuid"
	"wetside/session"
)

// folder is a place for a test's files: in memory where the system has such a
// place, for the tests make thousands of commits and pull no plug, which alone
// would tell a synced file from one that is not.
func folder(t testing.TB) string {
	t.Helper()
	dir, err := os.MkdirTemp("/dev/shm", "wetside-notebook-")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	return dir
}

func config(t testing.TB) Config {
	dir := folder(t)
	return Config{Path: filepath.Join(dir, "notebook.db"), LogDir: filepath.Join(dir, "log"), NewID: uuid.NewString, Logf: t.Logf}
}

var t0 = time.Date(2026, 5, 9, 14, 3, 22, 0, time.FixedZone("", 2*3600))

func at(d time.Duration) session.Instant {
	return session.Instant{Wall: t0.Add(d), Boot: time.Hour + d, BootID: "b1"}
}

func open(t testing.TB, c Config) *Book {
	t.Helper()
	b, notices, err := Open(c)
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range notices {
		t.Log(n)
	}
	t.Cleanup(func() { b.Close() })
	return b
}

func TestTwoProgramsSeeEachOther(t *testing.T) {
	c := config(t)
	a, b := open(t, c), open(t, c)
	s, err := a.Begin(session.Event{Kind: session.Opened, At: at(0)})
	if err != nil {
		t.Fatal(err)
	}
	sb, evs, ok, err := b.Live(false)
	if err != nil || !ok || sb.ID != s.ID || len(evs) != 1 {
		t.Fatal(sb, evs, ok, err)
	}
	if _, err := a.Append(s.ID, session.Event{Kind: session.Noted, At: at(time.Second), Note: "one"}); err != nil {
		t.Fatal(err)
	}
	got, err := b.Append(s.ID, session.Event{Kind: session.Noted, At: at(2 * time.Second), Note: "two"})
	if err != nil || len(got) != 2 || got[0].Note != "one" || got[1].Note != "two" {
		t.Fatal(got, err)
	}
	got, err = a.Poll(s.ID)
	if err != nil || len(got) != 1 || got[0].Note != "two" {
		t.Fatal(got, err)
	}
	if got, err = a.Poll(s.ID); err != nil || len(got) != 0 {
		t.Fatal(got, err)
	}
}
