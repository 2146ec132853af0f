package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"wetside/tui"
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
	const within = displayFor
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

// displayFor is how long an X display has to answer; no picture waits longer for it.
const displayFor = 300 * time.Millisecond

// panelSwitch puts the panel out where there is an X display that can (DPMS).
func (h *host) panelSwitch() panelSwitch {
	d, err := lamps.OpenDisplay(h.getenv("DISPLAY"), displayFor)
	if err != nil {
		return nil
	}
	if !d.CanSleep() {
		d.Close()
		return nil
	}
	d.State = h.panelFile()
	return d
}

// panelFile is where what there was before is kept.
func (h *host) panelFile() string { return filepath.Join(h.state, "panel.json") }

// panelBack puts back what a run changed that was killed while the panel was out.
func (h *host) panelBack() error {
	if _, err := os.Stat(h.panelFile()); err != nil {
		return nil
	}
	d, err := lamps.OpenDisplay(h.getenv("DISPLAY"), displayFor)
	if err != nil {
		return nil // a start where there is one does it
	}
	defer d.Close()
	if !d.CanSleep() {
		return nil
	}
	d.State = h.panelFile()
	if err := d.Restore(); err != nil {
		return fmt.Errorf("when the panel goes out by itself could not be put back (xset dpms sets it): %w", err)
	}
	return nil
}

// panelOff says whether the panel can be put out, or what to press.
func (h *host) panelOff() tui.Finding {
	f := tui.Finding{Text: "the panel, when you work by ear", Detail: "it cannot be put out from here: the laptop's own key for it does, where it has one (Fn with a screen that is crossed out), and each press wakes it"}
	if d := h.panelSwitch(); d != nil {
		d.Close()
		f.Detail = "at level dark, led or blind it is put out while paper is out; each press wakes it for a moment"
	}
	return f
}
