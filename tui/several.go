package tui

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	tea "github.com/charmbracelet/bubbletea"

	"wetside/session"
	"wetside/session/bench"
	"wetside/session/say"
	"wetside/session/words"
)

// This file is what the trays screen says and asks of several sheets at once:
// when the next may go in, what the baths have seen, what a wash would lose.

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
		return fmt.Sprintf("sheet %d is in the field, its pinhole covered, %s left. shift+tab goes there: c uncovers it, space ends the exposure", s.Num, words.Countdown(v.Left))
	case v.Left == 0:
		return fmt.Sprintf("sheet %d is in the field, its exposure done: cover the pinhole. shift+tab goes there: press space", s.Num)
	}
	return fmt.Sprintf("sheet %d is in the field, still being exposed, %s left. shift+tab goes there: space ends the exposure", s.Num, words.Countdown(v.Left))
}

// mayGoIn says when the next sheet may go in, and what it waits for.
func (m *Model) mayGoIn(v session.View) []string {
	next := m.desk.Next()
	if next == nil || v.Due == "" {
		return nil
	}
	start, why, ok := m.desk.Soon(next, v.T)
	switch {
	case !ok:
		return nil
	case start <= v.T:
		return []string{fmt.Sprintf("sheet %d may go in now", next.Num)}
	}
	out := []string{fmt.Sprintf("wait %s with sheet %d", words.Countdown(start-v.T), next.Num)}
	if why != "" {
		out = append(out, why)
	}
	return out
}

// accounts are what the baths and the safelight have been used for, and when all
// is done, in words.
func (m *Model) accounts(v session.View) (out []note) {
	rest := m.bathNotes()
	if len(rest) > 0 { // the one that is used most leads
		out, rest = rest[:1:1], rest[1:]
	}
	out = append(out, lightNotes(v)...)
	if p, ok := m.desk.Evening(v.T); p.Done > 0 && (ok || len(p.Moves) > 0) {
		out = append(out, note{"all done " + m.desk.M.At(p.Done).Wall.Format("15:04"), -1})
	}
	if n := ended(v); n != "" {
		out = append(out, note{n + ", in the notebook", -1})
	}
	return append(out, rest...)
}

// bathNotes tell how far each bath is used, the one that is used most first, and for
// how many sheets of the largest paper it lasts.
func (m *Model) bathNotes() (out []note) {
	area := 0.0
	for _, s := range m.desk.M.Sheets() {
		area = max(area, s.Spec.Paper.AreaCM2)
	}
	baths := m.desk.Baths()
	slices.SortStableFunc(baths, func(a, b bench.BathState) int { return cmp.Compare(b.Share, a.Share) })
	for _, b := range baths {
		if b.CapacityCM2 <= 0 && b.Mix.Life <= 0 {
			continue
		}
		text := b.Name + " " + words.Percent(b.Share)
		if n := int(max(0, b.CapacityCM2-b.AreaCM2+b.SecondCM2)/max(1, area) + 1e-6); b.CapacityCM2 > 0 && area > 0 && n <= 12 {
			text += ", " + words.CountSpelled(n, "sheet") + " more"
		} else if b.CapacityCM2 > 0 && area > 0 {
			text += fmt.Sprintf(", %d sheets more", n)
		}
		out = append(out, note{text, b.Share})
	}
	return out
}

// ended counts the sheets that are done, and those that are spoiled.
func ended(v session.View) string {
	n := map[session.Phase]int{}
	for _, s := range v.Sheets {
		n[s.Phase]++
	}
	var out []string
	for i, phase := range []session.Phase{session.Finished, session.Ruined} {
		if n[phase] > 0 {
			out = append(out, fmt.Sprintf("%d %s", n[phase], [...]string{"done", "spoiled"}[i]))
		}
	}
	return strings.Join(out, ", ")
}

