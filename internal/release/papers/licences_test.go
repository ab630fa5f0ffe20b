package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The terms of a module are in the text, in order and whole; a module that says none is
// an error, since it may then not be handed out.
func TestLicences(t *testing.T) {
	folder := t.TempDir()
	var b bytes.Buffer
	if err := licencesIn(&b, "example.org/m v1.0.0", folder); err == nil {
		t.Error("a module without a licence is let pass")
	}
	for name, text := range map[string]string{
		"LICENSE-MIT": "one\r\ntwo\n", "COPYING": "zero\n", "license_test.go": "package m", "Licence.md": "three\n", "licensed": "no", "README": "no",
	} {
		if err := os.WriteFile(filepath.Join(folder, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := licencesIn(&b, "example.org/m v1.0.0", folder); err != nil {
		t.Fatal(err)
	}
	got := strings.Split(b.String(), strings.Repeat("=", 78))[1:]
	want := []string{
		"\nexample.org/m v1.0.0 (COPYING)\n\nzero\n\n",
		"\nexample.org/m v1.0.0 (LICENSE-MIT)\n\none\ntwo\n\n",
		"\nexample.org/m v1.0.0 (Licence.md)\n\nthree\n",
	}
	if strings.Join(got, "") != strings.Join(want, "") {
		t.Errorf("%q, want %q", got, want)
	}
	if err := licences(&b, filepath.Join(folder, "README")); err == nil || !strings.Contains(err.Error(), "no module") {
		t.Errorf("a list without a module: %v", err)
	}
}
