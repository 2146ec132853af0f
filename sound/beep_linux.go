package sound

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"time"

	"golang.org/x/sys/unix"
)

// beeper is where Linux has the machine's own speaker (its driver is pcspkr).
const beeper = "/dev/input/by-path/platform-pcspkr-event-spkr"

// beep is the machine's own speaker, which knows no motif but one tone of its
// length and longest note, and no words. It is driven by itself and never by a
// terminal's bell, which may light the whole window.
type beep struct {
	path  string
	tones chan Motif
}

func newBeep(path string) *beep {
	if path == "" {
		path = beeper
	}
	return &beep{path: path, tones: make(chan Motif, 8)}
}

func (*beep) name() string { return "beep" }

func (b *beep) strike(m Motif) {
	select {
	case b.tones <- m:
	default: // eight behind: enough was beeped
	}
}

func (b *beep) open() (*os.File, error) {
	f, err := os.OpenFile(b.path, os.O_WRONLY, 0)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return nil, errors.New("the machine has no speaker of its own")
	case errors.Is(err, os.ErrPermission):
		return nil, fmt.Errorf("the machine's own speaker is not for this user (%s)", b.path)
	}
	return f, err
}

func (b *beep) probe(context.Context) bool {
	f, err := b.open()
	if err != nil {
		return false
	}
	return f.Close() == nil
}

func (b *beep) run(ctx context.Context, src source, up func(Status)) error {
	speaker, err := b.open()
	if err != nil {
		return err
	}
	up(Status{Device: "beep", OK: true, Reason: "no sound output was found: only beeps, no words"})
	// A tone lasts as long as it sounds: not in the way of the clock.
	failed := make(chan error, 1)
	ctx, stop := context.WithCancel(ctx)
	done := make(chan struct{})
	go func() {
		defer close(done)
		defer speaker.Close()
		for {
			select {
			case <-ctx.Done():
				return
			case m := <-b.tones:
				if err := tone(ctx, speaker, pitch(m), m.Len()); err != nil {
					failed <- err
					return
				}
			}
		}
	}()
	defer func() { stop(); <-done }()
	return feed(ctx, 0, feedBlock, src.fill, func([]float32) error {
		select {
		case err := <-failed:
			return err
		default:
			return nil
		}
	})
}

// inputEvent is struct input_event of linux/input.h.
type inputEvent struct {
	Time       unix.Timeval // not looked at in what is written
	Type, Code uint16
	Value      int32
}

// evSnd and sndTone are EV_SND and SND_TONE (linux/input-event-codes.h): a tone
// of so many hertz that lasts until one of 0.
const (
	evSnd   = 0x12
	sndTone = 0x02
)

// tone sounds for as long as it says, or until ctx ends.
func tone(ctx context.Context, speaker *os.File, hz float64, length time.Duration) error {
	set := func(hz float64) error {
		return binary.Write(speaker, binary.NativeEndian, inputEvent{Type: evSnd, Code: sndTone, Value: int32(hz)})
	}
	if err := set(hz); err != nil {
		return err
	}
	select {
	case <-ctx.Done():
	case <-time.After(length):
	}
	return set(0)
}

// pitch is the frequency of the motif's longest note.
func pitch(m Motif) float64 {
	long := m.Notes[0]
	for _, n := range m.Notes {
		if n.Len > long.Len {
			long = n
		}
	}
	return long.Hz
}
