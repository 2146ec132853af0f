package sessiontest

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// note is a test that only takes down what it is told.
type note struct {
	testing.TB
	said string
}

func (n *note) Helper()                   {}
func (n *note) Errorf(f string, a ...any) { n.said += fmt.Sprintf(f, a...) }
func (n *note) Fatalf(f string, a ...any) { n.said += "fatal: " + fmt.Sprintf(f, a...) }
func (n *note) Skipf(f string, a ...any)  { n.said += "skip: " + fmt.Sprintf(f, a...) }

func TestGoldenShowsTheDifferenceAndTheCommand(t *testing.T) {
	file := filepath.Join(t.TempDir(), "frame.txt")
	if err := os.WriteFile(file, []byte("fix\nwash\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	n := &note{TB: t}
	Golden(n, file, []byte("fix\nrinse\n"))
	for _, want := range []string{"-wash", "+rinse", "go test -run '^TestGoldenShowsTheDifferenceAndTheCommand$' . -update"} {
		if !strings.Contains(n.said, want) {
			t.Errorf("no %q in:\n%s", want, n.said)
		}
	}
	n = &note{TB: t}
	if Golden(n, file, []byte("fix\nwash\n")); n.said != "" {
		t.Errorf("the same file: %s", n.said)
	}
	if Golden(n, file+".none", []byte("fix\n")); !strings.Contains(n.said, "+fix") {
		t.Errorf("a file that is not there: %q", n.said)
	}
}

func TestWhatIsMissingIsSkippedOrFails(t *testing.T) {
	t.Setenv("WETSIDE_RIG", "")
	n := &note{TB: t}
	Need(n, "no-such-program=no-such-package", "go")
	if want := "skip: " + NotRun + "not installed: no-such-program. To run it: apt install no-such-package"; n.said != want {
		t.Errorf("%q, not %q", n.said, want)
	}
	t.Setenv("WETSIDE_RIG", "required")
	n = &note{TB: t}
	Skip(n, "no bus", "start one")
	Leave(n, "it takes an hour", "WETSIDE_LIFE=1")
	if !strings.HasPrefix(n.said, "fatal: ") || !strings.Contains(n.said, "skip: "+NotRun+"it takes an hour") {
		t.Errorf("%q", n.said)
	}
}
