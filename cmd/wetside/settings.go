package main

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"wetside/profiles"
	"wetside/session/exposure"
	"wetside/tui"
	"wetside/tui/ember"
)

// settings are what the user chose once, in settings.toml of the configuration
// folder. A flag comes before the environment (WETSIDE_*), and that before the file.
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
	// Panel is the laptop's screen; what is left out is as in [exposure.UnknownPanel].
	Panel panelSettings `toml:"panel"`
	// Layout is that of the keyboard, where digits may want Shift: us, de, fr,
	// nordic, cz; empty: what the language says, if it does.
	Layout string              `toml:"layout"`
	Keys   map[string][]string `toml:"keys"` // the keys of each deed: see tui.KeyDeeds

	keys tui.Keys // those that are bound
}

// panelSettings describe the screen as its data sheet does, and where it stands.
type panelSettings struct {
	Kind      exposure.PanelKind `toml:"kind"` // lcd, oled; empty: nobody described it
	Inches    float64            `toml:"inches"`
	Luminance float64            `toml:"luminance"` // cd/m2
	Contrast  float64            `toml:"contrast"`
	Share     float64            `toml:"share"` // of its full backlight while paper is out, where it cannot be read
	Metres    float64            `toml:"metres"`
	Angle     float64            `toml:"angle"` // degrees
	Film      float64            `toml:"film"`
}

// panel is the screen as a lamp; what is read of its backlight counts before what is
// said of it.
func (p panelSettings) panel() exposure.Panel {
	p.Kind = cmp.Or(p.Kind, exposure.LCD)
	return exposure.Panel{Kind: p.Kind, Diagonal: p.Inches, Luminance: p.Luminance, Contrast: p.Contrast, Share: p.Share,
		Distance: p.Metres, Angle: p.Angle, Film: p.Film}
}

func unknownPanel() panelSettings {
	u := exposure.UnknownPanel()
	return panelSettings{Inches: u.Diagonal, Luminance: u.Luminance, Contrast: u.Contrast, Share: u.Share, Metres: u.Distance, Angle: u.Angle, Film: u.Film}
}

// unset is a number nobody wrote: nothing at all is one that may be wanted.
var unset = math.Inf(-1)

// texts are the settings that are words: by their name in the file, and as
// WETSIDE_NAME in the environment.
var texts = []struct {
	name, def string
	in        func(*settings) *string
	fault     func(string) error
}{
	{"level", "ember", func(s *settings) *string { return &s.Level }, func(v string) error { _, err := ember.ParseLevel(v); return err }},
	{"talk", "normal", func(s *settings) *string { return &s.Talk }, func(v string) error { return among(talks, v, "talk is few, normal or full") }},
	{"rock", "slow", func(s *settings) *string { return &s.Rock }, func(v string) error { return among(rocks, v, "rock is off, slow or on") }},
	{"sound", "", func(s *settings) *string { return &s.Sound }, func(v string) error {
		return among(map[string]bool{"pulse": true, "oto": true, "aplay": true, "beep": true, "none": true}, v, "sound is pulse, oto, aplay, beep or none")
	}},
	{"layout", "", func(s *settings) *string { return &s.Layout }, func(v string) error {
		return among(map[string]bool{"us": true, "de": true, "fr": true, "nordic": true, "cz": true}, v, "layout is us, de, fr, nordic or cz")
	}},
	// Lift, drain and lay in; common practice, no source.
	{"move", "8s", func(s *settings) *string { return &s.Move }, func(v string) error {
		if d, err := profiles.ParseDuration(v); err != nil || d <= 0 {
			return fmt.Errorf("move is the time one move of a sheet takes, like 8s, not %q", v)
		}
		return nil
	}},
}

func among[T any](known map[string]T, v, want string) error {
	if _, ok := known[v]; !ok {
		return fmt.Errorf("%s, not %q", want, v)
	}
	return nil
}

// settingsFile is looked for in the configuration folder.
const settingsFile = "settings.toml"

// loadSettings reads the file; a missing one is the defaults. What is wrong is
// left out, and told with its line: a slip in a file keeps nobody from a sheet
// in the fixer.
func loadSettings(h *host) (settings, profiles.Problems) {
	s, data, problems := readSettings(h.config)
	fault := func(name, text string) {
		problems = append(problems, profiles.Problem{File: settingsFile, Line: profiles.LineOf(data, name), Text: text + "; the default is used"})
	}
	passed := func(env, text string) {
		problems = append(problems, profiles.Problem{File: env, Text: text + "; it is passed over"})
	}
	for _, x := range texts {
		to, env := x.in(&s), "WETSIDE_"+strings.ToUpper(x.name)
		if err := x.fault(*to); *to != "" && err != nil {
			fault(x.name, err.Error())
			*to = ""
		}
		if v := h.getenv(env); v != "" {
			if err := x.fault(v); err != nil {
				passed(env, err.Error())
			} else {
				*to = v
			}
		}
		*to = cmp.Or(*to, x.def)
	}
	for _, x := range []struct {
		name string
		v    *float64
	}{{"volume", &s.Volume}, {"backlight", &s.Backlight}} {
		if *x.v != unset && !isShare(*x.v) {
			fault(x.name, fmt.Sprintf("%s is from 0 to 1, not %g", x.name, *x.v))
			*x.v = unset
		}
	}
	if err := s.Panel.panel().Check(); err != nil {
		fault("panel", err.Error())
		s.Panel = unknownPanel()
	}
	if v := h.getenv("WETSIDE_VOLUME"); v != "" {
		if f, err := strconv.ParseFloat(strings.Replace(v, ",", ".", 1), 64); err == nil && isShare(f) {
			s.Volume = f
		} else {
			passed("WETSIDE_VOLUME", fmt.Sprintf("%q is no number from 0 to 1", v))
		}
	}
	var bad []*tui.BadKey
	s.keys, bad = tui.BindKeys(s.Keys, layoutOf(s.Layout, h.getenv))
	for _, b := range bad {
		problems = append(problems, profiles.Problem{File: settingsFile, Line: keyLine(data, b.Deed), Text: b.Error()})
	}
	if s.Volume == unset {
		s.Volume = 0.7
	}
	s.Backlight = max(0, s.Backlight)
	return s, problems
}

