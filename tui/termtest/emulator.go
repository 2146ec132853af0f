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
			if c.Style.Bg == nil {
				return fmt.Errorf("cell %d,%d (%q) shows the default background", x, y, c.Content)
			}
			if r, g, b, _ := c.Style.Bg.RGBA(); r|g|b != 0 {
				return fmt.Errorf("cell %d,%d (%q) has a lit background %v", x, y, c.Content, c.Style.Bg)
			}
			if c.Style.Attrs != 0 || c.Style.Underline != 0 {
				return fmt.Errorf("cell %d,%d (%q) has attributes %x", x, y, c.Content, c.Style.Attrs)
			}
			if c.Style.UnderlineColor != nil || c.Link.URL != "" {
				return fmt.Errorf("cell %d,%d (%q) has a link or an underline colour", x, y, c.Content)
			}
			if c.Style.Fg == nil {
				if strings.TrimSpace(c.Content) != "" {
					return fmt.Errorf("cell %d,%d (%q) shows the default foreground", x, y, c.Content)
				}
				continue
			}
			if r, g, b, _ := c.Style.Fg.RGBA(); g|b != 0 || r > limit {
				return fmt.Errorf("cell %d,%d (%q) has foreground %v", x, y, c.Content, c.Style.Fg)
			}
			if strings.ContainsFunc(c.Content, foul) {
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
		if r, g, b, _ := c.RGBA(); g|b != 0 || r > limit {
			return fmt.Errorf("the default %s is %v", name, c)
		}
	}
	return nil
}
