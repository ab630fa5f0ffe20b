package sqlfile

import (
	"errors"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"testing"
)

// A file of any name is opened, and is that file: signs that mean something in a URI mean
// nothing in it.
func TestOpenAnyName(t *testing.T) {
	names := []string{"plain.db", "two words.db", "ü#1.db", "50%25 & more.db"}
	if runtime.GOOS != "windows" {
		names = append(names, "what?mode=ro.db")
	}
	for _, name := range names {
		path := filepath.Join(t.TempDir(), name)
		db, err := Open(path, url.Values{"mode": {"rwc"}, "_pragma": {"busy_timeout(100)"}})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if _, err := db.Exec("CREATE TABLE t (x); INSERT INTO t VALUES (1)"); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if err := db.Close(); err != nil {
			t.Error(err)
		}
		if info, err := os.Stat(path); err != nil || info.Size() == 0 {
			t.Errorf("%s is not there (%v)", name, err)
		}
	}
}

// What goes wrong has the result code that SQLite documents (sqlite.org/rescode.html), and
// words without it.
func TestCode(t *testing.T) {
	dir := t.TempDir()
	text := filepath.Join(dir, "text.db")
	if err := os.WriteFile(text, []byte("this is a text that is longer than the header of a file of SQLite, which has a hundred bytes, and more"), 0o600); err != nil {
		t.Fatal(err)
	}
	failing := func(path, mode, query string) error {
		db, err := Open(path, url.Values{"mode": {mode}})
		if err != nil {
			return err
		}
		defer db.Close()
		_, err = db.Exec(query)
		return err
	}
	for _, c := range []struct {
		path, mode, query string
		code              int
		words             string
	}{
		{text, "rw", "SELECT count(*) FROM sqlite_schema", NotADB, "file is not a database"},
		{filepath.Join(dir, "none.db"), "rw", "SELECT 1", CantOpen, "unable to open database file"},
		{filepath.Join(dir, "new.db"), "rwc", "SELEKT", Error, `SQL logic error: near "SELEKT": syntax error`},
		{filepath.Join(dir, "new.db"), "rwc", "CREATE TABLE t (x UNIQUE); INSERT INTO t VALUES (1), (1)", Constraint, "constraint failed: UNIQUE constraint failed: t.x"},
	} {
		err := failing(c.path, c.mode, c.query)
		if err == nil || Code(err) != c.code {
			t.Errorf("%s: %v, code %d, want %d", c.query, err, Code(err), c.code)
			continue
		}
		if got := Words(err); got != c.words {
			t.Errorf("%s: %q, want %q", c.query, got, c.words)
		}
	}
	if Code(errors.New("something else")) != 0 || Code(nil) != 0 {
		t.Error("an error of somebody else has a code")
	}
}
