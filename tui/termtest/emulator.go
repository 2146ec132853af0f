package termtest

import (
	"fmt"
	"image/color"
	"strings"

	"github.com/charmbracelet/x/vt"
)

// Dark reports the first cell of an emulator that lights green or blue, is
// brighter than red, shows a default of the terminal, or holds a sign that is
// foul. A cell with nothing drawn in it shows its background alone; x/vt keeps no
// foreground for one that was erased.
func Dark(s *vt.Emulator, red uint8, foul func(rune) bool) error {
	limit := uint32(red) * 0x101
	for y := range s.Height() {
		covered := 0 // cells still under a wide character to the left
		for x := range s.Width() {
			c := s.CellAt(x, y)
			if c == nil {
				return fmt.Errorf("cell %d,%d is not there", x, y)
			}
			if covered--; covered >= 0 && c.IsZero() {
				continue
			}
			covered = c.Width - 1
			if is := lights(s, x, y, limit); is != "" {
				return fmt.Errorf("cell %d,%d (%q) %s", x, y, c.Content, is)
			}
			if c.Style.Fg != nil && strings.ContainsFunc(c.Content, foul) {
				return fmt.Errorf("cell %d,%d holds %q", x, y, c.Content)
			}
		}
	}
	if !s.CursorHidden() {
		return fmt.Errorf("the cursor is shown")
	}
	if !s.IsAltScreen() {
		return fmt.Errorf("the alternate screen was left")
	}
	for name, c := range map[string]color.Color{"foreground": s.ForegroundColor(), "background": s.BackgroundColor(), "cursor": s.CursorColor()} {
		if !redOnly(c, limit) {
			return fmt.Errorf("the default %s is %v", name, c)
		}
	}
	return nil
}

// redOnly reports whether a colour is red, and no brighter than limit.
func redOnly(c color.Color, limit uint32) bool {
	r, g, b, _ := c.RGBA()
	return g|b == 0 && r <= limit
}

// lights says by what a cell lights more than it may; empty: by nothing.
func lights(s *vt.Emulator, x, y int, limit uint32) string {
	c := s.CellAt(x, y)
	st := c.Style
	switch {
	case st.Bg == nil:
		return "shows the default background"
	case !redOnly(st.Bg, 0):
		return fmt.Sprintf("has a lit background %v", st.Bg)
	case st.Attrs != 0 || st.Underline != 0:
		return fmt.Sprintf("has attributes %x", st.Attrs)
	case st.UnderlineColor != nil || c.Link.URL != "":
		return "has a link or an underline colour"
	case st.Fg == nil && strings.TrimSpace(c.Content) != "":
		return "shows the default foreground"
	case st.Fg != nil && !redOnly(st.Fg, limit):
		return fmt.Sprintf("has foreground %v", st.Fg)
	}
	return ""
}
