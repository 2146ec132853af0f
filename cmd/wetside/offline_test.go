//go:build unix

package main

import (
	"bytes"
	"context"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"wetside/sound"
	"wetside/tui/lamps"
)

// A room is where a person presses keys and hears: all that a sitting by ear needs.
type room interface {
	press(keys string)
	now() time.Duration // since the recording began
	since(time.Duration) []float32
}

// A booth is a room in time of its own: the whole program with its clocks, its keys and
// its loudspeaker's samples, and water that runs.
type booth struct {
	keys io.Writer
	out  bytes.Buffer

	mu    sync.Mutex
	heard int       // samples
	pcm   []float32 // what water runs into, for an ear; else it is not kept
	start time.Time // when the first sample is heard
	said  []spoken
	level float32
	water *rand.Rand
}

// A spoken is an announcement and when it ended.
type spoken struct {
	sound.Speech
	at time.Time
}

// inBooth runs the program until it ends, beside the person who presses its keys.
// What it would send to a loudspeaker is mixed with white noise of so many dB below
// full scale; 0 is none, and no recording.
func inBooth(t *testing.T, h home, args []string, water float64, person func(t *testing.T, b *booth)) *booth {
	b := &booth{water: rand.New(rand.NewPCG(1, 2))}
	if water != 0 {
		b.level = float32(math.Pow(10, water/20))
	}
	first := make(chan os.Signal, 1) // what waits for signals is the process's, not the bubble's
	signal.Notify(first, os.Interrupt)
	defer signal.Stop(first)
	synctest.Test(t, func(t *testing.T) {
		r, w := io.Pipe()
		b.keys = w
		begun := time.Now()
		ctx, cancel := context.WithCancel(context.Background())
		host := &host{in: r, out: &b.out, err: &b.out, args: args, self: "/bin/true", ctx: ctx, now: time.Now,
			getenv: func(string) string { return "" }, data: h.data(), config: filepath.Join(h.dir, ".config", "wetside"), state: filepath.Join(h.dir, ".local", "state", "wetside"),
			terminal: func() (in, out *os.File, ok bool) { return nil, nil, false },
			lights:   func() lamps.Lamps { return &toldLamps{then: func() {}} },
			boot:     func() (time.Duration, string) { return time.Since(begun), "booth" },
			find:     func(string) (string, error) { return "", exec.ErrNotFound },
			sleep:    func(time.Duration) {}, // the disk's clock is not the bubble's
			into:     b.take}
		ended := make(chan int, 1)
		go func() {
			ended <- run(host)
			r.Close() // who still presses is not held up
		}()
		defer func() {
			select {
			case code := <-ended:
				if code != 0 {
					t.Errorf("it ended with %d:\n%s", code, &b.out)
				}
			case <-time.After(time.Minute):
				t.Errorf("it does not end:\n%s", &b.out)
				cancel()
				<-ended
			}
			cancel()
			w.Close()
			time.Sleep(time.Minute) // until what waits for a tick has seen that all is over
		}()
		person(t, b)
	})
	return b
}

func (b *booth) take(x []float32, ended []sound.Speech) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, e := range ended {
		b.said = append(b.said, spoken{e, time.Now()})
	}
	if b.heard == 0 {
		b.start = time.Now().Add(-ofRate(len(x))) // a block is mixed at its end
	}
	b.heard += len(x)
	if b.level == 0 {
		return
	}
	for _, v := range x {
		b.pcm = append(b.pcm, v+b.level*float32(b.water.NormFloat64()))
	}
}

func (b *booth) press(keys string) { io.WriteString(b.keys, keys) }

func (b *booth) now() time.Duration {
	b.mu.Lock()
	defer b.mu.Unlock()
	return ofRate(b.heard)
}

func (b *booth) since(at time.Duration) []float32 {
	b.mu.Lock()
	defer b.mu.Unlock()
	return slices.Clone(b.pcm[min(len(b.pcm), int(at*sound.Rate/time.Second)):])
}

func ofRate(n int) time.Duration { return time.Duration(n) * time.Second / sound.Rate }
