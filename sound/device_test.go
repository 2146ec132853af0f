//go:build unix

package sound_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"wetside/session"
	"wetside/sound"
	"wetside/sound/soundtest"
)

// open starts an engine on the rig and waits until it is heard.
func open(t testing.TB, r *soundtest.Rig) *sound.Engine {
	t.Helper()
	e, err := sound.Open(context.Background(), sound.Config{
		Volume: 0.8, Rock: sound.On, Alive: true, Prefer: "pulse", Server: r.Server, Logf: t.Logf,
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = e.Close() })
	until(t, e, "is heard", func(s sound.Status) bool { return s.OK })
	return e
}

// until waits for a status.
func until(t testing.TB, e *sound.Engine, what string, ok func(sound.Status) bool) sound.Status {
	t.Helper()
	end := time.After(20 * time.Second)
	for {
		if s := e.Status(); ok(s) {
			return s
		}
		select {
		case <-e.Changes():
		case <-time.After(50 * time.Millisecond):
		case <-end:
			t.Fatalf("never: %s; the status is %+v", what, e.Status())
		}
	}
}

// recorded waits until the recording has gone on for d beyond now.
func recorded(t testing.TB, rec *soundtest.Recording, d time.Duration) {
	t.Helper()
	for want, end := rec.Len()+d, time.Now().Add(d+20*time.Second); rec.Len() < want; {
		if time.Now().After(end) {
			t.Fatal("the recording stands still")
		}
		time.Sleep(20 * time.Millisecond) // between two looks at a condition
	}
}

// A trial is a test on a real stream. On a machine that is so busy that the
// stream runs dry what is heard proves nothing: then it is tried again, three
// times at most, and says so.
func trial(t *testing.T, do func(t testing.TB) (e *sound.Engine)) {
	for try := 1; ; try++ {
		r := &recorder{TB: t}
		e := do(r)
		marred := e.Status().Dry > 0 || busy()
		for _, d := range e.Dropped() {
			marred = marred || strings.HasPrefix(d.Why, "too late") && d.Cue.Key != "minute"
		}
		if !r.failed {
			return
		}
		if !marred || try == 3 {
			for _, s := range r.said {
				t.Error(s)
			}
			return
		}
		t.Logf("trial %d: the machine was too busy to feed the stream (%d times dry); again", try, e.Status().Dry)
	}
}

// busy reports whether twice as many programs want to run as can.
func busy() bool {
	b, err := os.ReadFile("/proc/loadavg")
	var load float64
	if err == nil {
		_, err = fmt.Sscan(string(b), &load)
	}
	return err == nil && load > 2*float64(runtime.NumCPU())
}

// A recorder keeps errors back until it is known whether they count.
type recorder struct {
	testing.TB
	failed bool
	said   []string
}

func (r *recorder) Errorf(format string, args ...any) {
	r.failed = true
	r.said = append(r.said, fmt.Sprintf(format, args...))
}
func (r *recorder) Error(args ...any) { r.failed = true; r.said = append(r.said, fmt.Sprint(args...)) }

// all makes one cue for each motif, each so long after the one before.
func all(rounds int, first time.Time, apart time.Duration) (ps []session.Due) {
	names := sound.Names()
	for k := range rounds * len(names) {
		c := names[k*7%len(names)].Cue
		c.Key = fmt.Sprint(k)
		ps = append(ps, session.Due{Cue: c, At: first.Add(time.Duration(k) * apart)})
	}
	return ps
}

// same checks that what was heard is what was planned, none missing and none
// extra.
func same(t testing.TB, ps []session.Due, heard []soundtest.Heard, start time.Time) soundtest.Matched {
	t.Helper()
	var want []soundtest.Want
	for _, p := range ps {
		want = append(want, soundtest.Want{Cue: p.Cue, At: p.At.Sub(start)})
	}
	m := soundtest.Match(want, heard, time.Second)
	for _, s := range m.Complain() {
		t.Error(s)
	}
	return m
}

