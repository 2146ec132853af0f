//go:build unix

package keeper

import (
	"os"
	"syscall"
)

// killedBy says which signal ended a process, with the code shells give it.
func killedBy(s *os.ProcessState) (string, int) {
	ws, ok := s.Sys().(syscall.WaitStatus)
	if !ok || !ws.Signaled() {
		return "", 0
	}
	return "The program was ended from outside (" + ws.Signal().String() + ").", 128 + int(ws.Signal())
}

// Revive implements [Child].
func (c *command) Revive() {
	if Stopped(c.cmd.Process.Pid) {
		_ = c.cmd.Process.Signal(syscall.SIGCONT)
	}
}
