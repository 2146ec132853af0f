//go:build unix

package notebook

import (
	"io"
	"os"
	"path/filepath"
	"testing"
)

// A file that is written again keeps who may read it; a new one is its owner's alone.
func TestWriteFileKeepsTheMode(t *testing.T) {
	path := filepath.Join(t.TempDir(), "sheets.csv")
	write := func(text string, want os.FileMode) {
		t.Helper()
		if err := WriteFile(path, func(w io.Writer) error { _, err := io.WriteString(w, text); return err }); err != nil {
			t.Fatal(err)
		}
		st, err := os.Stat(path)
		if err != nil {
			t.Fatal(err)
		}
		if got, _ := os.ReadFile(path); string(got) != text || st.Mode().Perm() != want {
			t.Errorf("%q with mode %v, want %q with %v", got, st.Mode().Perm(), text, want)
		}
	}
	write("new", 0o600)
	if err := os.Chmod(path, 0o640); err != nil {
		t.Fatal(err)
	}
	write("again", 0o640)
}
