package testkit

import (
	"os"
	"os/exec"
	"testing"
)

// Tool returns the path of a program outside this project that a test compares
// with. If it is not installed the test is skipped, or fails where the
// environment variable SINGBACK_REQUIRE_TOOLS is 1, as .ci/run sets it.
func Tool(t testing.TB, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	switch {
	case err == nil:
		return path
	case os.Getenv("SINGBACK_REQUIRE_TOOLS") == "1":
		t.Fatalf("the program %s is not installed, and SINGBACK_REQUIRE_TOOLS=1 asks for it", name)
	default:
		t.Skipf("the program %s is not installed; internal/device/setup.sh reference installs it", name)
	}
	return ""
}
