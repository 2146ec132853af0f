package main

import (
	"bytes"
	"errors"
	"slices"
	"strings"
)

// reckonings are the commands that only reckon: they can be answered on a
// screen as well as in a shell.
var reckonings = []string{"pinhole", "exposure", "preflash", "learn", "mix", "washes"}

// reckoned answers one of them from within the program: the same command, its
// output handed back, its fault in one sentence.
func (p program) reckoned(line string) (string, error) {
	args := strings.Fields(line)
	if len(args) == 0 || !slices.Contains(reckonings, args[0]) {
		return "", errors.New("reckon what? begin with " + strings.Join(reckonings[:len(reckonings)-1], ", ") + " or " + reckonings[len(reckonings)-1])
	}
	var out, fault bytes.Buffer
	h := *p.host
	h.args, h.out, h.err = args, &out, &fault
	// The folders may have been given as flags of the program's own.
	h.args = append(h.args, "--data", p.data, "--config", p.config)
	if run(&h) != 0 {
		text, _, _ := strings.Cut(strings.TrimPrefix(fault.String(), "wetside: "), "; try: ")
		return "", errors.New(strings.TrimSpace(text))
	}
	return out.String(), nil
}
