package tui

import (
	"cmp"
	"fmt"
	"strings"
	"time"

	"github.com/charmbracelet/x/ansi"

	"wetside/session"
	"wetside/session/desk"
	"wetside/session/say"
	"wetside/session/words"
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

// ansiCut cuts plain text to so many cells.
func ansiCut(s string, width int) string { return ansi.Truncate(s, max(0, width), "~") }

// BehindText says that nothing tells how long it is since the last event.
const BehindText = "The computer was restarted and its clock is behind: how long it was off is not known."

// ResumeText says what was running when the program ended, for how long by
// now, and by how much that is too long; empty when nothing was.
func ResumeText(m *session.Machine, now session.Instant) string {
	v := m.View(now)
	var out []string
	if m.Behind(now) && len(v.Need) > 0 {
		out = append(out, BehindText)
	}
	for _, id := range v.Need {
		out = append(out, ResumeSheet(m, now, id))
	}
	return strings.Join(out, " ")
}

// ResumeSheet is [ResumeText] of one sheet.
func ResumeSheet(m *session.Machine, now session.Instant, id string) string {
	s, _ := m.View(now).Sheet(id)
	if m.Behind(now) {
		if s.Phase == session.Exposing {
			return fmt.Sprintf("Sheet %d had had %s of light when something was last recorded.", s.Num, words.CountUp(s.Elapsed))
		}
		return fmt.Sprintf("Sheet %d was in the %s, %s into it, when something was last recorded.", s.Num, where(s), words.CountUp(s.Elapsed))
	}
	since := now.Wall.Add(-s.Elapsed).Format("15:04:05")
	text := fmt.Sprintf("Sheet %d has been in the %s since %s, that is %s", s.Num, where(s), since, words.CountUp(s.Elapsed))
	if s.Phase == session.Exposing {
		text = fmt.Sprintf("Sheet %d has had %s of light", s.Num, words.CountUp(s.Elapsed))
		if !s.Open {
			text += " and is covered"
		}
	}
	if s.Over > 0 && s.Phase == session.Wet && s.Stage != session.Wash && s.Stage != session.Rinse {
		text += fmt.Sprintf(", %s longer than it should be", words.CountUp(s.Over))
	}
	return text + "."
}

// where names the bath a sheet is in, as one would say it.
func where(s session.SheetView) string { return cmp.Or(bathNames[s.Stage], s.Label) }

var bathNames = map[session.Stage]string{session.Develop: "developer", session.Stop: "stop bath", session.Fix: "fixer", session.Fix2: "fixer", session.Hold: "holding water"}

func whereText(v session.View) string {
	if len(v.Need) == 0 {
		return "nothing is running"
	}
	var parts []string
	for _, id := range v.Need {
		s, _ := v.Sheet(id)
		parts = append(parts, fmt.Sprintf("sheet %d: %s; %s", s.Num, s.Label, Stands(s)))
	}
	return strings.Join(parts, ". ")
}

// PhaseText says how a sheet stands as a whole.
func PhaseText(s *session.Sheet) string {
	if s.Phase == session.Fresh && !desk.Unexposed(s) {
		return "waits for the trays"
	}
	return say.State(s.Phase).Words()
}

// Stands says how far a sheet is that is being exposed or lies in a bath: "3:00
// left", "covered; 3:00 left", "over by 0:20", "waiting".
func Stands(s session.SheetView) string {
	covered := ""
	if s.Phase == session.Exposing && !s.Open {
		covered = "covered; "
	}
	switch {
	case s.Stage == session.Hold:
		return "waiting"
	case s.Left > 0:
		return covered + words.Countdown(s.Left) + " left"
	}
	// In its first second too it is over, and not 0:00 left.
	return covered + "over by " + words.CountUp(max(s.Over, time.Second))
}
