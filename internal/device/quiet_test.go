//go:build cgo && (linux || darwin)

package device

import (
	"bytes"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"
)

// What drivers write to descriptor 2 is silenced from the first hush to the
// last unhush; what the program writes to os.Stderr never is, and neither is a
// panic.
func TestHushSilencesDriversAndNothingElse(t *testing.T) {
	const mode = "SINGBACK_TEST_HUSH"
	if os.Getenv(mode) != "" { // the child
		driver := func(s string) { syscall.Write(2, []byte(s)) }
		driver("1 ")
		hush()
		driver("NOISE ")
		os.Stderr.WriteString("2 ")
		hush()
		unhush()
		driver("NOISE ")
		os.Stderr.WriteString("3 ")
		unhush()
		driver("4 ")
		os.Stderr.WriteString("5 ")
		hush()
		panic("in the middle of a stream")
	}
	cmd := exec.Command(os.Args[0], "-test.run=^"+t.Name()+"$")
	cmd.Env = append(os.Environ(), mode+"=1")
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	cmd.Run() // fails: it panics
	got, crash, _ := strings.Cut(stderr.String(), "panic: ")
	if got != "1 2 3 4 5 " || !strings.HasPrefix(crash, "in the middle of a stream") {
		t.Errorf("standard error holds %q, want %q and the panic", stderr.String(), "1 2 3 4 5 ")
	}
}
