package main

import (
	"cmp"
	_ "embed"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/alecthomas/kong"

	"wetside/profiles"
	"wetside/session/notebook"
	"wetside/session/words"
)

//go:embed doc/wetside.bash
var bashScript string

//go:embed doc/wetside.zsh
var zshScript string

//go:embed doc/wetside.fish
var fishScript string

// CompletionCmd prints what a shell reads to complete a command line.
type CompletionCmd struct {
	Shell string `arg:"" help:"bash, zsh or fish." complete:"shell"`
}

// Help shows how it is used.
func (CompletionCmd) Help() string {
	return `Examples:

  wetside completion bash > ~/.local/share/bash-completion/completions/wetside
  wetside completion fish > ~/.config/fish/completions/wetside.fish
  wetside completion zsh > ~/.zfunc/_wetside

zsh wants fpath+=(~/.zfunc) before compinit in ~/.zshrc. The packages for Debian
and Fedora bring all three along.`
}

// Run prints it.
func (c *CompletionCmd) Run(h *host) error {
	script, ok := map[string]string{"bash": bashScript, "zsh": zshScript, "fish": fishScript}[c.Shell]
	if !ok {
		return usage("there is a completion for bash, zsh and fish, not for %q", c.Shell)
	}
	_, err := io.WriteString(h.out, script)
	return err
}

// CompleteCmd is asked by the shells: the words typed so far, the last of them
// not yet whole.
type CompleteCmd struct {
	Words []string `arg:"" optional:""`
}

// Help shows how it is used.
func (CompleteCmd) Help() string {
	return `Example:

  wetside complete -- profiles show tea

It is for the shells: see wetside completion --help.`
}

// Run prints a candidate a line, with a tab and what it is; or that a file is
// wanted.
func (c *CompleteCmd) Run(h *host, k *kong.Kong) error {
	quiet := *h
	quiet.err = io.Discard // between two keys there is nobody to tell
	for _, x := range (completer{&quiet, k}).line(c.Words) {
		line := words.Clean(x.word)
		if x.about != "" {
			line += "\t" + words.Clean(x.about)
		}
		if _, err := fmt.Fprintln(h.out, line); err != nil {
			return err
		}
	}
	return nil
}

// A candidate is a word that may stand where the cursor is.
type candidate struct{ word, about string }

// aFile stands for the shell's own completion of files.
var aFile = []candidate{{":files", ""}}

type completer struct {
	*host
	*kong.Kong
}

// line reads the words as the parser would, as far as they go.
func (c completer) line(typed []string) []candidate {
	line := whole(typed)
	current, before := line[len(line)-1], line[:len(line)-1]
	node, place, wants := c.read(before)
	if wants != nil {
		return beginning(current, c.of(wants), "")
	}
	if name, value, has := strings.Cut(current, "="); has && strings.HasPrefix(name, "-") {
		if f := flagIn(node, name); f != nil {
			return beginning(value, c.of(f.Value), name+"=")
		}
	}
	if strings.HasPrefix(current, "-") {
		return beginning(current, flagsOf(node), "")
	}
	var all []candidate
	if place == 0 {
		all = commandsOf(node)
	}
	if n := len(node.Positional); n > 0 && (place < n || node.Positional[n-1].IsCumulative()) {
		all = append(all, c.of(node.Positional[min(place, n-1)])...)
	}
	return beginning(current, all, "")
}

// whole joins what bash parts: it makes three words of --flag=value.
func whole(typed []string) (line []string) {
	for i, w := range typed {
		switch {
		case w != "=":
			line = append(line, w)
		case i == len(typed)-1:
			line = append(line, "")
		}
	}
	if len(line) == 0 {
		return []string{""}
	}
	return line
}

// read goes through the words before the cursor: the command that they name, how many
// of its arguments they give, and the flag whose value comes next, if one does.
func (c completer) read(before []string) (node *kong.Node, place int, wants *kong.Value) {
	node = c.Model.Node
	for _, w := range before {
		if wants != nil {
			c.folder(wants.Name, w)
			wants = nil
			continue
		}
		if strings.HasPrefix(w, "-") {
			name, value, has := strings.Cut(w, "=")
			switch f := flagIn(node, name); {
			case f == nil:
			case has:
				c.folder(f.Name, value)
			case !f.IsBool():
				wants = f.Value
			}
			continue
		}
		if sub := commandIn(node, w); sub != nil && place == 0 {
			node = sub
		} else {
			place++
		}
	}
	return node, place, wants
}

