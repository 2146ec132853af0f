package ember

import (
	"strconv"
	"strings"
)

// Profile is what a terminal can show.
type Profile int

// The profiles.
const (
	// None can show only its own default colours, or is no terminal at all:
	// nothing may be drawn there.
	None Profile = iota
	// LinuxConsole has sixteen colours, and its palette can be set.
	LinuxConsole
	// ANSI256 has the 256-colour cube with its pure reds.
	ANSI256
	// TrueColor takes any red.
	TrueColor
)

// String names the profile.
func (p Profile) String() string {
	return [...]string{"none", "linux console", "256 colours", "true colour"}[max(None, min(p, TrueColor))]
}

// CanDraw says whether anything may be drawn at all.
func (p Profile) CanDraw() bool { return p > None }

// nearest is the red channel this profile really shows when asked for red.
func (p Profile) nearest(red uint8) uint8 {
	if p == TrueColor || p == None {
		return red
	}
	return cube[cubeStep(red)]
}

// Mux is a terminal multiplexer between the program and the terminal. It
// keeps its own idea of the default colours and passes others on only when
// they are wrapped.
type Mux int

// The multiplexers that want their sequences wrapped in a way of their own.
const (
	NoMux Mux = iota
	Tmux
	Screen
)

// DetectMux tells from the environment what stands in between.
func DetectMux(env func(string) string) Mux {
	switch term := env("TERM"); {
	case env("TMUX") != "" || strings.HasPrefix(term, "tmux"):
		return Tmux
	case env("STY") != "" || strings.HasPrefix(term, "screen"):
		return Screen
	}
	return NoMux
}

// Warning says in one sentence what the multiplexer lights outside of this
// program's window, where no guard of ours can reach; empty if nothing does. Put
// out says that its status line is dark while the program runs.
func (m Mux) Warning(putOut bool) string {
	switch {
	case m == Tmux && putOut:
		return "Other panes of this window are lit in their own colours: keep a single pane. The status line is off while this runs."
	case m == Tmux:
		return "The status line of the multiplexer is lit in its own colours: turn it off before paper comes out (tmux set status off), and keep a single pane."
	case m == Screen:
		return "The status line, caption and messages of the multiplexer are lit, in the dimmest red: hardstatus ignore and caption splitonly in its settings put the lines out. Keep a single region."
	}
	return ""
}

// Detect finds the profile from the environment and from whether the output
// is a terminal. The reason is one sentence a person can act on: with None it
// says why nothing can be drawn. Detect asks nothing of the terminal, which takes
// its time over an answer: what may be asked, [Askable] says.
//
// A TERM that says Linux console is believed only where the output is one
// ([OnConsole]) and nothing stands in between: an emulator that goes by that
// name keeps a palette of its own, with every green in it.
//
// NO_COLOR is honoured as no-color.org has it: any non-empty value. Without
// colour there is only the terminal's default, so nothing is drawn.
func Detect(env func(string) string, isTTY, console bool) (Profile, string) {
	const blind = " The program can run by sound alone: start it with --blind."
	if !isTTY {
		return None, "The output is not a terminal, so nothing can be drawn." + blind
	}
	if env("NO_COLOR") != "" {
		return None, "NO_COLOR is set, and without colour the screen would light up in white." + blind
	}
	term := env("TERM")
	colorterm := env("COLORTERM")
	direct := colorterm == "truecolor" || colorterm == "24bit"
	switch {
	case term == "" && env("WT_SESSION") != "":
		return TrueColor, "The console takes true colour."
	case term == "" && env("OS") == "Windows_NT":
		return TrueColor, "The console of this Windows takes true colour."
	case unanswering(term):
		return None, "This terminal (TERM=" + strconv.Quote(term) + ") has only its default colours, which are white or may be." + blind
	case colourless(term):
		return None, "This terminal (TERM=" + strconv.Quote(term) + ") has no colours of its own, so its light cannot be made red." + blind
	}
	mux := DetectMux(env)
	linux := term == "linux" || strings.HasPrefix(term, "linux-")
	if linux && console && mux == NoMux {
		return LinuxConsole, "The Linux console: its sixteen colours are set to reds and put back afterwards."
	}
	wide := strings.Contains(term, "256color") || strings.Contains(term, "direct")
	if mux != NoMux {
		return multiplexed(term, direct, wide)
	}
	if direct || strings.Contains(term, "direct") || truecolorTerms[term] {
		return TrueColor, "The terminal takes true colour."
	}
	if wide {
		return ANSI256, "The terminal has 256 colours: the cube's pure reds are used."
	}
	if linux {
		return None, "TERM says that this is the Linux console, and it is not: what its sixteen colours look like cannot be known. If it has 256, set TERM to say so (for example xterm-256color)." + blind
	}
	return None, "This terminal (TERM=" + strconv.Quote(term) + ") is not known to have more than sixteen colours, and what those look like cannot be known. If it has 256, set TERM to say so (for example xterm-256color)." + blind
}

// multiplexed is the profile behind a multiplexer. It hands true colour on only if its
// own outer terminal has been declared to take it, and otherwise picks the nearest
// colour by its own measure; the cube's pure reds come through as they are. COLORTERM
// alone may have been inherited from outside of it.
func multiplexed(term string, direct, wide bool) (Profile, string) {
	if direct && strings.Contains(term, "direct") {
		return TrueColor, "The multiplexer says it passes true colour on."
	}
	if !wide {
		return ANSI256, "A multiplexer that does not say how many colours it has: the pure reds of the 256-colour cube are used."
	}
	return ANSI256, "A multiplexer with 256 colours: the cube's pure reds are used."
}

func unanswering(term string) bool { return term == "" || term == "dumb" || term == "unknown" }

func colourless(term string) bool {
	return strings.HasPrefix(term, "vt1") || strings.HasPrefix(term, "vt2") || strings.HasPrefix(term, "vt3") || term == "ansi-m" || strings.HasSuffix(term, "-m") || strings.HasSuffix(term, "-mono")
}

// Askable reports whether a terminal that [Detect] finds nothing to draw with may
// have 256 colours all the same, and can be asked for one of them: TERM=xterm says
// sixteen of what mostly has more. The Linux console is not asked, wherever it is: it
// may show what it does not know.
func Askable(env func(string) string, isTTY bool) bool {
	term := env("TERM")
	return isTTY && env("NO_COLOR") == "" && !unanswering(term) && !colourless(term) && !strings.HasPrefix(term, "linux") && DetectMux(env) == NoMux
}

// truecolorTerms are values of TERM whose terminals take true colour whether
// or not they set COLORTERM (their terminfo entries carry the RGB or Tc flag).
var truecolorTerms = map[string]bool{
	"xterm-kitty": true, "alacritty": true, "foot": true, "wezterm": true, "xterm-ghostty": true,
}
