package session

import "time"

// A Level is how much red light the screen gives.
type Level string

// Levels are all of them, from none at all upwards.
var Levels = []Level{"dark", "ember", "torch"}

// A FogTest is a strip test of safelight and screen together, and its answer: one
// half of it, for light does more or less before the exposure than after it, and
// which is not known beforehand (ISO 8374, determination of ISO safelight
// conditions, tests both orders).
type FogTest struct {
	Paper string // its key
	// PreExposed: the strip had its exposure before it lay in the light, as paper has
	// in the developer; else after it, as paper has in the camera.
	PreExposed bool
	Safe       time.Duration // longest time without a visible step; 0: even the first step showed
	Level      Level         // of the screen while the strip lay in the light
	Backlight  *float64      `json:",omitempty"` // of the panel, share of its most; nil: it could not be read
	At         time.Time
}

// Half says which half of the test it was.
func (t FogTest) Half() string {
	if t.PreExposed {
		return "light after the exposure"
	}
	return "light before the exposure"
}
