package main

import (
	"bytes"
	"fmt"
	"os"
)

// keeperStopped reports whether the keeper is stopped by a signal (proc(5), stat).
func keeperStopped() bool {
	b, _ := os.ReadFile(fmt.Sprintf("/proc/%d/stat", os.Getppid()))
	end := bytes.LastIndexByte(b, ')')
	return end >= 0 && len(b) > end+2 && b[end+2] == 'T'
}
