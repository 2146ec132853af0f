package ember

import (
	"os"

	"golang.org/x/sys/unix"
)

// kdgkbtype asks a Linux console for its kind of keyboard, kb84 or kb101
// (ioctl_console(2), linux/kd.h). Whatever is no console refuses it.
const (
	kdgkbtype = 0x4B33
	kb84      = 1
	kb101     = 2
)

// OnConsole reports whether f is a console that the Linux kernel draws itself,
// which no value of TERM can tell: that is what any emulator may call itself.
func OnConsole(f *os.File) bool {
	if f == nil {
		return false
	}
	kind, err := unix.IoctlGetInt(int(f.Fd()), kdgkbtype)
	return err == nil && (byte(kind) == kb84 || byte(kind) == kb101)
}
