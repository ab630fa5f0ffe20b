package layers

import (
	"bytes"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// size is something that is longer than it should be.
type size struct {
	what  string // a file, or a file and a function of it
	lines int
	most  int
}

// sizes returns what is too long in one source file: the file itself, and
// functions from their func to their closing brace. Tests may be as long as they
// are.
func sizes(file string, src []byte) (long []size, err error) {
	if strings.HasSuffix(file, "_test.go") {
		return nil, nil
	}
	if n := bytes.Count(src, []byte("\n")); n > maxFile {
		long = append(long, size{file, n, maxFile})
	}
	files := token.NewFileSet()
	f, err := parser.ParseFile(files, file, src, parser.ParseComments|parser.SkipObjectResolution)
	if err != nil {
		return nil, err
	}
	function := func(name string, n ast.Node, docs ...*ast.CommentGroup) {
		lines := files.Position(n.End()).Line - files.Position(n.Pos()).Line + 1
		if lines > maxFunction && !slices.ContainsFunc(docs, saysWhy) {
			long = append(long, size{file + " " + name, lines, maxFunction})
		}
	}
	for _, d := range f.Decls {
		switch d := d.(type) {
		case *ast.FuncDecl:
			function(d.Name.Name, d, d.Doc)
		case *ast.GenDecl: // a variable may be made by a function
			for _, spec := range d.Specs {
				v, ok := spec.(*ast.ValueSpec)
				if !ok {
					continue
				}
				ast.Inspect(v, func(n ast.Node) bool {
					lit, ok := n.(*ast.FuncLit)
					if ok {
						function(v.Names[0].Name, lit, d.Doc, v.Doc)
					}
					return !ok
				})
			}
		}
	}
	return long, nil
}

var reason = regexp.MustCompile(`(?:^|[.:;]\s+)Long: \S`)

// saysWhy reports whether a comment gives a reason for the length.
func saysWhy(doc *ast.CommentGroup) bool { return reason.MatchString(doc.Text()) }

// Nothing is longer than a reader can take in, but what is listed, and that is.
func TestSizes(t *testing.T) {
	waiting := map[string]bool{}
	for what := range strings.Lines(tooLong) {
		if what = strings.TrimSpace(what); what != "" {
			waiting[what] = true
		}
	}
	err := sources(os.DirFS("../.."), func(file string, src []byte) {
		long, err := sizes(file, src)
		if err != nil {
			t.Error(err)
		}
		for _, s := range long {
			if !waiting[s.what] {
				t.Errorf("%s: %d lines, want at most %d: take it apart, or say why it is so long in a sentence of the function's comment that begins with \"Long:\"", s.what, s.lines, s.most)
			}
			delete(waiting, s.what)
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	for what := range waiting {
		t.Errorf("%s is not too long: take it off the list tooLong", what)
	}
}

func TestSizesOf(t *testing.T) {
	lines := func(n int) string { return strings.Repeat("\n", n) }
	for _, c := range []struct {
		rule, file, src string
		want            []size
	}{
		{"a short file", "a.go", "package p\n", nil},
		{"600 lines", "a.go", "package p" + lines(600), nil},
		{"601 lines", "a.go", "package p" + lines(601), []size{{"a.go", 601, 600}}},
		{"tests as long as they are", "a_test.go", "package p" + lines(601), nil},
		{"100 lines", "a.go", "package p\nfunc f() {" + lines(99) + "}\n", nil},
		{"101 lines", "a.go", "package p\nfunc f() {" + lines(100) + "}\n", []size{{"a.go f", 101, 100}}},
		{"a method", "a.go", "package p\nfunc (t *T) m() {" + lines(100) + "}\n", []size{{"a.go m", 101, 100}}},
		{"with a reason", "a.go", "package p\n// f is a table. Long: it\n// is one.\nfunc f() {" + lines(100) + "}\n", nil},
		{"with a reason on a line of its own", "a.go", "package p\n// f is a table.\n//\n// Long: a table.\nfunc f() {" + lines(100) + "}\n", nil},
		{"a reason is not the word", "a.go", "package p\n// f. It is Long: yes.\nfunc f() {" + lines(100) + "}\n", []size{{"a.go f", 101, 100}}},
		{"nor nothing", "a.go", "package p\n// f. Long:\nfunc f() {" + lines(100) + "}\n", []size{{"a.go f", 101, 100}}},
		{"nor that of another", "a.go", "package p\n// g. Long: a table.\nfunc g() {}\nfunc f() {" + lines(100) + "}\n", []size{{"a.go f", 101, 100}}},
		{"the comment does not count", "a.go", "package p\n" + strings.Repeat("// x\n", 99) + "func f() {\n}\n", nil},
		{"a function that makes a variable", "a.go", "package p\nvar x = func() int {" + lines(100) + "return 1 }()\n", []size{{"a.go x", 101, 100}}},
		{"with a reason too", "a.go", "package p\n// x. Long: a table.\nvar x = func() int {" + lines(100) + "return 1 }()\n", nil},
		{"a long table is no function", "a.go", "package p\nvar x = []int{" + lines(200) + "}\n", nil},
	} {
		got, err := sizes(c.file, []byte(c.src))
		if err != nil || fmt.Sprint(got) != fmt.Sprint(c.want) {
			t.Errorf("%s: %v, %v, want %v", c.rule, got, err, c.want)
		}
	}
	if got, err := sizes("a.go", []byte("no Go")); err == nil {
		t.Errorf("no Go: %v, want an error", got)
	}
}
