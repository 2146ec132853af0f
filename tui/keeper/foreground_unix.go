//go:build unix

package keeper

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// Foreground reports whether keys of this terminal are for this process and its
// like. They are not while a shell has it back, because it stopped or ended what it
// had started (tcgetpgrp(3)).
func Foreground(tty *os.File) bool {
	group, err := unix.IoctlGetInt(int(tty.Fd()), unix.TIOCGPGRP)
	return err != nil || group <= 0 || group == unix.Getpgrp()
}

// notOurs reports whether err is how a read from behind is refused.
func notOurs(tty *os.File, err error) bool {
	return errors.Is(err, unix.EIO) && !Foreground(tty)
}
