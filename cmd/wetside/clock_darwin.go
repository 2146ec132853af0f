package main

import (
	"sync"
	"time"

	"golang.org/x/sys/unix"
)

var bootID = sync.OnceValue(func() string {
	s, err := unix.Sysctl("kern.bootsessionuuid")
	if err != nil {
		return ""
	}
	return s
})

// bootClock reads CLOCK_MONOTONIC, which on this system counts through sleep.
func bootClock() (time.Duration, string) {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_MONOTONIC, &ts); err != nil {
		return 0, ""
	}
	return time.Duration(ts.Nano()), bootID()
}
