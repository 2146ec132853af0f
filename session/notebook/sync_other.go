//go:build !unix

package notebook

// syncDir does nothing where folders cannot be synced.
func syncDir(string) error { return nil }
