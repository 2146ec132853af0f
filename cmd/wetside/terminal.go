package main

import (
	"os"

	"golang.org/x/term"
)

// terminal returns standard input and output when both are one.
func terminal() (in, out *os.File, ok bool) {
	return os.Stdin, os.Stdout, term.IsTerminal(int(os.Stdin.Fd())) && term.IsTerminal(int(os.Stdout.Fd()))
}
