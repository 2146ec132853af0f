//go:build unix

package keeper

import "regexp"

// answers takes the answers of a terminal out of what it sends, in pieces or not. No
// byte of one is a key.
type answers struct {
	held    []byte // what may be the begin of one
	palette bool   // it told a colour of its palette
	end     bool   // it told what it is, which it was asked last
}

var (
	// What stands for OSC 4 ; n ; ? and for the primary device attributes (ECMA-48 and
	// the control sequences of xterm).
	paletteAnswer = regexp.MustCompile(`^\x1b\]4;\d+;rgba?:[0-9a-fA-F/]+(?:\x07|\x1b\\)`)
	deviceAnswer  = regexp.MustCompile(`^\x1b\[\?[\d;]*c`)
	mayBeAnswer   = regexp.MustCompile(`^\x1b(?:\](?:4(?:;(?:\d+(?:;(?:r(?:g(?:b(?:a?(?::[0-9a-fA-F/]*\x1b?)?)?)?)?)?)?)?)?)?|\[(?:\?[\d;]*)?)?$`)
)

// take gives the keys that are in src.
func (a *answers) take(src []byte) (keys []byte) {
	rest := append(a.held, src...)
	a.held = nil
	for len(rest) > 0 {
		switch is := rest; {
		case is[0] != 0x1b:
		case paletteAnswer.Match(is):
			a.palette = true
			rest = rest[len(paletteAnswer.Find(is)):]
			continue
		case deviceAnswer.Match(is):
			a.end = true
			rest = rest[len(deviceAnswer.Find(is)):]
			continue
		case mayBeAnswer.Match(is):
			a.held = append([]byte(nil), is...)
			return keys
		}
		keys, rest = append(keys, rest[0]), rest[1:]
	}
	return keys
}
