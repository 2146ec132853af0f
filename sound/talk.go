package sound

import "wetside/sound/voice"

// Talk is how much is spoken.
type Talk = voice.Talk

// How much is spoken.
const (
	Few    = voice.Few
	Normal = voice.Normal
	Full   = voice.Full
)
