//go:build cgo

package device

import "syscall"

// redirect makes descriptor to the same as from.
func redirect(from, to int) error { return syscall.Dup2(from, to) }
