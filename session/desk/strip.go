package desk

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"wetside/session"
	"wetside/session/notebook"
)

// A Strip is the file of the fog test that waits for its answer: the strip is
// developed while the program may end.
type Strip string

// StripIn is the one in the state folder.
func StripIn(state string) Strip { return Strip(filepath.Join(state, "fog-test.json")) }

// Keep writes it; nil takes it away.
func (s Strip) Keep(t *session.FogTest) error {
	if t == nil {
		return os.Remove(string(s))
	}
	data, err := json.Marshal(t)
	if err != nil {
		return err
	}
	return notebook.Replace(string(s), data)
}

// Read returns nil where none waits.
func (s Strip) Read() (*session.FogTest, error) {
	f, err := notebook.OpenFile(string(s))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	var data []byte
	if err == nil {
		data, err = io.ReadAll(f)
		f.Close()
	}
	if err != nil {
		return nil, fmt.Errorf("whether a fog test waits for its answer cannot be read: %w", err)
	}
	var t session.FogTest
	if err := json.Unmarshal(data, &t); err != nil || !slices.Contains(session.Levels, t.Level) {
		return nil, fmt.Errorf("%s is damaged: the fog test in it must be done again; remove the file", s)
	}
	return &t, nil
}
