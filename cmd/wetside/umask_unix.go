//go:build unix

package main

import "syscall"

// keepPrivate makes what the program writes the user's own to read, whichever
// library writes it.
func keepPrivate() { syscall.Umask(0o077) }
