package main

import (
	"strconv"
	"strings"
	"syscall"
	"testing"

	"wetside/session"
)

// With the keeper killed outright the program gives the window back to the
// shell, keys and all, and goes on until it is started again, or until the
// window is gone.
func TestAKilledKeeperHandsOver(t *testing.T) {
	t.Parallel() // most of it is waiting
	h := newHome(t)
	h.interrupted(t, "", session.Event{Kind: session.Moved})
	mark := "WETSIDE_TEST_HOME=" + h.dir
	h.env = append(h.env, mark)
	shell := newPaneOf(t, h, 100, 30, []string{"sh"})
	lives := func() (n int) {
		for _, line := range left(t, mark) {
			if strings.HasPrefix(line, binary(t)) {
				n++
			}
		}
		return n
	}
	kill := func() {
		t.Helper()
		pane, err := strconv.Atoi(strings.TrimSpace(shell.do("list-panes", "-F", "#{pane_pid}")))
		if err != nil {
			t.Fatal(err)
		}
		sh := childOf(t, pane)
		if err := syscall.Kill(childOf(t, sh), syscall.SIGKILL); err != nil {
			t.Fatal(err)
		}
		shell.wait("start wetside again here")
	}
	begin := func() {
		t.Helper()
		shell.keys(binary(t)+" --sound none", "Enter")
		shell.wait("Go on?")
	}
	begin()
	shell.keys("y")
	shell.wait("develop, then")
	kill()
	if n := lives(); n != 1 {
		t.Errorf("%d programs go on", n)
	}
	for range 5 { // none of it is a key of the program's
		shell.keys("echo the sh''ell has the keys", "Enter")
	}
	shell.wait("the shell has the keys")

	// A rehearsal would not take the sheet up, so it leaves the other alone.
	shell.keys(binary(t)+" rehearse --sound none", "Enter")
	shell.wait("rehearsal")
	if n := lives(); n != 3 {
		t.Errorf("beside a rehearsal %d programs live, not the orphan, keeper and rehearsal", n)
	}
	shell.keys("q")
	shell.wait("overed?")
	shell.keys("y")
	until(t, "the rehearsal has ended", func() bool { return lives() == 1 })

	begin()
	until(t, "the other has gone, and keeper and program are there", func() bool { return lives() == 2 })
	shell.keys("y")
	shell.wait("develop, then")
	kill()
	shell.do("kill-server")
	until(t, "nothing outlives its window", func() bool { return len(left(t, mark)) == 0 })
}
