package cli

import (
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"singback/internal/class"
)

// What list and show tell of the rubrics is what they are, and what is shown is read.
func TestClassRubric(t *testing.T) {
	rubricCall := call{}
	stdout, stderr, code := rubricCall.run(t, "class", "rubric", "list")
	if code != 0 || stderr != "" || !strings.HasPrefix(stdout, "faults (the default)\n  counts faults 1; pass where a jury") {
		t.Errorf("%d, %q, %q", code, stdout, stderr)
	}
	stdout, _, _ = rubricCall.run(t, "class", "rubric", "list", "--format", "csv")
	rows, err := csv.NewReader(strings.NewReader(stdout)).ReadAll()
	if err != nil || len(rows) != 1+len(class.Builtin()) {
		t.Fatalf("%q: %v", stdout, err)
	}
	stdout, _, _ = rubricCall.run(t, "class", "rubric", "list", "--format", "json")
	var records []map[string]any
	if err := json.Unmarshal([]byte(stdout), &records); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for k, r := range class.Builtin() {
		if rows[k+1][0] != r.Name || records[k]["name"] != r.Name || records[k]["sum"] != r.Sum() || (records[k]["pass"] == nil) != r.EvenJury {
			t.Errorf("%s is listed as %q and %v", r.Name, rows[k+1], records[k])
		}
		path := filepath.Join(dir, "r.toml")
		if _, stderr, code := rubricCall.run(t, "class", "rubric", "show", r.Name, "--out", path, "--force"); code != 0 {
			t.Fatalf("show %s: %s", r.Name, stderr)
		}
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if back, err := class.ParseRubric("", string(text)); err != nil || back.Sum() != r.Sum() {
			t.Errorf("%s is shown as %q: %v", r.Name, text, err)
		}
		if stdout, stderr, code := rubricCall.run(t, "class", "rubric", "check", path); code != 0 || !strings.Contains(stdout, ": fine; \""+r.Name+"\" counts ") {
			t.Errorf("check: %q, %q, %d", stdout, stderr, code)
		}
	}
	wrong := filepath.Join(dir, "wrong.toml")
	if err := os.WriteFile(wrong, []byte("name = \"x\"\npass = 2\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, test := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{"check", wrong}, 1, `wrong.toml: line 2, column 8, "2": pass is out of range: want 0 to 1`},
		{[]string{"check", filepath.Join(dir, "none.toml")}, 1, "none.toml: no such file"},
		{[]string{"check"}, 2, "the FILE of a rubric is missing"},
		{[]string{"show", "pitch"}, 2, `no rubric that comes along is called "pitch": want "faults", "notes"`},
		{[]string{"show", "notes", "--out", wrong}, 1, "it is there already"},
		{[]string{"list", "--format", "xml"}, 2, "want text or json or csv"},
	} {
		_, stderr, code := rubricCall.run(t, append([]string{"class", "rubric"}, test.args...)...)
		if code != test.code || !strings.Contains(stderr, test.want) || strings.Count(strings.TrimSpace(stderr), "\n") > 0 {
			t.Errorf("%v: %d, %q; want %d, %q", test.args, code, stderr, test.code, test.want)
		}
	}
}
