//go:build unix

package main

import (
	"database/sql"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"wetside/session"
	"wetside/session/sessiontest"
	"wetside/tui/ember"
)

// A pane is a terminal in tmux with the program in it.
type pane struct {
	t       testing.TB
	socket  string
	pressed time.Time
}

func newPane(t testing.TB, h home, cols, rows int, args ...string) *pane {
	t.Helper()
	return newPaneOf(t, h, cols, rows, []string{binary(t)}, args...)
}

func newPaneOf(t testing.TB, h home, cols, rows int, program []string, args ...string) *pane {
	t.Helper()
	sessiontest.Need(t, "tmux")
	p := &pane{t: t, socket: filepath.Join(h.dir, "tmux.sock")}
	line := []string{"env", "DISPLAY="} // whoever runs the test may have one
	line = append(line, h.env...)
	line = append(append(line, program...), args...)
	for i, w := range line {
		line[i] = "'" + strings.ReplaceAll(w, "'", `'\''`) + "'"
	}
	// What remains on the screen after the end can still be read.
	p.do("new-session", "-d", "-x", strconv.Itoa(cols), "-y", strconv.Itoa(rows), strings.Join(line, " ")+"; echo status $?; cat")
	leader, _, _ := strings.Cut(p.do("list-panes", "-F", "#{pane_pid}"), "\n")
	t.Cleanup(func() {
		exec.Command("tmux", "-S", p.socket, "kill-server").Run()
		goneOrKilled(leader)
	})
	return p
}

// goneOrKilled waits until nothing of a terminal's session lives, and at last
// ends what does: else it writes into a folder that the test takes away.
func goneOrKilled(leader string) {
	for n := range 100 {
		out, _ := exec.Command("pgrep", "-s", leader).Output()
		left := strings.Fields(string(out))
		if len(left) == 0 {
			return
		}
		if n >= 50 {
			exec.Command("kill", append([]string{"-KILL"}, left...)...).Run()
		}
		time.Sleep(100 * time.Millisecond)
	}
}

func (p *pane) do(args ...string) string {
	p.t.Helper()
	out, err := exec.Command("tmux", append([]string{"-S", p.socket}, args...)...).CombinedOutput()
	if err != nil {
		p.t.Fatalf("tmux %v: %v\n%s", args, err, out)
	}
	return string(out)
}

func (p *pane) keys(names ...string) { p.do(append([]string{"send-keys"}, names...)...) }
func (p *pane) text() string         { return p.do("capture-pane", "-p") }

// Write types keys. It implements [io.Writer].
func (p *pane) Write(keys []byte) (int, error) {
	return len(keys), exec.Command("tmux", "-S", p.socket, "send-keys", "-l", string(keys)).Run()
}

var status = regexp.MustCompile(`(?m)^status (\d+)$`)

// ended waits for the program's end, with what stands on the screen then: an
// error if that shows anything before the end, for a program that draws
// nothing, or a status that is not 0.
func (p *pane) ended(said *string) error {
	for {
		out, err := exec.Command("tmux", "-S", p.socket, "capture-pane", "-p").Output()
		if err != nil {
			return err
		}
		*said = string(out)
		if m := status.FindStringSubmatch(*said); m != nil {
			if m[1] != "0" {
				return fmt.Errorf("status %s:\n%s", m[1], *said)
			}
			return nil
		}
		if drawn := strings.TrimSpace(*said); drawn != "" && !strings.Contains(drawn, "too busy to sound") {
			return fmt.Errorf("by sound alone, and yet on the screen stands:\n%s", drawn)
		}
		time.Sleep(50 * time.Millisecond) // a poll, not a measure
	}
}

func (p *pane) wait(words ...string) string {
	p.t.Helper()
	var text string
	defer func() {
		if p.t.Failed() {
			p.t.Logf("what the screen says:\n%s", text)
		}
	}()
	until(p.t, "the screen says "+strings.Join(words, " and "), func() bool {
		text = p.text()
		for _, w := range words {
			if !strings.Contains(text, w) {
				return false
			}
		}
		return true
	})
	return text
}

// press sends space and waits for its effect. Two presses within a second are
// one, as for a person's elbow: so it waits until a second has passed since the
// last one.
func (p *pane) press(words ...string) {
	p.t.Helper()
	until(p.t, "a second has passed since the last press", func() bool { return time.Since(p.pressed) > 1100*time.Millisecond })
	p.keys("Space")
	p.pressed = time.Now()
	p.wait(words...)
}

