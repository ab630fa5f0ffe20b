package cli

import (
	"strings"
	"testing"

	"singback/exercise/practice"
	"singback/internal/course"
	"singback/internal/drill"
)

// drillCommands are the commands that have an address with options.
var drillCommands = []string{"sing", "series", "echo", "dictation", "today"}

// A mistake is said of an address as of the command line.
func TestAddressesSayWhatTheCommandLineSays(t *testing.T) {
	for _, c := range []struct{ command, name, value string }{
		{"sing", "degre", "la"}, {"sing", "count", "many"}, {"sing", "count", ""}, {"sing", "count", "0"}, {"sing", "seed", "-1"},
		{"sing", "a4", "high"}, {"sing", "a4", "4400"}, {"sing", "key", "H"}, {"sing", "key", "best"}, {"sing", "compare", "maybe"},
		{"sing", "set", "gong"}, {"sing", "think", "99"}, {"sing", "hold", "0"}, {"sing", "loudness", "3"}, {"sing", "retry", "no"},
		{"sing", "degrees", "zz"}, {"sing", "from", "zz"}, {"sing", "tolerance", "1"}, {"sing", "names", "none"}, {"sing", "nothing", "1"},
		{"series", "level", "9"}, {"series", "octave", "3"}, {"series", "tempo", "7"}, {"series", "study", "-1"}, {"series", "notes", "4"},
		{"echo", "notes", "99"}, {"echo", "gap", "99"},
		{"dictation", "of", "tone"}, {"dictation", "degrees", "zz"}, {"dictation", "length", "0"}, {"dictation", "input", "mic"},
		{"today", "minutes", "99"}, {"today", "singing", "0"}, {"today", "feedback", "some"}, {"today", "guess", "perhaps"},
	} {
		args := []string{c.command, "--" + c.name + "=" + c.value}
		if c.name != "input" {
			args = append(args, "--input", "simulated")
		}
		_, stderr, code := call{}.run(t, args...)
		want := strings.TrimSuffix(strings.TrimPrefix(stderr, "singback "+c.command+": "), " (see singback "+c.command+" --help)\n")
		address := c.command + "?" + c.name + "=" + c.value
		a, err := drill.ReadAddress(address)
		if err == nil {
			if o, ok := a.Drill.(*drill.Today); ok {
				o.Course, o.Practice = course.BuiltIn(), &practice.Practice{}
			}
			_, err = a.Drill.Plan()
		}
		if code != exitUsage || err == nil || err.Error() != want {
			t.Errorf("%s: %v; the command line says %q, exit %d", address, err, want, code)
		}
	}
}

// Every flag of a drill is an option of its address, or one that only a terminal has.
func TestAddressesKnowEveryFlag(t *testing.T) {
	root := newRoot(&env{getenv: func(string) string { return "" }})
	for _, name := range drillCommands {
		cmd, _, err := root.Find([]string{name})
		if err != nil {
			t.Fatal(err)
		}
		for _, flag := range flagNames(cmd) {
			if _, err := drill.ReadAddress(name + "?" + flag + "=\u2603"); err != nil && strings.HasPrefix(err.Error(), "there is no flag") {
				t.Errorf("%s --%s: %v", name, flag, err)
			}
		}
	}
}
