//go:build !unix

package main

import (
	"os"
	"os/exec"

	tea "github.com/charmbracelet/bubbletea"

	"wetside/tui/ember"
)

// leash: a child is handed no further files here.
func leash(*exec.Cmd) (leashed, error) { return leashed{}, nil }

type leashed struct{}

func (leashed) Close() error               { return nil }
func (leashed) level() (ember.Level, bool) { return 0, false }

func (program) levelTold() func(ember.Level) { return nil }

func (p program) mind(*tea.Program, *ember.Guard, *os.File) (stop func()) { return func() {} }

func (p program) takeOver() {}

func (p program) awaitTerminal(*os.File) {}

// notifyStops: nobody is stopped here.
func notifyStops(_, _ chan<- os.Signal) {}
