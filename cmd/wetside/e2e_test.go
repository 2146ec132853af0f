package main

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

// The tests in the files e2e_*_test.go run the built program as a user does: in
// a terminal, with a loudspeaker, killed and started again.

// buildDir is where built has put it, if it was asked.
var buildDir string

var built = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "wetside-e2e-")
	if err != nil {
		return "", err
	}
	buildDir = dir
	bin := filepath.Join(dir, "wetside")
	cmd := exec.Command("go", "build", "-o", bin, ".")
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := cmd.CombinedOutput(); err != nil {
		return "", &exec.Error{Name: "go build: " + string(out), Err: err}
	}
	return bin, nil
})

// binary builds the program once for all tests.
func binary(t testing.TB) string {
	t.Helper()
	bin, err := built()
	if err != nil {
		t.Fatal(err)
	}
	return bin
}

func TestMain(m *testing.M) {
	flag.Parse()
	if parallel := flag.Lookup("test.parallel"); parallel.Value.String() == "2" {
		_ = parallel.Value.Set("3") // of two processors: most of these wait
	}
	code := m.Run()
	if buildDir != "" {
		os.RemoveAll(buildDir)
	}
	os.Exit(code)
}

// A home is an empty one, and the environment that points at it.
type home struct {
	dir string
	env []string
}

func newHome(t testing.TB, more ...string) home {
	t.Helper()
	dir := t.TempDir()
	run := filepath.Join(dir, "run")
	if err := os.MkdirAll(run, 0o700); err != nil {
		t.Fatal(err)
	}
	env := []string{"HOME=" + dir, "XDG_RUNTIME_DIR=" + run, "XDG_DATA_HOME=", "XDG_CONFIG_HOME=", "XDG_STATE_HOME=",
		"WETSIDE_KEPT=", "DBUS_SYSTEM_BUS_ADDRESS=unix:path=" + filepath.Join(dir, "no-bus"), "DBUS_SESSION_BUS_ADDRESS=unix:path=" + filepath.Join(dir, "no-bus")}
	return home{dir, append(env, more...)}
}

func (h home) data() string { return filepath.Join(h.dir, ".local", "share", "wetside") }

// wetside runs a command to its end and returns what it printed.
func (h home) wetside(t testing.TB, args ...string) string {
	t.Helper()
	bin := binary(t)
	ctx, cancel := context.WithTimeout(t.Context(), 6*time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, bin, args...)
	cmd.Env = append(append(os.Environ(), "DISPLAY="), h.env...)
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	if err := cmd.Run(); err != nil {
		t.Fatalf("wetside %s: %v\n%s", strings.Join(args, " "), err, errs.String())
	}
	return out.String()
}

// A cribLine is one line of wetside cues --json.
type cribLine struct {
	At    float64 `json:"at_s"`
	Kind  string  `json:"kind"`
	Stage string  `json:"stage"`
	Next  string  `json:"next"`
}

func (h home) crib(t testing.TB, args ...string) []cribLine {
	t.Helper()
	var out []cribLine
	if err := json.Unmarshal([]byte(h.wetside(t, append([]string{"cues", "--json"}, args...)...)), &out); err != nil {
		t.Fatal(err)
	}
	return out
}

// until waits for a condition, and fails the test when it does not come true.
func until(t testing.TB, what string, cond func() bool) {
	t.Helper()
	deadline := time.Now().Add(60 * time.Second)
	for !cond() {
		if time.Now().After(deadline) {
			t.Fatalf("waited in vain until %s", what)
		}
		time.Sleep(20 * time.Millisecond) // a poll, not a measure
	}
}

// A piped is a pipe of keys into the built program, which draws nothing and makes no sound.
type piped struct {
	*testing.T
	home
	cmd  *exec.Cmd
	keys io.WriteCloser
}

func pipe(t *testing.T, h home, args ...string) *piped {
	t.Helper()
	x := &piped{T: t, home: h, cmd: exec.Command(binary(t), append(args, "--blind", "--sound", "none")...)}
	x.cmd.Env = append(os.Environ(), h.env...)
	var err error
	if x.keys, err = x.cmd.StdinPipe(); err != nil {
		t.Fatal(err)
	}
	if err := x.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(x.kill)
	return x
}

func (x *piped) press(keys string) { io.WriteString(x.keys, keys) }

func (x *piped) kill() { x.cmd.Process.Kill(); x.cmd.Wait() }
