package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"wetside/session/say"
	"wetside/session/sessiontest"
	"wetside/sound/voice/pack"
)

// The clips in the tree are what flite makes of the list today: those that the list
// says something of, and of the rest, which are spoken as they are called, each
// eighth; with WETSIDE_SOAK=1 all.
func TestClipsAreReproduced(t *testing.T) {
	sessiontest.Need(t, "flite")
	have, err := os.ReadFile("../clips.pack")
	if err != nil {
		t.Fatal(err)
	}
	p, err := pack.Decode(have)
	if err != nil {
		t.Fatal(err)
	}
	now, err := made()
	if err != nil {
		t.Fatal(err)
	}
	if now != p.Made {
		// Another flite, or another processor's arithmetic, gives other bytes.
		sessiontest.Leave(t, "the clips were made with "+p.Made+", and here is "+now, "use that flite")
	}
	if !slices.Equal(p.Names(), say.Clips()) {
		t.Fatal("clips.pack has not the clips that package say wants: go generate wetside/sound/voice")
	}
	all := os.Getenv("WETSIDE_SOAK") != ""
	data, err := build("../clips.txt", "", func(i int, l line) bool {
		return all || i%8 == 0 || l.text != l.name || l.pace != 1 || l.low != low || l.voice != voiceDefault
	})
	if err != nil {
		t.Fatal(err)
	}
	again, err := pack.Decode(data)
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range again.Names() {
		if !slices.Equal(again.Samples(n), p.Samples(n)) {
			t.Errorf("clip %q is not what the list gives: go generate wetside/sound/voice", n)
		}
	}
	t.Logf("%d of %d clips made again", len(again.Names()), len(p.Names()))
}

func TestListFaultsNameTheirLine(t *testing.T) {
	for text, want := range map[string]string{
		"one\none":           ":2: \"one\" stands in line 1",
		"# x\none || pace=q": ":2: pace wants",
		"one || speed=2":     ":1: unknown option",
		"one || low=deep":    ":1: low wants",
	} {
		f := filepath.Join(t.TempDir(), "list")
		if err := os.WriteFile(f, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		if _, err := readList(f); err == nil || !strings.Contains(err.Error(), f+want) {
			t.Errorf("%q: %v", text, err)
		}
	}
}
