package pitch

import (
	"crypto/sha256"
	"fmt"
	"os"
	"testing"
)

// What the weights were when Version was last changed: who fits them anew
// changes both.
func TestVersionBelongsToTheWeights(t *testing.T) {
	const version, want = "pitch 2", "2f34ea38452fd641"
	h := sha256.New()
	for _, file := range []string{"weights.go", "weights_live.go"} {
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		h.Write(data)
	}
	if got := fmt.Sprintf("%x", h.Sum(nil)[:8]); got != want || Version != version {
		t.Errorf("the weights are %s and Version is %q; %q had %s: raise Version and renew this test", got, Version, version, want)
	}
}
