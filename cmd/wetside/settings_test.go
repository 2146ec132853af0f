package main

import (
	"os"
	"path/filepath"
	"testing"
)

// A volume of nothing is a volume, and what is no number is refused.
func TestVolumeIsTakenAsWritten(t *testing.T) {
	load := func(text, env string) (settings, error) {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, "settings.toml"), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return loadSettings(&host{config: dir, getenv: func(k string) string {
			if k == "WETSIDE_VOLUME" {
				return env
			}
			return ""
		}})
	}
	for _, c := range []struct {
		text, env string
		want      float64
	}{{"", "", 0.7}, {"volume = 0", "", 0}, {"volume = 0.0", "0.5", 0}, {"", "0", 0}, {"", "0.5", 0.5}, {"volume = 0.2", "0.5", 0.2}} {
		if s, err := load(c.text, c.env); err != nil || s.Volume != c.want {
			t.Errorf("%q, WETSIDE_VOLUME=%q: volume %g, %v; want %g", c.text, c.env, s.Volume, err, c.want)
		}
	}
	for _, c := range [][2]string{{"volume = nan", ""}, {"backlight = nan", ""}, {"", "NaN"}, {"volume = 2.0", ""}} {
		if s, err := load(c[0], c[1]); err == nil {
			t.Errorf("%q, WETSIDE_VOLUME=%q: taken as %g, %g", c[0], c[1], s.Volume, s.Backlight)
		}
	}
}
