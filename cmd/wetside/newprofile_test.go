package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"wetside/profiles"
)

// A profile that is changed while the program runs holds for the sheets added
// from then on; one that is at fault leaves all as it was, and is told.
func TestAChangedProfileHoldsFromThenOn(t *testing.T) {
	config := t.TempDir()
	file := filepath.Join(config, "profiles", "cameras", "tin.toml")
	if err := os.MkdirAll(filepath.Dir(file), 0o700); err != nil {
		t.Fatal(err)
	}
	write := func(focal string) {
		t.Helper()
		data := "camera = \"tin\"\nname = \"Tin\"\nshape = \"flat\"\nfocal = \"" + focal + "\"\npinhole = \"0.5 mm\"\nsheet = \"9x12 cm\"\n"
		if err := os.WriteFile(file, []byte(data), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	write("75 mm")
	s := &sitting{program: program{host: &host{config: config}}}
	set, err := s.profiles()
	if err != nil {
		t.Fatal(err)
	}
	plan := s.newest(&profiles.Planner{Set: set})
	form := profiles.Form{Paper: "direct-positive-fb", Process: "three-trays", Camera: "tin", Light: "EV 12"}
	reckon := func() profiles.Reckoned {
		t.Helper()
		r, err := plan(form)
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	before := reckon()
	write("150 mm")
	after := reckon()
	if after.Exposure < 4*before.Exposure || len(after.Notes) > 0 {
		t.Errorf("twice as far, and yet %v after %v; %q", after.Exposure, before.Exposure, after.Notes)
	}
	write("a mile")
	if r := reckon(); r.Exposure != after.Exposure || len(r.Notes) != 1 || !strings.Contains(r.Notes[0], "tin.toml:4: ") {
		t.Errorf("a faulty file: %v, %q", r.Exposure, r.Notes)
	}
	write("75 mm")
	if r := reckon(); r.Exposure != before.Exposure || len(r.Notes) > 0 {
		t.Errorf("mended: %v, %q", r.Exposure, r.Notes)
	}
}

// Three answers on the bench make a camera that the next sheet can be exposed in:
// in mm or inches, with the hole as measured or as scanned.
func TestACameraInThreeAnswers(t *testing.T) {
	s := &sitting{program: program{host: &host{config: t.TempDir()}}}
	for _, bad := range [][]string{{"cake tin"}, {"cake tin, oval, 100 mm"}, {"cake tin, round, wide"}, {"tea caddy, round, 100 mm"}, {", flat, 75 mm"}, {"cake tin, round, 0 mm"},
		{"cake tin, round, 100 mm", "0"}, {"cake tin, round, 100 mm", "50 mm"}, // at once: the third question cannot be answered else
		{"cake tin, round, 100 mm", "small"}, {"cake tin, round, 100 mm", "0.5", "large"}} {
		if c, err := s.newCamera(bad...); err == nil {
			t.Errorf("%q makes %v", bad, c)
		}
	}
	for name, a := range map[string][]string{
		"cake-tin":  {"cake tin, round, 100 mm across", "0.5", "12x9 cm"},
		"hat-box-3": {"Hat box 3, flat, 3 in deep", "2400 dpi, 47 pixels", "5x4 in"},
	} {
		for n := 1; n < 3; n++ {
			if _, err := s.newCamera(a[:n]...); err != nil {
				t.Errorf("%q: %v", a[:n], err)
			}
		}
		c, err := s.newCamera(a...)
		if err != nil || c.Key != name {
			t.Errorf("%q: %v, %v", a, c, err)
			continue
		}
		set, err := s.profiles()
		if err != nil {
			t.Fatal(err)
		}
		if r, err := (&profiles.Planner{Set: set}).Plan(profiles.Form{Paper: "direct-positive-fb", Process: "three-trays", Camera: name, Light: "overcast"}); err != nil || r.Exposure <= 0 {
			t.Errorf("%s: %v, %v", name, r.Exposure, err)
		}
		if _, err := s.newCamera(a...); err == nil {
			t.Errorf("%s is kept twice", name)
		}
	}
}