// readFigures reads the large figures of a window: "2:59". They are the last block of
// rows with dots in it, and begin at the margin.
func readFigures(text string) (clock string, ok bool) {
	lines := strings.Split(text, "\n")
	dotted := func(y int) bool { return y >= 0 && y < len(lines) && strings.ContainsAny(lines[y], "█▀▄") }
	end := len(lines)
	for end > 0 && !dotted(end-1) {
		end--
	}
	begin := end
	for dotted(begin - 1) {
		begin--
	}
	at := func(y, x int) rune {
		if l := []rune(lines[begin+y]); x < len(l) {
			return l[x]
		}
		return ' '
	}
	for stroke := 1; stroke <= 8; stroke++ {
		for _, high := range []int{5, 7, 9} {
			size := ember.Size{Stroke: stroke, High: high}
			if size.Rows() != end-begin {
				continue
			}
			clock = ""
			for x := 3; ; {
				n := len(clock)
				for _, sign := range "0123456789:" {
					fits, width := true, 0
					for y, l := range ember.Figure(string(sign), size) {
						width = 0
						for _, dot := range l {
							fits = fits && at(y, x+width) == dot
							width++
						}
					}
					if fits {
						clock += string(sign)
						x += width + stroke
						break
					}
				}
				if len(clock) == n {
					break
				}
			}
			if strings.Contains(clock, ":") && len(clock) >= 4 {
				return clock, true
			}
		}
	}
	return "", false
}

// A frame is what the clock showed between two readings of the clock.
type frame struct {
	before, after time.Time
	stage         string
	left          time.Duration
}

func (p *pane) frame(stage string) (frame, bool) {
	f := frame{before: time.Now(), stage: stage}
	text := p.text()
	f.after = time.Now()
	clock, ok := readFigures(text)
	if !ok || !strings.Contains(text, stage) {
		return f, false
	}
	m, s, _ := strings.Cut(clock, ":")
	min, _ := strconv.Atoi(m)
	sec, _ := strconv.Atoi(s)
	f.left = time.Duration(min)*time.Minute + time.Duration(sec)*time.Second
	return f, true
}

