package ember

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// colourNames are what a package that draws could name a colour with.
var colourNames = map[string]*regexp.Regexp{
	"lipgloss": regexp.MustCompile(`^(Color|ANSIColor|AdaptiveColor|CompleteColor|CompleteAdaptiveColor|NoColor|SetColorProfile|ColorProfile|SetHasDarkBackground)$`),
	"termenv":  regexp.MustCompile(`^(RGBColor|ANSIColor|ANSI256Color|ANSI\w+|ColorProfile|NewOutput|EnvColorProfile)$`),
	"ansi":     regexp.MustCompile(`^(SGR|Style|RGBColor|HexColor|BasicColor|IndexedColor|Set\w*Color|Reset\w*Color|ResetStyle|Red|Green|Yellow|Blue|Magenta|Cyan|White|Bright\w+)$`),
	"color":    regexp.MustCompile(`^(RGBA|NRGBA|White)$`),
}

// colourText are strings that would set a colour: SGR sequences, OSC for
// default colours and palette, and colours written in hexadecimal.
var colourText = regexp.MustCompile(`\x1b\[[0-9;:]*m|\x9b[0-9;:]*m|\x1b\](4|1[0-9]|104|11[0-9]);?|\x1b\]P|[34]8[;:][25][;:]|^#([0-9a-fA-F]{3}|[0-9a-fA-F]{6})$`)

// coloursIn lists the colours a Go file names, as file:line: what.
func coloursIn(name string, src any) ([]string, error) {
	set := token.NewFileSet()
	f, err := parser.ParseFile(set, name, src, 0)
	if err != nil {
		return nil, err
	}
	imports := map[string]string{} // local name to the last part of the path
	for _, im := range f.Imports {
		path, err := strconv.Unquote(im.Path.Value)
		if err != nil {
			return nil, err
		}
		base := path[strings.LastIndexByte(path, '/')+1:]
		local := base
		if im.Name != nil {
			local = im.Name.Name
		}
		imports[local] = base
	}
	var found []string
	report := func(pos token.Pos, what string) {
		p := set.Position(pos)
		found = append(found, fmt.Sprintf("%s:%d: %s", p.Filename, p.Line, what))
	}
	ast.Inspect(f, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.SelectorExpr:
			x, ok := n.X.(*ast.Ident)
			if !ok {
				break
			}
			if re := colourNames[imports[x.Name]]; re != nil && re.MatchString(n.Sel.Name) {
				report(n.Pos(), x.Name+"."+n.Sel.Name)
			}
		case *ast.BasicLit:
			if n.Kind != token.STRING {
				break
			}
			if s, err := strconv.Unquote(n.Value); err == nil && colourText.MatchString(s) {
				report(n.Pos(), n.Value)
			}
		}
		return true
	})
	return found, nil
}

// No colour is named outside of this package. Only what a program does is
// looked at, not its tests. The rule holds where something could be drawn: the
// packages that draw, and the commands. (A page exported for a browser in
// daylight is not drawn in the darkroom, but sequences for terminals are
// looked for everywhere.)
func TestNoColourElsewhere(t *testing.T) {
	looked := 0
	eachFile(t, func(rel string, src []byte) error {
		if strings.HasPrefix(rel, filepath.Join("tui", "ember")+string(filepath.Separator)) {
			return nil
		}
		looked++
		found, err := coloursIn(rel, src)
		if err != nil {
			return err
		}
		draws := strings.HasPrefix(rel, "tui") || strings.HasPrefix(rel, "cmd")
		for _, f := range found {
			if strings.Contains(f, `"#`) && !draws {
				continue
			}
			t.Errorf("%s: a colour named outside of tui/ember", f)
		}
		return nil
	})
	t.Logf("%d files looked at", looked)
}

// eachFile gives every Go file of the program, tests left out.
func eachFile(t *testing.T, do func(rel string, src []byte) error) {
	t.Helper()
	root, err := filepath.Abs("../..")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(filepath.Join(root, "go.mod")); err != nil {
		t.Fatalf("the root of the module is not where it was: %v", err)
	}
	err = filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, _ := filepath.Rel(root, path)
		if d.IsDir() {
			if d.Name() == "testdata" || strings.HasPrefix(d.Name(), ".") && rel != "." {
				return fs.SkipDir
			}
			return nil
		}
		if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		src, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		return do(rel, src)
	})
	if err != nil {
		t.Error(err)
	}
}

// bellsIn lists where a Go file could ring a terminal's bell: a bell in a text,
// or a call that writes one where it finds nothing better.
func bellsIn(name string, src any) ([]string, error) {
	set := token.NewFileSet()
	f, err := parser.ParseFile(set, name, src, 0)
	if err != nil {
		return nil, err
	}
	var found []string
	ast.Inspect(f, func(n ast.Node) bool {
		rings := false
		switch n := n.(type) {
		case *ast.SelectorExpr:
			x, ok := n.X.(*ast.Ident)
			rings = ok && x.Name == "beeep" && (n.Sel.Name == "Beep" || n.Sel.Name == "Alert")
		case *ast.BasicLit:
			s, err := strconv.Unquote(n.Value)
			rings = err == nil && (n.Kind == token.STRING || n.Kind == token.CHAR) && strings.Contains(s, "\a")
		}
		if rings {
			p := set.Position(n.Pos())
			found = append(found, fmt.Sprintf("%s:%d", p.Filename, p.Line))
		}
		return true
	})
	return found, nil
}

// Nobody rings: a visual bell lights the whole window.
func TestNoBellAnywhere(t *testing.T) {
	eachFile(t, func(rel string, src []byte) error {
		found, err := bellsIn(rel, src)
		for _, f := range found {
			t.Errorf("%s: a bell may reach the terminal", f)
		}
		return err
	})
	found, err := bellsIn("sample.go", `package sample
var a = "\x1b]11;white\a"   // 2
var b = "\007"              // 3
var c = '\x07'              // 4
func d() { beeep.Beep() }   // 5
func e() { beeep.Alert() }  // 6
func f() { beeep.Notify() } // "\a"
`)
	if got := strings.Join(found, " "); err != nil || got != "sample.go:2 sample.go:3 sample.go:4 sample.go:5 sample.go:6" {
		t.Errorf("the search finds %q, %v", got, err)
	}
}

// The search finds what it is there to find.
func TestTheSearchFindsColours(t *testing.T) {
	found, err := coloursIn("sample.go", `package sample
import (
	lg "github.com/charmbracelet/lipgloss"
	"image/color"
)
var a = lg.Color("9")              // 6
var b = "\x1b[32mgreen"            // 7
var c = "\033]11;white\a"          // 8
var d = "#00FF00"                  // 9
var e = color.RGBA{}               // 10
var f = "\u001b[0m"                // 11
var g = "\x1b[" + "38;2;0;255;0m"  // 12
// lipgloss.Color("in a comment"), "\x1b[0m"
var ok = lg.NewStyle().Width(3)
var ok2 = "sheet #3, \x1b[2J"
`)
	if err != nil {
		t.Fatal(err)
	}
	var lines []string
	for _, f := range found {
		lines = append(lines, strings.Split(f, ":")[1])
	}
	if got := strings.Join(lines, " "); got != "6 7 8 9 10 11 12" {
		t.Errorf("found in lines %s:\n%s", got, strings.Join(found, "\n"))
	}
}
