package testkit

import (
	"compress/gzip"
	"encoding/csv"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Reference reads a table of the reference data, CSV that may be packed by gzip: the
// names of its columns, and its rows. A test without that data is passed over, and says
// so.
func Reference(t testing.TB, path ...string) (columns []string, rows [][]string) {
	t.Helper()
	dir := os.Getenv("SINGBACK_REFERENCE")
	if dir == "" {
		t.Skipf("SINGBACK_REFERENCE is not set: no comparison with %s of the reference data", strings.Join(path, "/"))
	}
	f, err := os.Open(filepath.Join(append([]string{dir}, path...)...))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var in io.Reader = f
	if strings.HasSuffix(f.Name(), ".gz") {
		if in, err = gzip.NewReader(f); err != nil {
			t.Fatal(err)
		}
	}
	all, err := csv.NewReader(in).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return all[0], all[1:]
}
