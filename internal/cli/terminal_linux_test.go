package cli

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
	"unsafe"

	"singback/internal/store"
)

// terminal is a pseudo-terminal of the system, and what was shown on it.
type terminal struct {
	master, slave *os.File
	mu            sync.Mutex
	text          bytes.Buffer
	more          chan struct{}
	gone          chan struct{}
}

func ioctl(f *os.File, request uintptr, arg unsafe.Pointer) error {
	if _, _, errno := syscall.Syscall(syscall.SYS_IOCTL, f.Fd(), request, uintptr(arg)); errno != 0 {
		return errno
	}
	return nil
}

func newTerminal(t *testing.T) *terminal {
	t.Helper()
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR|syscall.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	var unlocked, number int32
	size := [4]uint16{24, 80}
	if err := errors.Join(
		ioctl(master, syscall.TIOCSPTLCK, unsafe.Pointer(&unlocked)), ioctl(master, syscall.TIOCGPTN, unsafe.Pointer(&number)),
		ioctl(master, syscall.TIOCSWINSZ, unsafe.Pointer(&size)),
	); err != nil {
		t.Fatal(err)
	}
	slave, err := os.OpenFile(fmt.Sprintf("/dev/pts/%d", number), os.O_RDWR|syscall.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	m := &terminal{master: master, slave: slave, more: make(chan struct{}, 1), gone: make(chan struct{})}
	go func() {
		defer close(m.gone)
		b := make([]byte, 4096)
		for {
			n, err := master.Read(b)
			m.mu.Lock()
			m.text.Write(b[:n])
			m.mu.Unlock()
			select {
			case m.more <- struct{}{}:
			default:
			}
			if err != nil {
				return
			}
		}
	}()
	t.Cleanup(func() { master.Close(); slave.Close() })
	return m
}

// start runs a command as the leader of a session on the terminal.
func (m *terminal) start(t *testing.T, dir, name string, args ...string) *exec.Cmd {
	t.Helper()
	if signal.Ignored(syscall.SIGHUP) { // under nohup, which the program would inherit
		signal.Notify(make(chan os.Signal, 1), syscall.SIGHUP)
	}
	cmd := exec.CommandContext(t.Context(), name, args...)
	cmd.Dir, cmd.Stdin, cmd.Stdout, cmd.Stderr = dir, m.slave, m.slave, m.slave
	cmd.Env = append(append(os.Environ(), noDevices(dir)...), "TERM=xterm-256color", "XDG_DATA_HOME="+dir)
	cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true, Setctty: true}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
	return cmd
}

func (m *terminal) shown() string {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.text.String()
}

// await waits until text is shown, after what was shown up to from, and returns
// where it ends.
func (m *terminal) await(t *testing.T, from int, text string) int {
	t.Helper()
	late := time.NewTimer(time.Minute)
	defer late.Stop()
	for {
		if at := strings.Index(m.shown()[from:], text); at >= 0 {
			return from + at + len(text)
		}
		select {
		case <-m.more:
		case <-late.C:
			t.Fatalf("%q is not shown in a minute: %q", text, m.shown()[from:])
		}
	}
}

// cooked tells whether the terminal echoes and hands on whole lines.
func (m *terminal) cooked(t *testing.T) bool {
	t.Helper()
	var mode syscall.Termios
	if err := ioctl(m.slave, syscall.TCGETS, unsafe.Pointer(&mode)); err != nil {
		t.Fatal(err)
	}
	return mode.Lflag&(syscall.ICANON|syscall.ECHO) == syscall.ICANON|syscall.ECHO
}

// The control functions of xterm for its second screen.
const (
	screenOn  = "\x1b[?1049h"
	screenOff = "\x1b[?1049l"
)

var onScreen = []string{"sing", "--input", "simulated", "--output", "none", "--set", "tonic", "--think", "0", "--compare=false", "--retry", "never", "--count", "1000", "--seed", "4", "--record", "r.db"}

