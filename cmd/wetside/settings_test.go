package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"wetside/profiles"
)

func settingsOf(t *testing.T, text string, env map[string]string) (settings, profiles.Problems) {
	t.Helper()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "settings.toml"), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return loadSettings(&host{config: dir, getenv: func(k string) string { return env[k] }})
}

// A volume of nothing is a volume, and what is no number is left out and told.
func TestVolumeIsTakenAsWritten(t *testing.T) {
	env := func(v string) map[string]string { return map[string]string{"WETSIDE_VOLUME": v} }
	for _, c := range []struct {
		text, env string
		want      float64
	}{{"", "", 0.7}, {"volume = 0", "", 0}, {"volume = 0.0", "", 0}, {"volume = 0.2", "0", 0}, {"", "0,5", 0.5}, {"volume = 0.2", "0.5", 0.5}, {"volume = 0.2", "", 0.2}} {
		if s, wrong := settingsOf(t, c.text, env(c.env)); len(wrong) > 0 || s.Volume != c.want {
			t.Errorf("%q, WETSIDE_VOLUME=%q: volume %g, %v; want %g", c.text, c.env, s.Volume, wrong, c.want)
		}
	}
	for _, c := range [][2]string{{"volume = nan", ""}, {"backlight = nan", ""}, {"", "NaN"}, {"volume = 2.0", ""}} {
		if s, wrong := settingsOf(t, c[0], env(c[1])); len(wrong) != 1 || s.Volume != 0.7 || s.Backlight != 0 {
			t.Errorf("%q, WETSIDE_VOLUME=%q: taken as %g, %g, told %v", c[0], c[1], s.Volume, s.Backlight, wrong)
		}
	}
}

// Whatever stands in the settings, there are settings to go on with: what is
// sound of the file, defaults for the rest, and each fault told with its line.
func TestFaultySettingsAreLeftOut(t *testing.T) {
	for name, c := range map[string]struct {
		text string
		env  map[string]string
		told []string // beginnings
		talk string
		move string
	}{
		"sound":                          {"talk = 'few'\nmove = '5s'\n", nil, nil, "few", "5s"},
		"a setting not known":            {"talk = 'few'\ncolour = 'green'\nmove = '5s'\n", nil, []string{`settings.toml:2: there is no setting "colour"; there are level, talk`}, "few", "5s"},
		"a table":                        {"talk = 'few'\n[room]\nlamp = 1\n", nil, []string{"settings.toml:", "settings.toml:"}, "few", "8s"},
		"a value out of range":           {"talk = 'few'\n\nvolume = 7.0\n", nil, []string{"settings.toml:3: volume is from 0 to 1, not 7"}, "few", "8s"},
		"a word not known":               {"move = 'soon'\ntalk = 'mumble'\n", nil, []string{"settings.toml:2: talk is few, normal or full", "settings.toml:1: move is the time"}, "normal", "8s"},
		"another type":                   {"talk = 'few'\nvolume = 'loud'\nmove = '5s'\n", nil, []string{"settings.toml:2: "}, "few", "5s"},
		"torn":                           {"talk = 'few'\nmove = '5", nil, []string{"settings.toml:2: "}, "few", "8s"},
		"twice":                          {"talk = 'few'\ntalk = 'full'\n", nil, []string{"settings.toml:2: "}, "few", "8s"},
		"no text at all":                 {"\x00\xff\x00\xfe\x7fELF", nil, []string{"settings.toml:1: "}, "normal", "8s"},
		"torn in a long text":            {"talk = 'few'\nmove = \"\"\"5s\n\n\n", nil, []string{"settings.toml:"}, "normal", "8s"},
		"the environment":                {"", map[string]string{"WETSIDE_TALK": "mumble", "WETSIDE_MOVE": "5s"}, []string{"WETSIDE_TALK: talk is few"}, "normal", "5s"},
		"the environment goes first":     {"talk = 'few'\nmove = '9s'", map[string]string{"WETSIDE_TALK": "full"}, nil, "full", "9s"},
		"a fault in front of the file":   {"talk = 'few'", map[string]string{"WETSIDE_TALK": "mumble"}, []string{"WETSIDE_TALK: talk is few"}, "few", "8s"},
		"the environment behind a fault": {"talk = 'mumble'", map[string]string{"WETSIDE_TALK": "full"}, []string{"settings.toml:1: talk"}, "full", "8s"},
	} {
		s, wrong := settingsOf(t, c.text, c.env)
		if s.Talk != c.talk || s.Move != c.move || s.Level != "ember" || s.Volume != 0.7 {
			t.Errorf("%s: %+v", name, s)
		}
		ok := len(wrong) == len(c.told)
		for i := range min(len(wrong), len(c.told)) {
			ok = ok && strings.HasPrefix(wrong[i].Error(), c.told[i])
		}
		if !ok {
			t.Errorf("%s: told %q", name, wrong)
		}
	}
}
