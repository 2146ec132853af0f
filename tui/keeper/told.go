package keeper

import (
	"strconv"
	"strings"
)

// Told is what a terminal answered.
type Told struct {
	// Colours that were asked for by OSC, as XParseColor has them ("rgb:ffff/0/0"), by
	// number: "11" is the background, "4;196" an entry of the palette.
	Colours map[string]string
	// Version is the terminal's name and version (XTVERSION).
	Version string
	// All says that it answered the last of what it was asked, so nothing more will come.
	All bool
}

// Wide reports whether it told a colour that only a palette of 256 has.
func (t Told) Wide() bool {
	for name := range t.Colours {
		if entry, is := strings.CutPrefix(name, "4;"); is {
			if n, err := strconv.Atoi(entry); err == nil && n > 15 {
				return true
			}
		}
	}
	return false
}
