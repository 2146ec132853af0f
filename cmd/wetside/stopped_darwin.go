package main

import (
	"os"

	"golang.org/x/sys/unix"
)

// keeperStopped reports whether the keeper is stopped by a signal (SSTOP of sys/proc.h).
func keeperStopped() bool {
	const sstop = 4
	is, err := unix.SysctlKinfoProc("kern.proc.pid", os.Getppid())
	return err == nil && is.Proc.P_stat == sstop
}
