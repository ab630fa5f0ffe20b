package layers

import (
	"bytes"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const module = "singback"

// row is one line of arrows.
type row struct{ code, tests []string }

func readArrows(text string) (map[string]row, error) {
	rows := map[string]row{}
	for line := range strings.Lines(text) {
		if strings.TrimSpace(line) == "" {
			continue
		}
		folder, rest, ok := strings.Cut(line, ":")
		code, tests, ok2 := strings.Cut(rest, "|")
		if !ok || !ok2 {
			return nil, fmt.Errorf("row %q: want folder: imports | imports of tests", strings.TrimSpace(line))
		}
		if _, twice := rows[folder]; twice {
			return nil, fmt.Errorf("folder %q has two rows", folder)
		}
		rows[folder] = row{strings.Fields(code), strings.Fields(tests)}
	}
	for folder, r := range rows {
		for _, name := range slices.Concat(r.code, r.tests) {
			if _, isFolder := rows[name]; !isFolder && modules[name] == "" && name != "*" {
				return nil, fmt.Errorf("row %s: %q is neither a folder with a row nor a module", folder, name)
			}
		}
	}
	return rows, nil
}

// owner is the row of folder: its own, or that of the nearest folder above.
func owner(rows map[string]row, folder string) (string, bool) {
	for ; folder != "."; folder = path.Dir(folder) {
		if _, ok := rows[folder]; ok {
			return folder, true
		}
	}
	return "", false
}

// named is the name that the table has for an import path: a folder, a module,
// or "" for the standard library.
func named(rows map[string]row, importPath string) (name string, ok bool) {
	if folder, ours := strings.CutPrefix(importPath, module+"/"); ours {
		return owner(rows, folder)
	}
	for name, prefix := range modules {
		if importPath == prefix || strings.HasPrefix(importPath, prefix+"/") {
			return name, true
		}
	}
	first, _, _ := strings.Cut(importPath, "/")
	return "", importPath != module && !strings.Contains(first, ".")
}

// use is an arrow that some file of a folder needs: its code, or its tests.
type use struct {
	folder, name string
	test         bool
}

// ofRealTime are the files of tests through which real sound passes.
var ofRealTime = []string{"virtualmic_test.go", "virtualmic_back_test.go", "browser_test.go"}

// check returns what is wrong with one source file, each with file, import or
// call, and rule, and notes in used what it imports. file is relative to the root.
func check(rows map[string]row, file string, src []byte, used map[use]bool) []string {
	var wrong []string
	bad := func(format string, args ...any) {
		wrong = append(wrong, file+": "+fmt.Sprintf(format, args...))
	}
	self, ok := owner(rows, path.Dir(file))
	if !ok {
		bad("folder %s has no row in the table of arrows", path.Dir(file))
		return wrong
	}
	isTest := strings.HasSuffix(file, "_test.go")
	isPure := !isTest && slices.Contains(strings.Fields(pure), self)
	// A test has the clock of synctest, and the real one only where real sound
	// passes; everywhere else it gives the time itself.
	timeless := isTest && self != "internal/device" && !slices.Contains(ofRealTime, path.Base(file)) &&
		!strings.HasPrefix(file, "internal/page/browser_") && !bytes.Contains(src, []byte(`"testing/synctest"`))
	mode := parser.ImportsOnly
	if isPure || timeless {
		mode = parser.SkipObjectResolution
	}
	f, err := parser.ParseFile(token.NewFileSet(), file, src, mode)
	if err != nil {
		bad("%v", err)
		return wrong
	}

	may := slices.Clone(rows[self].code)
	if isTest {
		may = slices.Concat(may, rows[self].tests, strings.Fields(everyTest))
	}
	local := map[string]string{} // by the name it has in this file
	for _, spec := range f.Imports {
		imported, err := strconv.Unquote(spec.Path.Value)
		if err != nil {
			bad("import %s: %v", spec.Path.Value, err)
			continue
		}
		if isPure && slices.Contains(strings.Fields(impure), imported) {
			bad("imports %s; %s does no I/O, reads no clock and uses no global randomness", imported, self)
			continue
		}
		if imported == "C" && self != "internal/device" {
			bad("imports C; only internal/device uses cgo")
			continue
		}
		name, known := named(rows, imported)
		used[use{self, name, isTest}] = true
		switch {
		case !known:
			bad("imports %s; no row and no module of the table is called that", imported)
		case name == "" || name == self && isTest:
		case slices.Contains(may, name):
		case slices.Contains(may, "*") && modules[name] == "" && name != "internal/testkit" && !strings.HasPrefix(name, "cmd/"):
		default:
			bad("imports %s; %s may import only [%s]", imported, self, strings.Join(may, " "))
		}
		as := path.Base(imported)
		if imported == "math/rand/v2" {
			as = "rand"
		}
		if spec.Name != nil {
			as = spec.Name.Name
		}
		local[as] = imported
		if isPure && as == "." && (imported == "time" || imported == "math/rand/v2") {
			bad("imports %s with a dot, which hides what is called", imported)
		}
	}
	if !isPure && !timeless {
		return wrong
	}
	ast.Inspect(f, func(n ast.Node) bool {
		sel, ok := n.(*ast.SelectorExpr)
		if !ok {
			return true
		}
		x, ok := sel.X.(*ast.Ident)
		if !ok {
			return true
		}
		switch local[x.Name] {
		case "time":
			if name := sel.Sel.Name; timeless && slices.Contains(strings.Fields(today), name) {
				bad("uses time.%s; what a test shows is the same on every day: it gives the time itself", name)
			} else if isPure && slices.Contains(strings.Fields(clock), name) {
				bad("uses time.%s; %s reads no clock", name, self)
			}
		case "math/rand/v2":
			if isFunction := ast.IsExported(sel.Sel.Name) && !isType(sel.Sel.Name); isPure && isFunction &&
				!slices.Contains(strings.Fields(seeded), sel.Sel.Name) {
				bad("uses rand.%s; %s uses no global randomness, only a source made from a seed", sel.Sel.Name, self)
			}
		}
		return true
	})
	return wrong
}

// idle returns the arrows of the table that no file needs. One that only tests
// need belongs behind the bar; there, one that the code has is there twice. "*"
// is no arrow, but a folder that has it needs no other to a folder.
func idle(rows map[string]row, used map[use]bool) (wrong []string) {
	bad := func(folder, name, why string) {
		wrong = append(wrong, fmt.Sprintf("%s: may import %s, %s: take the arrow out of the table", folder, name, why))
	}
	for folder, r := range rows {
		for _, name := range r.code {
			switch _, isFolder := rows[name]; {
			case name == "*":
			case slices.Contains(r.code, "*") && isFolder && name != "internal/testkit":
				bad(folder, name, "which * says already")
			case used[use{folder, name, false}]:
			case used[use{folder, name, true}]:
				bad(folder, name, "and only its tests do, which belongs behind the bar")
			default:
				bad(folder, name, "and nothing in it does")
			}
		}
		for _, name := range r.tests {
			switch {
			case slices.Contains(r.code, name) || slices.Contains(strings.Fields(everyTest), name):
				bad(folder, name, "in its tests, which may do so anyway")
			case !used[use{folder, name, true}]:
				bad(folder, name, "in its tests, and none does")
			}
		}
	}
	return wrong
}

// isType tells the types of math/rand/v2 from its functions.
func isType(name string) bool {
	return slices.Contains([]string{"Rand", "Source", "PCG", "ChaCha8", "Zipf"}, name)
}

// checkTree checks every Go file below root, that every row has a folder with
// code and every arrow a use, and that nothing unknown lies in root.
func checkTree(root fs.FS, text string) ([]string, error) {
	rows, err := readArrows(text)
	if err != nil {
		return nil, err
	}
	var wrong []string
	entries, err := fs.ReadDir(root, ".")
	if err != nil {
		return nil, err
	}
	for _, e := range entries {
		if !slices.Contains(strings.Fields(topLevel), e.Name()) {
			wrong = append(wrong, e.Name()+": unknown at the top level; topLevel lists what may lie there")
		}
	}
	seen, used := map[string]bool{}, map[use]bool{}
	err = sources(root, func(file string, src []byte) {
		wrong = append(wrong, check(rows, file, src, used)...)
		seen[path.Dir(file)] = true
	})
	for folder := range rows {
		if !seen[folder] {
			wrong = append(wrong, folder+": has a row in the table of arrows, but there is no Go code in it")
		}
	}
	wrong = append(wrong, idle(rows, used)...)
	slices.Sort(wrong)
	return wrong, err
}

// sources goes through the Go files below root.
func sources(root fs.FS, each func(file string, src []byte)) error {
	return fs.WalkDir(root, ".", func(file string, e fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case e.IsDir():
			if file == "bin" || file != "." && (e.Name()[0] == '.' || e.Name() == "testdata") {
				return fs.SkipDir
			}
			return nil
		case path.Ext(file) != ".go":
			return nil
		}
		src, err := fs.ReadFile(root, file)
		if err == nil {
			each(file, src)
		}
		return err
	})
}

func TestArrowsPointDown(t *testing.T) {
	wrong, err := checkTree(os.DirFS("../.."), arrows)
	if err != nil {
		t.Fatal(err)
	}
	for _, w := range wrong {
		t.Error(w)
	}
}

func TestEveryModuleHasARow(t *testing.T) {
	words := strings.Fields(strings.NewReplacer(":", " ", "|", " ").Replace(arrows) + everyTest)
	for name, module := range modules {
		if !slices.Contains(words, name) {
			t.Errorf("%s (%s) stands in no row: take it out of modules", name, module)
		}
	}
}
