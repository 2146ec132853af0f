//go:build !linux

package ember

import "os"

// OnConsole reports whether f is a console that the Linux kernel draws itself.
func OnConsole(*os.File) bool { return false }
