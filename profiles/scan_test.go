package profiles

import (
	"fmt"
	"reflect"
	"strconv"
	"testing"

	"github.com/pelletier/go-toml/v2"
)

// asDecoded holds the scanner to the library's decoder: what that takes, it reads
// too, with the same values at the same paths, and each stands where it is said to.
func asDecoded(t interface{ Fatalf(string, ...any) }, data []byte) {
	var all map[string]any
	if toml.Unmarshal(data, &all) != nil {
		return
	}
	s := &scanner{data: data, counts: map[string]int{}}
	if err := s.scan(); err == errDeep {
		return
	} else if err != nil {
		t.Fatalf("%v at %d of %q", err, s.i, data)
	}
	n := 0
	for _, x := range s.nodes {
		var at any = all
		for _, name := range x.path {
			switch in := at.(type) {
			case map[string]any:
				at = in[name]
			case []any:
				i, _ := strconv.Atoi(name)
				at = in[i]
			default:
				t.Fatalf("%q: nothing at %q", data, x.path)
			}
		}
		if x.value == nil {
			if k := reflect.ValueOf(at).Kind(); k != reflect.Map && k != reflect.Slice {
				t.Fatalf("%q: %q is a %s and not %v", data, x.path, x.form, at)
			}
			continue
		}
		n++
		if fmt.Sprint(x.value) != fmt.Sprint(at) {
			t.Fatalf("%q: %q is %v and not %v", data, x.path, x.value, at)
		}
		var again struct{ V any }
		if err := toml.Unmarshal(append([]byte("V = "), data[x.lo:x.hi]...), &again); err != nil || fmt.Sprint(again.V) != fmt.Sprint(at) {
			t.Fatalf("%q: %q stands at %q, %v", data, x.path, data[x.lo:x.hi], err)
		}
	}
	if want := scalars(all); n != want {
		t.Fatalf("%q: %d values, not %d", data, n, want)
	}
}

func scalars(v any) (n int) {
	switch v := v.(type) {
	case map[string]any:
		for _, x := range v {
			n += scalars(x)
		}
	case []any:
		for _, x := range v {
			n += scalars(x)
		}
	default:
		return 1
	}
	return n
}

func TestTheScannerReadsAsTheDecoderDoes(t *testing.T) {
	for _, text := range []string{
		"", "\n# only a comment", "a=1", "a = 1 # one\r\nb=2\r\n", "\ta\t=\t'x'\t", "a = \"#\" # a \"sign\"\n",
		`"a.b" = 1` + "\n'c d'.e=\"\\\"\\\\\"", "a.b.c = 1\na.b.d = [1, 2 ,3,]\n[a.e]\nf=1", "[ a . 'b c' ]\nx=1\n[[l]]\nx=1\n[[l]]\n[[l.m]]\ny=2\n[l.n]\nz=3\n",
		"a = [ # first\n 'x', # second\n\n \"]\",\n]\nb = [[1],[ ],[{c=1},{}]]\n", "p = {x = 1, y.z = 'q,}', w = [ {v = true} ] }\n",
		"s = \"\"\"\none\ntwo \\\n  three\"\"\"\nt='''\n'it''s'\\'''\nu = \"\"\"\"quoted\"\"\"\"\nv = ''''''\nw = \"\"\"\\\"\"\"\"\"\"\n",
		"d = 2026-05-03\nt = 2026-05-03 14:00:00\nu = 2026-05-03T14:00:00Z\nv = 14:00:00\nn = [1_000, 0x1F, -3.5e+2, inf, +nan]\nb = true\n", "é = 'no bare key'", "\"é\" = 'ü'\n",
	} {
		asDecoded(t, []byte(text))
	}
}
