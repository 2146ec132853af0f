package main

import (
	"fmt"
	"regexp"
	"strings"

	"github.com/alecthomas/kong"
)

// ReferenceCmd prints wetside(1) in Markdown, of which a release makes the page
// for man.
type ReferenceCmd struct{}

// Help shows how it is used.
func (ReferenceCmd) Help() string {
	return `Example:

  wetside reference > wetside.1.md

It is for whoever makes a release: man wetside shows what becomes of it.`
}

// Run prints it.
func (ReferenceCmd) Run(h *host, k *kong.Kong) error {
	var b strings.Builder
	about, caution, _ := strings.Cut(description, "\n\n")
	fmt.Fprintf(&b, "%% \"WETSIDE\" \"1\" \"DATE\" \"wetside VERSION\" \"User commands\"\n\n# NAME\n\nwetside - keeps the clocks of a darkroom, by ear and in red\n\n")
	b.WriteString("# SYNOPSIS\n\n**wetside** [*command*] [*flags*]\n\n")
	fmt.Fprintf(&b, "# DESCRIPTION\n\n%s\n\n%s\n\nWithout a command the program itself opens.\n\n", marked(about), marked(caution))
	b.WriteString("# FLAGS OF EVERY COMMAND\n\n")
	listFlags(&b, k.Model.Flags)
	b.WriteString("# COMMANDS\n\n")
	for _, n := range k.Model.Leaves(true) {
		writeCommand(&b, n)
	}
	b.WriteString("# ENVIRONMENT\n\nA flag comes before it, it comes before settings.toml.\n\n")
	for _, v := range variables {
		fmt.Fprintf(&b, "**%s**\n: %s\n\n", marked(v.name), marked(v.help))
	}
	b.WriteString(`# FILES

On Linux, unless the variables above say otherwise; **wetside paths** prints those of
your system.

**~/.local/share/wetside/notebook.db.journal/**
: the notebook: see **wetside-notebook**(5). Beside it lies its index, notebook.db.

**~/.local/share/wetside/logs/**
: each day's log, for a spreadsheet

**~/.config/wetside/settings.toml**
: what you chose once

**~/.config/wetside/profiles/**
: your papers, processes and cameras: see **wetside-profiles**(5)

**~/.config/wetside/voices/**
: your recordings

**~/.local/state/wetside/**
: locks, the lamps' values before they were dimmed, and what the notebook's folder
refuses

# EXIT STATUS

0 when all was done; 2 when the command line is at fault, with a line that says what to
write; 1 when something else went wrong.

# SEE ALSO

**wetside-profiles**(5), **wetside-notebook**(5)
`)
	_, err := h.out.Write([]byte(b.String()))
	return err
}

func writeCommand(b *strings.Builder, n *kong.Node) {
	name := commandOf(n)
	if n.Name == "run" {
		name = "wetside [run]"
	}
	line := "**" + marked(name) + "**"
	for _, a := range n.Positional {
		line += " " + strings.NewReplacer("<", "*", ">", "*", "[", "\\[", "]", "\\]", "_", "\\_").Replace(a.Summary())
	}
	fmt.Fprintf(b, "## %s\n\n%s [*flags*]\n\n%s\n\n", marked(name), line, marked(n.Help))
	for _, a := range n.Positional {
		fmt.Fprintf(b, "*%s*\n: %s\n\n", marked(a.Name), marked(a.Help))
	}
	listFlags(b, n.Flags)
	for _, part := range strings.Split(n.Detail, "\n\n") {
		if strings.HasPrefix(part, "  ") {
			b.WriteString("    " + strings.ReplaceAll(strings.TrimPrefix(part, "  "), "\n  ", "\n    ") + "\n\n")
		} else {
			b.WriteString(marked(part) + "\n\n")
		}
	}
}

func listFlags(b *strings.Builder, flags []*kong.Flag) {
	for _, f := range flags {
		name := "--" + f.Name
		if f.Short != 0 {
			name = "-" + string(f.Short) + ", " + name
		}
		value := ""
		if !f.IsBool() {
			value = "=*" + marked(f.FormatPlaceHolder()) + "*"
		}
		fmt.Fprintf(b, "**%s**%s\n: %s\n\n", marked(name), value, marked(withVariable(f.Value)))
	}
}

var marks = regexp.MustCompile("[\\\\`*_<>\\[\\]|#]")

// marked keeps text from being read as Markdown.
func marked(s string) string { return marks.ReplaceAllString(s, `\$0`) }
