package profiles

import (
	"bytes"
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
	"github.com/pelletier/go-toml/v2/unstable"

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

// A document is a parsed file with the place of everything in it. The decoder
// proper stops at the first fault of a value; knowing where each value stands
// lets every fault of a file be told at once, and lets one value be replaced
// while the user's comments stay.
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

// A node is a table header, or a value.
type node struct {
	path   []string
	kind   unstable.Kind
	text   string // decoded text of a scalar
	line   int
	from   int // offset of the key or header
	lo, hi int // offsets of the value; equal when the parser gives none
	expr   int // serial of the expression it stands in
	header bool
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
	var p unstable.Parser
	p.Reset(data)
	var table []string
	counts := map[string]int{}
	for expr := 0; p.NextExpression(); expr++ {
		e := p.Expression()
		if len(table) > deepest || keyLength(e) > deepest {
			it := e.Key()
			it.Next()
			d.problem(d.lineOf(int(it.Node().Raw.Offset)), "this key is nested deeper than any profile goes: take it out")
			return d
		}
		switch e.Kind {
		case unstable.Table, unstable.ArrayTable:
			var at int
			table, at = d.resolve(e.Key(), nil, counts)
			if e.Kind == unstable.ArrayTable {
				k := pathKey(table)
				n := counts[k]
				counts[k] = n + 1
				table = append(table, strconv.Itoa(n))
			}
			d.add(&node{path: table, kind: e.Kind, from: at, expr: expr, header: true})
		case unstable.KeyValue:
			path, at := d.resolve(e.Key(), table, counts)
			d.value(&p, path, e.Value(), at, expr)
		}
	}
	if err := p.Error(); err != nil {
		d.syntax(err)
	}
	return d
}

// deepest is deeper than the deepest key of a profile (reciprocity.table.0.measured)
// and keeps a hostile file from costing more than it weighs.
const deepest = 8

func keyLength(e *unstable.Node) (n int) {
	if e.Kind != unstable.Table && e.Kind != unstable.ArrayTable && e.Kind != unstable.KeyValue {
		return 0
	}
	for it := e.Key(); it.Next(); {
		n++
	}
	return n
}

// resolve makes a path of a key, stepping into the last element of an array of
// tables where one is meant.
func (d *document) resolve(it unstable.Iterator, base []string, counts map[string]int) ([]string, int) {
	path := append([]string(nil), base...)
	from := -1
	for it.Next() {
		n := it.Node()
		if from < 0 {
			from = int(n.Raw.Offset)
		} else if c := counts[pathKey(path)]; c > 0 {
			path = append(path, strconv.Itoa(c-1))
		}
		path = append(path, string(n.Data))
	}
	return path, max(from, 0)
}

func (d *document) value(p *unstable.Parser, path []string, v *unstable.Node, from, expr int) {
	n := &node{path: path, kind: v.Kind, text: string(v.Data), from: from, expr: expr,
		lo: int(v.Raw.Offset), hi: int(v.Raw.Offset) + int(v.Raw.Length)}
	d.add(n)
	if len(path) > deepest {
		return // the types have run out long before
	}
	switch v.Kind {
	case unstable.InlineTable:
		it := v.Children()
		for it.Next() {
			kv := it.Node()
			if keyLength(kv) > deepest {
				continue
			}
			sub, at := d.resolve(kv.Key(), path, nil)
			d.value(p, sub, kv.Value(), at, expr)
		}
	case unstable.Array:
		it := v.Children()
		for i := 0; it.Next(); i++ {
			c := it.Node()
			at := from
			if c.Raw.Length > 0 {
				at = int(c.Raw.Offset)
			}
			d.value(p, append(append([]string(nil), path...), strconv.Itoa(i)), c, at, expr)
		}
	}
}

func (d *document) add(n *node) {
	n.line = d.lineOf(n.from)
	d.nodes = append(d.nodes, n)
	if k := pathKey(n.path); d.at[k] == nil {
		d.at[k] = n
	}
	for i := range n.path {
		d.present[pathKey(n.path[:i+1])] = true
	}
}

func (d *document) lineOf(offset int) int { return sort.SearchInts(d.lines, offset+1) }

// syntax notes what the parser or the decoder itself has to say.
func (d *document) syntax(err error) {
	var de *toml.DecodeError
	var pe *unstable.ParserError
	switch {
	case errors.As(err, &de):
		line, _ := de.Position()
		d.problem(line, strings.TrimPrefix(de.Error(), "toml: "))
	case errors.As(err, &pe):
		// The parser's highlight is a part of the data; the decoder knows how
		// to make a line of it.
		var any map[string]any
		if derr := toml.Unmarshal(d.data, &any); errors.As(derr, &de) {
			line, _ := de.Position()
			d.problem(line, "not TOML: "+strings.TrimPrefix(de.Error(), "toml: ")+tomlHint)
			return
		}
		d.problem(1, "not TOML: "+pe.Message+tomlHint)
	default:
		d.problem(0, strings.TrimPrefix(err.Error(), "toml: "))
	}
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
	reflect.TypeFor[Shape]():            {string(Flat), string(Cylinder)},
	reflect.TypeFor[Ends]():             {string(ByUser), string(ByClock)},
	reflect.TypeFor[Model]():            {string(NoFailure), string(Schwarzschild), string(Table)},
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

// decode checks every value against the type it is meant for, then lets the
// TOML decoder fill v, strictly, with all that was sound.
//
// It returns false when v could not be filled, and there is nothing to go on
// checking.
func (d *document) decode(v any) bool {
	root := reflect.TypeOf(v).Elem()
	blank := map[int]bool{}
	var patches []patch
	var unknown []string
	var top *node // the value an inline one stands in
	for _, n := range d.nodes {
		if top == nil || n.expr != top.expr {
			top = n
		}
		if len(unknown) > 0 && within(n.path, unknown) {
			blank[n.expr] = true
			continue
		}
		if first := d.at[pathKey(n.path)]; first != n {
			name := n.path[len(n.path)-1]
			d.problem(n.line, fmt.Sprintf("%s stands twice, here and in line %d: take one of them out", name, first.line))
			blank[n.expr] = true
			unknown = n.path
			continue
		}
		t, parent, ok := fieldAt(root, n.path)
		if !ok && n.kind == unstable.ArrayTable && n.header {
			// [[temperature]] where [temperature] is meant.
			outer := n.path[:len(n.path)-1]
			if _, _, single := fieldAt(root, outer); single {
				unknown = outer
				blank[n.expr] = true
				d.mark(outer)
				d.problem(n.line, fmt.Sprintf("%s stands once: write [%s]", outer[len(outer)-1], dotted(outer)))
				continue
			}
		}
		if !ok {
			unknown = n.path
			blank[n.expr] = true
			d.mark(n.path)
			name := n.path[len(n.path)-1]
			known := fieldNames(parent)
			for _, k := range Near(name, known) {
				d.meant[pathKey(append(n.path[:len(n.path)-1:len(n.path)-1], k))] = true
			}
			d.problem(n.line, fmt.Sprintf("%q is not known here%s", name, suggest(name, known, "the keys are ")))
			continue
		}
		if text := n.check(t); text != "" {
			d.fault(n.path, "%s", text)
			if top != n && n.hi > n.lo && scalar(n.kind) && sample(t) != "" {
				// Something sound in its place, so that its neighbours on the
				// line are read; being marked, it is never looked at.
				patches = append(patches, patch{n.lo, n.hi, sample(t)})
				continue
			}
			blank[n.expr] = true
			unknown = n.path // whatever is inside has been spoken for
		}
	}
	sound := d.without(blank)
	for i := len(patches) - 1; i >= 0; i-- {
		if p := patches[i]; sound[p.lo] != ' ' { // not blanked since
			sound = splice(sound, p.lo, p.hi, p.text)
		}
	}
	dec := toml.NewDecoder(bytes.NewReader(sound))
	dec.DisallowUnknownFields()
	if err := dec.Decode(v); err != nil {
		var strict *toml.StrictMissingError
		if errors.As(err, &strict) {
			for i := range strict.Errors {
				d.syntax(&strict.Errors[i])
			}
			return false
		}
		if len(d.problems) == 0 {
			d.syntax(err) // otherwise it is an after-effect, and not in the file's own words
		}
		return false
	}
	return true
}

// A patch is text to put in the place of some other.
type patch struct {
	lo, hi int
	text   string
}

func scalar(k unstable.Kind) bool {
	return k != unstable.Array && k != unstable.InlineTable
}

// sample is a sound value of a type, as TOML; "" when there is none.
func sample(t reflect.Type) string {
	if e := examples[t]; e != "" {
		return e
	}
	if w := wordsOf[t]; len(w) > 0 {
		return strconv.Quote(w[0])
	}
	switch t.Kind() {
	case reflect.String:
		return `"x"`
	case reflect.Bool:
		return "false"
	case reflect.Int, reflect.Float64:
		return "1"
	}
	return ""
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

// without copies the data with some expressions turned to spaces. Lines stay
// where they are.
func (d *document) without(blank map[int]bool) []byte {
	out := bytes.Clone(d.data)
	if len(blank) == 0 {
		return out
	}
	starts := map[int]int{}
	order := []int{}
	for _, n := range d.nodes {
		if _, ok := starts[n.expr]; !ok {
			starts[n.expr] = bytes.LastIndexByte(d.data[:n.from], '\n') + 1
			order = append(order, n.expr)
		}
	}
	for i, e := range order {
		if !blank[e] {
			continue
		}
		end := len(out)
		if i+1 < len(order) {
			end = starts[order[i+1]]
		}
		for j := starts[e]; j < end; j++ {
			if out[j] != '\n' {
				out[j] = ' '
			}
		}
	}
	return out
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
			t = f
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

func field(t reflect.Type, name string) (reflect.Type, bool) {
	for i := range t.NumField() {
		if f := t.Field(i); f.Anonymous {
			if inner, ok := field(f.Type, name); ok {
				return inner, true
			}
		} else if tagName(f) == name && name != "" {
			return f.Type, true
		}
	}
	return nil, false
}

func tagName(f reflect.StructField) string {
	name, _, _ := strings.Cut(f.Tag.Get("toml"), ",")
	return name
}

func fieldNames(t reflect.Type) []string {
	var out []string
	for i := range t.NumField() {
		if f := t.Field(i); f.Anonymous {
			out = append(out, fieldNames(f.Type)...)
		} else if n := tagName(f); n != "" {
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
		if n.kind != unstable.String || !slices.Contains(list, n.text) {
			return fmt.Sprintf("%s = %s is none of its words: write %s", name, n.shown(), words.Or(quoteAll(list)))
		}
		return ""
	}
	if t == reflect.TypeFor[toml.LocalDate]() {
		if n.kind != unstable.LocalDate {
			return fmt.Sprintf("%s wants a date without quotes, like %s", name, examples[t])
		}
		return ""
	}
	if isLeaf(t) {
		return n.checkText(t, name)
	}
	form, ok := forms[t.Kind()]
	switch {
	case !ok:
		return ""
	case !slices.Contains(form.kinds, n.kind) && t == reflect.TypeFor[[]string]():
		return fmt.Sprintf("%s wants a list of texts: write it in brackets, like [%s]", name, strconv.Quote(n.text))
	case !slices.Contains(form.kinds, n.kind):
		return fmt.Sprintf(form.want, name, dotted(n.path))
	case form.check == nil:
		return ""
	}
	return form.check(n, name)
}

// checkText is check for a type that reads itself from text.
func (n *node) checkText(t reflect.Type, name string) string {
	switch n.kind {
	case unstable.String:
		if err := reflect.New(t).Interface().(encoding.TextUnmarshaler).UnmarshalText([]byte(n.text)); err != nil {
			return name + ": " + err.Error()
		}
		return ""
	case unstable.Integer, unstable.Float:
		like := examples[t]
		if u := units[t]; u != "" && !strings.HasPrefix(n.text, "-") {
			like = strconv.Quote(n.text + u)
		}
		return fmt.Sprintf("%s = %s: write it in quotes and with its unit, like %s", name, n.text, like)
	}
	return fmt.Sprintf("%s wants text in quotes, like %s", name, examples[t])
}

// A form is how TOML writes a value of a kind of Go's.
type form struct {
	kinds []unstable.Kind
	want  string // what to write instead: the key's name, then its dotted path
	check func(n *node, name string) string
}

var forms = map[reflect.Kind]form{
	reflect.String:  {[]unstable.Kind{unstable.String}, "%[1]s wants text in quotes", letters},
	reflect.Bool:    {[]unstable.Kind{unstable.Bool}, "%[1]s wants true or false, without quotes", nil},
	reflect.Int:     {[]unstable.Kind{unstable.Integer}, "%[1]s wants a whole number, without quotes", wholeNumber},
	reflect.Float64: {[]unstable.Kind{unstable.Integer, unstable.Float}, "%[1]s wants a number, without quotes", number},
	reflect.Slice:   {[]unstable.Kind{unstable.Array, unstable.ArrayTable}, "%[1]s can be given several times: write [[%[2]s]] above its lines", nil},
	reflect.Struct:  {[]unstable.Kind{unstable.Table, unstable.InlineTable, unstable.ArrayTable}, "%[1]s is a table: write [%[2]s] above its lines", nil},
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
	if n.kind == unstable.String {
		return strconv.Quote(n.text)
	}
	if n.text == "" {
		return "(" + n.kind.String() + ")"
	}
	return n.text
}

func quoteAll(list []string) []string {
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = strconv.Quote(s)
	}
	return out
}

// suggest names what was probably meant, or else all there is.
func suggest(got string, known []string, all string) string {
	if near := Near(got, known); len(near) > 0 {
		return ": did you mean " + words.Or(quoteAll(near)) + "?"
	}
	if len(known) == 0 {
		return ""
	}
	return ": " + all + strings.Join(known, ", ")
}

// Near picks from the known words those a slip of the hand away from got,
// nearest first, at most three.
func Near(got string, known []string) []string {
	type scored struct {
		word string
		d    int
	}
	var hits []scored
	g := strings.ToLower(got)
	for _, k := range known {
		l := strings.ToLower(k)
		d := distance(g, l)
		switch {
		case d <= max(1, min(len(g), len(l))/3):
			hits = append(hits, scored{k, d})
		case len(g) >= 3 && (strings.Contains(l, g) || strings.Contains(g, l)):
			hits = append(hits, scored{k, 100 + d})
		case shareWords(g, l):
			hits = append(hits, scored{k, 200 + d})
		}
	}
	sort.SliceStable(hits, func(i, j int) bool { return hits[i].d < hits[j].d })
	var out []string
	for _, h := range hits[:min(3, len(hits))] {
		out = append(out, h.word)
	}
	return out
}

// shareWords reports whether every dash-separated word of a is also in b.
func shareWords(a, b string) bool {
	in := strings.FieldsFunc(b, notLetter)
	some := false
	for _, w := range strings.FieldsFunc(a, notLetter) {
		if !slices.Contains(in, w) {
			return false
		}
		some = true
	}
	return some
}

func notLetter(r rune) bool { return r == '-' || r == '_' || r == ' ' }

// distance is the number of single-letter edits between two words, a swap of
// neighbours being one.
func distance(a, b string) int {
	if len(a) > 64 || len(b) > 64 {
		return 64
	}
	var before []int
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		next := make([]int, len(b)+1)
		next[0] = i + 1
		for j := range len(b) {
			cost := 1
			if a[i] == b[j] {
				cost = 0
			}
			next[j+1] = min(row[j]+cost, row[j+1]+1, next[j]+1)
			if i > 0 && j > 0 && a[i] == b[j-1] && a[i-1] == b[j] {
				next[j+1] = min(next[j+1], before[j-1]+1)
			}
		}
		before, row = row, next
	}
	return row[len(b)]
}
