//go:build !linux

package main

import (
	"runtime"

	"wetside/tui"
)

// hidePointer: the terminal hides it, or the user does.
func (p program) hidePointer() (stop func()) { return func() {} }

// panelSwitch: the user has it.
func (h *host) panelSwitch() panelSwitch { return nil }

// panelBack: nothing was changed.
func (h *host) panelBack() error { return nil }

// panelOff says how the panel is put out by hand. The keys of a Mac are from memory.
func (h *host) panelOff() tui.Finding {
	key := "the laptop's own key for it, where it has one"
	if runtime.GOOS == "darwin" {
		key = "ctrl+shift and the power or eject key"
	}
	return tui.Finding{Text: "the panel, when you work by ear", Detail: "it cannot be put out from here: " + key + " does, and each press wakes it"}
}
