package profiles

import (
	"cmp"
	"encoding"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"sort"
	"strconv"
	"strings"
	"unicode"

	"github.com/pelletier/go-toml/v2"

	"wetside/session"
	"wetside/session/words"
)

// A Problem is one thing wrong with one file, and what would be right.
type Problem struct {
	File string
	Line int // from 1; 0 when it is the file as a whole
	Text string
}

// Error is "file:line: text", the form editors jump to.
func (p Problem) Error() string {
	if p.Line == 0 {
		return p.File + ": " + p.Text
	}
	return fmt.Sprintf("%s:%d: %s", p.File, p.Line, p.Text)
}

// Problems are all that is wrong, in order of file and line. As an error it is
// one line for each.
type Problems []Problem

// Error joins the problems, one to a line.
func (ps Problems) Error() string {
	lines := make([]string, len(ps))
	for i, p := range ps {
		lines[i] = p.Error()
	}
	return strings.Join(lines, "\n")
}

// Unwrap gives the problems one by one to errors.As.
func (ps Problems) Unwrap() []error {
	out := make([]error, len(ps))
	for i, p := range ps {
		out[i] = p
	}
	return out
}

// A document is a parsed file with the place of everything in it. A decoder stops
// at the first fault of a value; knowing where each value stands lets every fault
// of a file be told at once, and lets one value be replaced while the user's
// comments stay.
type document struct {
	file     string
	data     []byte
	nodes    []*node
	at       map[string]*node
	present  map[string]bool // every path given, and every path above one
	bad      map[string]bool // paths already complained of
	inside   map[string]bool // paths at or inside which something is bad
	meant    map[string]bool // paths that a misspelt key was probably meant for
	lines    []int           // offset of each line
	problems []Problem
}

func pathKey(path []string) string { return strings.Join(path, "\x1f") }

// parse indexes the document. A file that is no TOML at all gives one problem.
func parse(file string, data []byte) *document {
	d := &document{file: file, data: data, at: map[string]*node{}, present: map[string]bool{},
		bad: map[string]bool{}, inside: map[string]bool{}, meant: map[string]bool{}, lines: []int{0}}
	for i, c := range data {
		if c == '\n' {
			d.lines = append(d.lines, i+1)
		}
	}
	s := &scanner{data: data, counts: map[string]int{}}
	err := s.scan()
	switch line := d.lineOf(s.i); {
	case err == errDeep:
		d.problem(line, err.Error())
	case err != nil && d.decodes():
		d.problem(line, "not TOML: "+err.Error()+tomlHint)
	}
	if err != nil {
		return d
	}
	d.nodes = s.nodes
	for _, n := range d.nodes {
		n.line = d.lineOf(n.from)
		if k := pathKey(n.path); d.at[k] == nil {
			d.at[k] = n
		}
		for i := range n.path {
			d.present[pathKey(n.path[:i+1])] = true
		}
	}
	return d
}

func (d *document) lineOf(offset int) int { return sort.SearchInts(d.lines, offset+1) }

// LineOf is the line in which a TOML file gives a value; 0: in none.
func LineOf(file []byte, path ...string) int {
	if n := parse("", file).at[pathKey(path)]; n != nil {
		return n.line
	}
	return 0
}

// decodes reports whether the library's decoder takes the file, and notes what it
// has to say if not.
func (d *document) decodes() bool {
	var all map[string]any
	err := toml.Unmarshal(d.data, &all)
	if err == nil {
		return true
	}
	line := 1
	if de := (*toml.DecodeError)(nil); errors.As(err, &de) {
		line, _ = de.Position()
	}
	d.problem(line, "not TOML: "+strings.TrimPrefix(err.Error(), "toml: ")+tomlHint)
	return false
}

const tomlHint = " (write one key = value on a line, text in double quotes that close on the same line)"

func (d *document) problem(line int, text string) {
	d.problems = append(d.problems, Problem{File: d.file, Line: line, Text: text})
}

// has reports whether the file gives a value or a table at the path.
func (d *document) has(path ...string) bool { return d.present[pathKey(path)] }

// ok reports whether the value at the path is given and nothing is wrong with it.
func (d *document) ok(path ...string) bool { return d.has(path...) && !d.bad[pathKey(path)] }

// line is where the path stands in the file, or else the nearest thing around it.
func (d *document) line(path ...string) int {
	for i := len(path); i > 0; i-- {
		if n := d.at[pathKey(path[:i])]; n != nil {
			return n.line
		}
	}
	return 1
}

