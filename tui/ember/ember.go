// Package ember is the light of the program: the one place where a colour has
// a name, and the gate through which every byte passes on its way to the
// terminal.
//
// A screen is a lamp in a darkroom. Photographic paper of ISO 3 is blind to
// red and wide awake to green and blue, so only the red channel is ever lit,
// and as little of it as can be read. There are three levels: [Dark], where
// everything is drawn black on black; [Ember], for the darkroom; and [Torch],
// brighter, for the field, where no sheet lies open.
//
// Three things work together, each of them enough if the others fail:
//
//   - [Level.Red] and [NewStyles] are the palette the screens draw with.
//   - [Paint] takes a view and covers the window with it, cell by cell.
//   - [Guard] stands between the program and the terminal, reads whatever
//     passes, and lets only movement, erasure, text and red through. It owns
//     first and last light as well: [Guard.Begin], [Guard.Blacken],
//     [Guard.Restore].
//
// Package keeper runs the program as a child and has last light, package lamps
// minds the laptop's other lamps.
//
// Relative luminance is reckoned after IEC 61966-2-1 (sRGB); the control
// functions named here are those of ECMA-48 and, for colour, ISO/IEC 8613-6.
package ember

import (
	"fmt"
	"math"
	"strconv"

	"github.com/charmbracelet/lipgloss"
	"github.com/muesli/termenv"
)

// Level says how much red light the screen may give. The zero value gives none.
type Level int

// The three levels, from none to most.
const (
	// Dark draws everything black on black.
	Dark Level = iota
	// Ember is the level of the darkroom.
	Ember
	// Torch is for the field. Never while a sheet is open in the darkroom.
	Torch
)

// String gives the level's name as it is spoken and written in settings.
func (l Level) String() string {
	switch l {
	case Dark:
		return "dark"
	case Ember:
		return "ember"
	case Torch:
		return "torch"
	}
	return "level(" + strconv.Itoa(int(l)) + ")"
}

// MarshalText writes the level's name.
func (l Level) MarshalText() ([]byte, error) { return []byte(l.String()), nil }

// UnmarshalText is ParseLevel.
func (l *Level) UnmarshalText(name []byte) (err error) {
	*l, err = ParseLevel(string(name))
	return err
}

// ParseLevel reads a level's name.
func ParseLevel(name string) (Level, error) {
	for _, l := range []Level{Dark, Ember, Torch} {
		if l.String() == name {
			return l, nil
		}
	}
	return Dark, fmt.Errorf("no light level is called %q: write dark, ember or torch", name)
}

// Role is what a piece of the screen is for. Emphasis is by brightness alone.
type Role int

// The roles, from the least light to the most.
const (
	// Border is for rules and frames, and for what is planned.
	Border Role = iota
	// Large is for figures and letters of several rows: solid, they are read from
	// farther away at a low red than thin ones at a high one, for no more light.
	Large
	// Faint is for what is read rarely.
	Faint
	// Normal is for text.
	Normal
	// Strong is for the one thing to be read now: the remaining time.
	Strong
)

// reds holds the red channel, 0 to 255, for each level and role. The values
// are those of the pure reds of the 256-colour cube (0, 95, 135, 175, 215,
// 255), so that a terminal with 256 colours shows exactly what a terminal with
// true colour shows; the exceptions, Border and Large, go to their neighbours there.
var reds = [3][5]uint8{
	Dark:  {0, 0, 0, 0, 0},
	Ember: {0x48, 0x50, 0x5f, 0x87, 0xaf},
	Torch: {0x5f, 0x73, 0x87, 0xd7, 0xff},
}

// Red is the red channel, 0 to 255, in which role is drawn at this level.
// Green and blue are always 0. A level or role out of range gives no light.
func (l Level) Red(role Role) uint8 {
	if l < Dark || l > Torch || role < Border || role > Strong {
		return 0
	}
	return reds[l][role]
}

// black is the only background there is.
const black = lipgloss.Color("#000000")

// linear turns an sRGB channel value, 0 to 255, into linear light, 0 to 1
// (IEC 61966-2-1, the transfer function with its linear toe).
func linear(channel uint8) float64 {
	c := float64(channel) / 255
	if c <= 0.04045 {
		return c / 12.92
	}
	return math.Pow((c+0.055)/1.055, 2.4)
}

// Luminance is the light of a cell wholly lit in a role, 1 for white
// (IEC 61966-2-1: the Y row of the RGB to XYZ matrix).
func Luminance(l Level, r Role, p Profile) float64 { return 0.2126 * linear(p.nearest(l.Red(r))) }

// Hex is the red of a role as "#rrggbb", for what is drawn by other programs.
func (l Level) Hex(r Role) string { return hexRed(l.Red(r)) }

func hexRed(r uint8) string { return fmt.Sprintf("#%02x0000", r) }

// Styles are the lipgloss styles of one level, each with an explicit
// foreground and an explicit black background.
type Styles struct {
	Level                                Level
	Border, Large, Faint, Normal, Strong lipgloss.Style
}

// NewStyles gives the styles of a level as the profile can show them. Styles
// come from a renderer of their own, so that what lipgloss finds out about the
// process's terminal has no say in it.
func NewStyles(level Level, profile Profile) Styles {
	r := lipgloss.NewRenderer(nil)
	r.SetColorProfile(termenv.TrueColor)
	r.SetHasDarkBackground(true)
	style := func(role Role) lipgloss.Style {
		return r.NewStyle().
			Foreground(lipgloss.Color(hexRed(profile.nearest(level.Red(role))))).
			Background(black)
	}
	return Styles{
		Level:  level,
		Border: style(Border),
		Large:  style(Large),
		Faint:  style(Faint),
		Normal: style(Normal),
		Strong: style(Strong),
	}
}

// cube are the red channels of the pure reds of the 256-colour cube; the
// index of cube[i] is 16+36*i (xterm's colour cube, as terminfo's
// xterm-256color has it).
var cube = [6]uint8{0, 95, 135, 175, 215, 255}

// cubeStep gives the step of the cube nearest to red, never lighting a black
// and never blackening a red.
func cubeStep(red uint8) int {
	if red == 0 {
		return 0
	}
	best := 1
	for i := 2; i < len(cube); i++ {
		if absDiff(cube[i], red) < absDiff(cube[best], red) {
			best = i
		}
	}
	return best
}

func absDiff(a, b uint8) uint8 {
	if a > b {
		return a - b
	}
	return b - a
}
