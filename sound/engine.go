// Package sound makes the program heard: it turns the cues of a session into
// motifs and words and sends them, each at its due instant, to a loudspeaker.
//
//	cues with their due instants -> Engine.Schedule
//	  -> Mixer: motif table, words, ducking, limiter; no clock, no I/O
//	  -> device: one open stream, fed silence when there is nothing to say
//
// Samples are mono float32 at 48 kHz. A device tells when the sample it is
// about to take will be heard; the mixer puts each cue at the sample that is
// heard when the cue is due. No screen tick stands between.
//
// A device that is lost (server gone, headset unplugged, output suspended,
// stream standing still) is noticed within two seconds, told through Status
// and Changes, and opened again for as long as the engine lives. What was due
// meanwhile and is urgent sounds when a device is back; the rest is dropped.
package sound

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"
	"time"

	"wetside/session"
)

// Rock is how often the rhythm of rocking ticks.
type Rock int

// The rhythm of rocking: not at all, each second time, each time.
const (
	Off Rock = iota
	Slow
	On
)

// A Speaker makes the words of a cue.
type Speaker interface {
	// Phrase returns the whole announcement: mono, 48 kHz, full scale 1; nil
	// if there is nothing to say. It may take its time: it is called ahead,
	// and from one goroutine.
	Phrase(c session.Cue, talk Talk) []float32
}

// A Played is a cue that has begun.
type Played struct {
	Key    string
	Cue    session.Cue
	Motif  string    // name; empty if it is only spoken
	At     time.Time // when its first sample is heard, by the device's clock
	Due    time.Time
	Merged bool // a soft tick that fell into one like it, and was not sounded again
	due    time.Duration
}

// A Reach is what of a cue a device brings to the ear.
type Reach int

const (
	Everything Reach = iota // motifs and words, at the volume
	Tones                   // one tone for each motif, no words, at one volume
	Silence                 // nothing: it is switched off
)

// A Status says how the program is heard.
type Status struct {
	Reach   Reach  // what is heard while it is OK
	Device  string // "pulse: <sink>", "oto", "aplay", "beep", "none"
	OK      bool   // what is played is, as far as can be known, heard
	Starts  bool   // no device has answered yet, nor refused
	Reason  string // why not, and what to do
	Moved   string // it is OK, and not where it was at the start, or not where others are: what to do
	Volume  float64
	Latency time.Duration // from mixing a sample to hearing it
	Dry     int           // how often the open stream ran dry because the machine was busy
	Late    int           // how many cues came too late to be sounded

	input uint32 // of the sound server: the stream's number there
}

// A Speech is an announcement that has ended.
type Speech struct {
	Cue   session.Cue
	Lasts time.Duration
	Cut   bool            // it was cut off,
	By    session.CueKind // by such a cue; empty: what it says holds no more
}

// A Taker takes each block of samples, and the announcements that ended in it.
type Taker func(samples []float32, ended []Speech)

// Config is what Open needs. The zero value speaks few words, at volume 0.
type Config struct {
	Talk   Talk
	Rock   Rock
	Alive  bool
	Volume float64 // of the program's own stream, 0..1
	Prefer string  // "", "pulse", "oto", "aplay", "beep", "none"
	Voice  Speaker // may be nil
	Logf   func(format string, args ...any)

	Pace   float64  // how much faster than real time a rehearsal runs; 0: 1
	Server string   // of Pulse; empty: as the environment says
	Env    []string // for the player it starts; nil: the program's own
	Into   Taker    // in a loudspeaker's place; nil: a loudspeaker
	Beeper string   // the machine's own speaker, on Linux; empty: where the kernel has it
}

// fill is what a device calls for samples: buf is written, zero is when sample
// 0 of this stream is heard, at is the index of buf[0].
type fill func(buf []float32, at int64, zero time.Time)

// A source is what a device plays.
type source struct {
	fill fill
	// soon wakes when something is to be heard sooner than what is mixed.
	soon <-chan struct{}
	// quiet reports whether all that is mixed from a sample on is silence, so
	// that it may be thrown away and mixed again.
	quiet func(from int64) bool
	// missed is told of samples that were never asked for, because their time
	// was over: from at up to end.
	missed func(at, end int64)
}

// A device is a way to be heard.
type device interface {
	name() string
	// run opens the device and feeds it until ctx ends (nil) or it is lost (an
	// error that says what happened). It calls up each time the state changes.
	run(ctx context.Context, src source, up func(Status)) error
}

