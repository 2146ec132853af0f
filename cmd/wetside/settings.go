package main

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"wetside/profiles"
	"wetside/session/notebook"
)

// settings are what the user chose once, in settings.toml of the configuration
// folder. A flag comes before it, the environment (WETSIDE_*) after it.
type settings struct {
	Level  string  `toml:"level"`  // dark, ember, torch
	Talk   string  `toml:"talk"`   // few, normal, full
	Rock   string  `toml:"rock"`   // off, slow, on: the tick of the rocking rhythm
	Alive  *bool   `toml:"alive"`  // a faint pulse each 30 s in long washes
	Volume float64 `toml:"volume"` // 0 to 1, of the program's own stream
	Sound  string  `toml:"sound"`  // pulse, oto, aplay, beep, none; empty: the best there is
	Border bool    `toml:"border"` // each cue also pulses a border, in red
	// Backlight is how bright the panel stays while paper is out, 0 to 1 of its most.
	Backlight float64 `toml:"backlight"`
	Move      string  `toml:"move"` // time one move of a sheet takes the hands, "8s"
}

// unset is a volume nobody wrote: nothing at all is one that may be wanted.
var unset = math.Inf(-1)

// loadSettings reads the file; a missing one is the defaults.
func loadSettings(h *host) (settings, error) {
	s := settings{Volume: unset}
	file := filepath.Join(h.config, "settings.toml")
	f, err := notebook.OpenFile(file)
	if err == nil {
		defer f.Close()
		d := toml.NewDecoder(f).DisallowUnknownFields()
		if err := d.Decode(&s); err != nil {
			var strict *toml.StrictMissingError
			if errors.As(err, &strict) && len(strict.Errors) > 0 {
				row, _ := strict.Errors[0].Position()
				return s, fmt.Errorf("%s:%d: there is no setting %q; there are level, talk, rock, alive, volume, sound, border, backlight, move", file, row, strings.Join(strict.Errors[0].Key(), "."))
			}
			var de *toml.DecodeError
			if errors.As(err, &de) {
				row, _ := de.Position()
				return s, fmt.Errorf("%s:%d: %s", file, row, de.Error())
			}
			return s, fmt.Errorf("%s: %w", file, err)
		}
	} else if !errors.Is(err, fs.ErrNotExist) {
		return s, fmt.Errorf("%s: %w", file, err)
	}
	for env, to := range map[string]*string{"WETSIDE_LEVEL": &s.Level, "WETSIDE_TALK": &s.Talk, "WETSIDE_ROCK": &s.Rock, "WETSIDE_SOUND": &s.Sound, "WETSIDE_MOVE": &s.Move} {
		if *to == "" {
			*to = h.getenv(env)
		}
	}
	if v := h.getenv("WETSIDE_VOLUME"); s.Volume == unset && v != "" {
		if s.Volume, err = strconv.ParseFloat(v, 64); err != nil || !(s.Volume >= 0 && s.Volume <= 1) {
			return s, fmt.Errorf("WETSIDE_VOLUME: %q is no number from 0 to 1", v)
		}
	}
	def := func(to *string, v string) {
		if *to == "" {
			*to = v
		}
	}
	def(&s.Level, "ember")
	def(&s.Talk, "normal")
	def(&s.Rock, "slow")
	def(&s.Move, "8s") // lift, drain and lay in; common practice, no source
	if s.Volume == unset {
		s.Volume = 0.7
	}
	if !(s.Backlight >= 0 && s.Backlight <= 1) { // nor NaN
		return s, fmt.Errorf("%s: backlight is from 0 to 1, not %g", file, s.Backlight)
	}
	if !(s.Volume >= 0 && s.Volume <= 1) {
		return s, fmt.Errorf("%s: volume is from 0 to 1, not %g", file, s.Volume)
	}
	return s, nil
}

// profiles loads the built-in profiles and the user's over them.
func (h *host) profiles() (*profiles.Set, error) {
	return profiles.Load(filesIn(filepath.Join(h.config, "profiles")))
}
