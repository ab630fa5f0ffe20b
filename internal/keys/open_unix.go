//go:build unix

package keys

import "syscall"

// nonblocking lets a device that is busy say so, and a read be ended.
const nonblocking = syscall.O_NONBLOCK
