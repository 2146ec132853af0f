package sound_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"wetside/session/sessiontest"
	"wetside/sound"
	"wetside/sound/soundtest"
)

// aplay is heard too: through ALSA's bridge to the rig's server, so that the
// ear can listen.
func TestThroughAplay(t *testing.T) {
	t.Parallel()
	sessiontest.Need(t, "aplay=alsa-utils")
	if m, _ := filepath.Glob("/usr/lib/*/alsa-lib/libasound_module_pcm_pulse.so"); len(m) == 0 {
		sessiontest.Skip(t, "ALSA's bridge to Pulse is not installed", "apt install libasound2-plugins")
	}
	conf := filepath.Join(t.TempDir(), "asound.conf")
	env := append(os.Environ(), "ALSA_CONFIG_PATH=/usr/share/alsa/alsa.conf:"+conf)
	trial(t, func(t testing.TB) *sound.Engine {
		r := soundtest.NewRig(t)
		if err := os.WriteFile(conf, fmt.Appendf(nil, "pcm.!default { type pulse\n server %q }\n", r.Server), 0o600); err != nil {
			t.Fatal(err)
		}
		rec := r.Record()
		e, err := sound.Open(context.Background(), sound.Config{Volume: 0.8, Rock: sound.On, Alive: true, Prefer: "aplay", Env: env, Logf: t.Logf})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = e.Close() })
		until(t, e, "is heard", func(s sound.Status) bool { return s.OK })
		ps := all(1, time.Now().Add(1500*time.Millisecond), 100*time.Millisecond)[:16]
		e.Schedule(ps)
		ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
		defer cancel()
		if err := e.Drain(ctx); err != nil {
			t.Fatal(err)
		}
		recorded(t, rec, 600*time.Millisecond)
		t.Log(same(t, ps, soundtest.Listen(rec.Stop()), rec.Start()))

		// The player dies: it is started again.
		r.Kill()
		until(t, e, "the loss is told", func(s sound.Status) bool { return !s.OK })
		r.Start()
		until(t, e, "is heard again", func(s sound.Status) bool { return s.OK })
		return e
	})
}

// While nothing better is there it beeps; when a server comes up it is used.
func TestTheBestDeviceIsFoundAgain(t *testing.T) {
	t.Parallel()
	r := soundtest.NewRig(t)
	r.Kill()
	// No card for aplay either.
	conf := filepath.Join(t.TempDir(), "asound.conf")
	if err := os.WriteFile(conf, []byte("# nothing\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	speaker := filepath.Join(t.TempDir(), "speaker")
	if err := os.WriteFile(speaker, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	e, err := sound.Open(context.Background(), sound.Config{Volume: 0.8, Server: r.Server, Env: append(os.Environ(), "ALSA_CONFIG_PATH="+conf), Logf: t.Logf,
		Beeper: speaker})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	t.Log(until(t, e, "it beeps", func(s sound.Status) bool { return s.OK && s.Device == "beep" }).Reason)
	r.Start()
	until(t, e, "it is heard", func(s sound.Status) bool { return s.OK && s.Device == "pulse: "+soundtest.Sink })
}
