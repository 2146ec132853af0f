//go:build unix

package main

import (
	"database/sql"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"wetside/session"
	"wetside/session/sessiontest"
	"wetside/sound"
	"wetside/sound/soundtest"
)

// This file holds what the tests by ear share, and those of the loudspeaker.

// byProcess marks a test in which the program is a process of its own. With
// -short it is left out: the pass with the race detector, which is run so,
// would watch the test alone, and make its listener slower than life.
func byProcess(t *testing.T) {
	t.Helper()
	if testing.Short() {
		sessiontest.Leave(t, "-short leaves out what is heard of the built program", "run without -short")
	}
	soundtest.Need(t)
	t.Parallel()
}

// A strain is how a machine kept up while something was recorded. On one that
// stood still what is heard proves nothing.
type strain struct {
	from  time.Time
	psi   time.Duration
	mu    sync.Mutex
	worst time.Duration // by how much a sleep of 5 ms came late at worst
	naps  []nap         // those that were late by more than a hearer's patience
	stop  chan struct{}
	once  sync.Once
}

// A nap is a sleep that came late: it was to end at an instant.
type nap struct {
	at   time.Time
	late time.Duration
}

func newStrain(t testing.TB) *strain {
	s := &strain{from: time.Now(), psi: pressure(), stop: make(chan struct{})}
	go func() {
		for {
			before := time.Now()
			select {
			case <-s.stop:
				return
			case <-time.After(5 * time.Millisecond):
			}
			s.mu.Lock()
			n := nap{before.Add(5 * time.Millisecond), time.Since(before) - 5*time.Millisecond}
			if s.worst = max(s.worst, n.late); n.late > 20*time.Millisecond {
				s.naps = append(s.naps, n)
			}
			s.mu.Unlock()
		}
	}()
	t.Cleanup(s.end)
	return s
}

// late is by how much a sleep came late at worst.
func (s *strain) late() time.Duration {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.worst
}

// between is by how much a sleep came late at worst from one instant to another.
func (s *strain) between(from, to time.Time) (worst time.Duration) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, n := range s.naps {
		if n.at.Add(n.late).After(from) && n.at.Before(to) {
			worst = max(worst, n.late)
		}
	}
	return worst
}

func (s *strain) end() { s.once.Do(func() { close(s.stop) }) }

// pressure is for how long, so far, something on the machine waited for a
// processor (Linux, /proc/pressure/cpu); 0 where that is not told.
func pressure() time.Duration {
	b, err := os.ReadFile("/proc/pressure/cpu")
	if err != nil {
		return 0
	}
	var some time.Duration
	for f := range strings.FieldsSeq(string(b)) {
		if n, ok := strings.CutPrefix(f, "total="); ok && some == 0 {
			var us int64
			fmt.Sscan(n, &us)
			some = time.Duration(us) * time.Microsecond
		}
	}
	return some
}

// stood says in what way the machine provably stood still; empty if it did not.
// The program's own complaint counts, so does a hole in the recording of half the
// shortest motif, and a sleep of this test's that lasted longer than what lies ready in
// the stream.
func (s *strain) stood(program string, hole time.Duration) string {
	s.end()
	s.mu.Lock()
	defer s.mu.Unlock()
	var why []string
	if strings.Contains(program, "too busy") {
		why = append(why, strings.TrimSpace(program))
	}
	if hole > 17*time.Millisecond {
		why = append(why, fmt.Sprintf("the recorder lost %v", hole.Round(time.Millisecond)))
	}
	if s.worst > 150*time.Millisecond {
		why = append(why, fmt.Sprintf("a sleep of 5 ms lasted %v", s.worst.Round(time.Millisecond)))
	}
	if p := pressure() - s.psi; len(why) > 0 && p > 0 {
		why = append(why, fmt.Sprintf("for %.0f%% of the time something waited for a processor", 100*p.Seconds()/time.Since(s.from).Seconds()))
	}
	return strings.Join(why, "; ")
}

// A withheld test keeps errors back until it is known whether they count.
type withheld struct {
	testing.TB
	said []string
}

func (w *withheld) Errorf(format string, args ...any) {
	w.said = append(w.said, fmt.Sprintf(format, args...))
}
func (w *withheld) Error(args ...any) { w.said = append(w.said, fmt.Sprint(args...)) }

