package page

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"singback/internal/store"
)

// onSmallDisk runs the test that calls it in another process that has a disk of
// 256 kB of its own, and returns its folder there; done is true outside. Root may
// have such a disk, and others where the system lets them have users of their own.
func onSmallDisk(t *testing.T) (dir string, done bool) {
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
		t.Skipf("this system gives no disk to a test (%v %.100s); TestStatus has the error of one that is full", err, out)
	case err != nil || !strings.Contains(string(out), "--- PASS: "+t.Name()):
		t.Errorf("on a disk of its own: %v, want that it passes:\n%s", err, out)
	}
	return "", true
}

// fillDisk takes all room that is left, and returns what gives it back.
func fillDisk(t *testing.T, dir string) (free func()) {
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

// On a disk that is full, or whose record must not be changed, an answer is refused in
// these words, what was acknowledged is there, and it goes on when there is room.
func TestFullDisk(t *testing.T) {
	dir, done := onSmallDisk(t)
	if done {
		return
	}
	s := served(t)
	s.home.Record = filepath.Join(dir, "record.db")
	free := fillDisk(t, dir)
	refusedWith(t, "before there is a record", s.ask("POST", "data/answers", rows(t, 10)), 507, "the disk is full", "make room")
	free()
	says(t, "with room", s.ask("POST", "data/answers", rows(t, 10)), `{"read":10,"added":10}`)
	free = fillDisk(t, dir)
	refusedWith(t, "when it has become full", s.ask("POST", "data/answers", rows(t, 800)), 507, "the disk is full", "make room")
	if w := s.ask("GET", "data/record", ""); w.Code != 200 || w.Body.String() != exported(t, s.home.Record, store.CSV) || strings.Count(w.Body.String(), "\n") != 11 {
		t.Errorf("reading needs no room: %d, %.200s", w.Code, w.Body)
	}
	free()
	says(t, "with room again", s.ask("POST", "data/answers", rows(t, 20)), `{"read":20,"added":10}`)
	if err := syscall.Mount("", dir, "", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		t.Fatal(err)
	}
	refusedWith(t, "on a disk to read", s.ask("POST", "data/answers", rows(t, 30)), 500, "it cannot be written: the file or its folder is read-only", "--record")
	if err := syscall.Mount("", dir, "", syscall.MS_REMOUNT, ""); err != nil {
		t.Fatal(err)
	}
	// A page that does not fit is not written at all.
	free = fillDisk(t, dir)
	before := listing(t, dir)
	if _, err := site(t).WriteFolder(filepath.Join(dir, "page"), false); err == nil || strings.Contains(err.Error(), "\n") {
		t.Errorf("the page on a full disk: %v", err)
	}
	if after := listing(t, dir); len(after) != len(before) {
		t.Errorf("%d things became %d", len(before), len(after))
	}
	free()
	if _, err := site(t).WriteFolder(filepath.Join(dir, "page"), false); err != nil {
		t.Error(err)
	}
}
