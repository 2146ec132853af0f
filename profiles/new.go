package profiles

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"text/template"

	"wetside/session"
)

// blanks are the files that New fills in.
var blanks = template.Must(template.New("").Funcs(template.FuncMap{"q": quotedText}).Parse(`
{{define "camera"}}# A pinhole camera. Units as you write them: "75 mm", "7,5 cm", "2 7/8 in".
camera = {{q .Key}}
name = {{q .Name}}
{{if .Diameter}}shape = "cylinder"   # a tin with the hole in its wall; "flat" has focal = ... in place of diameter
diameter = {{q .Diameter}}   # inside
{{else}}shape = "flat"       # the paper lies flat; "cylinder" has diameter = ... in place of focal
focal = {{q .Focal}}      # from the hole to the paper
{{end}}pinhole = {{q .Pinhole}}   # diameter of the hole, measured
{{if .Plate}}plate = {{q .Plate}}     # how thick the metal is that the hole is in
{{else}}# plate = "0.1 mm"    # how thick the metal is that the hole is in: the thicker, the darker the corners
{{end}}sheet = {{q .Sheet}}     # width first: in a tin it lies along the arc
# note = "what you want to remember of it"
{{end}}
{{define "paper"}}# A photographic paper. Put in what its data sheet says.
paper = {{q .Key}}
name = {{q .Name}}
base = {{q .Base}}          # "FB" fibre base, "RC" resin coated
response = {{q .Response}} # what more exposure does: "lighter" (direct positive) or "denser" (negative)
iso = {{.ISO}}
size = {{q .Sheet}}     # of one sheet
# sees = "450 nm"    # the light it answers to most

[reciprocity]
# How much longer than metered it wants at long times: "none", "schwarzschild"
# with p, or "table" with rows of metered and needed times:
#   table = [{measured = "10s", corrected = "15s"}, {measured = "1m", corrected = "2m"}]
{{if .P}}model = "schwarzschild"
p = {{.P}}
{{else}}model = "none"
{{end}}
[safelight]
# The longest it may lie open under your safelight. Without a fog test there is no
# figure: the room screen has one, and puts it in here with its date.
# unexposed = "8m"
# exposed = "5m"
{{end}}`))

// A Blank is what a new profile is made of, as it was typed.
type Blank struct {
	Key, Name                string
	Diameter, Focal, Pinhole string // of a camera
	Plate                    string // of a camera; empty: not known
	Sheet                    string // of a camera and of a paper
	Base, Response, ISO, P   string // of a paper
}

// New writes the file of a camera or a paper, with comments. What would not load
// is an error that says what to write.
func New(kind Kind, b Blank) ([]byte, error) {
	var out bytes.Buffer
	if err := blanks.ExecuteTemplate(&out, string(kind), b); err != nil {
		return nil, err
	}
	return out.Bytes(), loads(kind, b.Key, out.Bytes())
}

// Like is the file of a process made after another one: its comments, its baths
// and its steps, with the times of the stages that are given ("10s", or "1m30s to
// 3m" for a window).
func Like(file []byte, key, name string, times map[session.Stage]string) ([]byte, error) {
	_, v, problems := check("the file", file)
	if len(problems) > 0 {
		return nil, problems
	}
	p, ok := v.(*Process)
	if !ok {
		return nil, fmt.Errorf("this file is no process")
	}
	changes := []change{{[]string{"process"}, quotedText(key)}, {[]string{"name"}, quotedText(name)}}
	for i, s := range p.Steps {
		text := times[s.Stage]
		if text == "" {
			continue
		}
		if s.FB != nil || s.RC != nil {
			return nil, fmt.Errorf("%s of process %q has times of its own for FB and RC: change them in the file", s.Stage, p.Key)
		}
		changes = append(changes, retimed(i, text)...)
	}
	for stage, text := range times {
		if text != "" && !slices.ContainsFunc(p.Steps, func(s Step) bool { return s.Stage == stage }) {
			return nil, fmt.Errorf("process %q has no step %s: start from another process, or add the step to the file", p.Key, stage)
		}
	}
	out, err := putAll(bytes.Clone(file), changes)
	if err != nil {
		return nil, err
	}
	return out, loads(ProcessKind, key, out)
}

// retimed gives a step another time, "2m", or another window, "1m30s to 3m".
func retimed(step int, text string) []change {
	to := func(k, text string) change {
		return change{[]string{"step", fmt.Sprint(step), k}, quotedText(strings.TrimSpace(text))}
	}
	out := func(k string) change { return change{to(k, "").path, ""} }
	if least, most, window := strings.Cut(text, " to "); window {
		return []change{out("target"), to("at_least", least), to("at_most", most)}
	}
	return []change{out("at_least"), out("at_most"), to("target", text)}
}

// loads asks the reader whether it would take a file that was just written.
func loads(kind Kind, key string, file []byte) error {
	_, _, problems := check(kind.Folder()+"/"+key+".toml", file)
	if len(problems) > 0 {
		return fmt.Errorf("%s", problems[0].Text)
	}
	return nil
}
