//go:build unix

package cli

import (
	"os/exec"
	"syscall"
)

// apart has a program live on when this one is interrupted.
func apart(cmd *exec.Cmd) { cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} }
