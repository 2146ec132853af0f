//go:build !unix

package notebook

// syncDir does nothing where folders cannot be synced.
func syncFolder(string) error { return nil }
