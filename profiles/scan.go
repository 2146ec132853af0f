package profiles

import (
	"bytes"
	"errors"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

// A form is how a value is written.
type form string

const (
	header  form = "Table"      // [x]
	headers form = "ArrayTable" // [[x]]
	inline  form = "InlineTable"
	array   form = "Array"
	text    form = "String"
	integer form = "Integer"
	float   form = "Float"
	boolean form = "Bool"
	date    form = "LocalDate"
	other   form = "Time"
)

// A node is a table's header, or a value.
type node struct {
	path   []string
	form   form
	value  any    // of a scalar
	text   string // a string's text; a scalar as it is written
	line   int
	from   int // offset of the key, or of the header's first
	lo, hi int // offsets of the value
}

// header reports whether the node is a table with lines of its own.
func (n *node) header() bool { return n.form == header || n.form == headers }

// deepest is deeper than the deepest key of a profile (reciprocity.table.0.measured)
// and keeps a hostile file from costing more than it weighs.
const deepest = 8

// What the scanner cannot read; the decoder says in more words what is wrong.
var (
	errSyntax = errors.New("this cannot be read")
	errDeep   = errors.New("this key is nested deeper than any profile goes: take it out")
)

// A scanner finds where everything in a TOML file stands. It takes lines, keys and
// values apart and no more (toml.io, version 1.0): what is in a scalar is the
// decoder's to say, and so is whether the whole is sound.
type scanner struct {
	data   []byte
	i      int
	nodes  []*node // in the order in which they stand
	counts map[string]int
}

func (s *scanner) scan() error {
	var table []string
	for s.blank(true); s.i < len(s.data); s.blank(true) {
		var err error
		if s.data[s.i] == '[' {
			table, err = s.head()
		} else {
			err = s.keyValue(table, s.counts)
		}
		if err != nil {
			return err
		}
		if s.blank(false); s.i < len(s.data) && s.data[s.i] != '\n' && s.data[s.i] != '#' {
			return errSyntax
		}
	}
	return nil
}

// blank passes over blanks, and between lines over their ends and comments.
func (s *scanner) blank(lines bool) {
	for ; s.i < len(s.data); s.i++ {
		switch c := s.data[s.i]; {
		case c == ' ' || c == '\t' || c == '\r':
		case lines && c == '\n':
		case lines && c == '#':
			if n := bytes.IndexByte(s.data[s.i:], '\n'); n >= 0 {
				s.i += n
			} else {
				s.i = len(s.data) - 1
			}
		default:
			return
		}
	}
}

// take passes over a sign if it stands here.
func (s *scanner) take(sign string) bool {
	ok := bytes.HasPrefix(s.data[s.i:], []byte(sign))
	if ok {
		s.i += len(sign)
	}
	return ok
}

func (s *scanner) head() ([]string, error) {
	n := &node{form: header}
	s.take("[")
	if s.take("[") {
		n.form = headers
	}
	s.blank(false)
	n.from = s.i
	path, err := s.key(nil, s.counts)
	if err != nil {
		return nil, err
	}
	if n.form == headers {
		k := pathKey(path)
		path = append(path, strconv.Itoa(s.counts[k]))
		s.counts[k]++
	}
	if !s.take("]") || n.form == headers && !s.take("]") {
		return nil, errSyntax
	}
	n.path = path
	s.nodes = append(s.nodes, n)
	return path, nil
}

// key reads a dotted key as a path under base, stepping into the last element of
// an array of tables where one is meant.
func (s *scanner) key(base []string, counts map[string]int) ([]string, error) {
	path := append([]string(nil), base...)
	for parts := 1; ; parts++ {
		part, err := s.word()
		if err != nil {
			return nil, err
		}
		path = append(path, part)
		if parts > deepest || len(base) > deepest {
			return nil, errDeep
		}
		if s.blank(false); !s.take(".") {
			return path, nil
		}
		if c := counts[pathKey(path)]; c > 0 {
			path = append(path, strconv.Itoa(c-1))
		}
	}
}

// bare reports whether a sign may stand in a key without quotes.
func bare(c byte) bool {
	return strings.IndexByte("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_", c) >= 0
}

// word reads one part of a key, in quotes or without.
func (s *scanner) word() (string, error) {
	s.blank(false)
	from := s.i
	for s.i < len(s.data) && bare(s.data[s.i]) {
		s.i++
	}
	if s.i > from {
		return string(s.data[from:s.i]), nil
	}
	if s.i == len(s.data) || s.data[s.i] != '"' && s.data[s.i] != '\'' {
		return "", errSyntax
	}
	n := node{lo: s.i}
	err := s.scalar(&n)
	return n.text, err
}

func (s *scanner) keyValue(table []string, counts map[string]int) error {
	from := s.i
	path, err := s.key(table, counts)
	if err != nil {
		return err
	}
	if !s.take("=") {
		return errSyntax
	}
	s.blank(false)
	return s.item(path, from)
}

// item reads the value of a key, or one of a list.
func (s *scanner) item(path []string, from int) error {
	n := &node{path: path, from: from, lo: s.i}
	s.nodes = append(s.nodes, n)
	if len(path) > deepest+1 {
		return errDeep
	}
	var err error
	switch {
	case s.take("["):
		n.form = array
		err = s.list("]", func(i int) error {
			return s.item(append(path[:len(path):len(path)], strconv.Itoa(i)), s.i)
		})
	case s.take("{"):
		n.form = inline
		err = s.list("}", func(int) error { return s.keyValue(path, nil) })
	default:
		err = s.scalar(n)
	}
	n.hi = s.i
	return err
}

// list reads what is parted by commas, up to the closing sign.
func (s *scanner) list(closing string, element func(i int) error) error {
	for i := 0; ; i++ {
		if s.blank(true); s.take(closing) {
			return nil
		}
		if err := element(i); err != nil {
			return err
		}
		s.blank(true)
		if comma := s.take(","); !comma && !s.take(closing) {
			return errSyntax
		} else if !comma {
			return nil
		}
	}
}

// scalar reads a string, number, date or truth value.
func (s *scanner) scalar(n *node) error {
	end := -1
	if s.i < len(s.data) {
		end = endOf(s.data[s.i:])
	}
	if end < 0 {
		return errSyntax
	}
	raw := bytes.TrimRight(s.data[s.i:s.i+end], " \t\r")
	if len(raw) == 0 {
		return errSyntax
	}
	s.i += len(raw)
	var x struct{ V any }
	if err := toml.Unmarshal(append([]byte("V = "), raw...), &x); err != nil {
		return err
	}
	n.value, n.text = x.V, string(raw)
	switch v := x.V.(type) {
	case string:
		n.form, n.text = text, v
	case int64:
		n.form = integer
	case float64:
		n.form = float
	case bool:
		n.form = boolean
	case toml.LocalDate:
		n.form = date
	default:
		n.form = other
	}
	return nil
}

// endOf is the length of the scalar that data begins with; -1: a string is open.
func endOf(data []byte) int {
	q := string(data[0])
	if q != `"` && q != "'" {
		if i := bytes.IndexAny(data, ",]}#\n"); i >= 0 {
			return i
		}
		return len(data)
	}
	if three := strings.Repeat(q, 3); bytes.HasPrefix(data, []byte(three)) {
		q = three
	}
	for i := len(q); i < len(data); i++ {
		switch {
		case data[i] == '\\' && q[0] == '"':
			i++
		case data[i] == '\n' && len(q) == 1:
			return -1
		case bytes.HasPrefix(data[i:], []byte(q)):
			if len(q) == 1 {
				return i + 1
			}
			after := data[i+3:] // up to two quotes may stand before the closing ones
			return i + 3 + min(2, len(after)-len(bytes.TrimLeft(after, q[:1])))
		}
	}
	return -1
}
