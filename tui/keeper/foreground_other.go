//go:build !unix

package keeper

import "os"

// notOurs: no shell takes a terminal back here.
func notOurs(*os.File, error) bool { return false }
