package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"hash/crc32"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/alecthomas/kong"
	"github.com/charmbracelet/x/ansi"
	"github.com/rogpeppe/go-internal/testscript"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/exposure"
	"wetside/session/notebook"
	"wetside/session/sessiontest"
	"wetside/sound"
)

// scriptNow is the present in every script: the evening of the workshop's
// second day.
var scriptNow = time.Date(2026, 5, 3, 18, 0, 0, 0, time.FixedZone("", 2*3600))

// scriptHost is a machine with an empty home, no terminal and no loudspeaker.
func scriptHost(ts *testscript.TestScript, out, errs *bytes.Buffer, args []string) *host {
	dir := func(xdg string) string { return filepath.Join(ts.Getenv(xdg), "wetside") }
	return &host{in: strings.NewReader(""), out: out, err: errs, getenv: ts.Getenv, args: args, self: "wetside",
		data: dir("XDG_DATA_HOME"), config: dir("XDG_CONFIG_HOME"), state: dir("XDG_STATE_HOME"),
		ctx: context.Background(), now: func() time.Time { return scriptNow },
		terminal: func() (in, out *os.File, ok bool) { return nil, nil, false }}
}

// TestScripts runs testdata/script/*.txtar. Beside testscript's own commands
// there are
//
//	wetside ARGS   the command line, in this process; it must end with status 0
//	refused ARGS   the same with bad arguments: status 2, nothing on standard
//	               output, one line on standard error
//	failed ARGS    the same where something else goes wrong: status 1, one line
//	workshop       writes the notebook of a weekend: see theWorkshop
//	misjudged ID STOPS  puts a judgement into the notebook that no key would take
//
//	behind         a sheet in the developer, by a clock that stood a day ahead of
//	               this one, before the machine was started anew
//	fits N         no line of the last standard output is wider than N columns
//
// and exec wetside, which is the built program.
func TestScripts(t *testing.T) {
	bin := binary(t)
	command := func(want int) func(ts *testscript.TestScript, neg bool, args []string) {
		return func(ts *testscript.TestScript, neg bool, args []string) {
			if neg {
				ts.Fatalf("say refused or failed in place of !")
			}
			var out, errs bytes.Buffer
			h := scriptHost(ts, &out, &errs, args)
			got := run(h)
			ts.Stdout().Write(out.Bytes())
			ts.Stderr().Write(errs.Bytes())
			if got != want {
				ts.Fatalf("status %d, not %d: %s%s", got, want, out.String(), errs.String())
			}
			if want != 0 && strings.Count(errs.String(), "\n") != 1 {
				ts.Fatalf("not one line: %q", errs.String())
			}
			if want == 2 && out.Len() > 0 {
				ts.Fatalf("bad arguments, and yet there is output: %q", out.String())
			}
		}
	}
	testscript.Run(t, testscript.Params{
		Dir:           "testdata/script",
		UpdateScripts: sessiontest.Update(),
		Setup: func(e *testscript.Env) error {
			e.Setenv("HOME", filepath.Join(e.WorkDir, "home"))
			e.Setenv("XDG_DATA_HOME", filepath.Join(e.WorkDir, "home", "data"))
			e.Setenv("XDG_CONFIG_HOME", filepath.Join(e.WorkDir, "home", "config"))
			e.Setenv("XDG_STATE_HOME", filepath.Join(e.WorkDir, "home", "state"))
			e.Setenv("DBUS_SYSTEM_BUS_ADDRESS", "unix:path="+filepath.Join(e.WorkDir, "no-bus"))
			e.Setenv("ESC", "\x1b[42m\u009b41m\u202e")
			e.Setenv("PATH", filepath.Dir(bin)+string(filepath.ListSeparator)+e.Getenv("PATH"))
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"wetside": command(0),
			"refused": command(2),
			"behind": func(ts *testscript.TestScript, neg bool, args []string) {
				var none bytes.Buffer
				ts.Check(aDayAhead(scriptHost(ts, &none, &none, nil)))
			},
			"fits": func(ts *testscript.TestScript, neg bool, args []string) {
				most, err := strconv.Atoi(args[0])
				ts.Check(err)
				for l := range strings.Lines(ts.ReadFile("stdout")) {
					if n := ansi.StringWidth(l); n > most {
						ts.Fatalf("%d columns: %q", n, l)
					}
				}
			},
			"failed": command(1),
			"misjudged": func(ts *testscript.TestScript, neg bool, args []string) {
				b, _, err := notebook.Open(scriptHost(ts, nil, nil, nil).notebookConfig())
				ts.Check(err)
				defer b.Close()
				r, err := b.Sheet(args[0])
				ts.Check(err)
				stops, err := strconv.ParseFloat(args[1], 64)
				ts.Check(err)
				r.Judgements = append(r.Judgements, notebook.JudgementRecord{At: scriptNow, Stops: stops})
				rec, err := json.Marshal(r)
				ts.Check(err)
				line := fmt.Sprintf(`{"id":"misjudged","sitting":%q,"n":1000,"record":%s`, r.Sitting, rec)
				line += fmt.Sprintf(",\"crc\":\"%08x\"}\n", crc32.ChecksumIEEE([]byte(line)))
				dir := scriptHost(ts, nil, nil, nil).notebookFile() + ".journal"
				ts.Check(os.WriteFile(filepath.Join(dir, r.Sitting+".jsonl"), []byte(line), 0o600))
			},
			"workshop": func(ts *testscript.TestScript, neg bool, args []string) {
				var none bytes.Buffer
				h := scriptHost(ts, &none, &none, nil)
				if err := theWorkshop(h); err != nil {
					ts.Fatalf("%v", err)
				}
			},
		},
	})
}