// lightNotes is how much of the light that the paper may have it has had, of the sheet
// that has had most.
func lightNotes(v session.View) []note {
	used, under := 0.0, ""
	for _, s := range v.Sheets {
		if s.SafeUsed <= 0 || s.Phase != session.Wet && s.Phase != session.Fresh && s.Phase != session.Exposed {
			continue
		}
		if s.SafeNone {
			return []note{{"no safelight is safe for this paper", -1}}
		}
		if s.SafeShare > used {
			used, under = s.SafeShare, "safelight"
			if s.SafeScreen {
				under = "screen light"
			}
		}
	}
	if used > 0 {
		return []note{{fmt.Sprintf("%s %d%% used", under, int(100*used)), used}}
	}
	return nil
}

// fillTrays notes that every tray of a process was filled freshly.
func (m *Model) fillTrays(process string) tea.Cmd {
	if m.cfg.Baths == nil {
		return m.tell(say.NoBaths.Of())
	}
	var names []string
	for _, mix := range m.cfg.Baths(process) {
		mix.ID = m.desk.NewID()
		if m.do(session.Event{Kind: session.BathMixed, Mix: &mix}) == nil {
			names = append(names, mix.Name)
		}
	}
	if len(names) == 0 {
		return m.answer("this process has no baths in its profile", say.NoBaths.Of())
	}
	return m.answer("fresh: "+strings.Join(names, ", "), say.FreshBaths.Of())
}

// freshBath asks which bath was made up anew, and guides through a two-bath
// fixer's change of places.
func (m *Model) freshBath() tea.Cmd {
	baths := m.desk.Baths()
	if len(baths) == 0 {
		process := m.form.value().Process
		if s := m.acting(); s != nil {
			process = s.Spec.Process.Key
		}
		m.put(&question{text: "No bath is noted yet. Are all trays freshly filled?", lines: saying(say.AskFilled.Of()),
			yes: func() tea.Cmd { return m.fillTrays(process) },
			no:  func() tea.Cmd { return m.tell(say.LeftAsItWas.Of()) }})
		return nil
	}
	var list []string
	var aloud []say.Line
	for i, b := range baths {
		list = append(list, fmt.Sprintf("%d %s (%s)", i+1, b.Name, words.Percent(b.Share)))
		if used := b.Percent(); used > 0 {
			aloud = append(aloud, say.BathUsed.Of(say.Number(i+1), b.Said(), say.Percent(used)))
		} else {
			aloud = append(aloud, say.BathIs.Of(say.Number(i+1), b.Said()))
		}
	}
	m.askUntil("", say.AskBath.Of(), func(text string) (tea.Cmd, error) {
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 || n > len(baths) {
			return nil, fmt.Errorf("answer with the number of a bath, 1 to %d", len(baths))
		}
		return m.replace(baths[n-1], baths), nil
	})
	m.ask.text, m.ask.lines = "Which bath is to be replaced? "+strings.Join(list, ", "), saying(append(aloud, say.AskBath.Of())...)
	m.sayAsk()
	return nil
}

// replace retires a bath: by a fresh one, or, where a second fixing bath
// stands, by that one.
func (m *Model) replace(b bench.BathState, all []bench.BathState) tea.Cmd {
	if second, ok := m.secondOf(b, all); ok {
		return m.guide(bench.Promotion(b, second))
	}
	return m.guide(bench.Refill(b))
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
func (m *Model) guide(steps []bench.Guided) tea.Cmd {
	if len(steps) == 0 {
		return m.tell(say.AnotherDone.Of())
	}
	g := steps[0]
	m.ask = &question{text: g.Text + " Done?", lines: saying(append(g.Lines, say.AskStep.Of())...), yes: func() tea.Cmd {
		switch g.Kind {
		case session.BathMixed:
			mix := *g.Mix
			mix.ID = m.desk.NewID()
			m.do(session.Event{Kind: session.BathMixed, Mix: &mix})
		case "":
		default:
			m.do(session.Event{Kind: g.Kind, Bath: g.Bath, Into: g.Into})
		}
		return m.guide(steps[1:])
	}, no: func() tea.Cmd { return m.answer("cancelled: what was confirmed is kept", say.LeftAsItWas.Of()) }}
	m.ask.speakLines(m)
	return nil
}
