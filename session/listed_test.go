package session_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"wetside/session"
)

// constants are the values of a type's constants, by their names in the source.
func constants(t *testing.T, file, kind string) map[string]string {
	t.Helper()
	f, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]string{}
	for _, d := range f.Decls {
		d, ok := d.(*ast.GenDecl)
		if !ok || d.Tok != token.CONST {
			continue
		}
		for _, s := range d.Specs {
			s := s.(*ast.ValueSpec)
			if id, ok := s.Type.(*ast.Ident); !ok || id.Name != kind {
				continue
			}
			for i, n := range s.Names {
				v, err := strconv.Unquote(s.Values[i].(*ast.BasicLit).Value)
				if err != nil {
					t.Fatal(err)
				}
				out[n.Name] = v
			}
		}
	}
	if len(out) < 5 {
		t.Fatalf("%s has %d constants of type %s", file, len(out), kind)
	}
	return out
}

// Every cue and every stage that has a name stands in its list, once: what goes
// through the list then misses none.
func TestEveryKindIsListed(t *testing.T) {
	var cues, stages []string
	for _, f := range session.CueFacts {
		cues = append(cues, string(f.Kind))
		if f.Example.Kind != f.Kind {
			t.Errorf("the example of %q is of %q", f.Kind, f.Example.Kind)
		}
	}
	for _, s := range session.Stages {
		stages = append(stages, string(s))
	}
	for _, x := range []struct {
		file, kind, list string
		all              []string
	}{{"cue.go", "CueKind", "CueFacts", cues}, {"event.go", "Stage", "Stages", stages}} {
		named := constants(t, x.file, x.kind)
		for name, v := range named {
			if !slices.Contains(x.all, v) {
				t.Errorf("%s (%q) is missing in session.%s", name, v, x.list)
			}
		}
		if len(x.all) != len(named) {
			t.Errorf("session.%s has %d entries for %d names", x.list, len(x.all), len(named))
		}
	}
}

// Every cue in the list is given by something: the machine, the bench, the desk or
// a face.
func TestEveryCueIsGiven(t *testing.T) {
	var code strings.Builder
	err := filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() && path == filepath.Join("..", "sound") {
			return fs.SkipDir
		}
		if d.IsDir() || filepath.Ext(path) != ".go" || strings.HasSuffix(path, "_test.go") || d.Name() == "cue.go" {
			return nil
		}
		b, err := os.ReadFile(path)
		code.Write(b)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	for name, v := range constants(t, "cue.go", "CueKind") {
		if !regexp.MustCompile(`\b` + name + `\b`).MatchString(code.String()) {
			t.Errorf("nothing gives %s (%q)", name, v)
		}
	}
}
