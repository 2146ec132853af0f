//go:build !unix

package keeper

import (
	"os"
	"time"
)

// notOurs: no shell takes a terminal back here.
func notOurs(*os.File, error) bool { return false }

// Ask asks nothing: consoles here say what they can.
func Ask(*os.File, func() error, time.Duration) ([]byte, bool) { return nil, false }
