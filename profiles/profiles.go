// Package profiles holds what a darkroom knows before the light goes out: its
// papers, its processes and its cameras.
//
// # The files
//
// A profile is one TOML file. Its first line says what it is and gives its key,
// the word by which commands and other files call it:
//
//	paper = "direct-positive-fb"
//	process = "three-trays"
//	camera = "tea-caddy"
//
// The defaults are built in (the folder defaults/, which is also the best
// example of every key there is). The user's own lie under the configuration
// folder, by habit in papers/, processes/ and cameras/, though only the first
// line counts. A user's profile with the key of a default replaces it whole:
// nothing of the default shines through, so that one file is all there is to
// read.
//
// Units are written as people write them, in quotes: times "1m30s" or "90 s",
// lengths "75 mm" or "3 in", sizes "9x12 cm", volumes "500 ml", temperatures
// "20 C", dilutions "1+9", capacities "8000 cm2/l" or "40 sheets of 8x10 in/l",
// agitation "continuous" or "first 30s, then 10s every 1m". Plain numbers (ISO,
// exponents, factors) have no quotes, nor have dates: 2026-05-03.
//
// Reading is strict. Every file is read to its end and every fault in it is
// told with its line and with what would be right; a faulty file is left out
// and hides nothing: the default of that key stays.
package profiles

import (
	"bytes"
	"cmp"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"path"
	"slices"
	"strings"

	"wetside/session/words"
)

//go:embed defaults/*.toml
var defaults embed.FS

// A Kind is what a profile describes.
type Kind string

// The kinds of profile: each is also the first key of its files.
const (
	PaperKind   Kind = "paper"
	ProcessKind Kind = "process"
	CameraKind  Kind = "camera"
)

// Kinds are all of them.
var Kinds = []Kind{PaperKind, ProcessKind, CameraKind}

// Folder is where files of this kind lie by habit.
func (k Kind) Folder() string {
	if k == ProcessKind {
		return "processes"
	}
	return string(k) + "s"
}

// maxFile is far above any profile; it keeps a picture dropped into the folder
// by mistake from being read as one.
const maxFile = 64 << 10

// A Source is where a profile came from.
type Source struct {
	Kind    Kind
	Key     string
	Name    string // for people
	File    string // name inside the user's folder, or "defaults/..." when built in
	Builtin bool
	Data    []byte // the file as read
}

// A Set is all profiles at hand. It never changes once loaded.
type Set struct {
	papers    map[string]Paper
	processes map[string]Process
	cameras   map[string]Camera
	sources   map[Kind]map[string]Source
}

// Load reads the built-in profiles and lays the user's over them. user is the
// user's profile folder, or nil; a folder that does not exist is an empty one.
//
// The Set is always usable. The error, when not nil, is Problems: the files (or
// parts of the folder) that were left out, and why.
func Load(user fs.FS) (*Set, error) {
	s := &Set{papers: map[string]Paper{}, processes: map[string]Process{}, cameras: map[string]Camera{},
		sources: map[Kind]map[string]Source{PaperKind: {}, ProcessKind: {}, CameraKind: {}}}
	problems := s.overlay(defaults, true)
	if user != nil {
		problems = append(problems, s.overlay(user, false)...)
	}
	if len(problems) > 0 {
		return s, problems
	}
	return s, nil
}

func (s *Set) overlay(from fs.FS, builtin bool) Problems {
	var problems Problems
	err := fs.WalkDir(from, ".", func(name string, e fs.DirEntry, err error) error {
		switch {
		case err != nil && name == "." && errors.Is(err, fs.ErrNotExist):
			return fs.SkipAll
		case err != nil:
			problems = append(problems, Problem{File: name, Text: "cannot be read: " + reason(err)})
			return fs.SkipDir
		case e.IsDir() && name != "." && strings.HasPrefix(e.Name(), "."):
			return fs.SkipDir
		case e.IsDir() || strings.HasPrefix(e.Name(), ".") || path.Ext(name) != ".toml":
			return nil
		}
		problems = append(problems, s.read(from, name, builtin)...)
		return nil
	})
	if err != nil {
		problems = append(problems, Problem{File: ".", Text: reason(err)})
	}
	return problems
}

func (s *Set) read(from fs.FS, name string, builtin bool) Problems {
	info, err := fs.Stat(from, name)
	if err != nil {
		return Problems{{File: name, Text: "cannot be read: " + reason(err)}}
	}
	if info.Size() == 0 {
		return nil // as while the shell makes one for: wetside profiles show KEY > FILE
	}
	if info.Size() > maxFile {
		return Problems{{File: name, Text: tooLarge}}
	}
	data, err := fs.ReadFile(from, name)
	if err != nil {
		return Problems{{File: name, Text: "cannot be read: " + reason(err)}}
	}
	src, v, problems := check(name, data)
	if len(problems) > 0 {
		return problems
	}
	src.Builtin = builtin
	if old, twice := s.sources[src.Kind][src.Key]; twice && old.Builtin == builtin {
		return Problems{{File: name, Line: 1, Text: fmt.Sprintf("%s %q is already in %s: give one of them another key", src.Kind, src.Key, old.File)}}
	}
	s.sources[src.Kind][src.Key] = src
	switch v := v.(type) {
	case *Paper:
		s.papers[src.Key] = *v
	case *Process:
		s.processes[src.Key] = *v
	case *Camera:
		s.cameras[src.Key] = *v
	}
	return nil
}

