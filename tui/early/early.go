// Package early keeps the terminal from being asked for its background before
// the program has begun.
//
// bubbletea asks in an init function, past the guard, and reads the terminal
// until it answers: keys that were typed meanwhile are gone, and a terminal that
// does not answer holds the start up for seconds. Nothing asks a terminal whose
// TERM is dumb, so that is what TERM says until [Restore].
//
// It is a module of its own for its name alone: packages that depend on nothing
// but the standard library are initialised in the order of their paths, and
// "early.wetside" comes before "github.com/charmbracelet/bubbletea", while
// "wetside/..." comes after it (the Go specification, "Program
// initialization").
package early

import "os"

var term, set = os.LookupEnv("TERM")

func init() {
	if set {
		os.Setenv("TERM", "dumb")
	}
}

// Restore gives TERM its value back.
func Restore() {
	if set {
		os.Setenv("TERM", term)
	}
}
