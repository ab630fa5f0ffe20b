package store

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"singback/exercise/practice"
	"singback/internal/testkit/invented"
)

// A file and what lies beside it are their owner's alone, also where they were not.
func TestOwnersAlone(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "folder")
	path := filepath.Join(dir, "record.db")
	check := func(when string) {
		t.Helper()
		entries, err := os.ReadDir(dir)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range entries {
			info, err := e.Info()
			if err != nil {
				t.Fatal(err)
			}
			if got := info.Mode().Perm(); got != 0o600 {
				t.Errorf("%s: %s has mode %o, want 600", when, e.Name(), got)
			}
		}
		if info, err := os.Stat(dir); err != nil || info.Mode().Perm() != 0o700 {
			t.Errorf("%s: the folder: %v, %v, want 700", when, info.Mode(), err)
		}
	}
	withUmask(t, 0)
	r := open(t, path)
	fill(t, r, invented.Answers(session("Anna"), 3))
	reader, err := ReadRecord(path)
	if err != nil {
		t.Fatal(err)
	}
	check("made and read")
	reader.Close()
	r.Close()
	data, err := os.ReadFile("testdata/version2.db")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, data, 0o666); err != nil {
		t.Fatal(err)
	}
	for _, c := range []string{"", ".lock"} {
		if err := os.Chmod(path+c, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	r = open(t, path)
	fill(t, r, invented.Answers(session("Anna"), 3))
	check("opened, and copied")
}

// What is no plain file with one name is no record, whatever stands behind the
// name, and is not touched.
func TestPlainFilesOnly(t *testing.T) {
	for _, c := range []struct {
		name string
		make func(t *testing.T, path string)
		want error
	}{
		{"a pipe", func(t *testing.T, path string) { mkfifo(t, path) }, ErrRecordFile},
		{"a device", func(t *testing.T, path string) { symlink(t, os.DevNull, path) }, ErrRecordFile},
		{"a link to nothing", func(t *testing.T, path string) { symlink(t, path+"-none", path) }, nil},
		{"a file with two names", func(t *testing.T, path string) { recordOf(t, path, 3); link(t, path, path+"-too") }, ErrRecordNames},
		{"an empty file with two names", func(t *testing.T, path string) { os.WriteFile(path, nil, 0o600); link(t, path, path+"-too") }, ErrRecordNames},
		{"a pipe for a lock", func(t *testing.T, path string) { mkfifo(t, path+".lock") }, ErrRecordFile},
		{"a lock with two names", func(t *testing.T, path string) {
			os.WriteFile(path+".lock", nil, 0o600)
			link(t, path+".lock", path+"-too")
		}, ErrRecordNames},
		{"a link for a lock", func(t *testing.T, path string) { symlink(t, path+"-elsewhere", path+".lock") }, ErrRecordFile},
		{"a pipe for a log", func(t *testing.T, path string) { recordOf(t, path, 3); mkfifo(t, path+"-wal") }, ErrRecordFile},
		{"a link for a log", func(t *testing.T, path string) { recordOf(t, path, 3); symlink(t, path+"-elsewhere", path+"-wal") }, ErrRecordFile},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			path := filepath.Join(dir, "record.db")
			c.make(t, path)
			before, _ := os.ReadFile(path + "-too")
			for what, try := range map[string]func() error{
				"OpenRecord":    func() error { r, err := OpenRecord(path, evening); r.Close(); return err },
				"ReadRecord":    func() error { r, err := ReadRecord(path); r.Close(); return err },
				"ImportRecord":  func() error { _, err := ImportRecord(t.Context(), path, evening, strings.NewReader("x")); return err },
				"SalvageRecord": func() error { _, err := SalvageRecord(t.Context(), path); return err },
			} {
				err := try()
				if err == nil || strings.Contains(err.Error(), "\n") {
					t.Errorf("%s: %v, want one line that refuses it", what, err)
				}
				if c.want != nil && !errors.Is(err, c.want) && !errors.Is(err, fs.ErrNotExist) {
					t.Errorf("%s: %v, want %v", what, err, c.want)
				}
				if c.want != nil && errors.Is(err, c.want) && RecordHint(err) == "" {
					t.Errorf("%s: no hint", what)
				}
			}
			if after, _ := os.ReadFile(path + "-too"); !bytes.Equal(after, before) {
				t.Error("the other name: changed")
			}
			for _, name := range []string{path + "-elsewhere", path + "-none"} {
				if _, err := os.Lstat(name); err == nil {
					t.Errorf("%s was made", name)
				}
			}
		})
	}
}

func recordOf(t *testing.T, path string, n int) {
	t.Helper()
	r := open(t, path)
	fill(t, r, invented.Answers(session("Anna"), n))
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
}

func link(t *testing.T, from, to string) {
	t.Helper()
	if err := os.Link(from, to); err != nil {
		t.Skip(err)
	}
}

func symlink(t *testing.T, from, to string) {
	t.Helper()
	if err := os.Symlink(from, to); err != nil {
		t.Skip(err)
	}
}

