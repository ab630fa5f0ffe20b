package cli

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"singback/internal/store"
)

// singers returns who is in a record, in the order of the names.
func singers(t *testing.T, path string) []string {
	t.Helper()
	stdout, _ := call{}.must(t, "record", "export", "--record", path)
	rows, err := csv.NewReader(strings.NewReader(stdout)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, row := range rows[1:] {
		if !slices.Contains(out, row[0]) {
			out = append(out, row[0])
		}
	}
	slices.Sort(out)
	return out
}

// Whose profile is in use is who sings, in every command that records, unless
// --singer says otherwise.
func TestWhoSings(t *testing.T) {
	t.Parallel()
	c := call{data: t.TempDir()}
	c.must(t, "profile", "set", "--voice", "alto", "--profile", "Anna")
	c.must(t, "profile", "set", "--voice", "tenor", "--profile", "Wilma")
	c.must(t, "profile", "use", "Anna")
	file := filepath.Join(t.TempDir(), "ben.toml")
	c.must(t, "profile", "set", "--voice", "bass", "--profile", "Ben")
	c.must(t, "profile", "export", "--profile", "Ben", "--out", file)
	c.must(t, "profile", "use", "Anna")
	none := call{data: t.TempDir()}
	for _, test := range []struct {
		rule string
		user call
		args []string
		want string
	}{
		{"the current one", c, nil, "Anna"},
		{"the profile that is named", c, []string{"--profile", "wilma"}, "Wilma"},
		{"that in a file", c, []string{"--profile", file}, "Ben"},
		{"no profile", c, []string{"--profile", "none"}, "me"},
		{"told otherwise", c, []string{"--singer", "Zoe"}, "Zoe"},
		{"both", c, []string{"--singer", "Zoe", "--profile", "Wilma"}, "Zoe"},
		{"nobody has a profile", none, nil, "me"},
	} {
		path := filepath.Join(t.TempDir(), "record.db")
		args := append([]string{"sing", "--input", "simulated", "--count", "1", "--seed", "1", "--record", path}, test.args...)
		test.user.must(t, args...)
		if got := singers(t, path); len(got) != 1 || got[0] != test.want {
			t.Errorf("%s: recorded of %v, want %s", test.rule, got, test.want)
		}
	}
	path := filepath.Join(t.TempDir(), "record.db")
	for _, args := range [][]string{
		{"today", "--input", "simulated", "--minutes", "1"},
		{"series", "--input", "simulated", "--count", "1"},
		{"echo", "--input", "simulated", "--count", "1"},
		{"dictation", "--input", "simulated", "--count", "1"},
	} {
		c.must(t, append(args, "--seed", "1", "--record", path)...)
		if got := singers(t, path); len(got) != 1 || got[0] != "Anna" {
			t.Errorf("%s: recorded of %v, want Anna", args[0], got)
		}
	}
	// And what is looked at is hers.
	if out, stderr := c.must(t, "progress", "--record", path); !strings.Contains(out, "\nAnna: ") || stderr != "" {
		t.Errorf("progress: %q, %q", out, stderr)
	}
	_, stderr, code := c.run(t, "sing", "--input", "simulated", "--singer", "", "--record", path)
	if code != exitUsage || !strings.Contains(stderr, "--singer: ") {
		t.Errorf("an empty name: %d, %q", code, stderr)
	}
}

// Somebody else is not heard by the current one's voice and room.
func TestSingerBringsTheProfile(t *testing.T) {
	c, _ := measured(t) // Otto, with an instrument at 432.44 Hz
	hz := func(args ...string) (out, stderr string) {
		return c.must(t, append([]string{"sing", "--input", "simulated", "--count", "1", "--seed", "1", "--format", "json"}, args...)...)
	}
	if out, _ := hz("--singer", "otto"); !strings.Contains(out, `"a4_hz":432.44`) || !strings.Contains(out, `"singer":"Otto"`) {
		t.Errorf("Otto's: %s", out)
	}
	out, stderr := hz("--singer", "Zoe")
	if !strings.Contains(out, `"a4_hz":440`) || strings.Contains(out, `"singer":"Otto"`) || !strings.Contains(stderr, "Zoe has no profile: safe defaults hold, not those of Otto.") {
		t.Errorf("Zoe's: %s%s", out, stderr)
	}
	if out, stderr := hz("--singer", "Zoe", "--profile", "Otto"); !strings.Contains(out, `"a4_hz":432.44`) || strings.Contains(stderr, "safe defaults") {
		t.Errorf("Zoe, with Otto's: %s%s", out, stderr)
	}
}

// Answers of before there was a profile keep their name. Whoever looks for them is
// told how to see them.
func TestAnswersOfBefore(t *testing.T) {
	c := call{data: t.TempDir()}
	path := filepath.Join(c.data, "record.db")
	sing := func(args ...string) string {
		_, stderr := c.must(t, append([]string{"sing", "--input", "simulated", "--count", "2", "--seed", "1", "--record", path}, args...)...)
		return stderr
	}
	const word = "2 answers of me, not of Anna: singback progress --singer me shows them."
	sing()
	c.must(t, "profile", "set", "--voice", "alto", "--profile", "Anna")
	_, stderr, code := c.run(t, "progress", "--record", path)
	if code != exitFailed || !strings.Contains(stderr, path+" has "+word) || !strings.Contains(stderr, `it has nothing of a singer "Anna"`) {
		t.Errorf("progress of Anna, who has not sung yet: %d, %q", code, stderr)
	}
	if stderr := sing(); strings.Count(stderr, word) != 1 {
		t.Errorf("the first time that Anna sings: %q", stderr)
	}
	if stderr := sing(); strings.Contains(stderr, word) {
		t.Errorf("the second time: %q", stderr)
	}
	if out, stderr := c.must(t, "progress", "--record", path); !strings.Contains(out, "\nAnna: 4 answers") || strings.Count(stderr, word) != 1 {
		t.Errorf("progress: %q, %q", out, stderr)
	}
	if out, stderr := c.must(t, "progress", "--record", path, "--singer", "me"); !strings.Contains(out, "\nme: 2 answers") || stderr != "" {
		t.Errorf("progress of me: %q, %q", out, stderr)
	}
	if got := singers(t, path); !slices.Equal(got, []string{"Anna", "me"}) {
		t.Errorf("singers %v", got)
	}
}

// Whatever changes who is current says so, and nothing else does.
func TestWhoIsCurrentIsSaid(t *testing.T) {
	c := call{data: t.TempDir()}
	file := filepath.Join(t.TempDir(), "x.toml")
	for _, step := range []struct {
		args []string
		want string // in the messages; "" is no word of who sings
	}{
		{[]string{"profile", "set", "--voice", "alto"}, "me is singing from now on.\n"},
		{[]string{"profile", "set", "--voice", "alto", "--a4", "441"}, ""},
		{[]string{"profile", "set", "--voice", "tenor", "--profile", "Wilma"}, "Wilma is singing from now on, and no longer me (singback profile use \"me\").\n"},
		{[]string{"profile", "set", "--voice", "bass", "--profile", "me"}, ""},
		{[]string{"calibrate", "--voice", "alto", "--singer", "Zoe", "--only", "voice"}, "Zoe is singing from now on, and no longer Wilma"},
		{[]string{"profile", "export", "--out", file}, ""},
		{[]string{"profile", "forget", "Zoe", "--yes"}, "Nobody's profile is in use from now on; what is sung is recorded of me.\n"},
		{[]string{"profile", "forget", "me", "--yes"}, "Wilma is singing from now on.\n"}, // the only one left
		{[]string{"profile", "import", file}, ""},                                         // and she stays so
		{[]string{"profile", "use", "none"}, ""},
		{[]string{"profile", "forget", "Zoe", "--yes"}, ""},
	} {
		_, stderr := c.must(t, step.args...)
		if step.want == "" && (strings.Contains(stderr, "singing from now on") || strings.Contains(stderr, "in use from")) || !strings.Contains(stderr, step.want) {
			t.Errorf("%v: %q, want %q", step.args, stderr, step.want)
		}
	}
}

// A profile that is damaged makes nobody else sing, neither at once nor later.
func TestDamagedProfileKeepsTheName(t *testing.T) {
	c := call{data: t.TempDir()}
	c.must(t, "profile", "set", "--voice", "bass", "--profile", "Otto")
	c.must(t, "profile", "set", "--voice", "alto", "--profile", "Anna")
	if err := os.WriteFile(store.NewSingers(filepath.Join(c.data, "singback")).Path("Anna"), []byte("voice ="), 0o600); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "record.db")
	for range 2 {
		_, stderr := c.must(t, "sing", "--input", "simulated", "--count", "1", "--seed", "1", "--record", path)
		if !strings.Contains(stderr, "The profile is left out: ") || !strings.Contains(stderr, "moved aside") {
			t.Errorf("messages %q", stderr)
		}
	}
	if got := singers(t, path); !slices.Equal(got, []string{"Anna"}) {
		t.Errorf("recorded of %v, want Anna", got)
	}
	if _, stderr := c.must(t, "profile", "set", "--voice", "alto"); strings.Contains(stderr, "singing") {
		t.Errorf("a new profile of hers: %q", stderr)
	}
}
