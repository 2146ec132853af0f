//go:build !windows

package ember

import "os"

// EnableVT: elsewhere terminals act on control sequences as they are.
func EnableVT(*os.File) error { return nil }