// aDayAhead begins a session a day from now, in another boot, and lays a sheet
// into the developer; a minute later something is noted.
func aDayAhead(h *host) error {
	b, err := h.book()
	if err != nil {
		return err
	}
	defer b.Close()
	set, err := profiles.Load(nil)
	if err != nil {
		return err
	}
	plan, err := (&profiles.Planner{Set: set}).Plan(profiles.Form{Name: "Gate", Paper: "direct-positive-fb", Process: "three-trays"})
	if err != nil {
		return err
	}
	at := session.Instant{Wall: time.Now().Add(24 * time.Hour), Boot: time.Hour, BootID: "before"}
	sit, err := b.Begin(session.Event{Kind: session.Opened, At: at})
	if err != nil {
		return err
	}
	const id = "e5000001-0000-4000-8000-000000000001"
	for _, e := range []session.Event{{Kind: session.SheetAdded, At: at, Sheet: id, Spec: &plan.Spec}, {Kind: session.Moved, At: at, Sheet: id},
		{Kind: session.Noted, At: at.Add(time.Minute), Sheet: id, Note: "still dark"}} {
		if _, err := b.Append(sit.ID, e); err != nil {
			return err
		}
	}
	return nil
}

// theWorkshop is a weekend at a disused signal box. On Saturday Ash exposes two
// sheets in the tea caddy at EV 12.5, the first half a stop
// too short, and Birch one in the hat box that is torn in the fixer; in between
// a rehearsal. On Sunday Birch makes a paper negative.
func theWorkshop(h *host) error {
	n := 0
	if err := os.MkdirAll(h.data, 0o755); err != nil {
		return err
	}
	b, _, err := notebook.Open(notebook.Config{Path: h.notebookFile(), LogDir: filepath.Join(h.data, "logs"), Now: h.now,
		NewID: func() string { n++; return fmt.Sprintf("%08x-0000-4000-8000-000000000000", 0x5170000+n) }})
	if err != nil {
		return err
	}
	defer b.Close()
	set, err := profiles.Load(nil)
	if err != nil {
		return err
	}
	zone := scriptNow.Location()
	type sheet struct {
		id, name, maker, camera, paper, light string
		spoil                                 string
		judge                                 *float64
		seen                                  string
	}
	half, none := 0.5, 0.0
	for _, s := range []struct {
		opened    time.Time
		rehearsal bool
		sheets    []sheet
	}{
		{time.Date(2026, 5, 2, 10, 0, 0, 0, zone), false, []sheet{
			{"a1000001-0000-4000-8000-000000000001", "Levers", "Ash", "tea-caddy", "direct-positive-fb", "EV 12.5", "", &half, "only the window shows"},
			{"a1000002-0000-4000-8000-000000000002", "=SUM(A1)\x1b[42m", "Ash", "tea-caddy", "direct-positive-fb", "EV 12.5", "", &none, ""},
			{"a1000003-0000-4000-8000-000000000003", "Gate <b>", "Birch", "hat-box", "direct-positive-fb", "EV 14", "torn", nil, ""},
		}},
		{time.Date(2026, 5, 2, 15, 0, 0, 0, zone), true, []sheet{
			{"b2000001-0000-4000-8000-000000000001", "blank", "", "", "direct-positive-fb", "", "", nil, ""},
		}},
		{time.Date(2026, 5, 3, 9, 0, 0, 0, zone), false, []sheet{
			{"c3000001-0000-4000-8000-000000000001", "Bell wire", "Birch", "biscuit-tin", "paper-negative-rc", "4m", "", nil, ""},
		}},
	} {
		now := session.Instant{Wall: s.opened, Boot: time.Hour, BootID: s.opened.Format(time.RFC3339)}
		m := session.New()
		open := session.Event{Kind: session.Opened, At: now, Rehearsal: s.rehearsal, Pace: 1}
		sit, err := b.Begin(open)
		if err != nil {
			return err
		}
		if err := m.Apply(open); err != nil {
			return err
		}
		do := func(e session.Event) error {
			e.At = now
			if err := m.Apply(e); err != nil {
				return err
			}
			_, err := b.Append(sit.ID, e)
			return err
		}
		for _, x := range s.sheets {
			p := &profiles.Planner{Set: set, Rehearsal: s.rehearsal}
			plan, err := p.Plan(profiles.Form{Name: x.name, Maker: x.maker, Camera: x.camera, Paper: x.paper, Process: "three-trays", Light: x.light})
			if err != nil {
				return err
			}
			if err := do(session.Event{Kind: session.SheetAdded, Sheet: x.id, Spec: &plan.Spec}); err != nil {
				return err
			}
			if plan.Exposure > 0 {
				if err := do(session.Event{Kind: session.ExposureBegun, Sheet: x.id, Planned: plan.Exposure}); err != nil {
					return err
				}
				now = now.Add(plan.Exposure)
				if err := do(session.Event{Kind: session.ExposureEnded, Sheet: x.id}); err != nil {
					return err
				}
			}
			for from := 0; m.Sheet(x.id).Phase != session.Finished; {
				now = now.Add(2 * time.Second)
				if err := do(session.Event{Kind: session.Moved, Sheet: x.id, From: from}); err != nil {
					return err
				}
				v := m.Sheet(x.id).Visit()
				if v == nil {
					break
				}
				from = v.Serial
				now = now.Add(v.AtMost)
				if v.Stage == session.Fix && x.spoil != "" {
					if err := do(session.Event{Kind: session.Spoiled, Sheet: x.id, Note: x.spoil}); err != nil {
						return err
					}
					break
				}
			}
			if err := b.SaveSheet(sit, m.Sheet(x.id), m.Now(), notebook.Uses(m, m.Sheet(x.id))); err != nil {
				return err
			}
			if x.judge != nil {
				if err := b.Judge(x.id, now, *x.judge, x.seen); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

// Every command says by examples how it is used.
func TestHelpHasExamples(t *testing.T) {
	var cli CLI
	k, err := grammar(&cli)
	if err != nil {
		t.Fatal(err)
	}
	leaves := k.Model.Leaves(false)
	if len(leaves) < 20 {
		t.Fatalf("only %d commands", len(leaves))
	}
	for _, l := range leaves {
		var got string
		if p, ok := l.Target.Addr().Interface().(kong.HelpProvider); ok {
			got = p.Help()
		}
		name := "wetside " + strings.TrimPrefix(l.Path(), "wetside ")
		if l.Path() == "run" || strings.HasSuffix(l.Path(), " run") {
			name = "wetside"
		}
		if !strings.Contains(got, "Example") || !strings.Contains(got, "\n  wetside") {
			t.Errorf("%s: help without examples: %q", l.Path(), got)
		}
		if l.Help == "" {
			t.Errorf("%s (%s): not a word of help", l.Path(), name)
		}
		for _, f := range l.Flags {
			if f.Help == "" {
				t.Errorf("%s: flag --%s without help", l.Path(), f.Name)
			}
		}
	}
}

// A command that is called without a word that it needs asks for it, and says a command
// line that is good.
func TestWhatIsMissingIsAskedForWithAnExample(t *testing.T) {
	k, err := grammar(new(CLI))
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range k.Model.Leaves(false) {
		asks := missing[commandOf(l)]
		if len(l.Positional) == 0 || !l.Positional[0].Required {
			continue
		}
		_, example, ok := strings.Cut(asks, "? wetside ")
		if !ok {
			t.Errorf("%s: %q", commandOf(l), asks)
			continue
		}
		parser, err := grammar(new(CLI))
		if err != nil {
			t.Fatal(err)
		}
		if ctx, err := parser.Parse(negatives(shellWords(" " + example))); err != nil || ctx.Selected().Name != l.Name {
			t.Errorf("%s: %v", asks, err)
		}
	}
	for about := range missing {
		if !slices.ContainsFunc(k.Model.Leaves(false), func(l *kong.Node) bool { return strings.HasPrefix(commandOf(l), about) }) {
			t.Errorf("there is no %s", about)
		}
	}
}

// The examples in the help are good command lines: each parses, and those that
// need no notebook, no loudspeaker and no terminal run.
func TestHelpExamplesRun(t *testing.T) {
	var cli CLI
	k, err := grammar(&cli)
	if err != nil {
		t.Fatal(err)
	}
	pure := map[string]bool{"cues": true, "pinhole": true, "exposure": true, "mix": true, "washes": true, "version": true, "learn": true, "sheets": true,
		"plan": true, "where": true, "paths": true, "licences": true, "completion": true, "help": true, "reference": true, "complete": true}
	ran := 0
	for _, l := range k.Model.Leaves(false) {
		p, ok := l.Target.Addr().Interface().(kong.HelpProvider)
		if !ok {
			continue
		}
		for line := range strings.Lines(p.Help()) {
			line, ok := strings.CutPrefix(strings.TrimRight(line, "\n"), "  wetside")
			if !ok {
				continue
			}
			line, _, _ = strings.Cut(line, "   ") // what stands behind is the comment
			line, _, _ = strings.Cut(line, " > ")
			line, _, _ = strings.Cut(line, " | ")
			args := shellWords(line)
			parser, err := grammar(new(CLI))
			if err != nil {
				t.Fatal(err)
			}
			if _, err := parser.Parse(negatives(args)); err != nil {
				t.Errorf("example %q: %v", line, err)
				continue
			}
			if len(args) == 0 || !pure[args[0]] {
				continue
			}
			ran++
			var out, errs bytes.Buffer
			dir := t.TempDir()
			h := &host{in: strings.NewReader(""), out: &out, err: &errs, getenv: func(string) string { return "" }, args: args,
				data: dir, config: dir, state: dir, ctx: t.Context(), now: func() time.Time { return scriptNow },
				terminal: func() (in, out *os.File, ok bool) { return nil, nil, false }}
			if got := run(h); got != 0 {
				t.Errorf("example %q: status %d: %s", line, got, errs.String())
			} else if out.Len() == 0 {
				t.Errorf("example %q prints nothing", line)
			}
		}
	}
	if ran < 20 {
		t.Errorf("only %d examples were run", ran)
	}
}

// shellWords splits a line as a shell does, as far as quotes go.
func shellWords(line string) []string {
	var out []string
	for i, part := range strings.Split(line, `"`) {
		if i%2 == 1 {
			out = append(out, part)
		} else {
			out = append(out, strings.Fields(part)...)
		}
	}
	return out
}

func TestQuizKeepsTheScore(t *testing.T) {
	names := sound.Names()
	number := func(name string) int {
		for i, n := range names {
			if n.Name == name {
				return i
			}
		}
		t.Fatalf("there is no sound %q", name)
		return 0
	}
	move, lift := number("move now"), number("lift and drain")
	for _, c := range []struct {
		name, typed string
		played      []int // by number
		rounds      int
		last        string
		lines       []string
	}{
		{"all right", fmt.Sprintf("%d\n%d\n", move+1, lift+1), []int{move, lift}, 2, "2 of 2 right", []string{"right: move now"}},
		{"one wrong", fmt.Sprintf("%d\n%d\n", move+1, move+1), []int{move, lift}, 2, "listen once more to: lift and drain",
			[]string{"1 of 2 right", fmt.Sprintf("no: it was %d, lift and drain", lift+1)}},
		{"played again, then a word", fmt.Sprintf("r\nmove\n0\n%d\n", move+1), []int{move, move}, 1, "1 of 1 right", []string{"a number from 1 to"}},
		{"left early", fmt.Sprintf("%d\nq\n", move+1), []int{move, lift}, 9, "1 of 1 right", nil},
		{"end of input", "", []int{move}, 9, "0 of 0 right", nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			var lines []string
			var played []int
			next := []int{move, lift, move, lift}
			err := quiz{in: bufio.NewScanner(strings.NewReader(c.typed)), names: names, rounds: c.rounds,
				say:  func(f string, a ...any) { lines = append(lines, fmt.Sprintf(f, a...)) },
				play: func(n sound.Named) error { played = append(played, number(n.Name)); return nil },
				pick: func(int) int { i := next[0]; next = next[1:]; return i }}.run()
			if err != nil {
				t.Fatal(err)
			}
			if got := lines[len(lines)-1]; got != c.last {
				t.Errorf("ends with %q, not %q", got, c.last)
			}
			if !reflect.DeepEqual(played, c.played) {
				t.Errorf("played %v, not %v", played, c.played)
			}
			for _, want := range c.lines {
				if !strings.Contains(strings.Join(lines, "\n"), want) {
					t.Errorf("nowhere %q in %q", want, lines)
				}
			}
		})
	}
}

func TestNegativeNumbersAreNoFlags(t *testing.T) {
	got := negatives([]string{"judge", "3", "-1/2", "--place", "-33.9,151.2", "--limit=-1", "-o", "x", "--", "-1"})
	want := []string{"judge", "3", minus + "1/2", "--place", minus + "33.9,151.2", "--limit=-1", "-o", "x", "--", "-1"}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%q, not %q", got, want)
	}
}

// The page's plot shows the camera and paper with the most sheets, unless asked
// for others, each point where its sheet is.
func TestPlotOfTheMostJudged(t *testing.T) {
	sheets := []exposure.Judged{
		{ID: "one", Camera: "hat-box", Paper: "direct-positive-fb", Seconds: 60, Wanted: 1, Stops: 1},
		{ID: "two", Camera: "tea-caddy", Paper: "direct-positive-fb", Seconds: 240, Wanted: 0.5, Stops: 0.5},
		{ID: "three", Camera: "tea-caddy", Paper: "direct-positive-fb", Seconds: 480, Wanted: 0.75, Stops: 0.5},
	}
	p, err := plotOf(sheets, "", "")
	if err != nil || !strings.HasPrefix(p.Title, "tea-caddy on direct-positive-fb") {
		t.Fatalf("%+v, %v", p, err)
	}
	at := map[string]notebook.PlotPoint{}
	for _, q := range p.Points {
		at[q.Label] = q
	}
	if q := at["three"]; math.Abs(q.X.Seconds()-480) > 0.01 || math.Abs(q.Y-0.75) > 1e-9 {
		t.Errorf("sheet three is at %v", q)
	}
	for i, l := range p.Line {
		if b := p.Band[i]; !(b.Lo < l.Y && l.Y < b.Hi) || b.X != l.X {
			t.Fatalf("the line leaves its band at %v", l)
		}
	}
	if p, err = plotOf(sheets, "hat-box", ""); err != nil || !strings.HasPrefix(p.Title, "hat-box") {
		t.Errorf("asked for the hat box: %+v, %v", p, err)
	}
	if p, err = plotOf(nil, "", ""); p != nil || err != nil {
		t.Errorf("a plot of nothing: %+v, %v", p, err)
	}
}
