package plain

import "testing"

// The distances are those of the textbook example and its edges (Levenshtein 1966;
// kitten and sitting are three apart in every textbook).
func TestDistance(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want int
	}{{"kitten", "sitting", 3}, {"", "abc", 3}, {"abc", "", 3}, {"same", "same", 0}, {"ab", "ba", 2}} {
		if got := distance(c.a, c.b); got != c.want {
			t.Errorf("%q and %q are %d apart, want %d", c.a, c.b, got, c.want)
		}
	}
}

func TestNearest(t *testing.T) {
	known := []string{"degrees", "count", "key", "set", "set-every", "seed"}
	for typed, want := range map[string]string{
		"degree": "degrees", "deg": "degrees", "cuont": "count", "KEY": "key", "sit": "set", "xyz": "", "": "", "set-evry": "set-every",
	} {
		if got := Nearest(typed, known); got != want {
			t.Errorf("%q is taken for %q, want %q", typed, got, want)
		}
	}
}
