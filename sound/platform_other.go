//go:build !linux && !darwin && !windows

package sound

func platform() []device { return nil }
