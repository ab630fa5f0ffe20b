package testkit

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// OnSmallDisk runs the test that calls it in another process that has a disk of
// 256 kB of its own, and returns its folder there; done is true outside. Root may
// have such a disk, and others where the system lets them have users of their own.
func OnSmallDisk(t *testing.T) (dir string, done bool) {
	if os.Getenv("SINGBACK_TEST_DISK") != "" {
		dir := t.TempDir()
		if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=256k"); err != nil {
			fmt.Println("no disk:", err)
			t.SkipNow()
		}
		t.Cleanup(func() { syscall.Unmount(dir, syscall.MNT_DETACH) })
		return dir, false
	}
	cmd := exec.Command(os.Args[0], "-test.v", "-test.count=1", "-test.run=^"+t.Name()+"$")
	cmd.Env = append(os.Environ(), "SINGBACK_TEST_DISK=1")
	cmd.SysProcAttr = &syscall.SysProcAttr{Cloneflags: syscall.CLONE_NEWNS}
	if os.Geteuid() != 0 {
		cmd.SysProcAttr = &syscall.SysProcAttr{
			Cloneflags:  syscall.CLONE_NEWNS | syscall.CLONE_NEWUSER,
			UidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getuid(), Size: 1}},
			GidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getgid(), Size: 1}},
		}
	}
	out, err := cmd.CombinedOutput()
	switch {
	case errors.Is(err, syscall.EPERM), errors.Is(err, syscall.ENOSPC), strings.Contains(string(out), "no disk:"):
		t.Skipf("this system gives no disk to a test (%v %.100s)", err, out)
	case err != nil || !strings.Contains(string(out), "--- PASS: "+t.Name()):
		t.Errorf("on a disk of its own: %v, want that it passes:\n%s", err, out)
	}
	return "", true
}

// FillDisk takes all room that is left, and returns what gives it back.
func FillDisk(t *testing.T, dir string) (free func()) {
	t.Helper()
	name := filepath.Join(dir, "other things")
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	for err == nil {
		_, err = f.Write(make([]byte, 4096))
	}
	if f.Close(); !errors.Is(err, syscall.ENOSPC) {
		t.Fatal(err)
	}
	return func() {
		if err := os.Remove(name); err != nil {
			t.Fatal(err)
		}
	}
}