func TestEveryCueIsHeardWhenItIsDue(t *testing.T) {
	t.Parallel()
	trial(t, everyCueIsHeardWhenItIsDue)
}

func everyCueIsHeardWhenItIsDue(t testing.TB) *sound.Engine {
	r := soundtest.NewRig(t)
	e := open(t, r)
	rec := r.Record()
	ps := all(2, time.Now().Add(400*time.Millisecond), 120*time.Millisecond)[:42]
	e.Schedule(ps)
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	if err := e.Drain(ctx); err != nil {
		t.Fatal(err)
	}
	recorded(t, rec, 400*time.Millisecond)
	heard := soundtest.Listen(rec.Stop())
	t.Log(same(t, ps, heard, rec.Start()))
	begun := e.Begun()
	if len(begun) != len(ps) {
		t.Fatalf("%d begun, %d planned", len(begun), len(ps))
	}
	var own []time.Duration
	for i, p := range begun {
		if p.Key != ps[i].Cue.Key {
			t.Errorf("the %d. begun is %s, want %s", i, p.Key, ps[i].Cue.Key)
		}
		own = append(own, p.At.Sub(p.Due))
	}
	slices.Sort(own)
	t.Logf("by the engine's own record: %v to %v; latency %v", own[0], own[len(own)-1], e.Status().Latency)
	return e
}

// What answers a key is heard as soon as the output allows, however much
// silence lies ready.
func TestAnAnswerComesAtOnce(t *testing.T) {
	t.Parallel()
	trial(t, anAnswerComesAtOnce)
}

func anAnswerComesAtOnce(t testing.TB) *sound.Engine {
	r := soundtest.NewRig(t)
	e := open(t, r)
	rec := r.Record()
	var ps []session.Due
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	for i, n := range sound.Names()[:8] {
		p := session.Due{Cue: n.Cue, At: time.Now()}
		p.Cue.Key = fmt.Sprint(i)
		ps = append(ps, p)
		e.Schedule([]session.Due{p})
		if err := e.Drain(ctx); err != nil {
			t.Fatal(err)
		}
	}
	recorded(t, rec, 300*time.Millisecond)
	m := same(t, ps, soundtest.Listen(rec.Stop()), rec.Start())
	var own []time.Duration
	for _, p := range e.Begun() {
		own = append(own, p.At.Sub(p.Due).Round(time.Millisecond))
	}
	slices.Sort(own)
	t.Logf("%v; by the engine's own record %v; latency %v", m, own, e.Status().Latency)
	return e
}

func TestWhatIsReplacedIsNotHeard(t *testing.T) {
	t.Parallel()
	trial(t, whatIsReplacedIsNotHeard)
}

func whatIsReplacedIsNotHeard(t testing.TB) *sound.Engine {
	r := soundtest.NewRig(t)
	e := open(t, r)
	rec := r.Record()
	cue := func(k session.CueKind, key string) session.Cue { return session.Cue{Key: key, Kind: k, Sheet: "1"} }
	now := time.Now()
	kept := session.Due{Cue: cue(session.CueTen, "ten"), At: now.Add(300 * time.Millisecond)}
	gone := session.Due{Cue: cue(session.CueMove, "move"), At: now.Add(1200 * time.Millisecond)}
	e.Schedule([]session.Due{kept, gone})
	for len(e.Begun()) == 0 {
		time.Sleep(5 * time.Millisecond) // between two looks at a condition
	}
	// The sheet is moved early: the call has no sense any more. What has begun
	// is named again, and does not begin again.
	next := session.Due{Cue: session.Cue{Key: "begin", Kind: session.CueBegin, Stage: session.Stop, Sheet: "1"}, At: now.Add(900 * time.Millisecond)}
	e.Schedule([]session.Due{kept, next})
	e.Play(session.Cue{Kind: session.CueError})
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	if err := e.Drain(ctx); err != nil {
		t.Fatal(err)
	}
	recorded(t, rec, 800*time.Millisecond)
	var got []string
	for _, h := range soundtest.Listen(rec.Stop()) {
		got = append(got, h.Motif)
	}
	if want := []string{"ten seconds left", "error", "stop begins"}; !slices.Equal(got, want) {
		t.Errorf("heard %q, want %q", got, want)
	}
	return e
}

