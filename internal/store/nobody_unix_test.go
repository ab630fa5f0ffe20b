//go:build unix

package store

import (
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// asNobody is for tests of what may not be written, which root may all the same:
// as root it runs the test that calls it in another process, as a user who may
// not, and reports that it did. The test is over then.
func asNobody(t *testing.T) (done bool) {
	if os.Geteuid() != 0 {
		return false
	}
	const nobody = 65534
	// Neither the test binary nor t.TempDir lies where nobody may enter.
	dir, err := os.MkdirTemp("", "nobody")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	own := filepath.Join(dir, "own")
	binary := filepath.Join(dir, "store.test")
	for _, err := range []error{
		os.Chmod(dir, 0o755), copyBinary(binary), os.Mkdir(own, 0o700), os.Chown(own, nobody, nobody),
	} {
		if err != nil {
			t.Fatal(err)
		}
	}
	cmd := exec.Command(binary, "-test.v", "-test.count=1", "-test.run=^"+t.Name()+"$")
	cmd.Dir = own
	cmd.Env = append(os.Environ(), "TMPDIR="+own, "HOME="+own)
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: nobody, Gid: nobody}}
	out, err := cmd.CombinedOutput()
	if errors.Is(err, syscall.EPERM) || errors.Is(err, syscall.EINVAL) {
		t.Skipf("root may not become another user here (%v), and may write in a read-only folder", err)
	}
	if err != nil || !strings.Contains(string(out), "--- PASS: "+t.Name()) {
		t.Errorf("as user %d: %v, want that it passes:\n%s", nobody, err, out)
	}
	return true
}

// copyBinary copies the test binary to where anybody may run it.
func copyBinary(path string) error {
	self, err := os.Executable()
	if err != nil {
		return err
	}
	from, err := os.Open(self)
	if err != nil {
		return err
	}
	defer from.Close()
	to, err := os.OpenFile(path, os.O_CREATE|os.O_WRONLY|os.O_EXCL, 0o755)
	if err != nil {
		return err
	}
	if _, err := io.Copy(to, from); err != nil {
		to.Close()
		return err
	}
	return errors.Join(to.Chmod(0o755), to.Close())
}
