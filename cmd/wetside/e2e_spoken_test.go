//go:build unix

package main

import (
	"bytes"
	"database/sql"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"wetside/session"
	"wetside/session/say"
	"wetside/session/sessiontest"
	"wetside/sound"
	"wetside/sound/soundtest"
	"wetside/sound/voice"
)

// eveningBaths are those of three-trays-clear, a third as long.
var eveningBaths = []string{
	`develop; at_least = "45s"; at_most = "60s"; drain = "5s"; agitate = "continuous"`,
	`stop; target = "15s"; drain = "4s"; agitate = "continuous"`,
	`fix; target = "70s"; drain = "5s"; agitate = "first 20s, then 5s every 15s"`,
	`hypo-clear; target = "40s"; drain = "5s"; agitate = "continuous"`,
	`wash; target = "4m"; batch = true`,
}

// A restless person makes every move that is called, a little late, and asks and looks
// for keys all the time: each n seconds on average.
func restless(b *booth, sheets int, each time.Duration, seed uint64) {
	r := rand.New(rand.NewPCG(seed, 0))
	idle := []string{"\r", "\r", "\r", "\r", "?", "?", "9", "k", "m", "i", "w", "q", "b", "x", "\x1b[A", "\x1b[B"}
	time.Sleep(8 * time.Second)
	type press struct {
		at   time.Time
		keys string
	}
	due := []press{{time.Now(), "1"}, {time.Now().Add(300 * time.Millisecond), " "}}
	ask := time.Now().Add(3 * time.Second)
	asked := false // a question is open
	seen, in, done := 0, 1, 0
	for end := time.Now().Add(30 * time.Minute); done < sheets && time.Now().Before(end); time.Sleep(100 * time.Millisecond) {
		b.mu.Lock()
		fresh := b.said[seen:]
		seen = len(b.said)
		b.mu.Unlock()
		for _, s := range fresh {
			c := s.Cue
			n := c.Numbers().All()
			switch {
			case s.Cut:
				continue
			case c.Kind == session.CueMayGoIn && in < sheets:
				in++
				n = []int{in}
			case c.Kind == session.CueDone:
				done += len(n)
				continue
			case c.Kind != session.CueMove && c.Kind != session.CueCall:
				continue
			}
			at := time.Now().Add(time.Duration(500+r.IntN(2500)) * time.Millisecond)
			for _, k := range n {
				due = append(due, press{at, fmt.Sprint(k)}, press{at.Add(300 * time.Millisecond), " "})
				at = at.Add(2 * time.Second)
			}
		}
		slices.SortStableFunc(due, func(x, y press) int { return x.at.Compare(y.at) })
		if len(due) > 0 && asked && !due[0].at.After(time.Now()) {
			asked = false
			b.press("\x1b")
			time.Sleep(300 * time.Millisecond)
		}
		for len(due) > 0 && !due[0].at.After(time.Now()) {
			b.press(due[0].keys)
			due = due[1:]
		}
		if time.Now().After(ask) && (len(due) == 0 || due[0].at.After(time.Now().Add(time.Second))) {
			k := idle[r.IntN(len(idle))]
			if asked && (k == "x" || r.IntN(2) == 0) { // pressed twice, it would be spoiled
				k = "\x1b"
			}
			b.press(k)
			asked = k != "\x1b" && (asked || k == "q" || k == "b" || k == "x")
			ask = time.Now().Add(time.Duration(r.ExpFloat64()*float64(each)) + 200*time.Millisecond)
		}
	}
	time.Sleep(5 * time.Second)
	b.press("\x1b")
	time.Sleep(time.Second)
	b.press("q")
	time.Sleep(2 * time.Second)
	b.press("y")
}

