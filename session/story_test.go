package session_test

import (
	"bufio"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"wetside/session"
	"wetside/session/sessiontest"
)

// TestStories plays the stories in testdata. A story is a text of directives,
// each followed by ---- and what came of it:
//
//	process                 one step a line: stage, time or at-least..at-most, then
//	                        drain=10s rock=continuous|5s/30s first=10s ends=clock
//	                        factor=15 batch short=10m changes=4 bath=NAME
//	at TIME VERB SHEET ...  an event; the output is ok, or why it was refused
//	view TIME               what is true then
//	cues FROM TO [all]      what must be heard; ticks and pulses only with all
//
// Times are minutes:seconds of session time, or durations like 1h30m.
func TestStories(t *testing.T) {
	files, err := filepath.Glob("testdata/*.story")
	if err != nil || len(files) == 0 {
		t.Fatalf("no stories: %v", err)
	}
	for _, f := range files {
		t.Run(strings.TrimSuffix(filepath.Base(f), ".story"), func(t *testing.T) { playStory(t, f) })
	}
}

type teller struct {
	m       *session.Machine
	process session.Process
	paper   session.Paper
	taps    map[string]*session.Tap
}

var storyDay = session.Instant{Wall: time.Date(2026, 5, 9, 14, 0, 0, 0, time.UTC), Boot: time.Hour, BootID: "boot-1"}

// blanks are more lines between two directives than one.
var blanks = regexp.MustCompile(`\n{3,}`)

func playStory(t *testing.T, file string) {
	raw, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	st := &teller{m: session.New(), taps: map[string]*session.Tap{},
		paper: session.Paper{Key: "direct-positive-fb", Base: session.FB, Response: session.Lighter, AreaCM2: 108}}
	if err := st.m.Apply(session.Event{Kind: session.Opened, At: storyDay}); err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	sc := bufio.NewScanner(strings.NewReader(string(raw)))
	var block []string
	inOutput := false
	flush := func() {
		if len(block) == 0 {
			return
		}
		got := st.run(block)
		for _, b := range block {
			fmt.Fprintln(&out, b)
		}
		fmt.Fprintf(&out, "----\n%s\n", got)
		block, inOutput = nil, false
	}
	for sc.Scan() {
		l := sc.Text()
		switch {
		case strings.HasPrefix(l, "#") && len(block) == 0:
			fmt.Fprintln(&out, l)
		case strings.TrimSpace(l) == "" && (inOutput || len(block) == 0):
			flush()
			fmt.Fprintln(&out)
		case l == "----":
			inOutput = true
		case inOutput: // what came of it then
		default:
			block = append(block, l)
		}
	}
	flush()
	sessiontest.Golden(t, file, []byte(strings.TrimRight(blanks.ReplaceAllString(out.String(), "\n\n"), "\n")+"\n"))
}

func clock(s string) time.Duration {
	if m, sec, ok := strings.Cut(s, ":"); ok {
		a, err1 := strconv.Atoi(m)
		b, err2 := strconv.ParseFloat(sec, 64)
		if err1 == nil && err2 == nil {
			return time.Duration(a)*time.Minute + time.Duration(b*float64(time.Second))
		}
	}
	d, err := time.ParseDuration(s)
	if err != nil {
		panic("no time: " + s)
	}
	return d
}

func mmss(d time.Duration) string {
	neg := ""
	if d < 0 {
		neg, d = "-", -d
	}
	s := fmt.Sprintf("%s%d:%02d", neg, d/time.Minute, d%time.Minute/time.Second)
	if ms := d % time.Second / time.Millisecond; ms != 0 {
		s += fmt.Sprintf(".%03d", ms)
	}
	return s
}

func parseStep(l string) session.Step {
	f := strings.Fields(l)
	var st session.Step
	st.Stage = session.Stage(strings.ReplaceAll(f[0], "_", " "))
	st.Bath = f[0] + " tray"
	if lo, hi, ok := strings.Cut(f[1], ".."); ok {
		st.AtLeast, st.AtMost = clock(lo), clock(hi)
	} else {
		st.AtLeast, st.AtMost = clock(f[1]), clock(f[1])
	}
	for _, o := range f[2:] {
		k, v, _ := strings.Cut(o, "=")
		switch k {
		case "drain":
			st.Drain = clock(v)
		case "rock":
			if v == "continuous" {
				st.Agitation.Continuous = true
			} else {
				a, b, _ := strings.Cut(v, "/")
				st.Agitation.For, st.Agitation.Every = clock(a), clock(b)
			}
		case "first":
			st.Agitation.First = clock(v)
		case "ends":
			st.ByClock = v == "clock"
		case "factor":
			st.Factor, _ = strconv.ParseFloat(v, 64)
		case "batch":
			st.Batch = true
		case "short":
			st.ShortAfter = clock(v)
		case "changes":
			st.Changes, _ = strconv.Atoi(v)
		case "bath":
			st.Bath = v
		default:
			panic("no such word in a step: " + o)
		}
	}
	return st
}

