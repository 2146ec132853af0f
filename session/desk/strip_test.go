package desk

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"wetside/session"
)

func TestAStripIsKept(t *testing.T) {
	strip := StripIn(filepath.Join(t.TempDir(), "not yet there"))
	if r, err := strip.Read(); r != nil || err != nil {
		t.Fatalf("at first: %+v, %v", r, err)
	}
	want := session.FogTest{Paper: "dp", PreExposed: true, Level: "ember", At: time.Date(2026, 5, 9, 14, 16, 0, 0, time.UTC)}
	if err := strip.Keep(&want); err != nil {
		t.Fatal(err)
	}
	if r, err := strip.Read(); err != nil || *r != want {
		t.Errorf("read back %+v, %v", r, err)
	}
	if err := os.WriteFile(string(strip), []byte(`{"Level":"pink"}`), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := strip.Read(); err == nil || !strings.Contains(err.Error(), string(strip)) {
		t.Errorf("a damaged one: %v", err)
	}
	if err := strip.Keep(nil); err != nil {
		t.Error(err)
	}
	if r, err := strip.Read(); r != nil || err != nil {
		t.Errorf("after it was answered: %+v, %v", r, err)
	}
}
