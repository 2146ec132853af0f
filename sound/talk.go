package sound

// Talk is how much is spoken.
type Talk int

// How much is spoken.
const (
	Few Talk = iota
	Normal
	Full
)
