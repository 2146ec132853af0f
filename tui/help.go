package tui

import (
	"fmt"
	"strings"

	"github.com/charmbracelet/bubbles/key"
)

// helpView lists every key of the screen, and those that work everywhere.
func (m *Model) helpView(h int) string {
	st := m.styles
	var own []key.Binding
	switch m.screen {
	case Bench:
		own = []key.Binding{formKeys.Up, formKeys.Left, formKeys.Add, formKeys.Fill}
	case Field:
		k := fieldKeys
		own = []key.Binding{k.Go, k.Cover, k.Darker, k.Up, k.Edit, keys.Where, trayKeys.Undo, k.Note, k.Sum, k.Camera, k.Learned, k.Strip, k.Reckon, k.Spoil}
	case Trays:
		own = trayKeys.all()
	case Notebook:
		own = m.book.keys()
	case Room:
		own = m.room.keys(m)
	}
	var b strings.Builder
	line := func(k key.Binding) string {
		desc := k.Help().Desc
		if long := explain[k.Help().Key]; long != "" && (m.screen == Trays || k.Help().Key == "tab" || k.Help().Key == "[ ]" || k.Help().Key == "d") {
			desc = long
		}
		return fmt.Sprintf("%-10s %s", k.Help().Key, desc)
	}
	b.WriteString(st.Strong.Render("keys of the "+m.screen.String()) + "\n")
	all := append(own, keys.Next, keys.Prev, keys.Louder, keys.Glow, keys.Quit)
	cols := 1
	if m.width >= 80 && len(all) > h-6 {
		cols = 2
	}
	rows := (len(all) + cols - 1) / cols
	for i := range rows {
		l := line(all[i])
		if j := i + rows; cols == 2 && j < len(all) {
			l = fmt.Sprintf("%-38s %s", l, line(all[j]))
		}
		b.WriteString(st.Normal.Render(l) + "\n")
	}
	b.WriteString("\n" + st.Faint.Render(wrap(caution, m.width-2)))
	return b.String()
}