// An Engine is the sound of the program.
type Engine struct {
	cfg   Config
	epoch time.Time

	mu      sync.Mutex
	mixer   *Mixer
	begun   map[string]time.Duration // by key: when it was due
	record  []Played                 // the last of what has begun
	dropped []Dropped                // the last of what was not sounded
	sounded int                      // how many have begun
	late    int                      // how many came too late
	status  Status
	changes chan Status
	toSay   chan struct{}
	waiting int           // for moved
	moved   chan struct{} // closed and renewed at each fill somebody waits for
	heardTo time.Time     // the last sample mixed is heard then
	loudTo  int64         // the last sample mixed that is not silence, in the present stream
	soon    chan struct{}
	ended   []Speech // in the last block

	cancel context.CancelFunc
	done   sync.WaitGroup
}

// Open starts the sound. It does not fail for want of a loudspeaker: Status
// says so, and it keeps trying.
func Open(ctx context.Context, cfg Config) (*Engine, error) {
	if cfg.Logf == nil {
		cfg.Logf = func(string, ...any) {}
	}
	ctx, cancel := context.WithCancel(ctx)
	e := &Engine{
		cfg: cfg, epoch: time.Now(), mixer: NewMixer(cfg.Volume),
		begun:   map[string]time.Duration{},
		changes: make(chan Status, 16), toSay: make(chan struct{}, 1), soon: make(chan struct{}, 1), moved: make(chan struct{}),
		cancel: cancel,
		status: Status{Device: "none", Starts: true, Reason: "the sound is starting", Volume: cfg.Volume},
	}
	ladder, err := devices(cfg, e)
	if err != nil {
		cancel()
		return nil, err
	}
	e.mixer.Rock, e.mixer.Alive, e.mixer.Pace = cfg.Rock, cfg.Alive, cfg.Pace
	e.done.Go(func() { e.keep(ctx, ladder) })
	e.done.Go(func() { e.prepare(ctx) })
	return e, nil
}

// Close stops the sound at once and waits until all has ended.
func (e *Engine) Close() error {
	e.cancel()
	e.done.Wait()
	return nil
}

func (e *Engine) item(c session.Cue, due time.Duration) item {
	it := item{cue: c, due: due, motif: motifIndex(c)}
	it.said = e.cfg.Voice == nil || c.Ticks() && !c.Led
	return it
}

// Schedule replaces everything that has not begun. A cue whose Key has begun
// is not begun again. What is due already stays, so that a cue asked for at its
// own instant is not lost to the next call; unless its sheet has moved on since. Of
// what is gone the words are taken back, even in their midst.
func (e *Engine) Schedule(ps []session.Due) {
	e.mu.Lock()
	defer e.mu.Unlock()
	now := time.Since(e.epoch)
	items := make([]item, len(ps))
	for i, p := range ps {
		items[i] = e.item(p.Cue, p.At.Sub(e.epoch))
		items[i].gone = p.Gone
	}
	first := e.mixer.replace(items, now, func(key string) bool { _, ok := e.begun[key]; return ok })
	if e.epoch.Add(first).Before(e.heardTo) {
		e.hasten() // its place is mixed already
	}
	if len(e.begun) > kept {
		// Nobody asks again for what was due so long ago.
		maps.DeleteFunc(e.begun, func(_ string, due time.Duration) bool { return due < now-10*time.Minute })
	}
	e.wake()
}

// Play sounds a cue at once, whether or not its key has begun before.
func (e *Engine) Play(c session.Cue) {
	e.mu.Lock()
	defer e.mu.Unlock()
	it := e.item(c, time.Since(e.epoch))
	it.now = true
	e.mixer.put(it)
	e.wake()
	e.hasten()
}

func (e *Engine) wake() {
	select {
	case e.toSay <- struct{}{}:
	default:
	}
}

// kept is how much of what has begun, or was not sounded, is remembered.
const kept = 4096

// prepare makes the words of what is due soon.
func (e *Engine) prepare(ctx context.Context) {
	if e.cfg.Voice == nil {
		return
	}
	for ctx.Err() == nil {
		e.mu.Lock()
		c, ok, wait := e.mixer.wordless(time.Since(e.epoch))
		e.mu.Unlock()
		if ok {
			w := e.cfg.Voice.Phrase(c, e.cfg.Talk)
			if len(w) == 0 {
				w = nil
			}
			e.mu.Lock()
			e.mixer.say(wordsOf(c), w)
			e.mu.Unlock()
			continue
		}
		t := time.NewTimer(wait)
		select {
		case <-ctx.Done():
		case <-e.toSay:
		case <-t.C:
		}
		t.Stop()
	}
}

// Status says how the program is heard at this moment.
func (e *Engine) Status() Status {
	e.mu.Lock()
	defer e.mu.Unlock()
	s := e.status
	s.Late = e.late
	return s
}

// Changes delivers each new status. When nobody reads, the oldest are lost,
// never the newest.
func (e *Engine) Changes() <-chan Status { return e.changes }

