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

// Ask writes questions for the terminal, by ask, the primary device attributes last,
// and reads until it has answered those or the time is over. What was typed meanwhile
// is given back as it came. The terminal is in raw mode.
func Ask(in *os.File, ask func() error, within time.Duration) (typed []byte, told Told) {
	if ask() != nil {
		return nil, told
	}
	var a answers
	for end := time.Now().Add(within); !a.told.All; {
		b, ok := readBefore(in, end)
		if !ok {
			break
		}
		typed = append(typed, a.take(b)...)
	}
	if len(a.held) == 1 {
		typed = append(typed, a.held...) // the key esc
	}
	return typed, a.told
}

// Drain reads on for answers that are late, so that the shell takes none of them for
// something that was typed: until the last has come, a key was pressed, or the time is
// over.
func Drain(in *os.File, within time.Duration) {
	var a answers
	for end := time.Now().Add(within); !a.told.All; {
		b, ok := readBefore(in, end)
		if !ok || len(a.take(b)) > 0 {
			return
		}
	}
}

// readBefore reads what comes before the end; false: nothing did.
func readBefore(in *os.File, end time.Time) ([]byte, bool) {
	for {
		left := time.Until(end)
		if left <= 0 {
			return nil, false
		}
		ready, err := unix.Poll([]unix.PollFd{{Fd: int32(in.Fd()), Events: unix.POLLIN}}, int(left.Milliseconds())+1)
		if errors.Is(err, unix.EINTR) {
			continue
		}
		if err != nil || ready == 0 {
			return nil, false
		}
		b := make([]byte, 4096)
		n, err := in.Read(b)
		return b[:max(0, n)], err == nil
	}
}