func TestTheServerIsKilledAndComesBack(t *testing.T) {
	t.Parallel()
	trial(t, theServerIsKilledAndComesBack)
}

func theServerIsKilledAndComesBack(t testing.TB) *sound.Engine {
	r := soundtest.NewRig(t)
	e := open(t, r)
	rec := r.Record()
	a := all(1, time.Now().Add(300*time.Millisecond), 60*time.Millisecond)[:10]
	e.Schedule(a)
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	if err := e.Drain(ctx); err != nil {
		t.Fatal(err)
	}
	recorded(t, rec, 300*time.Millisecond)
	killed := time.Now()
	r.Kill()
	first := rec.Stop()
	s := until(t, e, "the loss is told", func(s sound.Status) bool { return !s.OK })
	t.Logf("told after %v: %s", time.Since(killed).Round(time.Millisecond), s.Reason)
	same(t, a, soundtest.Listen(first), rec.Start())

	// While nothing can be heard: a minute is announced, and a sheet is called.
	now := time.Now()
	e.Schedule([]session.Due{
		{Cue: session.Cue{Key: "minute", Kind: session.CueMinutes, Sheet: "1"}, At: now.Add(10 * time.Millisecond)},
		{Cue: session.Cue{Key: "move", Kind: session.CueMove, Sheet: "1"}, At: now.Add(20 * time.Millisecond)},
	})
	for time.Since(now) < 700*time.Millisecond {
		time.Sleep(10 * time.Millisecond) // so long the server is away, on purpose
	}
	back := time.Now()
	r.Start()
	rec = r.Record()
	until(t, e, "it is heard again", func(s sound.Status) bool { return s.OK })
	t.Logf("heard again %v after the server's start", time.Since(back).Round(time.Millisecond))
	b := all(2, time.Now().Add(1200*time.Millisecond), 80*time.Millisecond)
	for i := range b {
		b[i].Cue.Key += "/again"
	}
	b = b[:24]
	e.Schedule(b)
	if err := e.Drain(ctx); err != nil {
		t.Fatal(err)
	}
	recorded(t, rec, 300*time.Millisecond)
	heard := soundtest.Listen(rec.Stop())
	// The call may have sounded before the new recorder ran.
	heard = slices.DeleteFunc(heard, func(h soundtest.Heard) bool {
		return h.Kind == session.CueMove && rec.Start().Add(h.At).Before(b[0].At.Add(-100*time.Millisecond))
	})
	t.Log(same(t, b, heard, rec.Start()))
	once := 0
	for _, p := range e.Begun() {
		if p.Key == "move" {
			once++
		}
		if p.Key == "minute" {
			t.Error("what was no longer true was announced")
		}
	}
	if once != 1 {
		t.Errorf("the call that fell due meanwhile was sounded %d times", once)
	}
	if len(e.Begun()) != len(a)+len(b)+1 {
		t.Errorf("%d begun, want %d", len(e.Begun()), len(a)+len(b)+1)
	}
	return e
}

func TestTheOutputIsSuspendedAndResumed(t *testing.T) {
	t.Parallel()
	trial(t, theOutputIsSuspendedAndResumed)
}