// A whole evening of four sheets, with where, help and questions at any moment. Nothing
// that is said is cut off, but by what is more urgent or takes its place; what was cut
// and still holds is said again, whole; nothing is said twice, and nothing is still being
// said when it is so no more.
func TestAnEveningIsSaidWholeAndTrue(t *testing.T) {
	if testing.Short() {
		sessiontest.Leave(t, "-short leaves out a quarter of an hour of sound", "run without -short")
	}
	evenings := 1
	if os.Getenv("WETSIDE_SOAK") != "" {
		evenings = 20
	}
	for n := range evenings {
		t.Run(fmt.Sprint(n), func(t *testing.T) {
			h := newHome(t)
			ownProcess(t, h, "evening", eveningBaths...)
			b := inBooth(t, h, []string{"rehearse", "--blind", "--process", "evening", "--sheets", "4"}, 0, func(t *testing.T, b *booth) { restless(b, 4, 4*time.Second, uint64(n)) })
			said(t, h, b)
		})
	}
}

// said looks through what was said beside the notebook.
func said(t *testing.T, h home, b *booth) {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(h.data(), "notebook.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	events := stored(t, db)
	const block = 150 * time.Millisecond // and the keys' own way
	whole := map[string]bool{}
	cut := 0
	for i, s := range b.said {
		c, answer := s.Cue, s.Cue.Kind == session.CueSay
		wrong := func(why string) {
			end := s.at.Sub(b.start)
			t.Errorf("%.2f to %.2f s: %q (%s %s): %s", (end - s.Lasts).Seconds(), end.Seconds(), voice.Words(c, sound.Normal), c.Kind, c.Key, why)
		}
		m := after(events, s.at.Add(-block))
		if !s.Cut {
			if whole[c.Key] {
				wrong("said twice")
			}
			whole[c.Key] = true
			switch begun := s.at.Add(block - s.Lasts); {
			case !holds(m, s):
				wrong("it is so no more")
			case !rocksSo(after(events, begun), s, begun):
				wrong("the tray is to be treated otherwise by now")
			case answer && moves(m) != moves(after(events, begun)):
				wrong("a sheet was moved meanwhile")
			}
			continue
		}
		cut++
		// When a sheet may go in is reckoned anew at each move, and called by another key.
		again := slices.ContainsFunc(b.said[i+1:], func(o spoken) bool {
			return o.Cue.Key == c.Key || c.Kind == session.CueMayGoIn && o.Cue.Kind == c.Kind && o.Cue.Sheet == c.Sheet
		})
		by := session.Cue{Kind: s.By}
		switch {
		case answer && again:
			wrong("cut off, and begun again")
		case s.By == "":
			if c.Kind == session.CueMayGoIn {
				if !again {
					wrong("taken back, and never called again")
				}
			} else if answer || lasts(after(events, s.at.Add(-s.Lasts-block)), c) == lasts(after(events, s.at), c) {
				wrong("taken back")
			}
		case !by.Urgent() && !by.Fact() && !(answer && s.By == session.CueSay):
			wrong("cut off by: " + string(s.By))
		case c.Kind == session.CueMinutes, c.Kind == session.CueThirty, c.Kind == session.CueTen, c.Kind == session.CueConflict:
			// It would be so no more.
		case c.Kind == session.CueDrain && s.By == session.CueMove:
			// And so would this.
		case (c.Kind == session.CueRockOn || c.Kind == session.CueRockOff) && (s.By == session.CueRockOn || s.By == session.CueRockOff || s.By == session.CueDrain):
			// And so would this: the next word of agitation ends it.
		case !answer && !again && holds(after(events, s.at.Add(20*time.Second)), s) && agitates(b.free(i), events, s):
			wrong("cut off by: " + string(s.By) + ", and not said again")
		}
	}
	done := 0
	for _, s := range after(events, b.start.Add(24*time.Hour)).Sheets() {
		if s.Phase == session.Finished {
			done++
		}
	}
	t.Logf("%d announcements, %d of them cut off; %d sheets finished", len(b.said), cut, done)
	if len(b.said) < 200 || done < 2 {
		t.Error("that was no evening")
	}
	if t.Failed() {
		for _, e := range events {
			t.Logf("%7.2f %s %s %v", e.At.Wall.Sub(b.start).Seconds(), e.Kind, e.Sheet, e.Planned)
		}
		for _, s := range b.said {
			t.Logf("%7.2f %5.2f %t %s: %s", s.at.Sub(b.start).Seconds(), s.Lasts.Seconds(), s.Cut, s.By, voice.Words(s.Cue, sound.Normal))
		}
	}
}

// after is the session as it stood at an instant.
func after(events []session.Event, at time.Time) *session.Machine {
	m := session.New()
	for _, e := range events {
		if e.At.Wall.After(at) {
			break
		}
		m.Replay(e)
	}
	return m
}

// free is when there was room again for what was cut off: all that was said since has
// ended, and nothing else begins at once.
func (b *booth) free(i int) time.Time {
	for i++; i+1 < len(b.said); i++ {
		if next := b.said[i+1]; next.at.Add(-next.Lasts).Sub(b.said[i].at) > 2500*time.Millisecond {
			break
		}
	}
	return b.said[min(i, len(b.said)-1)].at
}

// rocksSo reports whether a tray was rocked, or not, as it was said when the words began.
func rocksSo(m *session.Machine, x spoken, at time.Time) bool {
	s, ok := m.View(session.Instant{Wall: at.Round(0)}).Sheet(x.Cue.Sheet)
	switch {
	case !ok || s.Phase != session.Wet:
		return true // of what ends the bath, see holds
	case x.Cue.Kind == session.CueRockOn:
		return s.Doing != session.Rest
	case x.Cue.Kind == session.CueRockOff:
		return s.Doing != session.Rock
	}
	return true
}

// agitates reports whether what was said of agitation is so at an instant, and goes on
// for as long as it takes to say it; of anything else it is true.
func agitates(at time.Time, events []session.Event, x spoken) bool {
	c := x.Cue
	want := map[session.CueKind]session.Action{session.CueRockOn: session.Rock, session.CueRockOff: session.Rest}[c.Kind]
	if want == "" {
		return true
	}
	for _, in := range []time.Duration{0, 2500 * time.Millisecond} {
		s, ok := after(events, at.Add(in)).View(session.Instant{Wall: at.Add(in).Round(0)}).Sheet(c.Sheet)
		if !ok || s.Doing != want {
			return false
		}
	}
	return true
}

// moves is how many there were.
func moves(m *session.Machine) (n int) {
	for _, s := range m.Sheets() {
		n += len(s.Visits) + len(s.Undone)
		if s.Phase == session.Finished || s.Phase == session.Ruined {
			n++
		}
	}
	return n
}

// lasts is how long the bath lasts that a cue's sheet is in.
func lasts(m *session.Machine, c session.Cue) time.Duration {
	s := m.Sheet(c.Sheet)
	if len(s.Visits) == 0 {
		return 0
	}
	return s.Visits[len(s.Visits)-1].AtMost
}

// holds reports whether what was said of the bath that a sheet is in is so in a session:
// it is in it, and a time that was told is right to within its words' patience.
func holds(m *session.Machine, x spoken) bool {
	c := x.Cue
	s := m.Sheet(c.Sheet)
	if c.Kind == session.CueMayGoIn {
		return s.Phase == session.Fresh || s.Phase == session.Exposed
	}
	var serial int
	if n, _ := fmt.Sscanf(c.Key, fmt.Sprintf("%d/%%d/", c.Num), &serial); n == 0 || c.Kind == session.CueWashAnew {
		return true // of no bath
	}
	if s.Phase != session.Wet {
		return false
	}
	v := s.Visits[len(s.Visits)-1]
	end := v.In + v.AtMost
	begun := m.T(session.Instant{Wall: x.at.Add(-x.Lasts).Round(0)})
	within := func(due, patience time.Duration) bool {
		return begun > due-time.Second && begun < due+patience+time.Second
	}
	switch {
	case !v.Open || v.Serial != serial:
		return false
	case c.Kind == session.CueMinutes:
		return within(end-c.Left, 8*time.Second)
	case c.Kind == session.CueThirty:
		return within(end-c.Left, 6*time.Second)
	case c.Kind == session.CueTen:
		return within(end-c.Left, 4*time.Second)
	case c.Kind == session.CueDrain:
		return within(end-c.For, 8*time.Second) // never too late
	case c.Kind == session.CueMove, c.Kind == session.CueCall, c.Kind == session.CueOver:
		return begun >= end-time.Second
	}
	return true
}

// quickBaths keep four sheets moving: one moves each ten seconds.
var quickBaths = []string{
	`develop; at_least = "45s"; at_most = "60s"; drain = "5s"; agitate = "continuous"`,
	`stop; target = "15s"; drain = "4s"; agitate = "continuous"`,
	`fix; target = "50s"; drain = "5s"; agitate = "first 20s, then 5s every 15s"`,
	`hypo-clear; target = "30s"; drain = "5s"; agitate = "continuous"`,
	`wash; target = "60s"; batch = true`,
}

// The same through a real sound server, by the recording of its monitor alone: with
// four sheets, and where, help and questions at any moment, the words of a move begin
// within 0.6 s of its instant in the notebook. The offline test is
// TestTheWordsOfAMoveAreNeverLate of package sound.
func TestTheWordsOfAMoveThroughAServer(t *testing.T) {
	if os.Getenv("WETSIDE_SOAK") == "" {
		sessiontest.Leave(t, "it takes six minutes (TestTheWordsOfAMoveAreNeverLate does the same without a server)", "set WETSIDE_SOAK=1")
	}
	rig := soundtest.NewRig(t)
	h := newHome(t, "PULSE_SERVER="+rig.Server)
	ownProcess(t, h, "quick", quickBaths...)
	l, strained := listen(t, rig, 0, false), newStrain(t)
	cmd := exec.CommandContext(t.Context(), binary(t), "rehearse", "--blind", "--process", "quick", "--sheets", "4", "--sound", "pulse", "--volume", fmt.Sprint(volume))
	cmd.Env = append(os.Environ(), h.env...)
	var told bytes.Buffer
	cmd.Stderr = &told
	keys, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { cmd.Process.Kill(); cmd.Wait() }()
	until(t, "there is a sheet", func() bool { return strings.Contains(h.wetside(t, "where", "--rehearsal", "--json"), `"sheet": 4`) })
	time.Sleep(6 * time.Second)
	db, err := sql.Open("sqlite", filepath.Join(h.data(), "notebook.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()

	// The hands: a sheet goes in each seventeen seconds, and each is moved two seconds
	// after its call, or later. Between that any key.
	r := rand.New(rand.NewPCG(7, 0))
	idle := []string{"\r", "\r", "\r", "?", "?", "9", "k", "m", "q", "b", "\x1b[A"}
	begun := time.Now()
	var pressed time.Time
	asked := false
	hand := func(n int) {
		if asked {
			io.WriteString(keys, "\x1b")
			time.Sleep(300 * time.Millisecond)
			asked = false
		}
		io.WriteString(keys, fmt.Sprint(n))
		time.Sleep(300 * time.Millisecond)
		io.WriteString(keys, " ")
		pressed = time.Now()
	}
	in, done := 0, 0
	for done < 4 && time.Since(begun) < 9*time.Minute {
		time.Sleep(200 * time.Millisecond)
		m := replayAll(t, db)
		v := m.View(session.Instant{Wall: time.Now().Round(0)})
		done = 0
		due := 0
		for _, s := range v.Sheets {
			switch {
			case s.Phase == session.Finished:
				done++
			case s.Phase == session.Wet && s.Left == 0 && s.Over > 2*time.Second && due == 0:
				due = s.Num
			}
		}
		switch {
		case time.Since(pressed) < 1500*time.Millisecond:
		case due > 0:
			hand(due)
		case in < 4 && time.Since(begun) > time.Duration(in)*17*time.Second:
			in++
			hand(in)
		case r.IntN(8) == 0:
			k := idle[r.IntN(len(idle))]
			if asked {
				k = "\x1b"
			}
			io.WriteString(keys, k)
			asked = k == "q" || k == "b"
		}
	}
	io.WriteString(keys, "\x1b")
	time.Sleep(time.Second)
	io.WriteString(keys, "q")
	time.Sleep(2 * time.Second)
	io.WriteString(keys, "y")
	if err := cmd.Wait(); err != nil {
		t.Errorf("it ended with %v:\n%s", err, &told)
	}
	x, start, hole := l.stop()
	stood := strained.stood(told.String(), hole)

	// The ear takes as long as the evening for all of it: it listens about each call.
	const before, behind = time.Second, 5 * time.Second
	about := func(due time.Duration) []soundtest.Word {
		from, to := max(0, due-before), due+behind
		y := x[min(len(x), int(from*sound.Rate/time.Second)):min(len(x), int(to*sound.Rate/time.Second))]
		ws := soundtest.Words(y, soundtest.Listen(y))
		for i := range ws {
			ws[i].At += from
		}
		return ws
	}
	_, _, ws := lived(t, h, false)
	// A press has a motif of its own, and words that it comes into are begun anew.
	var presses []time.Time
	for _, e := range stored(t, db) {
		if e.Kind == session.Moved {
			presses = append(presses, e.At.Wall)
		}
	}
	var late []time.Duration
	unclear, held := 0, 0
	searched := time.Now()
	for _, w := range ws {
		if w.cue.Kind != session.CueMove || w.maybe {
			continue
		}
		line := say.MoveNow.Of(say.Into(w.cue.Next)).To(w.cue.Numbers()).Clips(func(string) bool { return false })
		line = slices.DeleteFunc(line, func(c string) bool { return c == "," })
		due := w.at.Sub(start.Round(0))
		words := slices.DeleteFunc(about(due), func(w soundtest.Word) bool { return w.At < due-100*time.Millisecond })
		i := 0
		for i < len(words) && !(i+len(line) <= len(words) && slices.EqualFunc(words[i:i+len(line)], line, func(w soundtest.Word, c string) bool { return w.Text == c })) {
			i++
		}
		// Half of what lies ready in the stream: a machine that stood still for as long
		// may have let it run dry, and what sounded then begins again.
		still := strained.between(w.at.Add(-before), w.at.Add(behind))
		stood := still > 100*time.Millisecond || slices.ContainsFunc(presses, func(p time.Time) bool {
			return p.After(w.at.Add(-600*time.Millisecond)) && p.Before(w.at.Add(1200*time.Millisecond))
		})
		limit := 600*time.Millisecond + still
		wrong := func(what string) {
			what = fmt.Sprintf("%.2f s: %v %s; about it a sleep of 5 ms came %v late at worst (held up: %t)", due.Seconds(), line, what, still.Round(time.Millisecond), stood)
			if stood {
				t.Log(what)
			} else {
				t.Error(what)
			}
		}
		switch {
		case i == len(words) && slices.ContainsFunc(words, func(w soundtest.Word) bool { return slices.Contains(line, w.Text) && w.At-due < limit+2*time.Second }):
			// Part of it was made out, where it should be.
			unclear++
			t.Logf("%.2f s: %v is not understood: %v", due.Seconds(), line, words)
		case i == len(words):
			wrong(fmt.Sprintf("is not heard: %v", words))
			held++
		default:
			late = append(late, words[i].At-due)
			if after := words[i].At - due; after > limit {
				wrong(fmt.Sprintf("begins %v after it", after.Round(time.Millisecond)))
				held++
			}
		}
	}
	// Mixed offline, the ear takes none of these calls for another (see
	// TestEightSheetsAreEachCalledByNumber), and none is late: what a stream that ran dry
	// spoils are the few calls it happens to fall into.
	if few := (len(late) + unclear) / 10; unclear > few || held > few {
		t.Errorf("of %d calls %d were not understood and %d late or lost where the machine stood still, or a press sounded: more than a tenth", len(late)+unclear, unclear, held)
	}
	t.Logf("an evening of %v, listened to in %v", ofSamples(len(x)).Round(time.Second), time.Since(searched).Round(time.Second))
	slices.Sort(late)
	t.Logf("%d sheets finished; the words of %d calls to move begin after %s; %d were held up by the machine or a press, %d more were not understood; the rig's sleeps came up to %v late", done, len(late), spread(late), held, unclear, strained.late().Round(time.Millisecond))
	if stood != "" {
		t.Logf("the machine stood still: %s", stood)
	}
	if len(late) < 12 {
		t.Error("that was no evening")
	}
}
