//go:build !unix

package keeper

import (
	"os"
	"time"
)

// notOurs: no shell takes a terminal back here.
func notOurs(*os.File, error) bool { return false }

// Ask asks nothing: consoles here say what they can.
func Ask(*os.File, func() error, time.Duration) ([]byte, Told) { return nil, Told{} }

// Drain has nothing to wait for.
func Drain(*os.File, time.Duration) {}

// answers: none come.
type answers struct{ held []byte }

func (*answers) late(src []byte) []byte { return src }
