package profiles

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"

	"github.com/pelletier/go-toml/v2"

	"wetside/session/words"
)

// Path is where a profile is to be written inside the user's folder:
// "papers/direct-positive-fb.toml". A file of the user's own stays where it is.
func (s Source) Path() string {
	if !s.Builtin {
		return s.File
	}
	return s.Kind.Folder() + "/" + s.Key + ".toml"
}

// withSafelight puts what is known of a paper's safelight into its file.
func withSafelight(file []byte, s Safelight) ([]byte, error) {
	var day, level, lit string
	if s.IsTested() {
		day = s.Tested.String()
	}
	if s.Level != "" {
		level = quotedText(string(s.Level))
	}
	if s.Backlight.Known {
		lit = quoted(s.Backlight)
	}
	half := func(h Half) string {
		if !h.Done {
			return ""
		}
		return quoted(h)
	}
	figure := func(d Duration) string {
		if d == 0 && !s.IsTested() {
			return "" // there is none
		}
		return quoted(d)
	}
	return edit(file, PaperKind, []change{
		{[]string{"safelight", "unexposed"}, figure(s.Unexposed)},
		{[]string{"safelight", "exposed"}, figure(s.Exposed)},
		{[]string{"safelight", "tested"}, day},
		{[]string{"safelight", "level"}, level},
		{[]string{"safelight", "backlight"}, lit},
		{[]string{"safelight", "before"}, half(s.Before)},
		{[]string{"safelight", "after"}, half(s.After)},
		{[]string{"safelight", "source"}, quotedText(s.Source)},
	})
}

// WithPreflash puts the result of a pre-flash test strip into a paper's file.
func WithPreflash(file []byte, p Preflash) ([]byte, error) {
	changes := []change{
		{[]string{"preflash", "threshold"}, quoted(p.Threshold)},
		{[]string{"preflash", "light"}, quotedText(p.Light)},
	}
	if p.Found != (toml.LocalDate{}) {
		changes = append(changes, change{[]string{"preflash", "found"}, p.Found.String()})
	}
	return edit(file, PaperKind, changes)
}

// WithBetter notes in a camera's or a paper's file that its figures were measured
// better: what they were before is of the same hole, the same box.
func WithBetter(file []byte, kind Kind, earlier []string) ([]byte, error) {
	q := words.Each(earlier, quotedText)
	// A list is not changed in place: its line goes and comes anew.
	return edit(file, kind, []change{{[]string{"earlier"}, ""}, {[]string{"earlier"}, "[" + strings.Join(q, ", ") + "]"}})
}

// WithAnother counts one on: the camera has another hole, the paper is of another
// box.
func WithAnother(file []byte, kind Kind, number int) ([]byte, error) {
	key := "hole"
	if kind == PaperKind {
		key = "box"
	}
	return edit(file, kind, []change{{[]string{key}, fmt.Sprint(number)}, {[]string{"earlier"}, ""}})
}

// WithBathLimits puts a bath's capacity and its life in the tray, as its data
// sheet has them, into a process's file. source says whose figures they are.
func WithBathLimits(file []byte, bath string, capacity Capacity, life time.Duration, source string) ([]byte, error) {
	_, v, problems := check("the file", file)
	if len(problems) > 0 {
		return nil, problems
	}
	p, ok := v.(*Process)
	if !ok {
		return nil, errors.New("baths belong to a process, and this file is none")
	}
	if _, err := p.Bath(bath); err != nil {
		return nil, err
	}
	n := fmt.Sprint(slices.IndexFunc(p.Baths, func(b Bath) bool { return b.Name == bath }))
	return edit(file, ProcessKind, []change{
		{[]string{"bath", n, "capacity"}, quoted(capacity)},
		{[]string{"bath", n, "life"}, quoted(Duration(life))},
		{[]string{"bath", n, "source"}, quotedText(source)},
	})
}

func quoted(s fmt.Stringer) string { return quotedText(s.String()) }

// quotedText writes a TOML string: in double quotes, as the defaults are
// written, where nothing in it needs care, and by the library's rules otherwise.
func quotedText(s string) string {
	if !strings.ContainsFunc(s, func(r rune) bool { return r == '"' || r == '\\' || !unicode.IsPrint(r) || r == unicode.ReplacementChar }) {
		return `"` + s + `"`
	}
	b, err := toml.Marshal(map[string]string{"x": s})
	if err != nil {
		return `""`
	}
	return string(bytes.TrimSpace(bytes.TrimPrefix(bytes.TrimSpace(b), []byte("x ="))))
}

