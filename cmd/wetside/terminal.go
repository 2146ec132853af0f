package main

import (
	"os"

	"github.com/charmbracelet/x/term"
)

// terminal returns standard input and output when both are one.
func terminal() (in, out *os.File, ok bool) {
	return os.Stdin, os.Stdout, term.IsTerminal(os.Stdin.Fd()) && term.IsTerminal(os.Stdout.Fd())
}