func (st *teller) run(block []string) string {
	f := strings.Fields(block[0])
	switch f[0] {
	case "process":
		st.process = session.Process{Key: "story", Name: "story"}
		for _, l := range block[1:] {
			st.process.Steps = append(st.process.Steps, parseStep(l))
		}
		for _, s := range st.process.Steps {
			if err := s.Check(); err != nil {
				return err.Error()
			}
		}
		return "ok"
	case "paper":
		for _, o := range f[1:] {
			k, v, _ := strings.Cut(o, "=")
			switch k {
			case "safe":
				st.paper.Safe = clock(v)
			case "safe-exposed":
				st.paper.SafeExp = clock(v)
			}
		}
		return "ok"
	case "at":
		return st.event(f[1], f[2], f[3:])
	case "auto":
		now := storyDay.Add(clock(f[1]))
		var b strings.Builder
		for e, ok := st.m.AutoMove(now, nil); ok; e, ok = st.m.AutoMove(now, nil) {
			fmt.Fprintf(&b, "%s %s %s\n", mmss(st.m.T(e.At)), e.Kind, e.Sheet)
			if err := st.m.Apply(e); err != nil {
				return b.String() + err.Error()
			}
		}
		return strings.TrimRight(b.String(), "\n")
	case "view":
		return showView(st.m.View(storyDay.Add(clock(f[1]))))
	case "cues":
		all := len(f) > 3 && f[3] == "all"
		return showCues(st.m.Cues(storyDay.Add(clock(f[1])), storyDay.Add(clock(f[2]))), all)
	}
	panic("no such directive: " + block[0])
}

func (st *teller) event(at, verb string, args []string) string {
	now := storyDay.Add(clock(at))
	e := session.Event{At: now}
	if len(args) > 0 {
		e.Sheet = args[0]
	}
	opt := map[string]string{}
	for _, a := range args {
		if k, v, ok := strings.Cut(a, "="); ok {
			opt[k] = v
		}
	}
	visit := func() int {
		if s := st.m.Sheet(e.Sheet); s != nil && s.Visit() != nil {
			return s.Visit().Serial
		}
		return 0
	}
	switch verb {
	case "add":
		e.Kind = session.SheetAdded
		e.Spec = &session.SheetSpec{Name: e.Sheet, Paper: st.paper, Process: st.process}
	case "press": // the key: a tap that may or may not count, then a move
		if st.taps[e.Sheet] == nil {
			st.taps[e.Sheet] = &session.Tap{}
		}
		if !st.taps[e.Sheet].Press(now) {
			return "the same press still"
		}
		e.Kind, e.From = session.Moved, visit()
	case "move": // by two programs, say: names the visit it saw
		e.Kind = session.Moved
		e.From, _ = strconv.Atoi(opt["from"])
	case "hold":
		e.Kind, e.From = session.Held, visit()
	case "undo":
		e.Kind = session.Undone
		e.From, _ = strconv.Atoi(opt["from"])
	case "seen":
		e.Kind = session.ImageSeen
	case "expose":
		e.Kind, e.Planned = session.ExposureBegun, clock(opt["planned"])
	case "cover":
		e.Kind = session.PinholeCovered
	case "uncover":
		e.Kind = session.PinholeUncovered
	case "light":
		e.Kind, e.Planned = session.LightChanged, clock(opt["planned"])
		e.Stops, _ = strconv.ParseFloat(opt["stops"], 64)
	case "end":
		e.Kind = session.ExposureEnded
	case "out":
		e.Kind = session.SheetOut
	case "away":
		e.Kind = session.SheetAway
	case "spoil":
		e.Kind, e.Note = session.Spoiled, opt["why"]
	case "lamp-off":
		e.Kind = session.SafelightOff
	case "lamp-on":
		e.Kind = session.SafelightOn
	case "water":
		e.Kind, e.Bath = session.WaterChanged, args[0]
	default:
		panic("no such verb: " + verb)
	}
	if err := st.m.Apply(e); err != nil {
		return err.Error()
	}
	return "ok"
}

func showView(v session.View) string {
	var b strings.Builder
	for _, s := range v.Sheets {
		fmt.Fprintf(&b, "%d %s: %s", s.Num, s.ID, s.Phase)
		if s.Stage != "" {
			fmt.Fprintf(&b, ", %s, %s so far", s.Stage, mmss(s.Elapsed))
			if s.Over > 0 {
				fmt.Fprintf(&b, ", over by %s", mmss(s.Over))
			} else {
				fmt.Fprintf(&b, ", %s left", mmss(s.Left))
			}
		}
		if s.Stage == session.Exposure {
			fmt.Fprintf(&b, ", share %.3f", s.Share)
		}
		if s.Doing != "" {
			fmt.Fprintf(&b, "; %s", s.Doing)
		}
		if s.NextIs != "" {
			fmt.Fprintf(&b, "; next %s", s.NextIs)
		}
		if s.SafeAllowed > 0 || s.SafeUsed > 0 {
			fmt.Fprintf(&b, "; safelight %s of %s", mmss(s.SafeUsed), mmss(s.SafeAllowed))
		}
		fmt.Fprintln(&b)
	}
	if len(v.Need) > 0 {
		fmt.Fprintf(&b, "need: %s\n", strings.Join(v.Need, " "))
	}
	return strings.TrimRight(b.String(), "\n")
}

func showCues(cs []session.Cue, all bool) string {
	var b strings.Builder
	for _, c := range cs {
		if !all && (c.Kind == session.CueRock || c.Kind == session.CueAlive) {
			continue
		}
		fmt.Fprintf(&b, "%s ", mmss(c.T))
		if c.Named {
			fmt.Fprintf(&b, "sheet %d: ", c.Num)
		}
		fmt.Fprintf(&b, "%s", c.Kind)
		if c.Stage != "" {
			fmt.Fprintf(&b, " (%s)", c.Stage)
		}
		if c.Next != "" {
			fmt.Fprintf(&b, " to %s", c.Next)
		}
		for _, x := range []struct {
			word string
			d    time.Duration
		}{{"for", c.For}, {"left", c.Left}, {"over", c.Over}} {
			if x.d != 0 {
				fmt.Fprintf(&b, " %s %s", x.word, mmss(x.d))
			}
		}
		fmt.Fprintln(&b)
	}
	return strings.TrimRight(b.String(), "\n")
}
