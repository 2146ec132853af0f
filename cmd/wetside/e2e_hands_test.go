//go:build unix

package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// A mouse button that is bound presses in a real terminal, and the click with which the
// window comes to the front does not; nor does one before the window is in front.
func TestAMouseButtonInATerminal(t *testing.T) {
	t.Parallel()
	h := newHome(t)
	dir := filepath.Join(h.dir, ".config", "wetside")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "settings.toml"), []byte("sound = \"none\"\n[keys]\nmove = [\"space\", \"mouse middle\"]\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	p := newPane(t, h, 100, 30, "time", "develop 20m, stop 10m")
	p.wait("1 into the developer")
	send := func(raw string) {
		t.Helper()
		args := []string{"send-keys", "-H"}
		for _, c := range []byte(raw) {
			args = append(args, strings.ToLower(string("0123456789ABCDEF"[c>>4])+string("0123456789ABCDEF"[c&15])))
		}
		p.do(args...)
	}
	const front, behind, left, middle = "\x1b[I", "\x1b[O", "\x1b[<0;5;5M\x1b[<0;5;5m", "\x1b[<1;5;5M\x1b[<1;5;5m"
	send(left)                    // not bound
	send(behind + middle)         // not in front
	send(front + middle)          // brings it there
	send(behind + front + middle) // once more
	p.keys("?")                   // a key that shows when all before it was read
	p.wait("keys of the trays")
	p.keys("Escape")
	p.wait("1 into the developer")
	time.Sleep(600 * time.Millisecond) // longer than a click may belong to the window's coming
	send(middle)
	p.wait("1 into the stop bath", "develop, then stop")
	p.keys("q")
	p.wait("covered")
	p.keys("y")
	p.wait("status 0")
}
