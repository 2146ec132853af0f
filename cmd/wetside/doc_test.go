package main

import (
	"bytes"
	"encoding/json"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

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

// The page on JSON has every name that is printed or can be in a sheet, and none that
// nothing prints.
func TestThePageOnJSONIsWhatIsPrinted(t *testing.T) {
	sections := map[string]map[string]bool{}
	name := regexp.MustCompile("`([a-z][a-z0-9_]*)`")
	for _, s := range strings.Split(document(t, "json.md"), "\n## ")[1:] {
		title, text, _ := strings.Cut(s, "\n")
		sections[title] = map[string]bool{}
		for line := range strings.Lines(text) {
			if strings.HasPrefix(line, "|") {
				for _, m := range name.FindAllStringSubmatch(line, -1) {
					sections[title][m[1]] = true
				}
			}
		}
	}
	var tags func(t reflect.Type, to map[string]bool)
	tags = func(t reflect.Type, to map[string]bool) {
		for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
			t = t.Elem()
		}
		if t.Kind() != reflect.Struct || t == reflect.TypeFor[time.Time]() {
			return
		}
		for i := range t.NumField() {
			if tag, _, _ := strings.Cut(t.Field(i).Tag.Get("json"), ","); tag != "-" {
				to[tag] = true
				tags(t.Field(i).Type, to)
			}
		}
	}
	record := map[string]bool{}
	tags(reflect.TypeFor[notebook.Record](), record)
	if !maps.Equal(record, sections["sheet"]) {
		t.Errorf("of a sheet: in the program %q, on the page %q", slices.Sorted(maps.Keys(record)), slices.Sorted(maps.Keys(sections["sheet"])))
	}

	dir := t.TempDir()
	print := func(args ...string) (string, int) {
		var out, errs bytes.Buffer
		h := &host{in: strings.NewReader(""), out: &out, err: &errs, getenv: func(string) string { return "" }, args: args,
			data: dir, config: dir, state: dir, ctx: t.Context(), now: func() time.Time { return scriptNow },
			terminal: func() (in, out *os.File, ok bool) { return nil, nil, false }}
		code := run(h)
		return out.String() + errs.String(), code
	}
	if err := theWorkshop(&host{data: dir, now: func() time.Time { return scriptNow }}); err != nil {
		t.Fatal(err)
	}
	told, code := print("exposed", "tea-caddy", "overcast", "5m", "--at", "14:10")
	if num := strings.Fields(told); code != 0 || len(num) < 2 {
		t.Fatal(told)
	} else if out, code := print("developed", num[1]); code != 0 {
		t.Fatal(out)
	}
	var keys func(v any, to map[string]bool)
	keys = func(v any, to map[string]bool) {
		switch v := v.(type) {
		case map[string]any:
			for k, x := range v {
				to[k] = true
				keys(x, to)
			}
		case []any:
			for _, x := range v {
				keys(x, to)
			}
		}
	}
	for title, line := range map[string]string{"check": "check", "cues": "cues three-trays --light 4m", "exposure": "exposure overcast --camera tea-caddy --test --place 52,13 --at 12:00",
		"keys": "keys", "learn": "learn", "mix": "mix 1+9 --make 500ml", "paths": "paths", "pinhole": "pinhole --camera tea-caddy", "plan": "plan three-trays --sheets 2 --start 19:30",
		"preflash strip": "preflash strip --first 0.5s --step 1/3", "profiles list": "profiles list", "sheets": "sheets --rehearsals", "sheet": "sheet 1", "version": "version", "washes": "washes", "where": "where"} {
		out, code := print(append(strings.Fields(line), "--json")...)
		var v any
		if err := json.Unmarshal([]byte(out), &v); err != nil || code != 0 {
			t.Errorf("%s: %v: %s", line, err, out)
			continue
		}
		printed := map[string]bool{}
		keys(v, printed)
		if len(printed) == 0 {
			t.Errorf("%s prints nothing to compare", line)
		}
		for k := range printed {
			if !sections[title][k] {
				t.Errorf("%s prints %q, and the page does not say what that is", line, k)
			}
		}
	}
	var source strings.Builder
	files, _ := filepath.Glob("*.go")
	for _, f := range files {
		data, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		source.Write(data)
	}
	for title, names := range sections {
		for k := range names {
			if title != "export" && !record[k] && !strings.Contains(source.String(), `json:"`+k) {
				t.Errorf("%s: nothing prints %q any more", title, k)
			}
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
