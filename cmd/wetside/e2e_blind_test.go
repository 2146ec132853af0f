//go:build unix

package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"wetside/session"
	"wetside/sound"
	"wetside/sound/soundtest"
)

// shortBaths is a process whose baths are long enough, at five times life, for
// a person to follow, and no longer.
var shortBaths = []string{
	`develop; at_least = "30s"; at_most = "50s"; drain = "5s"; agitate = "continuous"`,
	`stop; target = "15s"; drain = "4s"; agitate = "continuous"`,
	`fix; target = "25s"; drain = "5s"; agitate = "continuous"`,
	`hypo-clear; target = "20s"; drain = "5s"; agitate = "5s every 10s"`,
	`wash; target = "40s"`,
}

var shortStages = []string{"develop", "stop", "fix", "hypo-clear", "wash"}

// Whoever has never looked at the screen takes sheets through a process: a
// listener hears the loudspeaker as it plays and knows the table of motifs and
// the keys, nothing else; nothing the program prints or writes is read until it
// has ended. Then the notebook is right: every stage, in its order, each left
// within a second of the call to leave it; and the begin and end of each stage
// come out of the recording alone as the notebook has them.
func TestBlindByEarAlone(t *testing.T) {
	byProcess(t)
	for _, x := range []struct {
		name   string
		sheets int
		judge  bool    // leaves the developer when it may be judged, not at its end
		water  float64 // white noise, dB
	}{
		{"one sheet, water running", 1, true, -20},
		{"two sheets", 2, false, 0},
	} {
		t.Run(x.name, func(t *testing.T) {
			t.Parallel()
			byEar(t, func(t testing.TB) string { return blind(t, x.sheets, x.judge, x.water) })
		})
	}
}

func blind(t testing.TB, sheets int, judge bool, water float64) (stood string) {
	const pace = 5
	rig := soundtest.NewRig(t)
	h := newHome(t, "PULSE_SERVER="+rig.Server)
	ownProcess(t, h, "short-baths", shortBaths...)
	l := listen(t, rig, water, true)
	s := newStrain(t)

	// A real terminal, so wide that no line of what is said at the end breaks.
	p := newPane(t, h, 250, 24, "rehearse", "--pace", fmt.Sprint(pace), "--blind", "--process", "short-baths",
		"--sheets", fmt.Sprint(sheets), "--talk", "few", "--sound", "pulse", "--volume", fmt.Sprint(volume))
	var said string // read once all is over
	ended := make(chan error, 1)
	go func() { ended <- p.ended(&said) }()
	heard, sent, slow := hands(t, l, p, sheets, judge, ended)
	x, start, hole := l.stop()
	stood = s.stood(said, hole)
	if t, ok := t.(*withheld); ok && len(t.said) > 0 {
		t.Logf("%s\n%s", said, strings.Join(heard, "\n"))
		return stood
	}

	m, real, ws := lived(t, h, false)
	rightRecord(t, h, sheets)
	// Whoever presses is as slow as the machine lets the listener be: what it took
	// longer once than another time, beyond the listener's own stride, is no fault of
	// the program's, nor is the way of a key.
	var moves []time.Duration
	for _, sh := range m.Sheets() {
		for _, v := range sh.Visits {
			moves = append(moves, v.Out)
		}
	}
	within := time.Second + max(0, slow-ofSamples(stride)) + wander(sent, moves, real)
	var called []time.Duration
	for n := 1; n <= sheets; n++ {
		sh := m.Numbered(n)
		if sh == nil || sh.Phase != session.Finished {
			t.Errorf("sheet %d is not finished in the notebook", n)
			continue
		}
		for _, v := range sh.Visits {
			call := v.AtMost
			if judge && v.Stage == session.Develop {
				call = v.AtLeast
			}
			late := real(v.Out).Sub(real(v.In + call))
			called = append(called, late)
			if late < 0 || late > within {
				t.Errorf("sheet %d left the %s %v after it was called", n, v.Stage, late.Round(time.Millisecond))
			}
		}
	}
	// The log written from the recording alone.
	all := soundtest.Listen(x)
	agree(t, m, real, soundtest.Stages(all), start, 500*time.Millisecond+s.late())
	asTheDatabase(t, ws, all, start)
	onsets(t, ws, all, start)
	t.Logf("left after the call: %s; %v may be", spread(called), within.Round(time.Millisecond))
	if t, ok := t.(*withheld); ok && len(t.said) > 0 {
		t.Logf("%s", strings.Join(heard, "\n"))
	}
	return stood
}

