package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/notebook"
)

// The walk in the README is run from its own text: each command as it stands
// there, after each step that is done on the screens the sheet it makes, and
// every line that is printed is compared. "..." stands for any lines.
func TestTheWalkInTheREADME(t *testing.T) {
	text, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, walk, ok := strings.Cut(string(text), "## From a tin to a time\n")
	if !ok {
		t.Fatal("the walk is not where it was")
	}
	walk, _, _ = strings.Cut(walk, "\n## ")
	dir := t.TempDir()
	h := &host{in: strings.NewReader(""), self: "wetside", data: filepath.Join(dir, "data"), config: filepath.Join(dir, "config"), state: filepath.Join(dir, "state"), ctx: context.Background(),
		terminal: func() (in, out *os.File, ok bool) { return nil, nil, false }, getenv: func(string) string { return "" }}
	day := time.Date(2026, 11, 25, 11, 30, 0, 0, time.UTC)
	h.now = func() time.Time { return day }
	ran := 0
	for _, step := range regexp.MustCompile(`(?m)^\*\*`).Split(walk, -1) {
		switch {
		case strings.HasPrefix(step, "6. The trays"):
			walkedSheet(t, h, day)
		case strings.HasPrefix(step, "7. Judge it"):
			day = day.AddDate(0, 0, 1) // when it is dry
		}
		var want []string
		var line string
		compare := func() {
			if line == "" {
				return
			}
			var out, errs bytes.Buffer
			h.out, h.err = &out, &errs
			h.args = nil
			for _, w := range regexp.MustCompile(`"[^"]*"|\S+`).FindAllString(strings.TrimPrefix(line, "$ wetside "), -1) {
				h.args = append(h.args, strings.Trim(w, `"`))
			}
			if got := run(h); got != 0 || errs.Len() > 0 {
				t.Errorf("%s: status %d: %s", line, got, errs.String())
			}
			ran++
			pattern := regexp.QuoteMeta(strings.Join(want, "\n") + "\n")
			pattern = strings.ReplaceAll(pattern, regexp.QuoteMeta("    ...\n"), `(?:.*\n)*`)
			if !regexp.MustCompile(`\A` + pattern + `\z`).MatchString(out.String()) {
				t.Errorf("%s\nprints\n%s\nand not\n%s", line, out.String(), strings.Join(want, "\n"))
			}
			line, want = "", nil
		}
		for l := range strings.Lines(step) {
			l, code := strings.CutPrefix(strings.TrimRight(l, "\n"), "    ")
			switch {
			case !code:
				compare()
			case strings.HasPrefix(l, "$ wetside "):
				compare()
				line = l
			case line != "":
				want = append(want, l)
			}
		}
		compare()
	}
	if ran < 6 {
		t.Errorf("only %d commands were found", ran)
	}
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