// isShare reports whether a number is from 0 to 1; one that is none is not.
func isShare(v float64) bool { return v >= 0 && v <= 1 }

// keyLine is the line of the table of keys that is about a deed; 0: not found.
func keyLine(data []byte, deed string) int {
	inside := false
	n := 0
	for l := range bytes.Lines(data) {
		n++
		l = bytes.TrimSpace(l)
		if bytes.HasPrefix(l, []byte("[")) {
			inside = bytes.HasPrefix(l, []byte("[keys]"))
		}
		name, _, ok := bytes.Cut(l, []byte("="))
		if inside && ok && strings.Trim(string(name), " \t\"'") == deed {
			return n
		}
	}
	return 0
}

// layouts are those of the keyboards that go with a language, as it stands in
// LANG: a guess, for who has said nothing.
var layouts = map[string]string{"en": "us", "de": "de", "fr": "fr", "cs": "cz", "da": "nordic", "nb": "nordic", "nn": "nordic", "sv": "nordic", "fi": "nordic"}

func layoutOf(set string, getenv func(string) string) string {
	lang := cmp.Or(getenv("LC_ALL"), getenv("LC_CTYPE"), getenv("LANG"))
	lang, _, _ = strings.Cut(lang, "_")
	return cmp.Or(set, layouts[lang])
}

// readSettings reads the file line by line as far as it can be read: what is no
// setting is left out of data, which keeps its lines.
func readSettings(config string) (s settings, data []byte, problems profiles.Problems) {
	blank := settings{Volume: unset, Backlight: unset, Panel: unknownPanel()}
	data, err := fs.ReadFile(filesIn(config), settingsFile)
	if errors.Is(err, fs.ErrNotExist) {
		return blank, nil, nil
	}
	if err != nil {
		if pe := (*fs.PathError)(nil); errors.As(err, &pe) {
			err = pe.Err // the path is told anyway
		}
		return blank, nil, profiles.Problems{{File: settingsFile, Text: err.Error() + "; the defaults are used"}}
	}
	lines := bytes.SplitAfter(data, []byte("\n"))
	for {
		s = blank
		err := toml.NewDecoder(bytes.NewReader(data)).DisallowUnknownFields().Decode(&s)
		var strict *toml.StrictMissingError
		var de *toml.DecodeError
		row, text := 0, ""
		switch {
		case err == nil:
			return s, data, problems
		case errors.As(err, &strict) && len(strict.Errors) > 0:
			de = &strict.Errors[0]
			row, _ = de.Position()
			text = fmt.Sprintf("there is no setting %q; there are level, talk, rock, alive, volume, sound, border, backlight, move, layout, and the tables panel and keys", strings.Join(de.Key(), "."))
		case errors.As(err, &de):
			row, _ = de.Position()
			text = strings.TrimPrefix(de.Error(), "toml: ") + "; this line is left out"
			if want := wantedKind(reflect.TypeFor[settings](), de.Key()); want != "" {
				text = fmt.Sprintf("%s wants %s; this line is left out", strings.Join(de.Key(), "."), want)
			}
		}
		if row < 1 || row > len(lines) || len(bytes.TrimSpace(lines[row-1])) == 0 {
			// It cannot be told what is at fault.
			return blank, nil, append(problems, profiles.Problem{File: settingsFile, Line: row, Text: strings.TrimPrefix(err.Error(), "toml: ") + "; the defaults are used"})
		}
		problems = append(problems, profiles.Problem{File: settingsFile, Line: row, Text: text})
		lines[row-1] = []byte("\n")
		data = bytes.Join(lines, nil)
	}
}

// wantedKind says what kind of value a setting takes; empty: it is none.
func wantedKind(t reflect.Type, key []string) string {
	if len(key) > 0 && t.Kind() == reflect.Struct {
		for i := range t.NumField() {
			if f := t.Field(i); f.Tag.Get("toml") == key[0] {
				return wantedKind(f.Type, key[1:])
			}
		}
		return ""
	}
	if t.Kind() == reflect.Pointer {
		return wantedKind(t.Elem(), key)
	}
	return map[reflect.Kind]string{
		reflect.String:  `a word in quotes, like "dark"`,
		reflect.Float64: "a number, like 0.5",
		reflect.Bool:    "true or false",
		reflect.Map:     `lists of keys, like move = ["space", "pgdown"]`,
	}[t.Kind()]
}

// profileFolder is where the user's profiles lie.
func (h *host) profileFolder() string { return filepath.Join(h.config, "profiles") }

// profiles loads the built-in profiles and the user's over them.
func (h *host) profiles() (*profiles.Set, error) {
	return profiles.Load(filesIn(h.profileFolder()))
}
