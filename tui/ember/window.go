package ember

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Terminals that have ways of their own.
const rxvt, st = "rxvt", "st"

type terminal struct{ variable, begins, name, press string }

// terminals are known by what they set in the environment, and what makes each of
// them show nothing but its text: full screen, no bars. From memory, but for those that the
// README calls measured.
var terminals = []terminal{
	{"XTERM_VERSION", "", "xterm", "it is full screen by itself, where the desktop lets it, else alt+enter; the scrollbar is off already"},
	{"KITTY_WINDOW_ID", "", "kitty", "ctrl+shift+f11 is full screen; with one tab it shows no bar"},
	{"ALACRITTY_WINDOW_ID", "", "alacritty", "the desktop's key for full screen; it has no bars"},
	{"KONSOLE_VERSION", "", "konsole", "f11 is full screen, ctrl+shift+m takes the menu away, and the scrollbar goes in the settings of the profile"},
	{"VTE_VERSION", "", "a VTE terminal", "f11 is full screen; menu and scrollbar go in its preferences, before wetside starts, for the pointer is hidden by then"},
	{"WT_SESSION", "", "a Windows terminal", "f11 is full screen; it keeps no tabs there"},
	{"TERM_PROGRAM", "Apple_Terminal", "the Mac's terminal", "ctrl+cmd+f is full screen; keep a single tab"},
	{"TERM_PROGRAM", "iTerm", "a Mac's terminal", "cmd+enter is full screen; keep a single tab"},
	{"TERM", "rxvt", rxvt, "the desktop's key for full screen; scrollbar and border are black already"},
	{"TERM", "st", st, "the desktop's key for full screen; it has no bars"},
	{"TERM", "foot", "foot", "f11 is full screen; it has no bars"},
}

// versions are how terminals begin what they tell of themselves (XTVERSION), where no
// variable does: at the other end of a line, or behind a program that clears them.
var versions = map[string]string{
	"XTerm": "xterm", "kitty": "kitty", "VTE": "a VTE terminal", "Konsole": "konsole", "foot": "foot", "iTerm2": "a Mac's terminal",
}

// Window names the terminal, as far as it names itself, by its variables or by the
// version that it told, and says what to press in it so that nothing of its own is lit.
// Within a multiplexer the names may be those of another day: nothing is said there.
func Window(env func(string) string, version string) (name, press string) {
	if DetectMux(env) != NoMux {
		return "", ""
	}
	for _, w := range terminals {
		switch is := env(w.variable); {
		case is == "":
		case w.variable == "TERM" && is != w.begins && !strings.HasPrefix(is, w.begins+"-"):
		case !strings.HasPrefix(is, w.begins):
		default:
			return w.name, w.press
		}
	}
	for begins, name := range versions {
		if version != "" && strings.HasPrefix(version, begins) {
			at := slices.IndexFunc(terminals, func(t terminal) bool { return t.name == name })
			return name, terminals[at].press
		}
	}
	return "", ""
}

// Nameless reports whether a terminal can be asked for its name, and has to be.
func Nameless(env func(string) string) bool {
	name, _ := Window(env, "")
	term := env("TERM")
	return name == "" && DetectMux(env) == NoMux && strings.HasPrefix(term, "xterm")
}

// Forgetful reports whether a terminal gives no colour back that was set: its own have
// to be asked for first. Known of rxvt, and of st for what is no palette (measured in
// their versions of 2022).
func Forgetful(env func(string) string) bool {
	name, _ := Window(env, "")
	return name == rxvt || name == st
}

// OwnColours are what puts a forgetful terminal's own colours back ([Options].Own), of
// those that it told. rxvt tells none but its palette; which entries of it text and
// background are, it says in COLORFGBG, where they are any. all is false where one is
// not known: such a window stays black, with text that can be read.
func OwnColours(env func(string) string, told map[string]string) (own []string, all bool) {
	if len(told) == 0 {
		return nil, !Forgetful(env)
	}
	for i := range 256 {
		if name := fmt.Sprintf("4;%d", i); told[name] != "" {
			own = append(own, name+";"+told[name])
		}
	}
	text, ground, cursor := told["10"], told["11"], told["12"]
	if parts := strings.Split(env("COLORFGBG"), ";"); len(parts) > 1 && text == "" && ground == "" {
		entry := func(s string) string {
			if n, err := strconv.Atoi(s); err == nil {
				return told[fmt.Sprintf("4;%d", n)]
			}
			return ""
		}
		text, ground = entry(parts[0]), entry(parts[len(parts)-1])
	}
	all = text != "" && ground != ""
	if !all {
		text, ground = told["4;7"], "#000000"
	}
	cursor = cmp.Or(cursor, text)
	put := []struct{ command, colour string }{{"10", text}, {"11", ground}, {"12", cursor}, {"13", text}, {"14", ground}, {"17", text}, {"19", ground}}
	if name, _ := Window(env, ""); name == rxvt {
		put = append(put, struct{ command, colour string }{"708", ground})
	}
	for _, p := range put {
		if p.colour != "" {
			own = append(own, p.command+";"+p.colour)
		}
	}
	return own, all
}

// Reddened reports whether the colours that a terminal told are those a guard has set:
// the program was killed in it, and its own are not these.
func Reddened(told map[string]string) bool {
	green, ok := told["4;10"]
	return ok && strings.HasPrefix(green, "rgb:") && strings.HasSuffix(green, "/0000/0000")
}