func theOutputIsSuspendedAndResumed(t testing.TB) *sound.Engine {
	r := soundtest.NewRig(t)
	e := open(t, r)
	asleep := time.Now()
	r.Suspend(true)
	s := until(t, e, "the suspension is told", func(s sound.Status) bool { return !s.OK })
	t.Logf("told after %v: %s", time.Since(asleep).Round(time.Millisecond), s.Reason)
	e.Schedule([]session.Due{{Cue: session.Cue{Key: "off", Kind: session.CueLightOff}, At: time.Now()}})
	r.Suspend(false)
	awake := time.Now()
	until(t, e, "it is heard again", func(s sound.Status) bool { return s.OK })
	t.Logf("heard again after %v", time.Since(awake).Round(time.Millisecond))
	rec := r.Record()
	ps := all(1, time.Now().Add(400*time.Millisecond), 80*time.Millisecond)[:20]
	e.Schedule(ps)
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	if err := e.Drain(ctx); err != nil {
		t.Fatal(err)
	}
	recorded(t, rec, 300*time.Millisecond)
	heard := soundtest.Listen(rec.Stop())
	heard = slices.DeleteFunc(heard, func(h soundtest.Heard) bool {
		return h.Kind == session.CueLightOff && rec.Start().Add(h.At).Before(ps[0].At.Add(-100*time.Millisecond))
	})
	t.Log(same(t, ps, heard, rec.Start()))
	if b := e.Begun(); len(b) == 0 || b[0].Key != "off" {
		t.Errorf("the end of an exposure fell due meanwhile and was not sounded: %+v", b)
	}
	return e
}

func TestTheServerStandsStill(t *testing.T) {
	t.Parallel()
	r := soundtest.NewRig(t)
	e := open(t, r)
	frozen := time.Now()
	r.Freeze()
	s := until(t, e, "the standstill is told", func(s sound.Status) bool { return !s.OK })
	t.Logf("told after %v: %s", time.Since(frozen).Round(time.Millisecond), s.Reason)
	// Nothing that the program calls waits for the server.
	e.Play(session.Cue{Key: "say", Kind: session.CueError})
	e.SetVolume(0.7)
	r.Thaw()
	until(t, e, "it is heard again", func(s sound.Status) bool { return s.OK })
	for len(e.Begun()) == 0 {
		time.Sleep(10 * time.Millisecond) // between two looks at a condition
	}
}

func TestTheOutputIsTakenAwayAndMuted(t *testing.T) {
	t.Parallel()
	r := soundtest.NewRig(t)
	e := open(t, r)
	r.Do("set-sink-mute", soundtest.Sink, "1")
	t.Log(until(t, e, "the mute is told", func(s sound.Status) bool { return !s.OK }).Reason)
	r.Do("set-sink-mute", soundtest.Sink, "0")
	until(t, e, "it is heard", func(s sound.Status) bool { return s.OK })
	// Turned down to nothing it is as mute, at the output and at the stream.
	stream, _, _ := strings.Cut(r.Do("list", "short", "sink-inputs"), "\t")
	for _, what := range [][]string{{"set-sink-volume", soundtest.Sink}, {"set-sink-input-volume", stream}} {
		r.Do(append(what, "0")...)
		t.Log(until(t, e, "volume 0 is told", func(s sound.Status) bool { return !s.OK && strings.Contains(s.Reason, "is 0") }).Reason)
		r.Do(append(what, "100%")...)
		until(t, e, "it is heard", func(s sound.Status) bool { return s.OK })
	}
	// Somebody moves the sound to another output: it goes on there.
	r.Do("load-module", "module-null-sink", "sink_name=spare")
	index, _, _ := strings.Cut(r.Do("list", "short", "sink-inputs"), "\t")
	r.Do("move-sink-input", index, "spare")
	until(t, e, "the other output is named", func(s sound.Status) bool { return s.Device == "pulse: spare" && s.OK && s.Moved != "" })
	e.Play(session.Cue{Key: "there", Kind: session.CueError})
	for len(e.Begun()) == 0 {
		time.Sleep(10 * time.Millisecond) // between two looks at a condition
	}
	// A headset is unplugged: its output goes.
	r.Do("unload-module", "module-null-sink")
	t.Log(until(t, e, "the loss is told", func(s sound.Status) bool { return !s.OK }).Reason)
	r.Do("load-module", "module-null-sink", "sink_name="+soundtest.Sink)
	s := until(t, e, "it is heard again", func(s sound.Status) bool { return s.OK })
	if s.Device != "pulse: "+soundtest.Sink {
		t.Errorf("it plays on %q", s.Device)
	}
}

