package main

import (
	"bytes"
	"context"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/alecthomas/kong"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/notebook"
)

// The walk in the tutorial is run from its own text: each command as it stands
// there, after each step that is done on the screens the sheet it makes, and
// every line that is printed is compared.
func TestTheWalkInTheTutorial(t *testing.T) {
	walk := document(t, "tutorial.md")
	day := time.Date(2026, 11, 25, 11, 30, 0, 0, time.UTC)
	h := walker(t, &day)
	ran := 0
	for _, step := range regexp.MustCompile(`(?m)^\*\*`).Split(walk, -1) {
		switch {
		case strings.HasPrefix(step, "6. The trays"):
			walkedSheet(t, h, day)
		case strings.HasPrefix(step, "7. Judge it"):
			day = day.AddDate(0, 0, 1) // when it is dry
		}
		ran += runExamples(t, h, step)
	}
	if ran < 8 {
		t.Errorf("only %d commands were found", ran)
	}
}

// What README and the other documents show is run as well, in an empty home but
// for one finished sheet; what stands in a sentence is read by the grammar.
func TestDocumentsRun(t *testing.T) {
	pages, err := filepath.Glob("doc/*.md")
	if err != nil {
		t.Fatal(err)
	}
	here, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	quoted := regexp.MustCompile("[`*]wetside( [^`*]+)?[`*]")
	ran, read := 0, 0
	for _, page := range append(pages, "../../README.md") {
		data, err := os.ReadFile(filepath.Join(here, page))
		if err != nil {
			t.Fatal(err)
		}
		t.Run(filepath.Base(page), func(t *testing.T) {
			day := time.Date(2026, 11, 25, 11, 30, 0, 0, time.UTC)
			h := walker(t, &day)
			walkedSheet(t, h, day)
			t.Chdir(t.TempDir()) // for what is written by name
			if filepath.Base(page) != "tutorial.md" {
				ran += runExamples(t, h, string(data))
			}
			for _, m := range quoted.FindAllStringSubmatch(strings.Join(strings.Fields(string(data)), " "), -1) {
				if strings.Contains(m[1], " COMMAND") {
					continue
				}
				parser, err := grammar(new(CLI), kong.Exit(func(int) {}), kong.Writers(io.Discard, io.Discard))
				if err != nil {
					t.Fatal(err)
				}
				args := exampleWords("wetside" + strings.ReplaceAll(m[1], `\`, ""))
				read++
				node := parser.Model.Node
				for _, w := range args {
					if node = commandIn(node, w); node == nil {
						break
					}
				}
				if node != nil {
					continue // a command's name, and no example of it
				}
				if _, err := parser.Parse(negatives(args)); err != nil {
					t.Errorf("%q: %v", m[0], err)
				}
			}
		})
	}
	if ran < 15 || read < 60 {
		t.Errorf("only %d examples were run, and %d read", ran, read)
	}
}

// walker is a machine with an empty home at a day that may be moved on.
func walker(t *testing.T, day *time.Time) *host {
	dir := t.TempDir()
	return &host{in: strings.NewReader(""), self: "wetside", data: filepath.Join(dir, "data"), config: filepath.Join(dir, "config"), state: filepath.Join(dir, "state"), ctx: context.Background(),
		terminal: func() (in, out *os.File, ok bool) { return nil, nil, false }, getenv: func(string) string { return "" },
		now: func() time.Time { return *day }}
}

// onTheScreen are the commands that want a terminal or a loudspeaker, and have
// tests of their own in one: the others are run as they stand.
var onTheScreen = map[string]bool{"": true, "rehearse": true, "sounds": true}

// exampleWords are the words of an example behind the program's name, without its
// comment and without what a shell does with the output.
func exampleWords(line string) (args []string) {
	line, _, _ = strings.Cut(line, "   ")
	for _, pipe := range []string{" | ", " > "} {
		line, _, _ = strings.Cut(line, pipe)
	}
	for _, w := range regexp.MustCompile(`"[^"]*"|\S+`).FindAllString(line, -1)[1:] {
		args = append(args, strings.Trim(w, `"`))
	}
	return args
}

// runExamples runs the commands of a text and compares what is printed with the
// lines below them, of which "..." stands for any. It says how many it ran.
func runExamples(t *testing.T, h *host, text string) (ran int) {
	t.Helper()
	var want []string
	var line string
	compare := func() {
		if line == "" {
			return
		}
		var out, errs bytes.Buffer
		h.out, h.err = &out, &errs
		h.args = exampleWords(strings.TrimPrefix(line, "$ "))
		first := ""
		if len(h.args) > 0 {
			first = h.args[0]
		}
		if onTheScreen[first] {
			if parser, err := grammar(new(CLI)); err != nil {
				t.Fatal(err)
			} else if _, err := parser.Parse(h.args); err != nil {
				t.Errorf("%s: %v", line, err)
			}
			line, want = "", nil
			return
		}
		if got := run(h); got != 0 || errs.Len() > 0 {
			t.Errorf("%s: status %d: %s", line, got, errs.String())
		}
		ran++
		pattern := regexp.QuoteMeta(strings.Join(want, "\n") + "\n")
		pattern = regexp.MustCompile(`(?m)^ *\\\.\\\.\\\.\n`).ReplaceAllString(pattern, `(?:.*\n)*`)
		if len(want) > 0 && !regexp.MustCompile(`\A`+pattern+`\z`).MatchString(out.String()) {
			t.Errorf("%s\nprints\n%s\nand not\n%s", line, out.String(), strings.Join(want, "\n"))
		}
		line, want = "", nil
	}
	for l := range strings.Lines(text) {
		l, code := strings.CutPrefix(strings.TrimRight(l, "\n"), "    ")
		switch {
		case !code:
			compare()
		case strings.HasPrefix(l, "$ wetside"):
			compare()
			line = l
		case line != "":
			want = append(want, l)
		}
	}
	compare()
	return ran
}

// walkedSheet is steps five and six: a sheet of the tea caddy under an overcast
// sky, its countdown and its trays to the second.
func walkedSheet(t *testing.T, h *host, day time.Time) {
	t.Helper()
	b, err := h.book()
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	set, err := profiles.Load(nil)
	if err != nil {
		t.Fatal(err)
	}
	plan, err := (&profiles.Planner{Set: set, Now: h.now}).Plan(profiles.Form{Camera: "tea-caddy", Paper: "direct-positive-fb", Process: "three-trays", Light: "overcast"})
	if err != nil {
		t.Fatal(err)
	}
	now := session.Instant{Wall: day, Boot: time.Hour, BootID: "walk"}
	open := session.Event{Kind: session.Opened, At: now}
	sit, err := b.Begin(open)
	if err != nil {
		t.Fatal(err)
	}
	m := session.New()
	do := func(e session.Event) {
		if e.At = now; e.Kind != session.Opened {
			e.Sheet = "walk0001-0000-4000-8000-000000000001"
			if _, err := b.Append(sit.ID, e); err != nil {
				t.Fatal(err)
			}
		}
		if err := m.Apply(e); err != nil {
			t.Fatal(err)
		}
	}
	do(open)
	do(session.Event{Kind: session.SheetAdded, Spec: &plan.Spec})
	do(session.Event{Kind: session.ExposureBegun, Planned: plan.Exposure})
	now = now.Add(plan.Exposure)
	do(session.Event{Kind: session.ExposureEnded})
	s := m.Sheets()[0]
	for s.Phase != session.Finished {
		from := 0
		if v := s.Visit(); v != nil {
			from, now = v.Serial, now.Add(v.AtMost)
		}
		do(session.Event{Kind: session.Moved, From: from})
	}
	if err := b.SaveSheet(sit, s, m.Now(), notebook.Uses(m, s)); err != nil {
		t.Fatal(err)
	}
}
