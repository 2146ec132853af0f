//go:build unix && !linux && !darwin

package main

// keeperStopped: how that is asked differs from system to system.
func keeperStopped() bool { return false }
