//go:build cgo && (linux || darwin)

package device

import (
	"os"
	"runtime/debug"
	"sync"
	"syscall"
)

// ALSA, JACK and PortAudio print on descriptor 2 whenever they like: up to a
// hundred lines while devices are looked for, one at every underrun, several
// when a device goes away. So the program's own os.Stderr gets a descriptor of
// its own when the program starts, and descriptor 2 points nowhere while
// PortAudio is at work. Nothing that is written to os.Stderr is ever lost.
var (
	descriptor2 = os.Stderr // kept, so that it is never closed
	ownStderr   = separate()
)

// separate moves os.Stderr to a new descriptor, if there is a descriptor 2.
// Standard error is as it was for everyone who uses os.Stderr from now on.
func separate() bool {
	syscall.ForkLock.RLock() // so that no child inherits it
	defer syscall.ForkLock.RUnlock()
	fd, err := syscall.Dup(2)
	if err != nil {
		return false
	}
	syscall.CloseOnExec(fd)
	os.Stderr = os.NewFile(uintptr(fd), descriptor2.Name())
	return true
}

var quiet struct {
	sync.Mutex
	depth int
}

// hush silences descriptor 2 until the matching unhush. Calls may overlap.
func hush() {
	quiet.Lock()
	defer quiet.Unlock()
	quiet.depth++
	if quiet.depth > 1 || !ownStderr {
		return
	}
	null, err := os.OpenFile(os.DevNull, os.O_WRONLY, 0)
	if err != nil {
		return // with the noise, then
	}
	defer null.Close()
	redirect(int(null.Fd()), 2)
	debug.SetCrashOutput(os.Stderr, debug.CrashOptions{}) // a panic must be seen
}

func unhush() {
	quiet.Lock()
	defer quiet.Unlock()
	quiet.depth--
	if quiet.depth > 0 || !ownStderr {
		return
	}
	redirect(int(os.Stderr.Fd()), 2)
	debug.SetCrashOutput(nil, debug.CrashOptions{})
}
