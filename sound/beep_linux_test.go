package sound_test

import (
	"context"
	"encoding/binary"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"wetside/session"
	"wetside/sound"
)

// The machine's own speaker gets a tone and its end, as struct input_event of
// linux/input.h has them: on 64 bits 16 bytes of time, then type, code, value.
func TestTheMachinesOwnSpeaker(t *testing.T) {
	t.Parallel()
	speaker := filepath.Join(t.TempDir(), "speaker")
	e, err := sound.Open(context.Background(), sound.Config{Volume: 1, Prefer: "beep", Beeper: speaker})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	// As long as there is none, it is silence, and said to be.
	until(t, e, "says that there is no speaker", func(s sound.Status) bool {
		return !s.OK && s.Device == "none" && strings.Contains(s.Reason, "no speaker")
	})
	if err := os.WriteFile(speaker, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	until(t, e, "beeps", func(s sound.Status) bool { return s.OK && s.Device == "beep" })
	e.Play(session.Cue{Kind: session.CueMove})
	var sent []byte
	until(t, e, "has sounded a tone", func(sound.Status) bool {
		sent, err = os.ReadFile(speaker)
		return err != nil || len(sent) >= 48
	})
	if err != nil || len(sent) != 48 {
		t.Fatalf("%d bytes were sent, %v", len(sent), err)
	}
	for i, hz := range []uint32{1905, 0} {
		ev := sent[24*i+16:]
		kind, code, value := binary.NativeEndian.Uint16(ev), binary.NativeEndian.Uint16(ev[2:]), binary.NativeEndian.Uint32(ev[4:])
		if kind != 0x12 || code != 2 || value != hz {
			t.Errorf("event %d: type %#x, code %d, value %d; want a tone of %d Hz", i, kind, code, value, hz)
		}
	}
}
