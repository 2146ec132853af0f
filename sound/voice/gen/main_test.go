package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"wetside/session/sessiontest"
	"wetside/sound/voice/pack"
)

// The clips in the tree are what flite makes of the list today.
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
	again, err := build("../clips.txt", "")
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(have, again) {
		t.Error("clips.pack is not what the list gives: go generate wetside/sound/voice")
	}
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