// byEar does a test that listens. It is done again, once, only if it failed
// and the machine provably stood still meanwhile: do returns in what way.
func byEar(t *testing.T, do func(t testing.TB) (stood string)) {
	t.Helper()
	for try := 1; ; try++ {
		w := &withheld{TB: t}
		stood := do(w)
		if len(w.said) == 0 {
			return
		}
		if stood == "" || try == 2 {
			for _, s := range w.said {
				t.Error(s)
			}
			if stood != "" {
				t.Logf("the machine stood still: %s", stood)
			}
			return
		}
		t.Logf("done once more, because the machine stood still: %s\nwhat failed:\n%s", stood, strings.Join(w.said, "\n"))
	}
}

// A listener hears the output as it plays. With noise, water runs beside it:
// white noise of that many decibels below full scale is added to what is
// recorded, before anything is listened to.
type listener struct {
	Heard chan soundtest.Heard // as it is recognised; closed at the end

	cmd   *exec.Cmd
	start time.Time // of the first sample, at the latest
	mu    sync.Mutex
	grown *sync.Cond
	pcm   []float32
	over  bool
	done  chan struct{}
}

// volume is how loud the program is set in these tests, which whoever set it
// knows.
const volume = 0.8

// listen begins to record. With live, it recognises as it goes.
func listen(t testing.TB, rig *soundtest.Rig, water float64, live bool) *listener {
	t.Helper()
	l := &listener{Heard: make(chan soundtest.Heard, 1024), done: make(chan struct{})}
	l.grown = sync.NewCond(&l.mu)
	l.cmd = exec.Command("parec", "--device="+soundtest.Sink+".monitor", "--format=s16le", "--rate=48000", "--channels=1", "--raw", "--latency-msec=20")
	l.cmd.Env = append(os.Environ(), "PULSE_SERVER="+rig.Server)
	out, err := l.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := l.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	first := make(chan struct{})
	go l.take(out, water, first)
	if live {
		go l.recognise()
	} else {
		close(l.Heard)
	}
	t.Cleanup(func() { l.end() })
	select {
	case <-first:
	case <-l.done:
		t.Fatal("parec ended without a sample")
	case <-time.After(30 * time.Second):
		t.Fatal("parec records nothing")
	}
	return l
}

func (l *listener) take(out io.Reader, water float64, first chan struct{}) {
	defer close(l.done)
	rng := rand.New(rand.NewPCG(1, 2))
	level := float32(0)
	if water != 0 {
		level = float32(math.Pow(10, water/20))
	}
	buf := make([]byte, 1<<14)
	odd := 0 // bytes of half a sample
	for {
		n, err := out.Read(buf[odd:])
		n += odd
		if n > 1 {
			x := soundtest.PCM(buf[:n&^1])
			for i := range x {
				x[i] += level * float32(rng.NormFloat64())
			}
			l.mu.Lock()
			was := len(l.pcm)
			l.pcm = append(l.pcm, x...)
			// Each sample arrives after it was taken; the one that came
			// soonest tells most.
			if begin := time.Now().Add(-ofSamples(len(l.pcm))); was == 0 || begin.Before(l.start) {
				l.start = begin
			}
			l.grown.Broadcast()
			l.mu.Unlock()
			if was == 0 {
				close(first)
			}
		}
		odd = n & 1
		if odd == 1 {
			buf[0] = buf[n-1]
		}
		if err != nil {
			l.mu.Lock()
			l.over = true
			l.grown.Broadcast()
			l.mu.Unlock()
			return
		}
	}
}

func ofSamples(n int) time.Duration { return time.Duration(n) * time.Second / sound.Rate }

// stride is after how many samples the listener listens anew.
const stride = sound.Rate / 2

// recognise listens to the last two seconds again and again.
func (l *listener) recognise() {
	defer close(l.Heard)
	const window, least = 2 * sound.Rate, sound.Rate / 12
	lengths := map[string]time.Duration{}
	for _, n := range sound.Names() {
		m, _ := sound.MotifFor(n.Cue)
		lengths[m.Name] = m.Len()
	}
	last := map[string]time.Duration{}
	for end := 0; ; {
		l.mu.Lock()
		for len(l.pcm) < end+least && !l.over {
			l.grown.Wait()
		}
		if len(l.pcm) < end+least {
			l.mu.Unlock()
			return
		}
		end = min(len(l.pcm), end+stride)
		from := max(0, end-window)
		x := slices.Clone(l.pcm[from:end])
		l.mu.Unlock()
		for _, h := range soundtest.Listen(x) {
			// What is cut off at an end of the window may be anything: a word
			// broken off there is as short as a note.
			const edge = 100 * time.Millisecond
			if from > 0 && h.At < edge || h.At+lengths[h.Motif]+edge > ofSamples(len(x)) {
				continue
			}
			if h.Gain < volume/2 || h.Gain > volume*2 {
				continue
			}
			h.At += ofSamples(from)
			if at, ok := last[h.Motif]; ok && h.At-at < lengths[h.Motif]*2/3 {
				continue // told already
			}
			last[h.Motif] = h.At
			l.Heard <- h
		}
	}
}