// recorded is how many answers a record has, which must be sound.
func recorded(t *testing.T, path string) int {
	t.Helper()
	r, err := store.ReadRecord(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	n := 0
	for _, err := range r.Answers(t.Context(), store.Query{}) {
		if err != nil {
			t.Fatal(err)
		}
		n++
	}
	return n
}

// However a drill is ended from outside, the terminal is what it was, and what was
// sung is kept and said.
func TestScreenEndedFromOutside(t *testing.T) {
	for name, end := range map[string]func(m *terminal, p *os.Process){
		"INT":    func(_ *terminal, p *os.Process) { p.Signal(syscall.SIGINT) },
		"TERM":   func(_ *terminal, p *os.Process) { p.Signal(syscall.SIGTERM) },
		"HUP":    func(_ *terminal, p *os.Process) { p.Signal(syscall.SIGHUP) },
		"QUIT":   func(_ *terminal, p *os.Process) { p.Signal(syscall.SIGQUIT) },
		"q":      func(m *terminal, _ *os.Process) { io.WriteString(m.master, "q") },
		"Ctrl-C": func(m *terminal, _ *os.Process) { io.WriteString(m.master, "\x03") },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			m, dir := newTerminal(t), t.TempDir()
			if !m.cooked(t) {
				t.Fatal("the terminal is raw before")
			}
			cmd := m.start(t, dir, "singback", onScreen...)
			at := m.await(t, 0, screenOn)
			m.await(t, at, "right so far")
			end(m, cmd.Process)
			over := make(chan error, 1)
			go func() { over <- cmd.Wait() }()
			select {
			case err := <-over:
				if err != nil {
					t.Errorf("%v: %q", err, m.shown()[at:])
				}
			case <-time.After(2 * time.Minute):
				t.Fatalf("it runs on: %q", m.shown()[at:])
			}
			at = m.await(t, at, screenOff)
			at = m.await(t, at, "right in C major")
			m.await(t, at, "/r.db")
			if !m.cooked(t) || strings.Contains(m.shown(), "goroutine ") {
				t.Errorf("raw, or a dump: %q", m.shown()[at:])
			}
			if n := recorded(t, filepath.Join(dir, "r.db")); n < 1 {
				t.Errorf("%d answers are recorded", n)
			}
		})
	}
}

// A terminal that goes away leaves nobody to tell, but a record to keep.
func TestTerminalGoesAway(t *testing.T) {
	t.Parallel()
	m, dir := newTerminal(t), t.TempDir()
	cmd := m.start(t, dir, "singback", onScreen...)
	m.await(t, 0, "right so far")
	m.slave.Close()
	m.master.Close()
	over := make(chan error, 1)
	go func() { over <- cmd.Wait() }()
	select {
	case <-over:
	case <-time.After(time.Minute):
		t.Fatal("it runs on without a terminal")
	}
	if n := recorded(t, filepath.Join(dir, "r.db")); n < 1 {
		t.Errorf("%d answers are recorded", n)
	}
}

// Stopped by the key, the drill leaves the terminal to the shell; stopped by the key
// or by a signal, it goes on where it was.
func TestScreenStopped(t *testing.T) {
	if raceDetector {
		t.Skip("bubbletea 2.1.1 races with itself where it gives the terminal back (Program.exec and the renderer that it stops), which ends a program under the race detector with status 66")
	}
	for name, stop := range map[string]func(m *terminal){
		"Ctrl-Z": func(m *terminal) { io.WriteString(m.master, "\x1a") },
		"TSTP": func(m *terminal) {
			var group int32
			if err := ioctl(m.master, syscall.TIOCGPGRP, unsafe.Pointer(&group)); err != nil {
				t.Error(err)
				return
			}
			syscall.Kill(-int(group), syscall.SIGTSTP)
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			m := newTerminal(t)
			cmd := m.start(t, t.TempDir(), "sh", append([]string{"-c", `set -m; singback "$@"; echo "stopped $?"; read x; fg >/dev/null; echo "ended $?"`, "sh"}, onScreen...)...)
			at := m.await(t, 0, screenOn)
			m.await(t, at, "right so far")
			stop(m)
			if name == "Ctrl-Z" {
				at = m.await(t, at, screenOff)
			}
			at = m.await(t, at, fmt.Sprintf("stopped %d", 128+syscall.SIGTSTP))
			if name == "Ctrl-Z" && !m.cooked(t) {
				t.Error("the shell has a raw terminal")
			}
			io.WriteString(m.master, "\n")
			at = m.await(t, at, screenOn)
			at = m.await(t, at, "right so far")
			io.WriteString(m.master, "q")
			at = m.await(t, at, screenOff)
			m.await(t, at, "ended 0")
			if err := cmd.Wait(); err != nil || !m.cooked(t) {
				t.Errorf("%v; raw: %v", err, !m.cooked(t))
			}
		})
	}
}

// Where nobody would wake it, the program is not stopped, and is not held up.
func TestScreenWithoutAShell(t *testing.T) {
	t.Parallel()
	m := newTerminal(t)
	cmd := m.start(t, t.TempDir(), "singback", onScreen...)
	at := m.await(t, 0, screenOn)
	io.WriteString(m.master, "\x1a")
	at = m.await(t, at, screenOff)
	at = m.await(t, at, screenOn)
	m.await(t, at, "right so far")
	io.WriteString(m.master, "q")
	m.await(t, at, screenOff)
	if err := cmd.Wait(); err != nil {
		t.Error(err)
	}
}
