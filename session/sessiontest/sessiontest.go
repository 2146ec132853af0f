// Package sessiontest is what the tests of every package share: golden files
// that print their difference and the command that renews them, and one wording
// for a test that cannot run here, so that .ci/skips can count them.
package sessiontest

import (
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/diff"
)

var update = flag.Bool("update", false, "write what the tests now give into their golden files; read the difference before believing it")

// Update reports whether golden files are to be written anew (-update).
func Update() bool { return *update }

// NotRun begins the message of every skip.
const NotRun = "NOT RUN HERE: "

// Skip ends a test that cannot run here: what is missing, and what to do about
// it. With WETSIDE_RIG=required it fails the test instead.
func Skip(t testing.TB, missing, todo string) {
	t.Helper()
	if os.Getenv("WETSIDE_RIG") == "required" {
		t.Fatalf("WETSIDE_RIG=required, but %s. To run it: %s", missing, todo)
	}
	Leave(t, missing, todo)
}

// Leave is Skip for what is left out by choice: WETSIDE_RIG=required lets it be.
func Leave(t testing.TB, missing, todo string) {
	t.Helper()
	t.Skipf("%s%s. To run it: %s", NotRun, missing, todo)
}

// Need finds the programs a test cannot do without and returns their paths, or
// skips the test. Each is written "program", or "program=package" if Debian's
// package has another name.
func Need(t testing.TB, programs ...string) []string {
	t.Helper()
	var paths, missing, install []string
	for _, p := range programs {
		name, pkg, named := strings.Cut(p, "=")
		if !named {
			pkg = name
		}
		at, err := exec.LookPath(name)
		if err != nil {
			missing, install = append(missing, name), append(install, pkg)
		}
		paths = append(paths, at)
	}
	if len(missing) > 0 {
		Skip(t, "not installed: "+strings.Join(missing, ", "), "apt install "+strings.Join(install, " "))
	}
	return paths
}

// Golden compares got with the golden file, or writes the file with -update.
func Golden(t testing.TB, file string, got []byte) {
	t.Helper()
	if *update {
		if err := os.MkdirAll(path.Dir(file), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, got, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(file)
	if err != nil && !os.IsNotExist(err) {
		t.Fatal(err)
	}
	Same(t, file, want, got)
}

// Same fails the test if got is not want, and shows how the two differ.
func Same(t testing.TB, name string, want, got []byte) {
	t.Helper()
	if d := Diff(name, want, got); d != "" {
		t.Errorf("%s\nIf that is meant: %s", d, Renew(t))
	}
}

// Diff is the difference of two texts, empty if there is none.
func Diff(name string, want, got []byte) string {
	return string(diff.Diff(name+" (as it is kept)", want, name+" (as it is now)", got))
}

// Renew is the command that writes a test's golden files anew.
func Renew(t testing.TB) string {
	name, _, _ := strings.Cut(t.Name(), "/")
	return fmt.Sprintf("go test -run '^%s$' . -update", name)
}