// since is how long ago the sound at that place in the recording was heard.
func (l *listener) since(at time.Duration) time.Duration {
	l.mu.Lock()
	defer l.mu.Unlock()
	return time.Since(l.start) - at
}

func (l *listener) end() {
	l.cmd.Process.Kill()
	<-l.done
	l.cmd.Wait()
}

// stop ends the recording. The hole is how much shorter it is than the time it
// took.
func (l *listener) stop() (samples []float32, start time.Time, hole time.Duration) {
	l.mu.Lock()
	hole = time.Since(l.start) - ofSamples(len(l.pcm))
	l.mu.Unlock()
	l.end()
	return l.pcm, l.start, hole
}

// A wanted is a cue that must have been heard.
type wanted struct {
	motif   string
	at      time.Time // in real time
	answers bool      // it could not be known long before: it answers an event
	maybe   bool      // an event took it back when it lay in the output already
	cue     session.Cue
}

// ready is how long before its instant a cue may lie in the output, so that no
// key takes it back any more; and how long after an event what it brings is
// still an answer to it.
const ready = 400 * time.Millisecond

// lived reads the events of a notebook with one session, applies them one after
// the other, and collects what the session had to say at each moment. That is
// by the machine and the database alone: nothing that was played is asked.
func lived(t testing.TB, h home, hands bool) (*session.Machine, func(time.Duration) time.Time, []wanted) {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(h.data(), "notebook.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	rows, err := db.Query("SELECT body FROM event ORDER BY seq")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	m := session.New()
	seen := map[string]bool{}
	var out []wanted
	var first time.Time
	pace := 1.0
	real := func(at time.Duration) time.Time { return first.Add(time.Duration(float64(at) / pace)) }
	last, key := time.Duration(0), time.Duration(0)
	collect := func(to session.Instant) {
		at := m.T(to)
		for _, c := range m.Cues(m.At(last), to.Add(time.Duration(pace*float64(ready)))) {
			if seen[c.Key] {
				continue
			}
			// What is due at the very instant of the event is only what leads to
			// it; the rest the event decides.
			maybe := c.T > at || c.T == at && c.Kind != session.CueMove && c.Kind != session.CueLightOff
			if !maybe {
				seen[c.Key] = true
			}
			if c.Kind == session.CueRock || c.Kind == session.CueAlive || hands && (c.Kind == session.CueCall || c.Kind == session.CueOver) {
				continue
			}
			if mo, ok := sound.MotifFor(c); ok {
				out = append(out, wanted{mo.Name, real(c.T), real(c.T).Sub(real(key)) < ready, maybe, c})
			}
		}
		last = m.T(to)
	}
	for rows.Next() {
		var body string
		if err := rows.Scan(&body); err != nil {
			t.Fatal(err)
		}
		var e session.Event
		if err := json.Unmarshal([]byte(body), &e); err != nil {
			t.Fatal(err)
		}
		if m.Begun() {
			collect(e.At)
		}
		m.Apply(e)
		if first.IsZero() {
			first = e.At.Wall
			_, pace = m.Rehearsal()
			pace = max(1, pace)
		}
		key = m.Now()
	}
	if !m.Begun() {
		t.Fatal("the notebook has no event")
	}
	collect(m.Last().Add(time.Millisecond))
	slices.SortStableFunc(out, func(a, b wanted) int { return a.at.Compare(b.at) })
	return m, real, out
}

// spread describes times: how many, the middle, the 99th percentile, the worst.
func spread(ds []time.Duration) string {
	if len(ds) == 0 {
		return "none"
	}
	abs := make([]time.Duration, len(ds))
	for i, d := range ds {
		abs[i] = d.Abs()
	}
	slices.Sort(abs)
	ms := func(d time.Duration) string { return fmt.Sprintf("%.1f ms", float64(d)/1e6) }
	return fmt.Sprintf("%d: p50 %s, p99 %s, worst %s", len(abs), ms(abs[len(abs)/2]), ms(abs[(len(abs)*99-1)/100]), ms(abs[len(abs)-1]))
}

// onsets reports how far from the instants of the database what was heard is.
func onsets(t testing.TB, ws []wanted, heard []soundtest.Heard, start time.Time) {
	t.Helper()
	nth := map[string]int{}
	var ahead, answers []time.Duration
	for _, w := range ws {
		if w.maybe {
			continue
		}
		k := 0
		for _, x := range heard {
			if x.Motif != w.motif {
				continue
			}
			if k == nth[w.motif] {
				// The wall clock is what the database has.
				d := start.Round(0).Add(x.At).Sub(w.at)
				if w.answers {
					answers = append(answers, d)
				} else {
					ahead = append(ahead, d)
				}
				break
			}
			k++
		}
		nth[w.motif]++
	}
	// The delay of the recorder is the same for all.
	var around []time.Duration
	if len(ahead) > 0 {
		mid := slices.Sorted(slices.Values(ahead))[len(ahead)/2]
		for _, d := range ahead {
			around = append(around, d-mid)
		}
	}
	t.Logf("heard against the database: foreseeable cues %s; the same around their median %s; answers to a move %s", spread(ahead), spread(around), spread(answers))
}

// asTheDatabase finds each cue of the database among what was heard, and
// nothing else but what was taken back too late. A motif waits until one like
// it is over. What comes of several sheets at once is for the bench to say, and
// is passed over; so are the ticks of keys.
func asTheDatabase(t testing.TB, ws []wanted, heard []soundtest.Heard, start time.Time) {
	t.Helper()
	heard = slices.DeleteFunc(slices.Clone(heard), func(x soundtest.Heard) bool {
		return x.Kind == session.CueMayGoIn || x.Motif == "word of change" || x.Kind == session.CueTaken || x.Kind == session.CueIdle
	})
	var sure, maybe []soundtest.Want
	for _, w := range ws {
		x := soundtest.Want{Cue: w.cue, At: w.at.Sub(start.Round(0))}
		if w.maybe {
			maybe = append(maybe, x)
		} else {
			sure = append(sure, x)
		}
	}
	m := soundtest.Match(sure, heard, time.Second)
	n := len(m.Extra)
	m.Extra = soundtest.Match(maybe, m.Extra, time.Second).Extra
	for _, text := range m.Complain() {
		t.Errorf("%s", text)
	}
	t.Logf("%d cues by the database, %d heard, of which %d were taken back too late to stop them", len(sure), len(heard), n-len(m.Extra))
}

// ownProcess writes a process of the user's own into the configuration folder.
func ownProcess(t testing.TB, h home, key string, steps ...string) {
	t.Helper()
	dir := filepath.Join(h.dir, ".config", "wetside", "profiles", "processes")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	text := fmt.Sprintf("process = %q\nname = %q\n\n[temperature]\nreference = \"20 C\"\nlowest = \"16 C\"\nhighest = \"26 C\"\ncoefficient = 2.0\n", key, "of the test's own")
	for _, s := range steps {
		stage, rest, _ := strings.Cut(s, ";")
		text += fmt.Sprintf("\n[[bath]]\nname = %q\nwhat = \"water\"\ndilution = \"water\"\nvolume = \"1 l\"\nsource = \"only water\"\n", stage+" tray")
		text += fmt.Sprintf("\n[[step]]\nstage = %q\nbath = %q\n", stage, stage+" tray")
		for line := range strings.SplitSeq(rest, ";") {
			text += strings.TrimSpace(line) + "\n"
		}
	}
	if err := os.WriteFile(filepath.Join(dir, key+".toml"), []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// await waits until a motif is heard, whatever else is.
func (l *listener) await(t testing.TB, motif string) time.Duration {
	t.Helper()
	end := time.After(time.Minute)
	var others []string
	for {
		select {
		case x, ok := <-l.Heard:
			if !ok {
				t.Fatalf("the recording ended before %q was heard; heard: %q", motif, others)
			}
			if x.Motif == motif {
				return x.At
			}
			others = append(others, x.Motif)
		case <-end:
			t.Fatalf("%q is not heard; heard: %q", motif, others)
		}
	}
}

// In the middle of a rehearsal the sound server is killed and started again,
// the output is put to sleep and woken, the server stops answering and goes on.
// The program does not fall, says so on the screen each time, is heard again by
// itself each time, and nothing is lost from the record.
func TestLoudspeakerDies(t *testing.T) {
	sessiontest.Need(t, "tmux")
	byProcess(t)
	rig := soundtest.NewRig(t)
	h := newHome(t, "PULSE_SERVER="+rig.Server)
	ownProcess(t, h, "short-baths", shortBaths...)
	p := newPane(t, h, 100, 24, "rehearse", "--pace", "5", "--process", "short-baths", "--talk", "few", "--sound", "pulse", "--volume", fmt.Sprint(volume))
	p.wait("space puts it into the develop")
	silent := func(what string, do func()) {
		t.Helper()
		from := time.Now()
		do()
		line := p.wait("no sound")
		for l := range strings.Lines(line) {
			if strings.Contains(l, "no sound") {
				line = strings.TrimSpace(l)
			}
		}
		t.Logf("%s: on the screen after %v: %q", what, time.Since(from).Round(10*time.Millisecond), line)
	}
	back := func(do func()) *listener {
		t.Helper()
		from := time.Now()
		do()
		until(t, "the screen says no more that there is no sound", func() bool { return !strings.Contains(p.text(), "no sound") })
		t.Logf("gone from the screen %v after the loudspeaker was back", time.Since(from).Round(10*time.Millisecond))
		return listen(t, rig, 0, true)
	}
	l := back(func() {})
	p.press("develop, then")
	l.await(t, "develop begins")
	l.await(t, "may be judged") // one that was foreseen

	silent("the server is killed", rig.Kill)
	p.press("stop, then") // work goes on meanwhile
	l = back(rig.Start)
	p.press("fix, then")
	l.await(t, "fix begins")
	l.await(t, "lift and drain")

	silent("the output is suspended", func() { rig.Suspend(true) })
	l.end()
	l = back(func() { rig.Suspend(false) })
	p.press("hypo-clear, then")
	l.await(t, "hypo-clear begins")
	l.await(t, "ten seconds left")

	silent("the server stands still", rig.Freeze)
	l.end()
	l = back(rig.Thaw)
	p.press("wash, then")
	l.await(t, "wash begins")
	l.await(t, "move now")
	p.press("1 done, in the notebook")
	l.await(t, "sheet done")
	p.keys("q")
	p.wait("paper covered?")
	p.keys("y")
	p.wait("status 0")
	rightRecord(t, h, 1)
}

// What wetside sounds lists it plays, each motif under its name: heard in that
// order, none missing, none extra.
func TestEverySoundIsHeardAsListed(t *testing.T) {
	byProcess(t)
	byEar(t, func(t testing.TB) string {
		rig := soundtest.NewRig(t)
		h := newHome(t, "PULSE_SERVER="+rig.Server)
		var want []string
		for line := range strings.Lines(h.wetside(t, "sounds", "--list", "--motifs")) {
			_, rest, _ := strings.Cut(strings.TrimSpace(line), "  ")
			name, _, _ := strings.Cut(rest, "  ")
			want = append(want, name)
		}
		if len(want) != len(sound.Names()) {
			t.Errorf("%d sounds are listed, there are %d", len(want), len(sound.Names()))
		}
		l := listen(t, rig, 0, false)
		s := newStrain(t)
		h.wetside(t, "sounds", "--motifs", "--sound", "pulse", "--volume", fmt.Sprint(volume))
		x, _, hole := l.stop()
		var got []string
		for _, x := range soundtest.Listen(x) {
			got = append(got, x.Motif)
		}
		if !slices.Equal(got, want) {
			t.Errorf("heard %q, listed are %q", got, want)
		}
		return s.stood("", hole)
	})
}

// What check says of the loudspeaker is what the monitor of its own stream proves,
// and no more.
func TestCheckSaysWhatTheMonitorProves(t *testing.T) {
	t.Parallel()
	rig := soundtest.NewRig(t)
	h := newHome(t, "PULSE_SERVER="+rig.Server)
	if out := h.wetside(t, "check", "--sound", "pulse"); !strings.Contains(out, "[x] sound: pulse: "+soundtest.Sink+"; samples arrive at this output, and whether it is heard only you can tell") {
		t.Errorf("check says:\n%s", out)
	}
}
