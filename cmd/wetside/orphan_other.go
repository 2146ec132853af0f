//go:build !unix

package main

import (
	"io"
	"os"
	"os/exec"

	tea "github.com/charmbracelet/bubbletea"

	"wetside/tui/ember"
)

// leash: a child is handed no further files here.
func leash(*exec.Cmd) (io.Closer, error) { return io.NopCloser(nil), nil }

func (p program) mind(*tea.Program, *ember.Guard, *os.File) (stop func()) { return func() {} }

func (p program) takeOver() {}
