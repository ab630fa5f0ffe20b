package cli

import (
	"io"
	"net/http"
	"os"
	"strings"
	"testing"
)

// The desk stands beside the page where a class is named, and nowhere else: the address
// that is printed is its own, and the page lies one folder up.
func TestDesk(t *testing.T) {
	t.Chdir(t.TempDir())
	c := call{data: t.TempDir(), now: readmeDay}
	c.must(t, "class", "new", "Lower Street Choir")
	c.must(t, "class", "add", "student", "Ana", "Bo")
	const file = "Lower Street Choir.sbclass"
	for _, args := range [][]string{
		{"--class", file, "--no-open"}, {"--class", file, "--no-open", "--hand-in", "https://cloud.example/takes"}, {"--class", file, "--no-open", "today"},
	} {
		p := c.open(t, args...)
		base, isDesk := strings.CutSuffix(p.base, "desk/")
		if today := args[len(args)-1] == "today"; isDesk == today {
			t.Errorf("page %q is at %s", args, p.address)
		}
		for name, want := range map[string]string{"desk/data/class": `"name":"Lower Street Choir"`, "": "<title>singback", "data/known": "singer"} {
			res, err := http.Get(base + name)
			if err != nil {
				t.Fatal(err)
			}
			text, err := io.ReadAll(res.Body)
			res.Body.Close()
			if err != nil || res.StatusCode != 200 || !strings.Contains(string(text), want) {
				t.Errorf("page %q: %s is %s, %.200s, %v", args, name, res.Status, text, err)
			}
		}
		if stderr, code := p.end(); code != exitDone {
			t.Errorf("page %q: exit %d: %s", args, code, stderr)
		}
	}
	if err := os.WriteFile("notes.txt", []byte(strings.Repeat("no class ", 500)), 0o600); err != nil {
		t.Fatal(err)
	}
	c.interruptible = over
	for _, r := range []struct {
		args []string
		code int
		text string
	}{
		{[]string{"page", "--class", "none.sbclass"}, exitFailed, "none.sbclass: there is no such file"},
		{[]string{"page", "--class", "notes.txt"}, exitFailed, "notes.txt: it is no class"},
		{[]string{"page", "--class", ""}, exitUsage, "want the file of a class"},
		{[]string{"page", "--class", file, "--out", "folder"}, exitUsage, "--class: it is for the page on this computer"},
		{[]string{"class", "desk", "--port", "70000"}, exitUsage, "--port: 70000"},
		{[]string{"class", "desk", "--class", "none.sbclass"}, exitFailed, "none.sbclass: there is no such file"},
		{[]string{"class", "desk", "here"}, exitUsage, "here"},
	} {
		_, stderr, code := c.run(t, r.args...)
		if code != r.code || !strings.Contains(stderr, r.text) {
			t.Errorf("%q: exit %d, want %d with %q: %s", r.args, code, r.code, r.text, stderr)
		}
	}
	if stdout, stderr, code := c.run(t, "class", "desk", "--no-open"); code != exitDone || !strings.HasSuffix(stdout, "/desk/\n") {
		t.Errorf("class desk: exit %d, %q: %s", code, stdout, stderr)
	}
}
