//go:build !windows

package ember

import "os"

// enableVT: elsewhere terminals act on control sequences as they are.
func enableVT(*os.File) error { return nil }
