//go:build unix

package keeper

import (
	"errors"
	"os"
	"time"

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

// Ask writes a question for the terminal, by ask, and reads until it has answered or
// the time is over: colour reports whether it told a colour of its palette. What was
// typed meanwhile is given back as it came. The terminal is in raw mode.
func Ask(in *os.File, ask func() error, within time.Duration) (typed []byte, colour bool) {
	if ask() != nil {
		return nil, false
	}
	var a answers
	b := make([]byte, 256)
	for end := time.Now().Add(within); !a.end; {
		left := time.Until(end)
		if left <= 0 {
			break
		}
		ready, err := unix.Poll([]unix.PollFd{{Fd: int32(in.Fd()), Events: unix.POLLIN}}, int(left.Milliseconds())+1)
		if errors.Is(err, unix.EINTR) {
			continue
		}
		if err != nil || ready == 0 {
			break
		}
		n, err := in.Read(b)
		if err != nil {
			break
		}
		typed = append(typed, a.take(b[:n])...)
	}
	if len(a.held) == 1 {
		typed = append(typed, a.held...) // the key esc
	}
	return typed, a.palette
}
