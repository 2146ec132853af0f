package main

import (
	"strconv"
	"sync"
	"time"

	"golang.org/x/sys/windows"
)

var tickCount = windows.NewLazySystemDLL("kernel32.dll").NewProc("GetTickCount64")

// bootID names the boot by when it was, in ten minutes: this system has no
// better name. Should the wall clock be stepped between two starts of the
// program, the names differ and instants go by the wall clock.
var bootID = sync.OnceValue(func() string {
	ms, _, _ := tickCount.Call()
	return "boot-" + strconv.FormatInt(time.Now().Add(-time.Duration(ms)*time.Millisecond).Unix()/600, 10)
})

// bootClock reads the milliseconds since the boot, sleep included.
func bootClock() (time.Duration, string) {
	ms, _, _ := tickCount.Call()
	return time.Duration(ms) * time.Millisecond, bootID()
}
