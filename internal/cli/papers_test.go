package cli

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/spf13/cobra"
)

// What a package has beside the program: every command that help lists has its manual
// page, which groff reads without a warning, with every flag that its help shows; a
// shell takes its completion. groff and bash are the outside here; the sections are
// those of man-pages(7), and --help and --version stand in every page of a GNU program.
func TestPapers(t *testing.T) {
	day := time.Date(2026, 11, 28, 23, 0, 0, 0, time.UTC)
	papers, err := Papers("v1.2.3", day)
	if err != nil {
		t.Fatal(err)
	}
	folder := t.TempDir()
	var pages []string
	for name, data := range papers {
		path := filepath.Join(folder, strings.ReplaceAll(name, "/", "-"))
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		if strings.HasSuffix(name, ".1") {
			pages = append(pages, path)
		}
	}
	root := newRoot(&env{getenv: func(string) string { return "" }, terminal: func(any) bool { return false }})
	n := 0
	each(root, func(cmd *cobra.Command) {
		n++
		page := string(papers["man/"+manName(cmd)+".1"])
		if !strings.Contains(page, "\n.SH NAME\n"+strings.ReplaceAll(manName(cmd), "-", `\-`)+` \- `) {
			t.Errorf("%s: no page with its name: %.200q", cmd.CommandPath(), page)
		}
		for _, flag := range append(shownFlags(cmd), "help") {
			if !strings.Contains(page, `\-\-`+strings.ReplaceAll(flag, "-", `\-`)) {
				t.Errorf("the page of %s has no --%s", cmd.CommandPath(), flag)
			}
		}
	})
	if n != len(pages) || n < 40 {
		t.Errorf("%d commands, %d pages", n, len(pages))
	}
	again, err := Papers("v1.2.3", day)
	if err != nil {
		t.Fatal(err)
	}
	for name := range papers {
		if !bytes.Equal(papers[name], again[name]) {
			t.Errorf("%s is another when it is made again", name)
		}
	}

	for _, c := range []struct {
		program string
		args    []string
	}{
		{"bash", []string{"-n", filepath.Join(folder, "completions-bash-singback")}},
		{"groff", append([]string{"-man", "-Tutf8", "-Kutf8", "-ww", "-z"}, pages...)},
	} {
		if _, err := exec.LookPath(c.program); err != nil {
			if os.Getenv("SINGBACK_REQUIRE_TOOLS") == "1" {
				t.Errorf("%s is not here", c.program)
			}
			t.Logf("no %s here: what it would say is not known", c.program)
			continue
		}
		if said, err := exec.Command(c.program, c.args...).CombinedOutput(); err != nil || len(said) > 0 {
			t.Errorf("%s: %v, %s", c.program, err, said)
		}
	}
}

// What stands in a text of help stands in a manual page to the letter, and is no
// request and no escape of roff(7).
func TestManText(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"two lines\nof one paragraph\n\nand another", "two lines\nof one paragraph\n.PP\nand another\n"},
		{"a table:\n\n  a  1\n\n  b  2\nand on", "a table:\n.PP\n.RS 2\n.EX\na  1\n\nb  2\n.EE\n.RE\nand on\n"},
		{".so /etc/passwd\n'br", "\\&.so /etc/passwd\n\\(aqbr\n"},
		{`\n --key "A" ^~` + "`", `\en \-\-key "A" \(ha\(ti\(ga` + "\n"},
	} {
		var b bytes.Buffer
		manText(&b, c.text)
		if b.String() != c.want {
			t.Errorf("%q:\n%q, want\n%q", c.text, b.String(), c.want)
		}
	}
}
