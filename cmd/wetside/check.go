package main

import (
	"fmt"
	"strings"

	"github.com/charmbracelet/x/term"

	"wetside/profiles"
	"wetside/session/words"
	"wetside/sound"
	"wetside/tui"
	"wetside/tui/ember"
	"wetside/tui/keeper"
)

// CheckCmd is the list before paper is opened.
type CheckCmd struct {
	Sound string `help:"Where sound goes: pulse, oto, aplay, beep or none." placeholder:"DEVICE"`
	JSON  bool   `help:"As JSON." name:"json"`
}

// Help shows how it is used.
func (CheckCmd) Help() string {
	return `Examples:

  wetside check
  wetside check --json

What the program could verify is marked [x]; the rest is for your own eyes. The
same list, with full dark after it to look for leaks, is the room screen of the
program (wetside, then tab until room is lit).`
}

type checkItem struct {
	Text     string `json:"text"`
	Verified bool   `json:"verified"`
}

// arrives says what the monitor of the program's own stream proves, and no more than
// that; empty where there is none.
func arrives(h *host, e *sound.Engine) string {
	switch ok, err := e.Arrives(h.ctx); {
	case err != nil:
		return ""
	case ok:
		return "samples arrive at this output, and whether it is heard only you can tell: "
	}
	return "no samples arrive at this output: "
}

// named asks a terminal for its name, where nothing else tells it.
func named(h *host) string {
	in, out, tty := h.terminal()
	if !tty || !term.IsTerminal(in.Fd()) || !ember.Nameless(h.getenv) {
		return ""
	}
	window := keeper.TTY(in, out)
	if window.Keys() != nil {
		return ""
	}
	defer window.Reset()
	guard := ember.NewGuard(out, ember.Options{Profile: ember.ANSI256})
	_, told := keeper.Ask(in, func() error { return guard.Ask(ember.AskName) }, nameFor)
	return told.Version
}

// Run prints the list.
func (c *CheckCmd) Run(h *host) error {
	set, wrong := loadSettings(h)
	if err := (Flags{Sound: c.Sound}).over(&set); err != nil {
		return err
	}
	items := words.Each(wrong, func(w profiles.Problem) checkItem { return checkItem{w.Error(), false} })
	_, out, tty := h.terminal()
	profile, reason := ember.Detect(h.getenv, tty, ember.OnConsole(out))
	if !profile.CanDraw() && ember.Askable(h.getenv, tty) {
		reason = fmt.Sprintf("TERM=%q says sixteen colours, so it is asked for more when the program starts. If it has 256, TERM should say so (for example xterm-256color).", h.getenv("TERM"))
	}
	items = append(items, checkItem{"terminal: " + strings.TrimRight(reason, "."), profile.CanDraw()})
	if w := ember.DetectMux(h.getenv).Warning(h.getenv("TMUX") != ""); w != "" {
		items = append(items, checkItem{w, false})
	}
	heard, err := h.checkSound(set)
	if err != nil {
		return err
	}
	items = append(items, heard)
	profs, err := h.profiles()
	if err != nil {
		items = append(items, checkItem{"profiles left out: " + oneLine(err), false})
	}
	found := append(verified(h.lamps(), set.Panel, fastest(profs)), h.panelOff())
	for _, f := range tui.RoomList(append(found, h.window(named(h))...)) {
		items = append(items, checkItem{f.Words(), f.Verified})
	}
	if c.JSON {
		return h.json(items)
	}
	for _, i := range items {
		h.say("[%s] %s", map[bool]string{true: "x", false: " "}[i.Verified], i.Text)
	}
	return nil
}

// checkSound says what can be heard.
func (h *host) checkSound(set settings) (i checkItem, err error) {
	e, err := sound.Open(h.ctx, sound.Config{Volume: set.Volume, Prefer: set.Sound})
	if err != nil {
		return i, err
	}
	defer e.Close()
	st := audible(h.ctx, e)
	proof := arrives(h, e)
	i = checkItem{"sound: " + st.Device, st.OK && st.Reach == sound.Everything && st.Volume > 0}
	if st.Reason != "" {
		i.Text += ", " + strings.TrimRight(st.Reason, ".")
	}
	switch loud := st.OK && st.Reach != sound.Silence; {
	case loud && st.Volume == 0:
		i.Text += ", and the volume is 0: turn it up with --volume or in the settings"
	case st.OK && st.Moved != "":
		i.Text += ", and " + st.Moved
	case loud:
		i.Text += "; " + proof + "wetside sounds plays it"
	}
	return i, nil
}
