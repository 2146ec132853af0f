package main

import (
	"cmp"
	"context"
	"encoding/json"
	"os"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"

	"wetside/tui/ember"
)

// This file puts out what tmux lights around the program while it runs in one of
// its panes: the status line, messages, borders, copy mode. What stood there before
// is kept in tmux itself, so that the next start after a kill can put it back; two
// programs in one window share it, and the last to leave puts it back.

// A tmuxScope is one level of tmux's options, by the flag that chooses it.
type tmuxScope struct {
	flag string      // of set-option; empty: the session
	dark [][2]string // name and value while the program runs
}

var (
	tmuxRed   = ember.Ember.Hex(ember.Faint)
	tmuxStyle = "fg=" + tmuxRed + ",bg=" + ember.Dark.Hex(ember.Faint)
)

var tmuxScopes = []tmuxScope{
	// Colours may stand anywhere in a status line, so it goes as a whole.
	{"", [][2]string{{"status", "off"}, {"message-style", tmuxStyle}, {"message-command-style", tmuxStyle},
		{"display-panes-colour", tmuxRed}, {"display-panes-active-colour", tmuxRed}}},
	{"-w", [][2]string{{"mode-style", tmuxStyle}, {"copy-mode-match-style", tmuxStyle}, {"copy-mode-current-match-style", tmuxStyle},
		{"copy-mode-mark-style", tmuxStyle}, {"pane-border-style", tmuxStyle}, {"pane-active-border-style", tmuxStyle},
		{"pane-border-status", "off"}, {"window-style", "default"}, {"window-active-style", "default"}, {"clock-mode-colour", tmuxRed},
		{"popup-style", tmuxStyle}, {"popup-border-style", tmuxStyle}, {"menu-style", tmuxStyle}, {"menu-border-style", tmuxStyle}, {"menu-selected-style", tmuxStyle}}},
	// What sets the terminal's default colours goes through, for this pane alone:
	// else a window made larger shows the terminal's own white until tmux has drawn.
	// A tmux that does not know the option (before 3.3) lets it through anyway.
	{"-p", [][2]string{{"allow-passthrough", "on"}}},
}

const (
	tmuxBefore = "@wetside-before" // what each option of a scope was, as JSON
	tmuxUsers  = "@wetside-users"  // who wants it dark, by process
)

// darkenTmux does so, and back undoes it. Without a tmux of this machine both do
// nothing.
func (p program) darkenTmux() (back func()) {
	if p.getenv("TMUX") == "" {
		return func() {}
	}
	ctx, cancel := context.WithTimeout(p.ctx, 2*time.Second)
	defer cancel()
	var all []string
	for i, here := range tmuxHere(ctx) {
		all = append(all, tmuxScopes[i].darken(ctx, here)...)
	}
	tmux(ctx, all)
	return func() {
		ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
		defer cancel()
		var all []string
		for _, s := range tmuxScopes {
			all = append(all, s.giveBack(ctx)...)
		}
		tmux(ctx, all)
	}
}

// tmux runs a line of tmux's commands, and gives what it prints.
func tmux(ctx context.Context, args []string) string {
	out, _ := exec.CommandContext(ctx, "tmux", args...).Output() // an older tmux lacks some
	return strings.TrimSuffix(string(out), "\n")
}

// tmuxHere gives the options that are set in each scope itself, by name.
func tmuxHere(ctx context.Context) [][]string {
	const next = "wetside-next"
	var args []string
	for _, s := range tmuxScopes {
		args = append(args, s.command("show-options")...)
		args = append(args, "display-message", "-p", next, ";")
	}
	here := make([][]string, len(tmuxScopes)+1)
	i := 0
	for line := range strings.Lines(tmux(ctx, args)) {
		name, _, _ := strings.Cut(strings.TrimSpace(line), " ")
		if name == next {
			i = min(i+1, len(tmuxScopes))
			continue
		}
		here[i] = append(here[i], name)
	}
	return here[:len(tmuxScopes)]
}

// command is one command for tmux, with the sign that ends it.
func (s tmuxScope) command(name string, args ...string) []string {
	c := []string{name, "-q"}
	if s.flag != "" {
		c = append(c, s.flag)
	}
	for _, a := range args {
		if strings.HasSuffix(a, ";") {
			a = a[:len(a)-1] + `\;`
		}
		c = append(c, a)
	}
	return append(c, ";")
}

func (s tmuxScope) value(ctx context.Context, name string) string {
	return tmux(ctx, s.command("show-options", "-v", name))
}

func (s tmuxScope) darken(ctx context.Context, here []string) (out []string) {
	if !slices.Contains(here, tmuxBefore) { // else a program was killed
		before := map[string]string{}
		for _, o := range s.dark {
			if slices.Contains(here, o[0]) {
				before[o[0]] = s.value(ctx, o[0])
			}
		}
		b, _ := json.Marshal(before)
		out = s.command("set-option", tmuxBefore, string(b))
	}
	users := strconv.Itoa(os.Getpid())
	if slices.Contains(here, tmuxUsers) {
		users += " " + s.value(ctx, tmuxUsers)
	}
	out = append(out, s.command("set-option", tmuxUsers, users)...)
	for _, o := range s.dark {
		out = append(out, s.command("set-option", o[0], o[1])...)
	}
	return out
}

func (s tmuxScope) giveBack(ctx context.Context) (out []string) {
	var others []string
	for _, u := range strings.Fields(s.value(ctx, tmuxUsers)) {
		if pid, _ := strconv.Atoi(u); pid > 0 && pid != os.Getpid() {
			if proc, err := os.FindProcess(pid); err == nil && proc.Signal(syscall.Signal(0)) == nil {
				others = append(others, u)
			}
		}
	}
	if len(others) > 0 {
		return s.command("set-option", tmuxUsers, strings.Join(others, " "))
	}
	before := map[string]string{}
	_ = json.Unmarshal([]byte(cmp.Or(s.value(ctx, tmuxBefore), "{}")), &before) // ours; torn, nothing was set
	for _, o := range s.dark {
		if v, ok := before[o[0]]; ok {
			out = append(out, s.command("set-option", o[0], v)...)
		} else {
			out = append(out, s.command("set-option", "-u", o[0])...)
		}
	}
	out = append(out, s.command("set-option", "-u", tmuxUsers)...)
	return append(out, s.command("set-option", "-u", tmuxBefore)...)
}
