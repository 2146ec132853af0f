package main

import (
	_ "embed"
	"strings"
)

//go:embed doc/NOTICES
var notices string

// LicencesCmd prints the licences.
type LicencesCmd struct{}

// Help shows how it is used.
func (LicencesCmd) Help() string {
	return `Examples:

  wetside licences
  wetside licences | less

wetside's own, and those of all that is linked into it.`
}

// Run prints them.
func (LicencesCmd) Run(h *host) error {
	for line := range strings.Lines(notices) {
		h.say("%s", strings.TrimRight(line, "\n"))
	}
	return nil
}
