package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/charmbracelet/x/term"

	"wetside/session/notebook"
)

// stdio is the name that stands for the standard streams.
const stdio = "-"

// filesIn is a folder of the user's in which only files are opened, and no pipe
// or device that would be waited for.
func filesIn(dir string) fs.FS { return folder{os.DirFS(dir), dir} }

type folder struct {
	fs.FS
	dir string
}

func (d folder) Open(name string) (fs.File, error) {
	st, err := fs.Stat(d.FS, name)
	if err == nil && !st.IsDir() && !st.Mode().IsRegular() {
		return nil, &fs.PathError{Op: "open", Path: name, Err: &notebook.NotAFileError{Path: filepath.Join(d.dir, name), Mode: st.Mode()}}
	}
	return d.FS.Open(name)
}

// A sink is standard output that remembers whether a write failed.
type sink struct {
	io.Writer
	err error
}

func (s *sink) Write(b []byte) (int, error) {
	n, err := s.Writer.Write(b)
	if err != nil && s.err == nil {
		s.err = err
	}
	return n, err
}

// output writes a file and says so; where none is named, it writes to standard output. An
// older file stays until the new one is complete.
func (h *host) output(name string, write func(io.Writer) error, said string) error {
	if name == "" || name == stdio {
		return write(h.out)
	}
	if err := notebook.WriteFile(name, write); err != nil {
		return noOutput(name, err)
	}
	h.say("%s", said)
	return nil
}

// textOnly refuses to write what is no text to a terminal.
func (h *host) textOnly() error {
	if _, out, _ := h.terminal(); out != nil && term.IsTerminal(out.Fd()) {
		return usage("a notebook is no text for a terminal: lead it into a file or a program")
	}
	return nil
}

// spool copies standard input into a file, for what has to be read in any
// order. Call done when it is no longer needed.
func (h *host) spool() (name string, done func(), err error) {
	dir, err := os.MkdirTemp("", "wetside-*")
	if err != nil {
		return "", nil, err
	}
	done = func() { os.RemoveAll(dir) }
	name = filepath.Join(dir, "input")
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err == nil {
		_, err = io.Copy(f, h.in)
		err = errors.Join(err, f.Close())
	}
	if err != nil {
		done()
		return "", nil, err
	}
	return name, done, nil
}

// noOutput says why a file that the user named cannot be written.
func noOutput(name string, err error) error {
	var not *notebook.NotAFileError
	if errors.As(err, &not) {
		return usage("%w: choose another name, or - for standard output", err)
	}
	return fmt.Errorf("%s cannot be written: %w", name, err)
}
