package keeper

import (
	"bytes"
	"fmt"
	"os"
)

// Stopped reports whether a process is stopped by a signal (proc(5), stat).
func Stopped(pid int) bool {
	b, _ := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	end := bytes.LastIndexByte(b, ')')
	return end >= 0 && len(b) > end+2 && b[end+2] == 'T'
}
