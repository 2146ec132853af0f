package keeper

import "golang.org/x/sys/unix"

// Stopped reports whether a process is stopped by a signal (SSTOP of sys/proc.h).
func Stopped(pid int) bool {
	const sstop = 4
	is, err := unix.SysctlKinfoProc("kern.proc.pid", pid)
	return err == nil && is.Proc.P_stat == sstop
}
