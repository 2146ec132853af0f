package sound

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"slices"
	"sync/atomic"
	"time"
)

const (
	// stallAfter is how long a device may ask for nothing until it counts as lost.
	stallAfter = 1500 * time.Millisecond
	// retry is the first and the longest wait between attempts.
	retryFirst = 200 * time.Millisecond
	retryMost  = 2 * time.Second
)

// lostError is a loss that was noticed later than it happened.
type lostError struct {
	since time.Time
	err   error
}

func (l lostError) Error() string { return l.err.Error() }
func (l lostError) Unwrap() error { return l.err }

var errStalled = errors.New("the device has stopped taking sound")

// devices is the ladder: the best first.
func devices(cfg Config, e *Engine) ([]device, error) {
	if cfg.Into != nil {
		return []device{taker{cfg.Into, e}}, nil
	}
	all := []device{}
	// Elsewhere a Pulse server is a rarity: only where it is asked for.
	if runtime.GOOS == "linux" || cfg.Server != "" || cfg.Prefer == "pulse" {
		all = append(all, &pulse{server: cfg.Server})
	}
	all = append(all, platform(cfg)...)
	switch cfg.Prefer {
	case "":
		return all, nil
	case "none":
		return []device{silent{}}, nil
	}
	for _, d := range all {
		if d.name() == cfg.Prefer {
			return []device{d}, nil
		}
	}
	names := ""
	for _, d := range all {
		names += d.name() + ", "
	}
	return nil, fmt.Errorf("no sound device is called %q here; choose one of %snone", cfg.Prefer, names)
}

// keep runs the best device that works for as long as ctx lives. While one
// that is not the best runs, the better ones are tried now and then.
func (e *Engine) keep(ctx context.Context, ladder []device) {
	wait := retryFirst
	var why error // the best device does not work
	for ctx.Err() == nil {
		r := run{e: e, why: why}
		for rung := range ladder {
			if r.on(ctx, ladder, rung); ctx.Err() != nil {
				return
			}
			if r.over {
				break
			}
		}
		why = r.why
		if r.better {
			wait = 0
		} else if r.long {
			wait = retryFirst
		}
		if !r.opened.Load() {
			e.set(func(s *Status) {
				s.Device, s.OK, s.Starts, s.Latency = "none", false, false, 0
				s.Reason = "nothing to be heard with"
				if why != nil {
					s.Reason = why.Error()
				}
			})
		}
		select {
		case <-ctx.Done():
		case <-time.After(wait):
		}
		wait = min(retryMost, max(retryFirst, wait*2))
	}
}

// A run is one way down the ladder, to the first device that opens.
type run struct {
	e      *Engine
	why    error
	opened atomic.Bool // up is called on the device's own goroutine
	better bool        // a better one is there
	long   bool        // it had run for some time
	over   bool        // from the top again
}

// on runs the device of a rung for as long as it works and no better one does.
func (r *run) on(ctx context.Context, ladder []device, rung int) {
	e, d, began := r.e, ladder[rung], time.Now()
	why := r.why
	up := func(s Status) {
		r.opened.Store(true)
		if rung > 0 && s.OK && s.Reason == "" && why != nil {
			s.Reason = why.Error()
		}
		s.Reach = reach(d)
		e.set(func(o *Status) { s.Volume = o.Volume; *o = s })
	}
	dctx, cancel := context.WithCancel(ctx)
	if rung > 0 {
		e.done.Go(func() { better(dctx, ladder[:rung], cancel) })
	}
	src := source{fill: e.fill, soon: e.soon, quiet: e.quiet, missed: e.missed}
	if b, ok := d.(interface{ strike(Motif) }); ok {
		src.fill = e.strikes(b.strike)
	}
	err := d.run(dctx, src, up)
	r.better = dctx.Err() != nil && ctx.Err() == nil
	cancel()
	at := time.Now()
	if l := (lostError{}); errors.As(err, &l) {
		at = l.since
	}
	e.lost(at)
	if r.over = r.better || r.opened.Load(); r.better || ctx.Err() != nil {
		return
	}
	if err == nil {
		err = errors.New("the device has ended")
	}
	if rung == 0 || r.why == nil || r.over {
		r.why = fmt.Errorf("%s: %w", d.name(), err)
	}
	e.cfg.Logf("sound: %s: %v", d.name(), err)
	if r.over {
		e.set(func(s *Status) {
			s.OK, s.Reason = false, fmt.Sprintf("%s: %v; trying to get it back", d.name(), err)
		})
		r.long = time.Since(began) > retryMost
	}
}