// A record under two names, by links to it or to its folder, has one lock and one
// log.
func TestLinksToARecord(t *testing.T) {
	dir := t.TempDir()
	real := filepath.Join(dir, "real")
	if err := os.Mkdir(real, 0o700); err != nil {
		t.Fatal(err)
	}
	path, byFile, byFolder := filepath.Join(real, "record.db"), filepath.Join(dir, "link.db"), filepath.Join(dir, "folder", "record.db")
	symlink(t, path, byFile)
	symlink(t, real, filepath.Dir(byFolder))
	list := invented.Answers(session("Anna"), 6)
	r := open(t, byFolder) // it is made there
	fill(t, r, list[:2])
	for _, name := range []string{path, byFile, byFolder} {
		if _, err := OpenRecord(name, evening); !errors.Is(err, ErrRecordInUse) || !strings.HasPrefix(err.Error(), name) {
			t.Errorf("%s: %v, want that it is in use", name, err)
		}
		reader, err := ReadRecord(name)
		if err != nil {
			t.Fatal(err)
		}
		equal(t, all(t, reader, Query{}), list[:2])
		reader.Close()
	}
	r.Close()
	r = open(t, byFile)
	if got := r.Path(); got != byFile {
		t.Errorf("it says %s", got)
	}
	r.session, r.number = sessionRow{}, 0
	other := invented.Answers(session("Ben"), 3)
	fill(t, r, other)
	r.Close()
	r = open(t, path)
	equal(t, all(t, r, Query{}), append(list[:2:2], other...))
	entries, err := os.ReadDir(dir)
	if err != nil || len(entries) != 3 {
		t.Errorf("beside the links: %v, %v", entries, err)
	}
}

// An import that fails leaves no record behind, and one that does not leaves the
// record alone.
func TestImportRecord(t *testing.T) {
	from := open(t, filepath.Join(t.TempDir(), "from.db"))
	list := invented.Answers(session("Anna"), 30)
	fill(t, from, list)
	var table bytes.Buffer
	if _, err := from.Export(t.Context(), &table, CSV, ""); err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "new")
	path := filepath.Join(dir, "record.db")
	for _, text := range []string{"", "dear diary", table.String()[:table.Len()/2]} {
		_, err := ImportRecord(t.Context(), path, evening, strings.NewReader(text))
		var bad ImportError
		if !errors.As(err, &bad) {
			t.Errorf("%v, want an error of the export", err)
		}
		if left := content(t, dir); len(left) > 0 {
			t.Errorf("left behind: %d files", len(left))
		}
		if _, err := os.Stat(path); !errors.Is(err, fs.ErrNotExist) {
			t.Error("there is a record now")
		}
	}
	done, err := ImportRecord(t.Context(), path, evening, bytes.NewReader(table.Bytes()))
	if err != nil || done != (Imported{30, 30}) {
		t.Errorf("%+v, %v", done, err)
	}
	entries, _ := os.ReadDir(dir)
	if len(entries) != 2 {
		t.Errorf("%v, want the record and its lock", entries)
	}
	if done, err = ImportRecord(t.Context(), path, evening, bytes.NewReader(table.Bytes())); err != nil || done != (Imported{30, 0}) {
		t.Errorf("again: %+v, %v", done, err)
	}
	if _, err = ImportRecord(t.Context(), path, evening, strings.NewReader("dear diary")); err == nil {
		t.Error("a text was imported")
	}
	r := open(t, path)
	equal(t, all(t, r, Query{}), list)
	if _, err = ImportRecord(t.Context(), path, evening, bytes.NewReader(table.Bytes())); !errors.Is(err, ErrRecordInUse) {
		t.Errorf("%v, want that it is in use", err)
	}
}

// A guarded export says so, holds no formula, and is imported as what it was; one
// that is not guarded is not undone.
func TestGuardedExport(t *testing.T) {
	names := []string{"=HYPERLINK(\"x\")", "+1", "@SUM(A1)", "-", "'=quoted", "Anna;=1+1", "Zoë"}
	from := open(t, filepath.Join(t.TempDir(), "from.db"))
	var want []practice.Answer
	for i, name := range names {
		list := invented.Answers(session(name), 20)
		list[3].Material = []string{"-I V", "=1", "I V65 I", "@", "'+", "x;-y", "ii"}[i]
		fill(t, from, list)
	}
	want = all(t, from, Query{})
	var plain, safe bytes.Buffer
	for out, f := range map[*bytes.Buffer]Format{&plain: CSV, &safe: GuardedCSV} {
		if n, err := from.Export(t.Context(), out, f, ""); err != nil || n != len(want) {
			t.Fatal(n, err)
		}
	}
	// A cell: at the beginning of a line, or behind a comma or a semicolon, perhaps quoted.
	formula := regexp.MustCompile(`(?m)(^|[,;])"?([=@]|[+-]([^0-9.]|[0-9.]*[^0-9.,e+-]))`)
	if found := formula.FindString(safe.String()); found != "" {
		t.Errorf("%q is in a guarded export", found)
	}
	if !formula.MatchString(plain.String()) || !strings.HasSuffix(strings.SplitN(safe.String(), "\n", 2)[0], ",by_steps,guarded") {
		t.Error("the test sees no formula where one is, or no column that says so")
	}
	for what, text := range map[string]string{"guarded": safe.String(), "not guarded": plain.String()} {
		to := open(t, filepath.Join(t.TempDir(), "to.db"))
		if done, err := to.Import(t.Context(), strings.NewReader(text)); err != nil || done.Added != len(want) {
			t.Fatalf("%s: %+v, %v", what, done, err)
		}
		equal(t, all(t, to, Query{}), want)
	}
	to := open(t, filepath.Join(t.TempDir(), "to.db"))
	if _, err := to.Import(t.Context(), strings.NewReader(strings.Replace(safe.String(), ",true\n", ",no\n", 1))); err == nil || !strings.Contains(err.Error(), `guarded: "no"; want true`) {
		t.Errorf("%v", err)
	}
}
