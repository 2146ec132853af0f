//go:build darwin || windows

package sound

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"sync"
	"time"

	"github.com/ebitengine/oto/v3"
)

func platform(Config) []device { return []device{&otoDevice{}} }

// otoBuffer is asked of the operating system.
const otoBuffer = 80 * time.Millisecond

// otoDevice plays through the operating system's own sound interface. Only one
// context may exist in a process: it is kept, and a lost player is made anew.
type otoDevice struct {
	mu  sync.Mutex
	ctx *oto.Context
}

func (*otoDevice) name() string { return "oto" }

func (o *otoDevice) context() (*oto.Context, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.ctx != nil {
		return o.ctx, o.ctx.Err()
	}
	c, ready, err := oto.NewContext(&oto.NewContextOptions{
		SampleRate: Rate, ChannelCount: 1, Format: oto.FormatFloat32LE, BufferSize: otoBuffer,
	})
	if err != nil {
		return nil, err
	}
	select {
	case <-ready:
	case <-time.After(stallAfter):
		return nil, errStalled
	}
	o.ctx = c
	return c, c.Err()
}

// otoReader is asked for samples by the player's goroutine.
type otoReader struct {
	mu     sync.Mutex
	f      fill
	behind func() int64 // samples taken and not yet heard
	clock  clock
	buf    []float32
	at     int64
	last   time.Time
	ended  bool
}

func (r *otoReader) Read(p []byte) (int, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	k := min(len(p)/4, len(r.buf))
	now := time.Now()
	r.last = now
	if r.ended {
		clear(p[:4*k])
		return 4 * k, nil
	}
	r.clock.observe(now.Add(duration(r.behind())).Add(-duration(r.at)))
	buf := r.buf[:k]
	r.f(buf, r.at, r.clock.zero())
	r.at += int64(k)
	for i, x := range buf {
		binary.LittleEndian.PutUint32(p[4*i:], math.Float32bits(x))
	}
	return 4 * k, nil
}

func (o *otoDevice) run(ctx context.Context, src source, up func(Status)) error {
	c, err := o.context()
	if err != nil {
		return fmt.Errorf("the system's sound output cannot be opened: %w", err)
	}
	r := &otoReader{f: src.fill, buf: make([]float32, chunk), last: time.Now(), behind: func() int64 { return int64(samples(otoBuffer)) }}
	p := c.NewPlayer(r)
	size := samples(otoBuffer)
	p.SetBufferSize(4 * size)
	// The player's own buffer is refilled when it has run low; what it holds
	// and what the system holds are still to be heard. Read must not ask the
	// player (it is called under its lock): the figure is refreshed here.
	p.Play()
	defer p.Close()
	defer func() { r.mu.Lock(); r.ended = true; r.mu.Unlock() }()
	t := time.NewTicker(100 * time.Millisecond)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-t.C:
		}
		if err := c.Err(); err != nil {
			return err
		}
		if err := p.Err(); err != nil {
			return err
		}
		held := int64(p.BufferedSize()/4) + int64(samples(otoBuffer))
		r.mu.Lock()
		last, at := r.last, r.at
		// Seen from here rather than from inside Read.
		r.clock.observe(time.Now().Add(duration(held)).Add(-duration(at)))
		r.behind = func() int64 { return held }
		r.mu.Unlock()
		if at > 0 && time.Since(last) > stallAfter {
			return lostError{last, errStalled}
		}
		if at == 0 && time.Since(last) > stallAfter {
			return errStalled
		}
		up(Status{Device: "oto", OK: at > 0, Latency: duration(held)})
	}
}
