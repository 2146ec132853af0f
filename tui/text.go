package tui

import (
	"strings"

	"github.com/charmbracelet/x/ansi"

	"wetside/session"
	"wetside/tui/ember"
)

// doing says what the hands should do with a sheet.
func doing(s session.SheetView) string {
	if s.Over > 0 && s.Phase == session.Wet {
		if s.NextIs == "" {
			return "finished: take it out"
		}
		return "move on to " + s.NextIs
	}
	return string(s.Doing)
}

// column makes text that somebody typed exactly so many cells wide.
func column(s string, width int) string {
	s = ansiCut(ember.SafeText(s), width)
	return s + strings.Repeat(" ", max(0, width-ansi.StringWidth(s)))
}

// ansiCut cuts plain text to so many cells.
func ansiCut(s string, width int) string { return ansi.Truncate(s, max(0, width), "~") }
