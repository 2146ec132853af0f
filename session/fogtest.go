package session

import "time"

// A Level is how much red light the screen gives.
type Level string

// Levels are all of them, from none at all upwards.
var Levels = []Level{"dark", "ember", "torch"}

// A FogTest is a strip test of safelight and screen together, and its answer.
type FogTest struct {
	Paper      string        // its key
	PreExposed bool          // to a faint grey: exposed paper fogs sooner
	Safe       time.Duration // longest time without a visible step; 0: even the first step showed
	Level      Level         // of the screen while the strip lay in the light
	At         time.Time
}
