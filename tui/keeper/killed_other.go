//go:build !unix

package keeper

import "os"

// killedBy: where there are no signals, the exit code says it all.
func killedBy(*os.ProcessState) (string, int) { return "", 0 }

// Revive: nobody is stopped here.
func (*command) Revive() {}
