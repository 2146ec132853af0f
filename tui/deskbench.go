package tui

import (
	tea "github.com/charmbracelet/bubbletea"

	"wetside/session"
)

func (d *Desk) benchCues(from, to session.Instant) []session.Cue { return nil }
func (m *Model) benchLines(v session.View) []string              { return nil }
func (m *Model) benchWarning(s *session.Sheet, next int) string  { return "" }
func (m *Model) spentBath(s *session.Sheet, next int) string     { return "" }
func (m *Model) fillTrays(process string) tea.Cmd                { return nil }
func (m *Model) freshBath(v session.View) tea.Cmd                { return nil }
