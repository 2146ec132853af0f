package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"wetside/tui"
	"wetside/tui/ember"
)

func TestAStripIsKept(t *testing.T) {
	p := program{host: &host{state: filepath.Join(t.TempDir(), "not yet there")}}
	if r, err := p.strip(); r != nil || err != nil {
		t.Fatalf("at first: %+v, %v", r, err)
	}
	want := tui.FogResult{Paper: "dp", PreExposed: true, Level: ember.Ember, At: time.Date(2026, 5, 9, 14, 16, 0, 0, time.UTC)}
	if err := p.keepStrip(&want); err != nil {
		t.Fatal(err)
	}
	if r, err := p.strip(); err != nil || *r != want {
		t.Errorf("read back %+v, %v", r, err)
	}
	if err := os.WriteFile(p.stripFile(), []byte(`{"Level":"pink"}`), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := p.strip(); err == nil || !strings.Contains(err.Error(), p.stripFile()) {
		t.Errorf("a damaged one: %v", err)
	}
	if err := p.keepStrip(nil); err != nil {
		t.Error(err)
	}
	if r, err := p.strip(); r != nil || err != nil {
		t.Errorf("after it was answered: %+v, %v", r, err)
	}
}