// folder has the candidates come from where the command will look.
func (c completer) folder(flag, value string) {
	switch flag {
	case "data":
		c.data = value
	case "config":
		c.config = value
	}
}

func beginning(typed string, all []candidate, prefix string) []candidate {
	var out []candidate
	for _, x := range all {
		if x == aFile[0] && prefix == "" {
			out = append(out, x)
		} else if strings.HasPrefix(x.word, typed) {
			out = append(out, candidate{prefix + x.word, x.about})
		}
	}
	return out
}

// with are a command and all above it; without a command there is that of the
// program itself.
func with(n *kong.Node) []*kong.Node {
	var all []*kong.Node
	if n.DefaultCmd != nil {
		all = append(all, n.DefaultCmd)
	}
	for ; n != nil; n = n.Parent {
		all = append(all, n)
	}
	return all
}

func flagIn(n *kong.Node, name string) *kong.Flag {
	for _, n := range with(n) {
		for _, f := range n.Flags {
			if name == "--"+f.Name || f.Short != 0 && name == "-"+string(f.Short) {
				return f
			}
		}
	}
	return nil
}

func flagsOf(n *kong.Node) []candidate {
	var out []candidate
	for _, n := range with(n) {
		for _, f := range n.Flags {
			if !f.Hidden {
				out = append(out, candidate{"--" + f.Name, f.Help})
			}
		}
	}
	return out
}

// plain are the words of which a value is one.
var plain = map[string][]string{
	"level": {"dark", "ember", "torch"}, "talk": {"few", "normal", "full"}, "rock": {"off", "slow", "on"},
	"sound": {"pulse", "oto", "aplay", "beep", "none"}, "shell": {"bash", "zsh", "fish"}, "day": {"today", "yesterday"},
	"base": {"FB", "RC"}, "response": {"lighter", "denser"}, "file": nil,
	"light": {"sun", "hazy", "cloudy", "overcast", "shade", "sunset"},
}

// of are the candidates for a value, by its tag complete or by its name.
func (c completer) of(v *kong.Value) []candidate {
	kind := cmp.Or(v.Tag.Get("complete"), v.Name)
	if v.Tag.Type == "path" {
		return aFile
	}
	switch kind {
	case "paper", "process", "camera":
		return c.keys(profiles.Kind(kind))
	case "profile":
		return c.keys(profiles.Kinds...)
	case "sheet":
		return c.sheets()
	case "file":
		return aFile
	case "command":
		return commandsOf(c.Model.Node)
	}
	return words.Each(plain[kind], func(w string) candidate { return candidate{w, ""} })
}

// commandsOf are the commands of a command that are not hidden.
func commandsOf(n *kong.Node) (out []candidate) {
	for _, sub := range n.Children {
		if !sub.Hidden {
			out = append(out, candidate{sub.Name, sub.Help})
		}
	}
	return out
}

func (c completer) keys(kinds ...profiles.Kind) []candidate {
	return words.Each(c.known().Sources(kinds...), func(p profiles.Source) candidate { return candidate{p.Key, p.Name} })
}

// sheets are the newest ones: by number alone while that means them, else with
// the day.
func (c completer) sheets() []candidate {
	b, err := c.written()
	if err != nil || b == nil {
		return nil
	}
	defer b.Close()
	rows, err := b.Sheets(notebook.Filter{Limit: 40, Rehearsals: notebook.None})
	if err != nil {
		return nil
	}
	var out []candidate
	seen := map[int]bool{}
	for _, r := range rows {
		word := strconv.Itoa(r.Num)
		if seen[r.Num] {
			word = r.Day + "/" + word
		}
		seen[r.Num] = true
		about := []string{r.Day}
		for _, s := range []string{r.Name, r.Camera} {
			if s != "" {
				about = append(about, s)
			}
		}
		out = append(out, candidate{word, strings.Join(about, ", ")})
	}
	return out
}