// A change is a value and where it goes; no value takes the key out.
type change struct {
	path  []string
	value string
}

// edit replaces or adds values and leaves every other byte alone. What comes
// out is read again; an edit that would not load is an error.
func edit(file []byte, kind Kind, changes []change) ([]byte, error) {
	src, _, problems := check("the file", file)
	if len(problems) > 0 {
		return nil, problems
	}
	if src.Kind != kind {
		return nil, fmt.Errorf("this file is a %s, and the change is for a %s", src.Kind, kind)
	}
	out, err := putAll(bytes.TrimPrefix(bytes.Clone(file), []byte("\xef\xbb\xbf")), changes)
	if err != nil {
		return nil, err
	}
	if problems := CheckFile("the changed file", out); len(problems) > 0 {
		return nil, Problems(problems)
	}
	return out, nil
}

func put(data []byte, c change) ([]byte, error) {
	d := parse("the file", data)
	n := d.at[pathKey(c.path)]
	switch {
	case c.value == "" && n == nil:
		return data, nil
	case c.value == "":
		return d.takeOut(n, c)
	case n == nil || n.header():
		return d.add(c)
	case n.hi <= n.lo:
		_, name := c.where()
		return nil, fmt.Errorf("line %d: %s cannot be changed in place; change it by hand", n.line, name)
	}
	return splice(data, n.lo, n.hi, c.value), nil
}

func putAll(data []byte, changes []change) (out []byte, err error) {
	for _, c := range changes {
		if data, err = put(data, c); err != nil {
			return nil, err
		}
	}
	return data, nil
}

// where is the table that a change is in, and its name there.
func (c change) where() (table []string, name string) {
	n := len(c.path) - 1
	return c.path[:n], c.path[n]
}

// takeOut takes out a value with its line.
func (d *document) takeOut(n *node, c change) ([]byte, error) {
	table, name := c.where()
	if outer := d.at[pathKey(table)]; outer != nil && !outer.header() {
		return nil, fmt.Errorf("line %d: %s is written on one line; take %s out by hand", n.line, dotted(table), name)
	}
	from := bytes.LastIndexByte(d.data[:n.from], '\n') + 1
	return splice(d.data, from, lineEnd(d.data, max(n.hi, n.from)), ""), nil
}

// lineEnd is where the line after that of an offset begins, or the end of the file.
func lineEnd(data []byte, at int) int {
	if i := bytes.IndexByte(data[at:], '\n'); i >= 0 {
		return at + i + 1
	}
	return len(data)
}

// add adds a value: after the last value of its table, or right under its header.
func (d *document) add(c change) ([]byte, error) {
	table, name := c.where()
	line := name + " = " + c.value + "\n"
	if i := slices.IndexFunc(d.nodes, func(n *node) bool { return pathKey(n.path) == pathKey(table) && !n.header() }); i >= 0 {
		return nil, fmt.Errorf("line %d: %s is written on one line; add %s by hand", d.nodes[i].line, dotted(table), name)
	}
	end := d.endOf(table)
	if end < 0 {
		if i := slices.IndexFunc(d.nodes, func(n *node) bool { return within(n.path, table) }); i >= 0 {
			return nil, fmt.Errorf("line %d: write [%s] above its lines, then add %s by hand", d.nodes[i].line, dotted(table), name)
		}
		out := bytes.TrimRight(d.data, "\n")
		return append(out[:len(out):len(out)], "\n\n["+dotted(table)+"]\n"+line...), nil
	}
	at := lineEnd(d.data, end)
	if at == len(d.data) && !bytes.HasSuffix(d.data, []byte("\n")) {
		line = "\n" + line
	}
	return splice(d.data, at, at, line), nil
}

// endOf is where the last value of a table ends, or its header; -1: it has none. What
// stands in no table stands above the first header; a file has a first line at least.
func (d *document) endOf(table []string) int {
	end := -1
	for _, n := range d.nodes {
		switch {
		case len(table) == 0 && n.header():
			return end
		case pathKey(n.path) == pathKey(table):
			end = n.from
		case len(n.path) == len(table)+1 && !n.header() && (len(table) == 0 || end >= 0 && within(n.path, table)):
			end = max(end, n.hi, n.from)
		}
	}
	return end
}

func splice(data []byte, lo, hi int, s string) []byte {
	out := append([]byte(nil), data[:lo]...)
	out = append(out, s...)
	return append(out, data[hi:]...)
}
