package notebook

import (
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// A NotAFileError says that what has the name of a file is something else.
type NotAFileError struct {
	Path string
	Mode fs.FileMode
}

func (e *NotAFileError) Error() string {
	what := "something else than"
	switch {
	case e.Mode.IsDir():
		what = "a folder, not"
	case e.Mode&fs.ModeSymlink != 0:
		what = "a link, not"
	case e.Mode&fs.ModeNamedPipe != 0:
		what = "a pipe, not"
	case e.Mode&fs.ModeSocket != 0:
		what = "a socket, not"
	case e.Mode&fs.ModeDevice != 0:
		what = "a device, not"
	}
	return fmt.Sprintf("%s is %s a file", e.Path, what)
}

// OpenFile opens a file for reading. What is no file, such as a pipe that
// nobody writes to, is refused with a [NotAFileError] and not waited for.
func OpenFile(path string) (*os.File, error) {
	// Looked at first: opening a pipe waits for its other end.
	st, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if !st.Mode().IsRegular() {
		return nil, &NotAFileError{path, st.Mode()}
	}
	return os.Open(path)
}

// WriteFile writes a file whole or not at all: under another name beside it,
// synced, renamed, and the folder synced. A new file is the user's own to read;
// one that is replaced keeps its mode. What is there and is no file, a link
// too, is left alone: [NotAFileError].
func WriteFile(path string, write func(io.Writer) error) error {
	mode := fs.FileMode(0o600)
	switch st, err := os.Lstat(path); {
	case err == nil && !st.Mode().IsRegular():
		return &NotAFileError{path, st.Mode()}
	case err == nil:
		mode = st.Mode().Perm()
	case !os.IsNotExist(err):
		return err
	}
	dir := filepath.Dir(path)
	f, err := os.CreateTemp(dir, "."+filepath.Base(path)+".*.part")
	if err != nil {
		return err
	}
	err = write(f)
	if err == nil && mode != 0o600 {
		err = f.Chmod(mode)
	}
	if err == nil {
		err = f.Sync()
	}
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		os.Remove(f.Name())
		return err
	}
	return syncDir(dir)
}

// Replace is WriteFile for a file of the program's own: it makes the folder where
// there is none, and where the user has put a link in the file's place, what it
// points to is written.
func Replace(path string, data []byte) error {
	if real, err := filepath.EvalSymlinks(path); err == nil {
		path = real
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	return WriteFile(path, func(w io.Writer) error {
		_, err := w.Write(data)
		return err
	})
}