func TestNoDeviceOfThatName(t *testing.T) {
	if _, err := sound.Open(context.Background(), sound.Config{Prefer: "gramophone"}); err == nil {
		t.Error("a device that does not exist was taken")
	}
}

// BenchmarkOnset plays two hundred cues through the rig and reports how far
// from their due instants the ear finds them, around the median, which holds
// the recorder's own delay.
//
//	go test ./sound -run - -bench Onset -benchtime 1x
func BenchmarkOnset(b *testing.B) {
	r := soundtest.NewRig(b)
	e := open(b, r)
	rec := r.Record()
	for b.Loop() {
		ps := all(7, time.Now().Add(400*time.Millisecond), 97*time.Millisecond)[:200]
		e.Schedule(ps)
		if err := e.Drain(context.Background()); err != nil {
			b.Fatal(err)
		}
		recorded(b, rec, 400*time.Millisecond)
		m := same(b, ps, soundtest.Listen(rec.Stop()), rec.Start())
		abs := m.Errors()
		b.ReportMetric(float64(len(abs)), "cues")
		b.ReportMetric(1e3*abs[(len(abs)*99-1)/100].Seconds(), "p99-ms")
		b.ReportMetric(1e3*abs[len(abs)-1].Seconds(), "worst-ms")
		b.ReportMetric(float64(e.Status().Dry), "dry")
		b.ReportMetric(0, "ns/op")
	}
}

// BenchmarkIdleStream measures what an open stream of silence costs, as a
// share of one core: processor time of the whole test process, by getrusage.
//
//	go test ./sound -run - -bench IdleStream -benchtime 1x
func BenchmarkIdleStream(b *testing.B) {
	r := soundtest.NewRig(b)
	e := open(b, r)
	// A session's cues lie ahead, as they always do.
	var ps []session.Due
	for i := range 200 {
		ps = append(ps, session.Due{Cue: session.Cue{Key: fmt.Sprint(i), Kind: session.CueRock}, At: time.Now().Add(time.Hour + time.Duration(i)*time.Second)})
	}
	e.Schedule(ps)
	const span = 10 * time.Second
	for b.Loop() {
		var from, to syscall.Rusage
		_ = syscall.Getrusage(syscall.RUSAGE_SELF, &from)
		began := time.Now()
		time.Sleep(span) // what is measured
		_ = syscall.Getrusage(syscall.RUSAGE_SELF, &to)
		used := time.Duration(to.Utime.Nano() + to.Stime.Nano() - from.Utime.Nano() - from.Stime.Nano())
		b.ReportMetric(100*used.Seconds()/time.Since(began).Seconds(), "%core")
		b.ReportMetric(0, "ns/op")
	}
}

// The monitor of the program's own stream proves that samples arrive, and that they
// do not where the stream is muted at the server.
func TestTheMonitorProvesThatSamplesArrive(t *testing.T) {
	t.Parallel()
	r := soundtest.NewRig(t)
	e := open(t, r)
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	if ok, err := e.Arrives(ctx); !ok || err != nil {
		t.Errorf("a stream that plays: %t, %v", ok, err)
	}
	inputs := strings.Fields(r.Do("list", "short", "sink-inputs"))
	if len(inputs) == 0 {
		t.Fatal("the server knows of no stream")
	}
	r.Do("set-sink-input-mute", inputs[0], "1")
	// Muted while it looks: what the status says of it comes a moment later.
	if ok, err := e.Arrives(ctx); ok {
		t.Errorf("a stream that is muted: %t, %v", ok, err)
	}
	none, err := sound.Open(ctx, sound.Config{Prefer: "none"})
	if err != nil {
		t.Fatal(err)
	}
	defer none.Close()
	if _, err := none.Arrives(ctx); !errors.Is(err, sound.ErrNoMonitor) {
		t.Errorf("without a sound server: %v", err)
	}
}