func (e *Engine) set(fn func(*Status)) {
	e.mu.Lock()
	defer e.mu.Unlock()
	s := e.status
	fn(&s)
	if s == e.status {
		return
	}
	told := e.status
	e.status = s
	told.Latency, told.Dry = s.Latency, s.Dry
	if s == told {
		return // a figure that wanders is no news
	}
	for {
		select {
		case e.changes <- s:
			return
		default:
		}
		select {
		case <-e.changes:
		default:
		}
	}
}

// setVolume sets the volume of the program's own stream, 0..1.
func (e *Engine) SetVolume(v float64) {
	e.set(func(s *Status) {
		s.Volume = min(1, max(0, v))
		e.mixer.setVolume(s.Volume)
	})
}

// Begun lists what has begun so far, in that order; the last few thousand at most.
func (e *Engine) Begun() []Played {
	e.mu.Lock()
	defer e.mu.Unlock()
	return slices.Clone(e.record)
}

// Dropped lists what was asked for and not sounded, with the reason; the last
// few thousand at most.
func (e *Engine) Dropped() []Dropped {
	e.mu.Lock()
	defer e.mu.Unlock()
	return slices.Clone(e.dropped)
}

// fill is called by the device in use.
func (e *Engine) fill(buf []float32, at int64, zero time.Time) {
	e.mu.Lock()
	defer e.mu.Unlock()
	sounds := e.mixer.Fill(buf, at, zero.Sub(e.epoch))
	e.heardTo = zero.Add(duration(at + int64(len(buf))))
	switch {
	case e.mixer.sounding():
		e.loudTo = at + int64(len(buf))
	case sounds:
		for i := len(buf) - 1; i >= 0; i-- {
			if buf[i] != 0 {
				e.loudTo = max(e.loudTo, at+int64(i)+1)
				break
			}
		}
	}
	e.take()
}

func (e *Engine) quiet(from int64) bool {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.loudTo <= from
}

func (e *Engine) missed(at, end int64) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.mixer.miss(at, end)
}

// hasten tells the device that a cue is due before, or just after, what it has
// been given.
func (e *Engine) hasten() {
	select {
	case e.soon <- struct{}{}:
	default:
	}
}

// take moves what the mixer has begun or dropped into the record.
func (e *Engine) take() {
	e.ended = append(e.ended[:0], e.mixer.ended...)
	begun, dropped := e.mixer.taken()
	for _, s := range begun {
		p := s.Played
		p.At, p.Due = e.epoch.Add(s.heard), e.epoch.Add(s.due)
		e.begun[p.Key] = s.due
		for _, k := range strings.Fields(p.Cue.Also) {
			e.begun[k] = s.due
		}
		e.record = latest(e.record, p)
		e.sounded++
	}
	for _, d := range dropped {
		e.begun[d.Cue.Key] = d.due
		e.dropped = latest(e.dropped, d)
		if d.Why == tooLate || d.Why == overtaken {
			e.late++
		}
		e.cfg.Logf("not sounded: %s (%s): %s", d.Cue.Kind, d.Cue.Key, d.Why)
	}
	if e.waiting > 0 {
		close(e.moved)
		e.moved = make(chan struct{})
	}
}

// latest adds to what is remembered, and lets the older half go when it is too
// much.
func latest[T any](all []T, x T) []T {
	if len(all) >= kept {
		all = append(all[:0], all[kept/2:]...)
	}
	return append(all, x)
}

// lost puts back what had been mixed but was not heard when the device went.
func (e *Engine) lost(at time.Time) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.mixer.reset()
	e.loudTo = 0
	for len(e.record) > 0 {
		p := e.record[len(e.record)-1]
		if !p.At.After(at) {
			break
		}
		e.record = e.record[:len(e.record)-1]
		delete(e.begun, p.Key)
		e.mixer.again(e.item(p.Cue, p.due))
	}
	e.wake()
}

// Drain waits until all that is scheduled so far has sounded. It returns early
// with ctx's error.
func (e *Engine) Drain(ctx context.Context) error {
	e.mu.Lock()
	e.waiting++
	last := e.mixer.last()
	e.mu.Unlock()
	defer func() { e.mu.Lock(); e.waiting--; e.mu.Unlock() }()
	for {
		e.mu.Lock()
		idle, moved, to := e.mixer.idle(last), e.moved, e.heardTo
		e.mu.Unlock()
		if idle {
			// What is mixed still has to leave the loudspeaker.
			t := time.NewTimer(time.Until(to))
			defer t.Stop()
			select {
			case <-ctx.Done():
				return ctx.Err()
			case <-t.C:
				return nil
			}
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("waiting for the last cue to sound: %w", ctx.Err())
		case <-moved:
		}
	}
}
