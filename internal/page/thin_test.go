package page

import (
	"errors"
	"io/fs"
	"os/exec"
	"path"
	"strings"
	"testing"

	"singback/internal/testkit"
)

// limit is what the first visit may take over the wire, in bytes.
const limit = 1_600_000

// What a browser loads at its first visit, from a server that packs nothing.
func TestWeight(t *testing.T) {
	s, err := Embedded()
	if errors.Is(err, ErrNoEngine) {
		t.Skip("the engine is not built: make build")
	}
	if err != nil {
		t.Fatal(err)
	}
	site := s.published()
	t.Logf("the page: its engine %d bytes packed, %d over the wire at the first visit (at most %d)", len(site.files[engine].data), site.Size(), limit)
	if site.Size() > limit {
		t.Errorf("the page is too heavy: see the files of internal/page/web, and go list -deps ./internal/page/engine/wasm")
	}
}

// Of a module only comments, blank lines and indentation go, and what is left is one that
// node reads.
func TestThin(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"a.js", "// one\n\n  a();\n\t/* two */\n  b(); // stays\n/**\n * three\n */\nc('// no comment');\n", "a();\nb(); // stays\nc('// no comment');\n"},
		{"a.css", "/* one */ a { }\n/* two */\n  b { }", "/* one */ a { }\nb { }\n"},
		{"a.html", "  // text\n", "  // text\n"},
		{"xz-decompress.js", "// theirs\n", "// theirs\n"},
	} {
		if got := string(thin(c.name, []byte(c.text))); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
	node := testkit.Tool(t, "node")
	web, err := fs.Sub(embedded, "web")
	if err != nil {
		t.Fatal(err)
	}
	names, err := fs.Glob(web, "*.js")
	if err != nil || len(names) < 20 {
		t.Fatalf("%d modules, %v", len(names), err)
	}
	for _, name := range names {
		if foreign[name] {
			continue
		}
		data, err := fs.ReadFile(web, name)
		if err != nil {
			t.Fatal(err)
		}
		for i, line := range strings.Split(string(data), "\n") {
			if strings.Count(line, "`")%2 != 0 && !strings.HasPrefix(strings.TrimSpace(line), "*") && !strings.HasPrefix(strings.TrimSpace(line), "//") {
				t.Errorf("%s, line %d: a text goes over the end of the line", name, i+1)
			}
		}
		kind := "module"
		if name == "worker.js" || name == "keep.js" || name == "tight.js" || name == "sw.js" {
			kind = "commonjs"
		}
		cmd := exec.Command(node, "--input-type="+kind, "--check", "-")
		cmd.Stdin = strings.NewReader(string(thin(name, data)))
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Errorf("%s: %v\n%s", path.Base(name), err, out)
		}
	}
}
