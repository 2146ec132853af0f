//go:build unix

package main

import (
	"os/exec"
	"syscall"
)

// asUser has a command run with another user's rights; 0 is this one.
func asUser(cmd *exec.Cmd, id uint32) {
	if id != 0 {
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: id, Gid: id}}
	}
}
