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
	mu    sync.Mutex
	ctx   *oto.Context
	ready chan struct{}
}

func (*otoDevice) name() string { return "oto" }

func (o *otoDevice) context() (*oto.Context, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.ctx == nil {
		c, ready, err := oto.NewContext(&oto.NewContextOptions{
			SampleRate: Rate, ChannelCount: 1, Format: oto.FormatFloat32LE, BufferSize: otoBuffer,
		})
		if err != nil {
			return nil, err
		}
		o.ctx, o.ready = c, ready
	}
	select {
	case <-o.ready:
	case <-time.After(stallAfter):
		return nil, errStalled
	}
	return o.ctx, o.ctx.Err()
}

// otoReader is asked for samples by the player's goroutine.
type otoReader struct {
	mu    sync.Mutex
	f     fill
	clock clock
	buf   []float32
	at    int64
	last  time.Time
	ended bool
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
	if !r.clock.known {
		r.clock.observe(now.Add(otoBuffer))
	}
	buf := r.buf[:k]
	r.f(buf, r.at, r.clock.zero())
	r.at += int64(k)
	for i, x := range buf {
		binary.LittleEndian.PutUint32(p[4*i:], math.Float32bits(x))
	}
	return 4 * k, nil
}

func (r *otoReader) taken() int64 {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.at
}

func (o *otoDevice) run(ctx context.Context, src source, up func(Status)) error {
	c, err := o.context()
	if err != nil {
		return fmt.Errorf("the system's sound output cannot be opened: %w", err)
	}
	const most = 4096 // samples mixed at once
	r := &otoReader{f: src.fill, buf: make([]float32, most), last: time.Now()}
	p := c.NewPlayer(r)
	p.SetBufferSize(4 * samples(otoBuffer))
	p.Play()
	defer p.Close()
	defer func() { r.mu.Lock(); r.ended = true; r.mu.Unlock() }()
	t := time.NewTicker(50 * time.Millisecond)
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
		// What the player holds and what the system holds is still to be heard.
		// The player is not asked from inside Read: it is locked then.
		before := r.taken()
		held := int64(p.BufferedSize()/4) + int64(samples(otoBuffer))
		r.mu.Lock()
		last, at := r.last, r.at
		if at == before && at > 0 {
			r.clock.observe(time.Now().Add(duration(held)).Add(-duration(at)))
		}
		r.mu.Unlock()
		if time.Since(last) > stallAfter {
			return lostError{last, errStalled}
		}
		up(Status{Device: "oto", OK: at > 0, Latency: duration(held)})
	}
}
