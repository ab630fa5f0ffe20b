//go:build cgo

package device

import "syscall"

// redirect makes descriptor to the same as from. Not every Linux has dup2.
func redirect(from, to int) error { return syscall.Dup3(from, to, 0) }
