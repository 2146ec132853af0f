//go:build unix

package keeper

import "regexp"

// answers takes the answers of a terminal out of what it sends, in pieces or not. No
// byte of one is a key.
type answers struct {
	held []byte // what may be the begin of one
	told Told
}

var (
	// What stands for OSC 4 ; n ; ? and OSC 10 ; ? and the like, for XTVERSION, and for
	// the primary device attributes (ECMA-48 and the control sequences of xterm). A
	// terminal that answers OSC with half of an ST, an escape alone, is known.
	colourAnswer  = regexp.MustCompile(`^\x1b\]((?:4;)?\d{1,3});(rgba?:[0-9a-fA-F/]{1,40})(\x07|\x1b\\|\x1b[^\\])`)
	versionAnswer = regexp.MustCompile(`^\x1bP>\|([^\x1b\x07]{0,60})\x1b\\`)
	deviceAnswer  = regexp.MustCompile(`^\x1b\[\?[\d;]{0,60}c`)
	mayBeAnswer   = regexp.MustCompile(`^\x1b(?:\](?:(?:4;)?\d{0,3}(?:;(?:r(?:g(?:b(?:a?(?::[0-9a-fA-F/]{0,40}\x1b?)?)?)?)?)?)?)?|P(?:>(?:\|[^\x1b\x07]{0,60}\x1b?)?)?|\[(?:\?[\d;]{0,60})?)?$`)
)

// take gives the keys that are in src.
func (a *answers) take(src []byte) (keys []byte) {
	rest := append(a.held, src...)
	a.held = nil
	for len(rest) > 0 {
		switch is := rest; {
		case is[0] != 0x1b:
		case colourAnswer.Match(is):
			m := colourAnswer.FindSubmatch(is)
			if a.told.Colours == nil {
				a.told.Colours = map[string]string{}
			}
			a.told.Colours[string(m[1])] = string(m[2])
			rest = rest[len(m[0]):]
			if end := m[3]; len(end) == 2 && end[1] != '\\' {
				rest = is[len(m[0])-1:]
			}
			continue
		case versionAnswer.Match(is):
			m := versionAnswer.FindSubmatch(is)
			a.told.Version = string(m[1])
			rest = rest[len(m[0]):]
			continue
		case deviceAnswer.Match(is):
			a.told.All = true
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

// late is take where keys may not wait: what could be the begin of an answer is kept
// back only where no key begins so.
func (a *answers) late(src []byte) (keys []byte) {
	keys = a.take(src)
	if len(a.held) < 3 {
		keys, a.held = append(keys, a.held...), nil
	}
	return keys
}