// An UnknownError is a name that nothing has. It says what was probably meant, or
// all there is.
type UnknownError string

// Error implements error.
func (e UnknownError) Error() string { return string(e) }

// reason is an error without the path that the Problem already gives.
func reason(err error) string {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err.Error()
	}
	return err.Error()
}

const tooLarge = "larger than 64 KiB, which no profile is: take it out of the folder"

// CheckFile reads one profile and returns all that is wrong with it; nothing
// when it would load. The name serves for the problems only.
func CheckFile(name string, data []byte) []Problem {
	_, _, problems := check(name, data)
	return problems
}

// KeyOf says what a profile's file is, and all that is wrong with it.
func KeyOf(name string, data []byte) (Kind, string, Problems) {
	src, _, problems := check(name, data)
	return src.Kind, src.Key, problems
}

// check reads one file. v is *Paper, *Process or *Camera, sound only when there
// are no problems.
func check(name string, data []byte) (Source, any, Problems) {
	src := Source{File: name, Data: data}
	if len(data) > maxFile {
		return src, nil, Problems{{File: name, Text: tooLarge}}
	}
	d := parse(name, bytes.TrimPrefix(data, []byte("\xef\xbb\xbf")))
	if len(d.problems) > 0 {
		return src, nil, d.problems
	}
	is := d.first()
	if is == nil {
		return src, nil, d.problems
	}
	src.Kind = Kind(is.path[0])
	v := map[Kind]interface{ validate(*document) }{PaperKind: new(Paper), ProcessKind: new(Process), CameraKind: new(Camera)}[src.Kind]
	d.decode(v)
	if is.form == text {
		src.Key = is.text
		if !keyLike(src.Key) {
			d.fault(is.path, "%s = %q cannot be a key: use small letters, digits and dashes, like %q", src.Kind, src.Key, "my-"+string(src.Kind))
		}
	}
	d.require(`"what you call it"`, "name")
	if n := d.at["name"]; n != nil {
		src.Name = n.text
	}
	v.validate(d)
	if len(d.problems) == 0 {
		d.decodes() // what a table is twice, say, no place of ours tells
	}
	slices.SortStableFunc(d.problems, func(a, b Problem) int { return cmp.Compare(a.Line, b.Line) })
	return src, v, d.problems
}

func keyLike(s string) bool {
	return s != "" && len(s) <= 64 && s[0] != '-' && strings.Trim(s, "abcdefghijklmnopqrstuvwxyz0123456789-") == ""
}

// first is the line that says what a file is; nil, and told, where it is not just one.
func (d *document) first() *node {
	var found []*node
	for _, k := range Kinds {
		if n := d.at[string(k)]; n != nil {
			found = append(found, n)
		}
	}
	switch len(found) {
	case 0:
		d.problem(1, `this does not say what it is: begin with a line like paper = "my-paper", process = "my-process" or camera = "my-camera"`)
		return nil
	case 1:
		return found[0]
	}
	d.problem(found[1].line, fmt.Sprintf("one file is one profile, and this is both %s and %s: make it two files", found[0].path[0], found[1].path[0]))
	return nil
}

// Paper finds a paper; the error of an unknown key names those near it.
func (s *Set) Paper(key string) (Paper, error) { return find(s.papers, PaperKind, key) }

// Process finds a process; the error of an unknown key names those near it.
func (s *Set) Process(key string) (Process, error) { return find(s.processes, ProcessKind, key) }

// Camera finds a camera; the error of an unknown key names those near it.
func (s *Set) Camera(key string) (Camera, error) { return find(s.cameras, CameraKind, key) }

// Papers lists the papers by key.
func (s *Set) Papers() []Paper { return sorted(s.papers) }

// Processes lists the processes by key.
func (s *Set) Processes() []Process { return sorted(s.processes) }

// Cameras lists the cameras by key.
func (s *Set) Cameras() []Camera { return sorted(s.cameras) }

// Sources are the profiles of some kinds, each sorted by key.
func (s *Set) Sources(kinds ...Kind) (out []Source) {
	for _, k := range kinds {
		out = append(out, sorted(s.sources[k])...)
	}
	return out
}

// Source says where a profile came from and gives its file as it was read.
func (s *Set) Source(kind Kind, key string) (Source, error) {
	src, ok := s.sources[kind][key]
	if !ok {
		return Source{}, unknown(kind, key, keys(s.sources[kind]))
	}
	return src, nil
}

func find[T any](m map[string]T, kind Kind, key string) (T, error) {
	v, ok := m[key]
	if !ok {
		return v, unknown(kind, key, keys(m))
	}
	return v, nil
}

func unknown(kind Kind, key string, known []string) error {
	return UnknownError(fmt.Sprintf("no %s %q%s", kind, key, suggest(key, known, "there are ")))
}

func keys[T any](m map[string]T) []string {
	return slices.Sorted(maps.Keys(m))
}

func sorted[T any](m map[string]T) []T {
	return words.Each(keys(m), func(k string) T { return m[k] })
}
