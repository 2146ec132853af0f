package sound

import (
	"context"
	"time"

	"github.com/gen2brain/beeep"
)

// beep is the last resort: the computer's own beeper, or the terminal's bell.
// It knows no motif but one tone of its length and longest note, and no words.
type beep struct {
	bell  func(hz float64, length time.Duration) error
	tones chan Motif
}

func newBeep(bell func(float64, time.Duration) error) *beep {
	if bell == nil {
		bell = func(hz float64, l time.Duration) error { return beeep.Beep(hz, int(l/time.Millisecond)) }
	}
	return &beep{bell: bell, tones: make(chan Motif, 8)}
}

func (*beep) name() string { return "beep" }

func (b *beep) strike(m Motif) {
	select {
	case b.tones <- m:
	default: // eight behind: enough was beeped
	}
}

func (b *beep) run(ctx context.Context, src source, up func(Status)) error {
	up(Status{Device: "beep", OK: true, Reason: "no sound output was found: only beeps, no words"})
	// Beeping blocks for as long as it sounds: not in the way of the clock.
	failed := make(chan error, 1)
	ctx, stop := context.WithCancel(ctx)
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			select {
			case <-ctx.Done():
				return
			case m := <-b.tones:
				if err := b.bell(pitch(m), m.Len()); err != nil {
					failed <- err
					return
				}
			}
		}
	}()
	defer func() { stop(); <-done }()
	return feed(ctx, 0, src.fill, func([]float32) error {
		select {
		case err := <-failed:
			return err
		default:
			return nil
		}
	})
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
