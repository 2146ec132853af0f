package ember

import (
	"os"

	"golang.org/x/sys/windows"
)

// EnableVT makes a Windows console act on control sequences; older ones print
// them as text unless asked.
func EnableVT(f *os.File) error {
	var mode uint32
	h := windows.Handle(f.Fd())
	if err := windows.GetConsoleMode(h, &mode); err != nil {
		return err
	}
	return windows.SetConsoleMode(h, mode|windows.ENABLE_PROCESSED_OUTPUT|windows.ENABLE_VIRTUAL_TERMINAL_PROCESSING)
}