// From an empty home, one sheet from the camera to the wash with the keys that
// the help line names; the frames on the way, the database and the CSV agree
// with each other to a tenth of a second, or to the second that a spreadsheet is told.
func TestOneSheetInTmux(t *testing.T) {
	t.Parallel()
	sessiontest.Need(t, "tmux")
	h := newHome(t)
	p := newPane(t, h, 80, 24, "--sound", "none")
	p.wait("expose and develop", "only the trays", "just a timer", "try it in the light")
	p.keys("1")
	p.wait("a add this sheet")
	p.keys("Right") // the next paper and back again: keys of the help line
	p.keys("Left")
	for range 6 {
		p.keys("Down")
	}
	p.wait("> light")
	p.keys("6s")
	p.wait("as you said")
	p.keys("Down", "Down") // to the line that adds it
	p.keys("Enter")
	p.wait("sheet 1 added")
	p.keys("Tab")
	p.wait("ready, 0:06")
	p.press("pinhole open")
	var frames []frame
	see := func(stage string) {
		if f, ok := p.frame(stage); ok {
			frames = append(frames, f)
		}
	}
	for range 5 {
		see("expose")
		see("pinhole open")
	}
	p.wait("cover the pinhole")
	p.press("no camera is out")
	p.keys("Tab")
	p.wait("space puts it into the develop")
	// One space for each bath.
	for _, stage := range []string{"develop", "stop", "fix", "wash"} {
		if stage == "wash" {
			p.press("is not fixed")
		}
		p.press(stage + ", then")
		for range 6 {
			see(stage)
		}
	}
	p.press("is not washed")
	p.press("1 done, in the notebook")
	p.keys("Tab")
	p.wait("the last sheets")
	p.keys("q")
	p.wait("Is all paper covered?")
	p.keys("y")
	p.wait("status 0")
	if len(frames) < 15 {
		t.Fatalf("only %d frames could be read", len(frames))
	}

	// The database: events as they happened.
	db, err := sql.Open("sqlite", filepath.Join(h.data(), "notebook.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	m := replayAll(t, db)
	s := m.Numbered(1)
	if s == nil || s.Phase != session.Finished {
		t.Fatalf("the database has %+v", s)
	}
	type stay struct {
		in, out time.Time
		most    time.Duration
	}
	stays := map[string]stay{"expose": {s.Light.BegunAt.Wall, s.Light.EndedAt.Wall, s.Light.Planned}}
	for _, v := range s.Visits {
		stays[string(v.Stage)] = stay{v.InAt.Wall, v.OutAt.Wall, v.AtMost}
	}
	// The CSV.
	logs, _ := filepath.Glob(filepath.Join(h.data(), "logs", "*.csv"))
	if len(logs) != 1 {
		t.Fatalf("logs: %v", logs)
	}
	f, err := os.Open(logs[0])
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	col := map[string]int{}
	for i, name := range rows[0] {
		col[name] = i
	}
	const tenth = 100 * time.Millisecond
	for _, r := range rows[1:] {
		x, ok := stays[r[col["stage"]]]
		if !ok {
			t.Errorf("the CSV has a stage %q, the database has not", r[col["stage"]])
			continue
		}
		begun, err := time.ParseInLocation("2006-01-02 15:04:05", r[col["begun"]], time.Local)
		if err != nil {
			t.Fatal(err)
		}
		actual, err := strconv.ParseFloat(r[col["actual_s"]], 64)
		if err != nil {
			t.Fatal(err)
		}
		if d := begun.Sub(x.in); d.Abs() > time.Second {
			t.Errorf("%s begins %v apart in CSV and database", r[col["stage"]], d)
		}
		if d := math.Abs(actual - x.out.Sub(x.in).Seconds()); d > tenth.Seconds() {
			t.Errorf("%s lasts %.3f s longer in one of CSV and database", r[col["stage"]], d)
		}
	}
	if len(rows)-1 != len(stays) {
		t.Errorf("%d rows in the CSV, %d stages in the database", len(rows)-1, len(stays))
	}
	// The frames: each shows a whole number of seconds that was right at some
	// moment between the two readings of the clock around it. The picture is
	// drawn ten times a second, which is the tenth allowed.
	for _, f := range frames {
		name := f.stage
		if name == "pinhole open" {
			name = "expose"
		}
		x := stays[name]
		least := x.most - f.after.Add(tenth).Sub(x.in)
		most := x.most - f.before.Add(-2*tenth).Sub(x.in)
		if f.left < least || f.left > most+time.Second {
			t.Errorf("a frame of %s at %s shows %v left; by the database it was between %v and %v", name, f.before.Format("15:04:05.000"), f.left, least, most)
		}
	}
	t.Logf("%d frames, %d stages", len(frames), len(stays))
}

// replayAll reads every event of the notebook and applies it.
func replayAll(t testing.TB, db *sql.DB) *session.Machine {
	t.Helper()
	m := session.New()
	for _, e := range stored(t, db) {
		m.Apply(e)
	}
	return m
}

// stored are the events of a notebook.
func stored(t testing.TB, db *sql.DB) (out []session.Event) {
	t.Helper()
	rows, err := db.Query("SELECT body FROM event ORDER BY seq")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var body string
		if err := rows.Scan(&body); err != nil {
			t.Fatal(err)
		}
		var e session.Event
		if err := json.Unmarshal([]byte(body), &e); err != nil {
			t.Fatal(err)
		}
		out = append(out, e)
	}
	return out
}

// BenchmarkStart is from the command to its first frame, in tmux, keeper and
// all: what a user waits.
func BenchmarkStart(b *testing.B) {
	for b.Loop() {
		b.StopTimer()
		h := newHome(b)
		sessiontest.Need(b, "tmux")
		binary(b)
		b.StartTimer()
		p := newPane(b, h, 120, 40, "--sound", "none")
		for !strings.Contains(p.text(), "bench  field") {
		}
		b.StopTimer()
		p.do("kill-server")
		b.StartTimer()
	}
}

// By sound alone in a real terminal: each key works by itself, nothing that is
// typed shows, and what ended the program is read once paper is covered.
func TestBlindInATerminal(t *testing.T) {
	t.Parallel()
	stage := func(h home) string {
		var all []struct {
			Stage string `json:"stage"`
		}
		if err := json.Unmarshal([]byte(h.wetside(t, "where", "--rehearsal", "--json")), &all); err != nil || len(all) == 0 {
			return ""
		}
		return all[0].Stage
	}
	for _, c := range []struct {
		name string
		end  func(p *pane, h home)
		want []string
	}{
		{"quit", func(p *pane, h home) {
			p.keys("q")
			p.keys("y")
		}, []string{"status 0"}},
		{"ended from outside", func(p *pane, h home) {
			pid := strings.TrimSpace(p.do("list-panes", "-F", "#{pane_pid}"))
			kids, err := exec.Command("pgrep", "-P", pid, "wetside").Output()
			if err != nil {
				t.Fatalf("the program cannot be found: %v", err)
			}
			if err := exec.Command("kill", strings.TrimSpace(string(kids))).Run(); err != nil {
				t.Fatal(err)
			}
			until(t, "the program itself is gone", func() bool {
				out, _ := exec.Command("pgrep", "-P", strings.TrimSpace(string(kids)), "wetside").Output()
				return len(out) == 0
			})
			if text := strings.TrimSpace(p.text()); text != "" {
				t.Errorf("before paper is covered stands on the screen:\n%s", text)
			}
			p.keys("n", "y")
		}, []string{"ended from outside", "status 143"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			h := newHome(t)
			p := newPane(t, h, 80, 24, "rehearse", "--blind", "--sound", "none")
			until(t, "there is a sheet", func() bool { return exec.Command("test", "-s", filepath.Join(h.data(), "notebook.db")).Run() == nil })
			typed := time.Time{}
			until(t, "space alone put the sheet into the developer", func() bool {
				if time.Since(typed) > 3*time.Second {
					p.keys("j", "Space") // j is no key here, and must not show either
					typed = time.Now()
				}
				return stage(h) == "develop"
			})
			if text := strings.TrimSpace(p.text()); text != "" {
				t.Errorf("on the screen stands:\n%s", text)
			}
			c.end(p, h)
			p.wait(c.want...)
		})
	}
}

// What is pasted is no key, with a picture and without one, marked by the
// terminal or not; and after a megabyte of it the next key is one.
func TestAPasteInATerminal(t *testing.T) {
	t.Parallel()
	big := strings.Repeat("x m \n", 1<<18)
	for _, c := range []struct {
		name string
		mark []string // of tmux, for what is pasted
		text string
		args []string
	}{
		{"a space", []string{"-p"}, " ", nil},
		{"a megabyte", []string{"-p"}, big, nil},
		{"a megabyte without marks", nil, big, nil},
		{"a space, by sound alone", []string{"-p"}, " ", []string{"--blind"}},
		{"a megabyte, by sound alone", []string{"-p"}, big, []string{"--blind"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			h := newHome(t)
			p := newPane(t, h, 80, 24, append([]string{"rehearse", "--sound", "none"}, c.args...)...)
			sheet := func() *session.Sheet {
				db, err := sql.Open("sqlite", filepath.Join(h.data(), "notebook.db"))
				if err != nil {
					t.Fatal(err)
				}
				defer db.Close()
				return replayAll(t, db).Numbered(1)
			}
			until(t, "there is a sheet", func() bool {
				return strings.Contains(h.wetside(t, "where", "--rehearsal", "--json"), `"sheet": 1`)
			})
			if c.args == nil {
				p.wait("space puts it into the develop")
			}
			file := filepath.Join(h.dir, "pasted")
			if err := os.WriteFile(file, []byte(c.text), 0o600); err != nil {
				t.Fatal(err)
			}
			p.do("load-buffer", file)
			p.do(append([]string{"paste-buffer"}, c.mark...)...)
			if c.args == nil {
				p.wait("a paste is no key")
			}
			typed := time.Time{}
			until(t, "a key is one", func() bool {
				if time.Since(typed) > 5*time.Second {
					p.keys("Space")
					typed = time.Now()
				}
				return len(sheet().Visits) > 0
			})
			if s := sheet(); len(s.Visits) != 1 || len(s.Marks) > 0 || s.Phase != session.Wet {
				t.Errorf("pasted, and space pressed: the sheet is %s in its %d. bath, with %d marks", s.Phase, len(s.Visits), len(s.Marks))
			}
		})
	}
}

// What is typed before the program has drawn anything is kept, in a terminal
// that would answer what its background is.
func TestKeysOfTheStartAreKept(t *testing.T) {
	t.Parallel()
	sessiontest.Need(t, "tmux")
	for _, blind := range []bool{false, true} {
		h := newHome(t)
		h.env = append(h.env, "TERM=xterm-256color", "TMUX=")
		gate := filepath.Join(h.dir, "gate")
		args, typed := []string{"--sound", "none"}, []string{"1", "a", "Tab", "?"}
		if blind {
			args = append(args, "--blind")
		}
		p := newPaneOf(t, h, 80, 24, []string{"sh", "-c", `while [ ! -e "$0" ]; do sleep 0.05; done; exec "$@"`, gate, binary(t)}, args...)
		p.keys(typed...) // the shell has not even begun the program
		if err := os.WriteFile(gate, nil, 0o600); err != nil {
			t.Fatal(err)
		}
		until(t, "a added a sheet", func() bool { return strings.Contains(h.wetside(t, "where", "--json"), `"sheet": 1`) })
		if !blind {
			p.wait("keys of the field")
			if text := p.text(); strings.Contains(text, "^I") {
				t.Errorf("what was typed is drawn:\n%s", text)
			}
		}
	}
}

// A rehearsal begins where its first deed is: with a light, in the field.
func TestARehearsalBeginsWithItsFirstDeed(t *testing.T) {
	for _, c := range []struct {
		args []string
		want string
	}{
		{nil, "space puts it into the developer"},
		{[]string{"--light", "4m"}, "space 1: open the pinhole"},
	} {
		t.Run(c.want, func(t *testing.T) {
			t.Parallel()
			newPane(t, newHome(t), 80, 24, append([]string{"rehearse", "--sound", "none"}, c.args...)...).wait(c.want)
		})
	}
}
