package main

import (
	"bytes"
	"errors"
	"io"
	"slices"
	"strings"

	"wetside/session/words"
)

// reckonings are the commands that only reckon: they can be answered on a
// screen as well as in a shell.
var reckonings = []string{"pinhole", "exposure", "preflash", "learn", "mix", "washes"}

// reckoned answers one of them from within the program: the same command, its
// output handed back, its fault in one sentence.
func (p program) reckoned(line string) (string, error) {
	args := strings.Fields(line)
	if len(args) == 0 || !slices.Contains(reckonings, args[0]) {
		return "", errors.New("reckon what? begin with " + words.Or(reckonings))
	}
	var out bytes.Buffer
	h := *p.host
	h.args, h.out, h.err = args, &out, io.Discard // what profiles lack was told at the start
	// The folders may have been given as flags of the program's own.
	h.args = append(h.args, "--data", p.data, "--config", p.config)
	if _, err := h.run(); err != nil {
		return "", errors.New(oneLine(err))
	}
	return out.String(), nil
}
