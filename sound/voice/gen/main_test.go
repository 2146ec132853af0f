package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"wetside/sound/voice/pack"
)

// The clips in the tree are what flite makes of the list today.
func TestClipsAreReproduced(t *testing.T) {
	if _, err := exec.LookPath("flite"); err != nil {
		if os.Getenv("WETSIDE_RIG") == "required" {
			t.Fatalf("this test needs the Debian package flite: %v", err)
		}
		t.Skipf("NOT RUN: this test needs the Debian package flite: %v", err)
	}
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
		t.Skipf("NOT RUN: the clips were made with %s, here is %s", p.Made, now)
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
