package newfile

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A folder has all of its files or none: neither one that is there already nor one that
// cannot be written leaves anything behind.
func TestWriteFolder(t *testing.T) {
	root := t.TempDir()
	name := func(i int) string { return fmt.Sprintf("%d.txt", i) }
	fill := func(text string) func(int, io.Writer) error {
		return func(i int, w io.Writer) error { _, err := fmt.Fprint(w, text, i); return err }
	}
	list := func(dir string) string {
		entries, err := os.ReadDir(dir)
		if err != nil {
			return "none"
		}
		var names []string
		for _, e := range entries {
			names = append(names, e.Name())
		}
		return strings.Join(names, " ")
	}
	dir := filepath.Join(root, "a", "b")
	broken := errors.New("broken")
	failing := func(i int, w io.Writer) error {
		if i == 2 {
			return broken
		}
		return fill("x")(i, w)
	}
	if err := WriteFolder(dir, 3, name, false, ForAll, failing); !errors.Is(err, broken) || list(dir) != "none" || list(filepath.Dir(dir)) != "" {
		t.Errorf("%v, %s beside %s", err, list(dir), list(filepath.Dir(dir)))
	}
	if err := WriteFolder(dir+"/", 3, name, false, ForAll, fill("new ")); err != nil || list(dir) != "0.txt 1.txt 2.txt" {
		t.Errorf("%v, %s", err, list(dir))
	}
	os.Remove(filepath.Join(dir, "0.txt"))
	if err := WriteFolder(dir, 3, name, false, ForAll, fill("again ")); !errors.Is(err, ErrThere) || list(dir) != "1.txt 2.txt" {
		t.Errorf("%v, %s", err, list(dir))
	}
	if err := WriteFolder(dir, 3, name, true, ForAll, failing); !errors.Is(err, broken) || list(dir) != "1.txt 2.txt" {
		t.Errorf("%v, %s", err, list(dir))
	}
	if err := WriteFolder(dir, 3, name, true, ForAll, fill("again ")); err != nil || list(dir) != "0.txt 1.txt 2.txt" {
		t.Errorf("%v, %s", err, list(dir))
	}
	if b, _ := os.ReadFile(filepath.Join(dir, "1.txt")); string(b) != "again 1" {
		t.Errorf("1.txt holds %q", b)
	}
	// Another file beside them stays.
	os.WriteFile(filepath.Join(dir, "mine.txt"), nil, 0o666)
	os.Remove(filepath.Join(dir, "0.txt"))
	os.Remove(filepath.Join(dir, "1.txt"))
	os.Remove(filepath.Join(dir, "2.txt"))
	if err := WriteFolder(dir, 3, name, false, ForAll, fill("")); err != nil || list(dir) != "0.txt 1.txt 2.txt mine.txt" {
		t.Errorf("%v, %s", err, list(dir))
	}
	file := filepath.Join(root, "file")
	os.WriteFile(file, nil, 0o666)
	if err := WriteFolder(file, 3, name, false, ForAll, fill("")); err == nil || strings.Contains(err.Error(), ".singback-") {
		t.Errorf("a folder called like a file: %v", err)
	}
}
