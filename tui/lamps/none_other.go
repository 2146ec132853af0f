//go:build !linux && !darwin && !windows

package lamps

import "errors"

// New gives lamps that are the user's to mind.
func New(Options) Lamps { return noLamps{} }

type noLamps struct{}

func (noLamps) Dim(bool) error         { return nil }
func (noLamps) Raised() bool           { return false }
func (noLamps) Panel() (float64, bool) { return 0, false }
func (noLamps) Restore() error         { return nil }
func (noLamps) Inhibit(string) error {
	return errors.New("the machine may sleep or lock its screen, turn that off by hand")
}
func (noLamps) Release() error    { return nil }
func (noLamps) Report() []Finding { return byHand(false) }