// fault notes a problem with the value at the path, at most one for each value.
func (d *document) fault(path []string, format string, args ...any) {
	if !d.bad[pathKey(path)] {
		d.mark(path)
		d.problem(d.line(path...), fmt.Sprintf(format, args...))
	}
}

// refuse faults a value that is given, sound as a value, and wrong all the same.
func (d *document) refuse(wrong bool, path []string, format string, args ...any) {
	if wrong && d.ok(path...) {
		d.fault(path, format, args...)
	}
}

// mark notes that the value at the path has been complained of.
func (d *document) mark(path []string) {
	d.bad[pathKey(path)] = true
	for i := range path {
		d.inside[pathKey(path[:i+1])] = true
	}
}

// anyBad reports whether something at or inside the path is already told.
func (d *document) anyBad(path []string) bool { return d.inside[pathKey(path)] }

// require faults a missing value, unless a misspelt key nearby was meant for it.
func (d *document) require(example string, path ...string) bool {
	if d.has(path...) {
		return d.ok(path...)
	}
	if d.meant[pathKey(path)] || d.anyAbove(path) {
		return false
	}
	name, where := path[len(path)-1], ""
	if outer := path[:len(path)-1]; len(outer) > 0 {
		where = " to [" + dotted(outer) + "]"
		if _, err := strconv.Atoi(outer[len(outer)-1]); err == nil {
			where = " to this [[" + dotted(outer) + "]]"
		}
	}
	d.fault(path, "%s is missing: add %s = %s%s", name, name, example, where)
	return false
}

// requireTables faults the absence of a table that may stand several times.
func (d *document) requireTables(name, what string) bool {
	if !d.has(name) {
		if !d.meant[name] {
			d.fault([]string{name}, "no [[%s]]: add one for each %s", name, what)
		}
		return false
	}
	return !d.bad[name]
}

// anyAbove reports whether something around the path was faulted as a whole.
func (d *document) anyAbove(path []string) bool {
	for i := range path {
		if d.bad[pathKey(path[:i])] {
			return true
		}
	}
	return false
}

// wordsOf are the values that may stand where one of these types is wanted.
var wordsOf = map[reflect.Type][]string{
	reflect.TypeFor[session.Base]():     {string(session.FB), string(session.RC)},
	reflect.TypeFor[session.Response](): {string(session.Lighter), string(session.Denser)},
	reflect.TypeFor[session.Stage]():    steps(),
	reflect.TypeFor[session.Level]():    texts(session.Levels),
	reflect.TypeFor[Shape]():            {string(flat), string(Cylinder)},
	reflect.TypeFor[Ends]():             {string(byUser), string(byClock)},
	reflect.TypeFor[Model]():            {string(noFailure), string(schwarzschild), string(table)},
}

// texts are typed words as they are written.
func texts[T ~string](of []T) (out []string) {
	for _, w := range of {
		out = append(out, string(w))
	}
	return out
}

// steps are the stages a process may have.
func steps() (out []string) {
	for _, s := range session.Stages {
		if s.Step() {
			out = append(out, string(s))
		}
	}
	return out
}

// examples are values of the types that read themselves from text.
var examples = map[reflect.Type]string{
	reflect.TypeFor[Duration]():       `"1m30s"`,
	reflect.TypeFor[Length]():         `"75 mm"`,
	reflect.TypeFor[Size]():           `"9x12 cm"`,
	reflect.TypeFor[Volume]():         `"500 ml"`,
	reflect.TypeFor[Capacity]():       `"8000 cm2/l"`,
	reflect.TypeFor[Celsius]():        `"20 C"`,
	reflect.TypeFor[Dilution]():       `"1+9"`,
	reflect.TypeFor[Agitation]():      `"10s every 1m"`,
	reflect.TypeFor[toml.LocalDate](): `2026-05-03`,
}

