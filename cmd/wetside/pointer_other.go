//go:build !linux

package main

// hidePointer: the terminal hides it, or the user does.
func (p program) hidePointer() (stop func()) { return func() {} }
