//go:build !unix

package main

// keepPrivate has nothing to do where a user's folders are private by rights
// that files inherit.
func keepPrivate() {}
