package main

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"wetside/profiles"
	"wetside/tui"
	"wetside/tui/ember"
)

// A fault in some other profile does not keep a fog test from being kept.
func TestAFogTestIsKeptBesideAFaultyProfile(t *testing.T) {
	dir := t.TempDir()
	root := filepath.Join(dir, "profiles", "cameras")
	if err := os.MkdirAll(root, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(root, "hat-box-two.toml"), []byte("camera = 3\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	set, err := profiles.Load(os.DirFS(filepath.Join(dir, "profiles")))
	if err == nil {
		t.Fatal("the faulty profile loads")
	}
	plan := &planner{set: set}
	keep := program{host: &host{config: dir}}.keepFogTest(plan)
	if err := keep(tui.FogResult{Paper: "direct-positive-fb", PreExposed: true, Safe: 4 * time.Minute, Level: ember.Ember,
		At: time.Date(2026, 5, 9, 14, 16, 0, 0, time.UTC)}); err != nil {
		t.Errorf("told as not kept: %v", err)
	}
	if p, err := plan.set.Paper("direct-positive-fb"); err != nil || !p.Safelight.IsTested() {
		t.Errorf("the planner does not know of it: %+v, %v", p.Safelight, err)
	}
}