// decode checks every value against the type it is meant for and fills v with all
// that is sound.
func (d *document) decode(v any) {
	root := reflect.ValueOf(v).Elem()
	var spoken []string // whatever is inside has been spoken for
	for _, n := range d.nodes {
		if len(spoken) > 0 && within(n.path, spoken) {
			continue
		}
		name := n.path[len(n.path)-1]
		if first := d.at[pathKey(n.path)]; first != n {
			d.problem(n.line, fmt.Sprintf("%s stands twice, here and in line %d: take one of them out", name, first.line))
			spoken = n.path
			continue
		}
		t, parent, ok := fieldAt(root.Type(), n.path)
		if ok {
			if text := n.check(t); text != "" {
				d.fault(n.path, "%s", text)
				spoken = n.path
			} else {
				n.put(place(root, n.path))
			}
			continue
		}
		outer := n.path[:len(n.path)-1]
		if _, _, single := fieldAt(root.Type(), outer); single && n.form == headers {
			// [[temperature]] where [temperature] is meant.
			spoken = outer
			d.mark(outer)
			d.problem(n.line, fmt.Sprintf("%s stands once: write [%s]", outer[len(outer)-1], dotted(outer)))
			continue
		}
		spoken = n.path
		d.mark(n.path)
		known := fieldNames(parent)
		for _, k := range Near(name, known) {
			d.meant[pathKey(append(outer[:len(outer):len(outer)], k))] = true
		}
		d.problem(n.line, fmt.Sprintf("%q is not known here%s", name, suggest(name, known, "the keys are ")))
	}
}

// place is what stands at a path of v, made where there is nothing yet.
func place(v reflect.Value, path []string) reflect.Value {
	for _, name := range path {
		if v.Kind() == reflect.Slice {
			i, _ := strconv.Atoi(name)
			for v.Len() <= i {
				v.Set(reflect.Append(v, reflect.Zero(v.Type().Elem())))
			}
			v = v.Index(i)
		} else {
			f, _ := field(v.Type(), name)
			v = v.FieldByIndex(f.Index)
		}
		if v.Kind() == reflect.Pointer {
			if v.IsNil() {
				v.Set(reflect.New(v.Type().Elem()))
			}
			v = v.Elem()
		}
	}
	return v
}

// put fills v with a value that was found sound for its type.
func (n *node) put(v reflect.Value) {
	switch x := n.value.(type) {
	case string:
		if u, ok := v.Addr().Interface().(encoding.TextUnmarshaler); ok {
			_ = u.UnmarshalText([]byte(x)) // check has tried it
		} else {
			v.SetString(x)
		}
	case int64:
		if v.CanFloat() {
			v.SetFloat(float64(x))
		} else {
			v.SetInt(x)
		}
	case float64:
		v.SetFloat(x)
	case bool:
		v.SetBool(x)
	case toml.LocalDate:
		v.Set(reflect.ValueOf(x))
	}
}

// units are what to add to a number that was given without its unit.
var units = map[reflect.Type]string{
	reflect.TypeFor[Duration](): "s",
	reflect.TypeFor[Length]():   " mm",
	reflect.TypeFor[Volume]():   " ml",
	reflect.TypeFor[Capacity](): " cm2/l",
	reflect.TypeFor[Celsius]():  " C",
}

func within(path, prefix []string) bool {
	return len(path) > len(prefix) && pathKey(path[:len(prefix)]) == pathKey(prefix)
}

// fieldAt finds the type that stands at a path, and the struct around it.
func fieldAt(t reflect.Type, path []string) (at, parent reflect.Type, ok bool) {
	parent = t
	for _, name := range path {
		if t.Kind() == reflect.Pointer {
			t = t.Elem()
		}
		switch {
		case t.Kind() == reflect.Slice:
			if _, err := strconv.Atoi(name); err != nil {
				return nil, parent, false
			}
			t = t.Elem()
		case t.Kind() == reflect.Struct && !isLeaf(t):
			parent = t
			f, found := field(t, name)
			if !found {
				return nil, parent, false
			}
			t = f.Type
		default:
			return nil, parent, false
		}
	}
	if t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	return t, parent, true
}

func isLeaf(t reflect.Type) bool {
	return examples[t] != "" || reflect.PointerTo(t).Implements(reflect.TypeFor[encoding.TextUnmarshaler]())
}

func field(t reflect.Type, name string) (reflect.StructField, bool) {
	for _, f := range reflect.VisibleFields(t) {
		if name != "" && tagName(f) == name {
			return f, true
		}
	}
	return reflect.StructField{}, false
}

func tagName(f reflect.StructField) string {
	name, _, _ := strings.Cut(f.Tag.Get("toml"), ",")
	return name
}

func fieldNames(t reflect.Type) (out []string) {
	for _, f := range reflect.VisibleFields(t) {
		if n := tagName(f); n != "" {
			out = append(out, n)
		}
	}
	return out
}

