package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/alecthomas/kong"

	"wetside/profiles"
	"wetside/session/words"
)

// HelpCmd is --help, asked for as a command.
type HelpCmd struct {
	Command []string `arg:"" optional:"" help:"The command; without one, all of them." complete:"command"`
}

// Help shows how it is used.
func (HelpCmd) Help() string {
	return `Examples:

  wetside help
  wetside help judge
  wetside help profiles new camera`
}

// Run prints it.
func (c *HelpCmd) Run(h *host, k *kong.Kong) error {
	n := k.Model.Node
	for _, word := range c.Command {
		sub := commandIn(n, word)
		if sub == nil {
			return advise("there is no command %q; wetside help lists them", strings.Join(c.Command, " "))
		}
		n = sub
	}
	inner := *h
	inner.args = append(append([]string(nil), c.Command...), "--help")
	_, err := inner.run()
	return err
}

func commandIn(n *kong.Node, name string) *kong.Node {
	for _, sub := range n.Children {
		if sub.Name == name && !sub.Hidden {
			return sub
		}
	}
	return nil
}

// commandOf is a command as one types it: "wetside profiles show".
func commandOf(n *kong.Node) string {
	var names []string
	for ; n != nil; n = n.Parent {
		if n.Type == kong.CommandNode {
			names = append([]string{n.Name}, names...)
		}
	}
	return strings.Join(append([]string{"wetside"}, names...), " ")
}

// misread says what the parser of the command line could not read, and whose
// help says how it is written.
func misread(k *kong.Kong, err error) error {
	text := plainMinus(wants(oneLine(err)))
	var at *kong.Node
	var pe *kong.ParseError
	if errors.As(err, &pe) && pe.Context != nil {
		at = pe.Context.Selected()
	}
	// The program itself takes no words: one that stands there is a command that
	// there is not.
	if word, ok := strings.CutPrefix(text, "unexpected argument "); ok && (at == nil || at.Name == "run") {
		at = nil
		text = fmt.Sprintf("there is no command %q", word)
		known := words.Each(commandsOf(k.Model.Node), func(sub candidate) string { return sub.word })
		if near := profiles.Near(word, known); len(near) > 0 {
			return advise("%s; did you mean %s?", text, strings.Join(near, " or "))
		}
	}
	if asks := missing[commandOf(at)]; asks != "" && strings.HasPrefix(text, "expected ") {
		text = asks
	}
	return tryHelp(usage("%s", text), at)
}

// missing asks for the words that a command cannot do without, with an example.
var missing = map[string]string{
	"wetside backup":             "to which file? wetside backup /media/stick/notebook.db",
	"wetside card":               "for which camera? wetside card tea-caddy -o card.html",
	"wetside completion":         "for which shell? wetside completion bash",
	"wetside cues":               "of which process? wetside cues three-trays",
	"wetside developed":          "which sheet? wetside developed 3",
	"wetside exposed":            "which camera, what light, how long? wetside exposed tea-caddy overcast 5m",
	"wetside exposure":           "what light? wetside exposure overcast --camera tea-caddy",
	"wetside import":             "which notebook or export? wetside import /media/stick/notebook.db",
	"wetside judge":              "which sheet, how many stops? wetside judge 3 1/2",
	"wetside notify":             "what should it say? wetside notify \"Exposure done\" \"Sheet 3: cover the pinhole.\"",
	"wetside plan":               "of which process? wetside plan three-trays",
	"wetside preflash":           "what of it? wetside preflash strip",
	"wetside preflash threshold": "which patch is the last that shows nothing? wetside preflash threshold 4",
	"wetside profiles bath":      "which process, which bath? wetside profiles bath two-bath-fix \"fixer 1\" --life 24h",
	"wetside profiles edited":    "which profile? wetside profiles edited tea-caddy --better",
	"wetside profiles new":       "what is new? wetside profiles new camera cake-tin",
	"wetside profiles show":      "of what? wetside profiles show tea-caddy",
	"wetside scan":               "of which sheet, and where? wetside scan 3 ~/scans/signal-box-3.png",
	"wetside sheet":              "which sheet? wetside sheet 3",
	"wetside time":               "what is to be timed? wetside time three-trays",
}

// tryHelp names the help that says how the command is used, unless something
// better to try is named already.
func tryHelp(err error, n *kong.Node) error {
	if errors.As(err, new(advised)) || errors.As(err, new(profiles.UnknownError)) {
		return err
	}
	return seeHelp{err, commandOf(n) + " --help"}
}

// seeHelp is a mistake in the arguments, and the command that says how they are
// written.
type seeHelp struct {
	error
	command string
}

// A variable of the environment sets what no flag does.
type variable struct{ name, help string }

// variables are all that the program looks at.
var variables = []variable{
	{"WETSIDE_LEVEL", "light of the screen, as --level"},
	{"WETSIDE_TALK", "how much is spoken, as --talk"},
	{"WETSIDE_ROCK", "tick of the rocking rhythm, as --rock"},
	{"WETSIDE_SOUND", "where sound goes, as --sound"},
	{"WETSIDE_VOLUME", "volume of the program's own stream, as --volume"},
	{"WETSIDE_LAYOUT", "where the digits lie, as layout in settings.toml"},
	{"WETSIDE_MOVE", "how long one move of a sheet takes your hands, as --move"},
	{"XDG_DATA_HOME", "where the folder of --data lies"},
	{"XDG_CONFIG_HOME", "where the folder of --config lies"},
	{"XDG_STATE_HOME", "where locks lie, and what the notebook's folder refuses"},
}

// description stands on top of the help.
const description = `A darkroom companion for one-off pictures on photographic paper: exposure, develop, stop, fix, hypo-clear, wash; by ear, in red, written down.

Keep the laptop on the dry side, away from wet hands and mains leads. Each product's data sheet and your local rules come first.`

// withVariable adds to a flag's help its default and the variable that does the same.
func withVariable(v *kong.Value) string {
	if v.Flag == nil {
		return v.Help
	}
	var also []string
	if v.HasDefault && v.Default != "" && v.Default != "0" {
		also = append(also, v.Default)
	}
	if name := "WETSIDE_" + strings.ToUpper(v.Name); slices.ContainsFunc(variables, func(x variable) bool { return x.name == name }) {
		also = append(also, "$"+name)
	}
	if len(also) == 0 {
		return v.Help
	}
	return strings.TrimSuffix(v.Help, ".") + " (" + strings.Join(also, ", ") + ")."
}

// printHelp prints the help of a command; below that of all, the environment.
func printHelp(o kong.HelpOptions, ctx *kong.Context) error {
	if err := kong.DefaultHelpPrinter(o, ctx); err != nil || ctx.Selected() != nil && ctx.Selected().Name != "run" {
		return err
	}
	var b strings.Builder
	b.WriteString("\nEnvironment (flags override these; these override settings.toml):\n")
	for _, v := range variables {
		fmt.Fprintf(&b, "  %-16s  %s\n", v.name, v.help)
	}
	_, err := io.WriteString(ctx.Stdout, b.String())
	return err
}
