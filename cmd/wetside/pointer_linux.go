package main

import (
	"strconv"
	"time"

	"wetside/tui/ember"
	"wetside/tui/lamps"
)

// hidePointer keeps the pointer of X away from this window, which a terminal or a
// desktop may draw white, until stop is called or the process is gone: from the window
// that the terminal says is its own, or the one that has the keyboard.
func (p program) hidePointer() (stop func()) {
	window := uint64(0)
	if ember.DetectMux(p.getenv) == ember.NoMux { // else it may be another day's
		window, _ = strconv.ParseUint(p.getenv("WINDOWID"), 10, 32)
	}
	const within = 300 * time.Millisecond // then the picture does not wait for it
	end, hidden := make(chan struct{}), make(chan struct{})
	go func() {
		d, err := lamps.OpenDisplay(p.getenv("DISPLAY"), within)
		if err == nil {
			if d.HidePointer(uint32(window)) != nil {
				_ = d.HidePointer(0)
			}
			defer d.Close()
		} // else the list before paper is opened has it
		close(hidden)
		<-end
	}()
	select {
	case <-hidden:
	case <-time.After(within):
	}
	return func() { close(end) }
}
