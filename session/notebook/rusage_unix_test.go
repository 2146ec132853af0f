//go:build unix

package notebook

import (
	"syscall"
	"time"
)

// spent returns the processor time this program has used.
func spent() time.Duration {
	var r syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &r) != nil {
		return 0
	}
	return time.Duration(r.Utime.Nano() + r.Stime.Nano())
}
