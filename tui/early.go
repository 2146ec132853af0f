package tui

import "early.wetside"

// This package is initialised after bubbletea, which has not asked then.
func init() { early.Restore() }
