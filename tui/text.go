package tui

import (
	"fmt"
	"strings"
	"time"

	"github.com/charmbracelet/x/ansi"

	"wetside/session"
	"wetside/tui/ember"
)

// clockText writes a duration as minutes and seconds, 1:05, or with hours,
// 1:02:05. Seconds are rounded up, so that a countdown reaches 0:00 when it is
// over and not a second before.
func clockText(d time.Duration) string {
	neg := ""
	if d < 0 {
		neg, d = "-", -d
	}
	s := int64((d + time.Second - 1) / time.Second)
	if s >= 3600 {
		return fmt.Sprintf("%s%d:%02d:%02d", neg, s/3600, s/60%60, s%60)
	}
	return fmt.Sprintf("%s%d:%02d", neg, s/60, s%60)
}

// upText is clockText for what counts up: seconds are cut, not rounded.
func upText(d time.Duration) string { return clockText(d.Truncate(time.Second)) }

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
