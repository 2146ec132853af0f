package ember

import "strings"

// terminals are known by what they set in the environment, and what makes each of
// them show nothing but its text: full screen, no bars. All from memory.
var terminals = []struct{ variable, begins, name, press string }{
	{"XTERM_VERSION", "", "xterm", "alt+enter is full screen; the scrollbar is off already"},
	{"KITTY_WINDOW_ID", "", "kitty", "ctrl+shift+f11 is full screen; with one tab it shows no bar"},
	{"ALACRITTY_WINDOW_ID", "", "alacritty", "the desktop's key for full screen; it has no bars"},
	{"KONSOLE_VERSION", "", "konsole", "f11 is full screen, ctrl+shift+m takes the menu away, and the scrollbar goes in the settings of the profile"},
	{"VTE_VERSION", "", "a VTE terminal", "f11 is full screen; then take the menu and the scrollbar away, in the menu of the right mouse button or its preferences"},
	{"WT_SESSION", "", "a Windows terminal", "f11 is full screen; it keeps no tabs there"},
	{"TERM_PROGRAM", "Apple_Terminal", "the Mac's terminal", "ctrl+cmd+f is full screen; keep a single tab"},
	{"TERM_PROGRAM", "iTerm", "a Mac's terminal", "cmd+enter is full screen; keep a single tab"},
	{"TERM", "rxvt", "rxvt", "the desktop's key for full screen; start it with +sb and -b 0, for its scrollbar and border keep a colour of their own"},
	{"TERM", "st", "st", "the desktop's key for full screen; it has no bars"},
	{"TERM", "foot", "foot", "f11 is full screen; it has no bars"},
}

// Window names the terminal, as far as it names itself, and says what to press in it
// so that nothing of its own is lit. Within a multiplexer the names may be those of
// another day: nothing is said there.
func Window(env func(string) string) (name, press string) {
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
	return "", ""
}
