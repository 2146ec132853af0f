package main

import (
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"wetside/profiles"
	"wetside/session/notebook"
)

func document(t *testing.T, name string) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("doc", name))
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// The manual pages name every key of a profile's file and every column of the log,
// and the profiles they show load.
func TestManualNamesAllThereIs(t *testing.T) {
	page := document(t, "wetside-profiles.5.md")
	var keys func(t reflect.Type) []string
	keys = func(t reflect.Type) (out []string) {
		for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
			t = t.Elem()
		}
		if t.Kind() != reflect.Struct {
			return nil
		}
		for i := range t.NumField() {
			f := t.Field(i)
			name, _, _ := strings.Cut(f.Tag.Get("toml"), ",")
			if name != "" {
				out = append(out, name)
			}
			if name != "" || f.Anonymous {
				out = append(out, keys(f.Type)...)
			}
		}
		return out
	}
	for _, of := range []any{profiles.Camera{}, profiles.Paper{}, profiles.Process{}} {
		all := keys(reflect.TypeOf(of))
		if len(all) < 8 {
			t.Errorf("%T has the keys %q only", of, all)
		}
		for _, k := range all {
			if !strings.Contains(page, "**"+k+"**") {
				t.Errorf("%T: nothing is said of %s", of, k)
			}
		}
	}
	blocks := regexp.MustCompile("(?s)```toml\n(.*?)```").FindAllStringSubmatch(page, -1)
	if len(blocks) != 3 {
		t.Errorf("%d profiles are shown", len(blocks))
	}
	for _, b := range blocks {
		for _, p := range profiles.CheckFile("shown", []byte(b[1])) {
			t.Error(p)
		}
	}
	page = document(t, "wetside-notebook.5.md")
	for _, c := range notebook.Columns {
		if !strings.Contains(page, "**"+c+"**") {
			t.Errorf("nothing is said of the column %s", c)
		}
	}
}

// go.mod, README and CI name one version of Go.
func TestOneVersionOfGo(t *testing.T) {
	read := func(name string) string {
		data, err := os.ReadFile(filepath.Join("..", "..", name))
		if err != nil {
			t.Fatal(err)
		}
		return string(data)
	}
	m := regexp.MustCompile(`(?m)^go (\S+)$`).FindStringSubmatch(read("go.mod"))
	if m == nil {
		t.Fatal("go.mod names no version")
	}
	for _, name := range []string{"README.md", ".ci/run"} {
		if !strings.Contains(read(name), "Go "+m[1]+" ") {
			t.Errorf("%s does not name Go %s, as go.mod does", name, m[1])
		}
	}
}
