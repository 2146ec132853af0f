package main

import (
	"os"
	"strings"
	"sync"
	"time"

	"golang.org/x/sys/unix"
)

var bootID = sync.OnceValue(func() string {
	b, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil {
		return "" // instants then go by the wall clock alone
	}
	return strings.TrimSpace(string(b))
})

// bootClock reads CLOCK_BOOTTIME, which counts through suspend.
func bootClock() (time.Duration, string) {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &ts); err != nil {
		return 0, ""
	}
	return time.Duration(ts.Nano()), bootID()
}
