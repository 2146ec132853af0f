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

// What is started at once where a keeper was killed has the keys: the program that is left
// puts the terminal's mode back first, and never after the next has taken it.
func TestAKilledKeeperIsFollowedAtOnce(t *testing.T) {
	t.Parallel()
	h := newHome(t)
	h.interrupted(t, "", session.Event{Kind: session.Moved})
	once := binary(t) + " --sound none"
	pane := newPaneOf(t, h, 100, 30, []string{"sh", "-c", once + "; " + once + "; stty -a; cat"})
	pane.wait("Go on?")
	pane.keys("y")
	pane.wait("develop, then")
	shell, err := strconv.Atoi(strings.TrimSpace(pane.do("list-panes", "-F", "#{pane_pid}")))
	if err != nil {
		t.Fatal(err)
	}
	if err := syscall.Kill(childOf(t, childOf(t, shell)), syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	pane.wait("Go on?")
	pane.keys("y")
	pane.wait("develop, then")
	pane.keys("q")
	pane.wait("overed?")
	pane.keys("y")
	if shown := pane.wait("speed ", "echoke"); !strings.Contains(shown, " icanon") {
		t.Errorf("the terminal's mode is not the shell's:\n%s", shown)
	}
}