// hands is the person: it answers what is heard with keys until every sheet is
// done and the program has ended. sent has the presses, and slow is by how much
// longer it took to hear one cue than another.
func hands(t testing.TB, l *listener, keys io.Writer, sheets int, judge bool, ended chan error) (log []string, sent []time.Time, slow time.Duration) {
	t.Helper()
	lengths := map[string]time.Duration{}
	for _, n := range sound.Names() {
		m, _ := sound.MotifFor(n.Cue)
		lengths[m.Name] = m.Len()
	}
	least, most := time.Hour, time.Duration(0)
	begun := time.Now()
	note := func(format string, args ...any) {
		log = append(log, fmt.Sprintf("%7.2f s ", time.Since(begun).Seconds())+fmt.Sprintf(format, args...))
	}
	var pressed time.Time
	press := func(k string) {
		// Two presses within a second count as one.
		if d := 1050*time.Millisecond - time.Since(pressed); d > 0 {
			<-time.After(d)
		}
		sent = append(sent, time.Now())
		io.WriteString(keys, k)
		pressed = time.Now()
		note("pressed %q", k)
	}
	moving := 0                    // moves pressed and not yet heard to have happened
	inDevelop := false             // by ear
	in, done, asked := 0, 0, false // sheets put in; done; leaving asked for
	patience := time.After(4 * time.Minute)
	first := time.After(time.Second) // a sheet is at hand from the start
	for {
		select {
		case <-first:
			press(" ")
			moving++
			in++
		case x, ok := <-l.Heard:
			if !ok {
				t.Fatalf("the recording has ended\n%s", strings.Join(log, "\n"))
			}
			took := l.since(x.At)
			least, most = min(least, took), max(most, took)
			note("heard %s at %.3f s (%.2f)", x.Motif, x.At.Seconds(), x.Gain)
			switch x.Kind {
			case session.CueBegin:
				moving = max(0, moving-1)
				if x.Stage == session.Develop {
					inDevelop = true
				} else if x.Stage == session.Stop {
					inDevelop = false
				}
			case session.CueMayGoIn:
				if in < sheets && !inDevelop {
					in++
					press(strconv.Itoa(in) + " ")
					moving++
				}
			case session.CueAtLeast:
				if judge {
					press(" ")
					moving++
				}
			case session.CueMove:
				press(" ")
				moving++
			case session.CueCall:
				// Not heard, or swallowed: nothing has begun since.
				if moving > 0 && time.Since(pressed) > 1500*time.Millisecond {
					press(" ")
				}
			case session.CueDone:
				moving = max(0, moving-1)
				if done++; done == sheets && !asked {
					asked = true
					io.WriteString(keys, "q")
					io.WriteString(keys, "y") // is all paper covered? it is
				}
			}
		case err := <-ended:
			if err != nil || done != sheets {
				t.Errorf("the program ended with %v; %d sheets were heard to be done", err, done)
			}
			return log, sent, max(0, most-least)
		case <-patience:
			t.Fatalf("%d of %d sheets are done after four minutes\n%s", done, sheets, strings.Join(log, "\n"))
		}
	}
}

// rightRecord checks the list of sheets and the log as the commands print them.
func rightRecord(t testing.TB, h home, sheets int) {
	t.Helper()
	var rows []struct {
		Num       int    `json:"num"`
		State     string `json:"state"`
		Rehearsal bool   `json:"rehearsal"`
	}
	if err := json.Unmarshal([]byte(h.wetside(t, "sheets", "--json", "--rehearsals")), &rows); err != nil {
		t.Fatal(err)
	}
	if len(rows) != sheets {
		t.Errorf("wetside sheets lists %d sheets, not %d", len(rows), sheets)
	}
	for _, r := range rows {
		if r.State != "finished" || !r.Rehearsal {
			t.Errorf("wetside sheets says of sheet %d: %q, rehearsal %v", r.Num, r.State, r.Rehearsal)
		}
	}
	lines, err := csv.NewReader(strings.NewReader(h.wetside(t, "sheets", "--csv", "--rehearsals"))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	num, stage := slices.Index(lines[0], "sheet"), slices.Index(lines[0], "stage")
	got := map[string][]string{}
	for _, l := range lines[1:] {
		got[l[num]] = append(got[l[num]], l[stage])
	}
	for n := 1; n <= sheets; n++ {
		if g := got[fmt.Sprint(n)]; !slices.Equal(g, shortStages) {
			t.Errorf("the log of sheet %d has the stages %q, not %q", n, g, shortStages)
		}
	}
}

// agree compares the stages rebuilt by ear with those of the notebook.
func agree(t testing.TB, m *session.Machine, real func(time.Duration) time.Time, spans []soundtest.Span, start time.Time, within time.Duration) {
	t.Helper()
	var off []time.Duration
	count := 0
	for _, sh := range m.Sheets() {
		count += len(sh.Visits)
		for i, v := range sh.Visits {
			var mine []soundtest.Span
			for _, s := range spans {
				if s.Sheet == sh.Num {
					mine = append(mine, s)
				}
			}
			if i >= len(mine) || mine[i].Stage != v.Stage || mine[i].End == 0 {
				t.Errorf("by ear sheet %d has the stages %v; in the notebook its %d. is %s", sh.Num, mine, i+1, v.Stage)
				break
			}
			for _, d := range []time.Duration{
				start.Round(0).Add(mine[i].Begin).Sub(real(v.In)),
				start.Round(0).Add(mine[i].End).Sub(real(v.Out)),
			} {
				off = append(off, d)
				if d.Abs() > within {
					t.Errorf("sheet %d, %s: begin or end by ear is %v from the notebook's", sh.Num, v.Stage, d.Round(time.Millisecond))
				}
			}
		}
	}
	if len(spans) != count {
		t.Errorf("%d stages by ear, %d in the notebook", len(spans), count)
	}
	t.Logf("begin and end of %d stages, by ear against the notebook: %s", count, spread(off))
}
