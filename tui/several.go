package tui

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"wetside/session"
	"wetside/session/bench"
	"wetside/session/words"
	"wetside/tui/ember"
)

// This file is what the trays screen says and asks of several sheets at once:
// when the next may go in, what the baths have seen, what a wash would lose.

// goesAt says when a sheet that waits is to go in, or one in water is to go on
// later than it could, because the hands are needed elsewhere; empty for others.
func (m *Model) goesAt(s session.SheetView, now time.Duration) string {
	p, ok := m.desk.Evening(now)
	t, known := p.Goes[s.ID]
	if !ok || !known || t < now {
		return ""
	}
	clock := m.desk.M.At(t).Wall.Format(time.TimeOnly)
	switch {
	case s.Visit == 0:
		return "goes in at " + clock
	case t > s.Ends && (s.Stage == session.Rinse || s.Stage == session.Hold || s.Stage == session.Wash):
		return "stays until " + clock
	}
	return ""
}

// whereabouts says of a sheet in the field where it is, and which press would
// bring it on.
func (m *Model) whereabouts(s *session.Sheet) string {
	v, _ := m.desk.M.View(m.desk.Now()).Sheet(s.ID)
	switch {
	case s.Phase == session.Fresh && s.Spec.Exposure <= 0:
		return fmt.Sprintf("sheet %d is in its camera, not exposed: in the field (shift+tab) press e and give its light", s.Num)
	case s.Phase == session.Fresh:
		return fmt.Sprintf("sheet %d is in its camera, not exposed: in the field (shift+tab) space opens the pinhole", s.Num)
	case !v.Open:
		return fmt.Sprintf("sheet %d is in the field, its pinhole covered, %s left: there (shift+tab) c uncovers it, and space ends the exposure", s.Num, words.Countdown(v.Left))
	case v.Left == 0:
		return fmt.Sprintf("sheet %d is in the field, its exposure done: cover the pinhole, and there (shift+tab) press space", s.Num)
	}
	return fmt.Sprintf("sheet %d is in the field, being exposed, %s left: there (shift+tab) space ends the exposure", s.Num, words.Countdown(v.Left))
}

// benchLines are the lines of the trays screen above the list of sheets.
func (m *Model) benchLines(v session.View) []string {
	var out []string
	if next := m.desk.Next(); next != nil && v.Due != "" {
		if start, why, ok := m.desk.Soon(next, v.T); ok {
			l := fmt.Sprintf("%d may go in now", next.Num)
			if start > v.T {
				l = fmt.Sprintf("%d may go in in %s", next.Num, words.Countdown(start-v.T))
				if why != "" {
					l += ": " + why
				}
			}
			out = append(out, ansiCut(ember.SafeText(l), m.width))
		}
	}
	if p, ok := m.desk.Evening(v.T); ok {
		l := "all done at " + m.desk.M.At(p.Done).Wall.Format(time.TimeOnly) + ", if each goes in as soon as it may"
		out = append(out, ansiCut(l, m.width))
	}
	var parts []string
	for _, b := range m.desk.Baths() {
		if b.CapacityCM2 > 0 || b.Mix.Life > 0 {
			parts = append(parts, b.Name+" "+words.Percent(b.Share))
		}
	}
	if len(parts) > 0 {
		out = append(out, ansiCut(ember.SafeText("used: "+strings.Join(parts, ", ")), m.width))
	}
	return out
}

// fillTrays notes that every tray of a process was filled freshly.
func (m *Model) fillTrays(process string) tea.Cmd {
	if m.cfg.Baths == nil {
		return m.tell("baths are not known here")
	}
	var names []string
	for _, mix := range m.cfg.Baths(process) {
		mix.ID = m.desk.NewID()
		if m.do(session.Event{Kind: session.BathMixed, Mix: &mix}) == nil {
			names = append(names, mix.Name)
		}
	}
	if len(names) == 0 {
		return m.tell("this process has no baths in its profile")
	}
	return m.tell("fresh: " + strings.Join(names, ", "))
}

// freshBath asks which bath was made up anew, and guides through a two-bath
// fixer's change of places.
func (m *Model) freshBath(v session.View) tea.Cmd {
	baths := m.desk.Baths()
	if len(baths) == 0 {
		process := m.form.value().Process
		if s := m.acting(); s != nil {
			process = s.Spec.Process.Key
		}
		m.ask = &question{text: "No bath is noted yet. Are all trays filled freshly?",
			yes: func() tea.Cmd { return m.fillTrays(process) },
			no:  func() tea.Cmd { return m.tell("left as it was") }}
		return nil
	}
	var list []string
	for i, b := range baths {
		list = append(list, fmt.Sprintf("%d %s (%s)", i+1, b.Name, words.Percent(b.Share)))
	}
	m.askUntil("Which bath is to be replaced? "+strings.Join(list, ", "), func(text string) (tea.Cmd, error) {
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 || n > len(baths) {
			return nil, fmt.Errorf("answer with the number of a bath, 1 to %d", len(baths))
		}
		return m.replace(baths[n-1], baths), nil
	})
	return nil
}

// replace retires a bath: by a fresh one, or, where a second fixing bath
// stands, by that one.
func (m *Model) replace(b bench.BathState, all []bench.BathState) tea.Cmd {
	steps := []bench.Guided{{Text: fmt.Sprintf("Pour the %s away and fill the tray anew. %s", b.Name, bench.Disposal(b)),
		Kind: session.BathMixed, Bath: b.Mix.ID, Into: b.Name}}
	if second, ok := m.secondOf(b, all); ok {
		steps = bench.Promotion(b, second)
	}
	return m.guide(steps, b.Mix)
}

// secondOf finds the bath of the step that follows b's as second fix.
func (m *Model) secondOf(b bench.BathState, all []bench.BathState) (bench.BathState, bool) {
	for _, s := range m.desk.M.Sheets() {
		first := false
		for _, st := range s.Spec.Process.Steps {
			if st.Stage == session.Fix {
				first = st.Bath == b.Name
			}
			if st.Stage == session.Fix2 && first {
				return bench.Standing(all, st.Bath)
			}
		}
	}
	return bench.BathState{}, false
}

// guide asks for one step after the other, and records each as it is confirmed.
func (m *Model) guide(steps []bench.Guided, old session.Mix) tea.Cmd {
	if len(steps) == 0 {
		return m.tell("done")
	}
	g := steps[0]
	m.ask = &question{text: g.Text + " Done?", yes: func() tea.Cmd {
		switch g.Kind {
		case session.BathMixed:
			mix := old
			mix.ID = m.desk.NewID()
			if g.Into != "" {
				mix.Name = g.Into
			}
			m.do(session.Event{Kind: session.BathMixed, Mix: &mix})
		case "":
		default:
			m.do(session.Event{Kind: g.Kind, Bath: g.Bath, Into: g.Into})
		}
		return m.guide(steps[1:], old)
	}, no: func() tea.Cmd { return m.tell("broken off: what was confirmed is noted") }}
	m.desk.Say(g.Text)
	return nil
}