// check says what is wrong with a value where type t is wanted; "" is nothing.
func (n *node) check(t reflect.Type) string {
	name := n.path[len(n.path)-1]
	if _, err := strconv.Atoi(name); err == nil && len(n.path) > 1 {
		name = n.path[len(n.path)-2]
	}
	if list, ok := wordsOf[t]; ok {
		if n.form != text || !slices.Contains(list, n.text) {
			return fmt.Sprintf("%s = %s is none of its words: write %s", name, n.shown(), words.Or(quoteAll(list)))
		}
		return ""
	}
	if t == reflect.TypeFor[toml.LocalDate]() {
		if n.form != date {
			return fmt.Sprintf("%s wants a date without quotes, like %s", name, examples[t])
		}
		return ""
	}
	if isLeaf(t) {
		return n.checkText(t, name)
	}
	w, ok := writes[t.Kind()]
	switch {
	case !ok:
		return ""
	case !slices.Contains(w.forms, n.form) && t == reflect.TypeFor[[]string]():
		return fmt.Sprintf("%s wants a list of texts: write it in brackets, like [%s]", name, strconv.Quote(n.text))
	case !slices.Contains(w.forms, n.form):
		return fmt.Sprintf(w.want, name, dotted(n.path))
	case w.check == nil:
		return ""
	}
	return w.check(n, name)
}

// checkText is check for a type that reads itself from text.
func (n *node) checkText(t reflect.Type, name string) string {
	switch n.form {
	case text:
		if err := reflect.New(t).Interface().(encoding.TextUnmarshaler).UnmarshalText([]byte(n.text)); err != nil {
			return name + ": " + err.Error()
		}
		return ""
	case integer, float:
		like := examples[t]
		if u := units[t]; u != "" && !strings.HasPrefix(n.text, "-") {
			like = strconv.Quote(n.text + u)
		}
		return fmt.Sprintf("%s = %s: write it in quotes and with its unit, like %s", name, n.text, like)
	}
	return fmt.Sprintf("%s wants text in quotes, like %s", name, examples[t])
}

// A writing is how TOML writes a value of a kind of Go's.
type writing struct {
	forms []form
	want  string // what to write instead: the key's name, then its dotted path
	check func(n *node, name string) string
}

var writes = map[reflect.Kind]writing{
	reflect.String:  {[]form{text}, "%[1]s wants text in quotes", letters},
	reflect.Bool:    {[]form{boolean}, "%[1]s wants true or false, without quotes", nil},
	reflect.Int:     {[]form{integer}, "%[1]s wants a whole number, without quotes", wholeNumber},
	reflect.Float64: {[]form{integer, float}, "%[1]s wants a number, without quotes", number},
	reflect.Slice:   {[]form{array, headers}, "%[1]s can be given several times: write [[%[2]s]] above its lines", nil},
	reflect.Struct:  {[]form{header, inline, headers}, "%[1]s is a table: write [%[2]s] above its lines", nil},
}

func letters(n *node, name string) string {
	for _, r := range n.text {
		if unicode.IsControl(r) && (name != "note" || !strings.ContainsRune("\n\t\r", r)) {
			return fmt.Sprintf("%s holds %q, which is no letter: take it out", name, r)
		}
	}
	return ""
}

func wholeNumber(n *node, name string) string {
	if v, err := strconv.ParseInt(n.text, 10, 32); err != nil || v < 0 {
		return fmt.Sprintf("%s = %s: write a whole number, 0 or more", name, n.text)
	}
	return ""
}

func number(n *node, name string) string {
	v, err := strconv.ParseFloat(strings.ReplaceAll(n.text, "_", ""), 64)
	if err != nil || !(v >= 0 && v <= 1e9) {
		return fmt.Sprintf("%s = %s: write a number, 0 or more", name, n.text)
	}
	return ""
}

func dotted(path []string) string {
	var out []string
	for _, p := range path {
		if _, err := strconv.Atoi(p); err != nil {
			out = append(out, p)
		}
	}
	return strings.Join(out, ".")
}

func (n *node) shown() string {
	if n.form == text {
		return strconv.Quote(n.text)
	}
	return cmp.Or(n.text, "("+string(n.form)+")")
}

func quoteAll(list []string) []string {
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = strconv.Quote(s)
	}
	return out
}
