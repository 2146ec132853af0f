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
