// Notices writes the licences of all that is linked into wetside, on any system
// it is built for: go run .ci/notices.go. With -check it writes nothing, and fails
// where the file is not what it would write.
package main

import (
	"bytes"
	"fmt"
	"log"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
)

const file = "cmd/wetside/doc/NOTICES"

// A module's text of a licence is in files with such names; a logo is not linked.
var licence = regexp.MustCompile(`(?i)^(licen[cs]e|copying|copyright|notice|patents|unlicense)([-._].*)?$`)
var notLinked = regexp.MustCompile(`(?i)logo|\.go$`)

type module struct {
	version, dir string
	packages     map[string]bool // their folders
}

func main() {
	log.SetFlags(0)
	text, err := notices()
	if err != nil {
		log.Fatal(err)
	}
	if len(os.Args) > 1 && os.Args[1] == "-check" {
		if old, err := os.ReadFile(file); err != nil || !bytes.Equal(old, text) {
			log.Fatalf("%s is not what is linked: go run .ci/notices.go, and look at the difference", file)
		}
		return
	}
	if err := os.WriteFile(file, text, 0o644); err != nil {
		log.Fatal(err)
	}
}

func notices() ([]byte, error) {
	modules := map[string]*module{}
	for _, system := range []string{"linux", "darwin", "windows"} {
		for _, arch := range []string{"amd64", "arm64"} {
			if err := linked(modules, system, arch); err != nil {
				return nil, err
			}
		}
	}
	var out bytes.Buffer
	out.WriteString("wetside is under the MIT licence. Linked into it are the Go library and the\nmodules below, each under its own licence, and the clips of the voice. This file\nis made by .ci/notices.go.\n")
	add := func(name string, files ...string) error {
		fmt.Fprintf(&out, "\n%s\n%s\n", strings.Repeat("=", 78), name)
		for _, f := range files {
			text, err := os.ReadFile(f)
			if err != nil {
				return err
			}
			if filepath.Base(f) == "README.md" {
				if text, err = section(f, text); err != nil {
					return err
				}
			}
			fmt.Fprintf(&out, "%s\n\n%s\n", strings.Repeat("-", 78), bytes.TrimSpace(bytes.ReplaceAll(text, []byte("\r\n"), []byte("\n"))))
		}
		return nil
	}
	root, err := exec.Command("go", "env", "GOROOT").Output()
	if err != nil {
		return nil, err
	}
	goroot := strings.TrimSpace(string(root))
	if err := add("wetside", "LICENSE"); err != nil {
		return nil, err
	}
	if err := add("The Go library", filepath.Join(goroot, "LICENSE"), filepath.Join(goroot, "PATENTS")); err != nil {
		return nil, err
	}
	var names []string
	for name := range modules {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		m := modules[name]
		files, err := m.licences()
		if err != nil {
			return nil, err
		}
		if len(files) == 0 {
			return nil, fmt.Errorf("%s %s: no licence found in %s", name, m.version, m.dir)
		}
		if err := add(name+" "+m.version, files...); err != nil {
			return nil, err
		}
	}
	if err := add("The clips of the voice", "sound/voice/LICENSE-clips"); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

// linked adds the modules, and of each the packages, of one system's program.
func linked(modules map[string]*module, system, arch string) error {
	cmd := exec.Command("go", "list", "-deps", "-f", "{{with .Module}}{{if not .Main}}{{.Path}}\t{{.Version}}\t{{.Dir}}\t{{$.Dir}}\t{{with .Replace}}{{.Path}}{{end}}{{end}}{{end}}", "./cmd/wetside")
	cmd.Env = append(os.Environ(), "GOOS="+system, "GOARCH="+arch, "CGO_ENABLED=0")
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		return err
	}
	for line := range strings.Lines(string(out)) {
		f := strings.Split(strings.TrimRight(line, "\n"), "\t")
		if len(f) < 5 || strings.HasPrefix(f[4], "./") { // a folder of this repository
			continue
		}
		m := modules[f[0]]
		if m == nil {
			m = &module{version: f[1], dir: f[2], packages: map[string]bool{}}
			modules[f[0]] = m
		}
		m.packages[f[3]] = true
	}
	return nil
}

// licences are the files of the module's folder and of those between it and the
// packages that are linked; the README's section where there is none.
func (m *module) licences() ([]string, error) {
	dirs := map[string]bool{}
	for dir := range m.packages {
		for ; strings.HasPrefix(dir, m.dir); dir = filepath.Dir(dir) {
			dirs[dir] = true
		}
	}
	var found []string
	for dir := range dirs {
		entries, err := os.ReadDir(dir)
		if err != nil {
			return nil, err
		}
		for _, e := range entries {
			if !e.IsDir() && licence.MatchString(e.Name()) && !notLinked.MatchString(e.Name()) {
				found = append(found, filepath.Join(dir, e.Name()))
			}
		}
	}
	if readme := filepath.Join(m.dir, "README.md"); len(found) == 0 {
		if _, err := os.Stat(readme); err == nil {
			found = append(found, readme)
		}
	}
	slices.Sort(found)
	return found, nil
}

var heading = regexp.MustCompile(`(?im)^#+ *licen[cs]e *$`)

// section is what a README says of the licence and of its author.
func section(name string, text []byte) ([]byte, error) {
	at := heading.FindIndex(text)
	if at == nil {
		return nil, fmt.Errorf("%s says nothing of a licence", name)
	}
	return text[at[0]:], nil
}