// reach is what a device brings to the ear.
func reach(d device) Reach {
	switch d.(type) {
	case silent:
		return Silence
	case interface{ strike(Motif) }:
		return Tones
	}
	return Everything
}

// strikes is fill for a device that takes motifs and no samples.
func (e *Engine) strikes(strike func(Motif)) fill {
	return func(buf []float32, at int64, zero time.Time) {
		e.mu.Lock()
		n := e.sounded
		e.mu.Unlock()
		e.fill(buf, at, zero)
		e.mu.Lock()
		fresh := slices.Clone(e.record[max(0, len(e.record)-(e.sounded-n)):])
		e.mu.Unlock()
		for _, p := range fresh {
			if m, ok := MotifFor(p.Cue); ok && !m.Soft {
				strike(m)
			}
		}
	}
}

// better calls found when one of the devices can be opened. The first is looked
// for often, the others, which cost more to look for, now and then.
func better(ctx context.Context, ds []device, found func()) {
	t := time.NewTicker(retryMost)
	defer t.Stop()
	for n := 1; ; n++ {
		select {
		case <-ctx.Done():
			return
		case <-t.C:
		}
		for i, d := range ds {
			if i > 0 && n%8 != 0 {
				continue
			}
			if p, ok := d.(interface{ probe(context.Context) bool }); ok && p.probe(ctx) {
				found()
				return
			}
		}
	}
}

// feedBlock is a twentieth of a second.
const feedBlock = Rate / 20

// Beat is how long it is until the wall clock's next whole d. What only looks from time
// to time looks on the beat, all at once: in between the processor sleeps.
func Beat(d time.Duration) time.Duration {
	now := time.Now()
	return time.Until(now.Truncate(d).Add(d))
}

// feed calls f at the pace of a clock, for devices without one, with sound that
// is heard after latency, in blocks of so many samples. Its zero never moves.
func feed(ctx context.Context, latency time.Duration, block int64, f fill, take func(buf []float32) error) error {
	buf := make([]float32, block)
	start := time.Now()
	zero := start.Add(latency)
	var at int64
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(Beat(duration(block))):
		}
		behind := int64(samples(time.Since(start))) - at
		if behind > Rate {
			at += behind // the machine slept
		}
		for at+block <= int64(samples(time.Since(start)))+block {
			f(buf, at, zero)
			if err := take(buf); err != nil {
				return err
			}
			at += block
		}
	}
}

// taker gives what is played to whoever listens in a loudspeaker's place.
type taker struct {
	to Taker
	e  *Engine
}

func (taker) name() string { return "listener" }

func (t taker) run(ctx context.Context, src source, up func(Status)) error {
	up(Status{Device: t.name(), OK: true})
	return feed(ctx, 0, feedBlock, src.fill, func(buf []float32) error { t.to(buf, t.e.ended); return nil })
}

// silent is heard by nobody; cues begin on time all the same.
type silent struct{}

func (silent) name() string { return "none" }

func (silent) run(ctx context.Context, src source, up func(Status)) error {
	up(Status{Device: "none", OK: true, Reason: "sound is switched off"})
	return feed(ctx, 0, 10*feedBlock, src.fill, func([]float32) error { return nil }) // an answer to a key need not be prompt
}
