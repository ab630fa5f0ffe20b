package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
)

// isLicence are the names of the files that say under which terms a module is given:
// whatever begins with one of these words, with any ending.
var isLicence = regexp.MustCompile(`(?i)^(licen[cs]e|copying|copyright|notice|unlicense|patents)([.\-_].*)?$`)

// licences writes the licences of the modules that a program was built from, and of
// the language's own library. file is what go version -m says of the program. A module
// without one is an error: its terms are not known.
func licences(w io.Writer, file string) error {
	data, err := os.ReadFile(file)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "singback holds the code of these modules, under these terms.\n")
	root, err := exec.Command("go", "env", "GOROOT").Output()
	if err != nil {
		return fmt.Errorf("go env GOROOT: %w", err)
	}
	if err := licencesIn(w, "The Go standard library and runtime, "+runtime.Version(), strings.TrimSpace(string(root))); err != nil {
		return err
	}
	n := 0
	for line := range strings.Lines(string(data)) {
		f := strings.Fields(line)
		if len(f) < 3 || f[0] != "dep" {
			continue
		}
		n++
		dir, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", f[1]+"@"+f[2]).Output()
		if err != nil {
			return fmt.Errorf("%s %s: %w", f[1], f[2], err)
		}
		if err := licencesIn(w, f[1]+" "+f[2], strings.TrimSpace(string(dir))); err != nil {
			return err
		}
	}
	if n == 0 {
		return errors.New(file + ": no module; want what go version -m says of a program")
	}
	return nil
}

// licencesIn writes the licence files of a folder, in the order of their names.
func licencesIn(w io.Writer, what, dir string) error {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	found := false
	for _, e := range entries {
		if e.IsDir() || strings.HasSuffix(e.Name(), ".go") || !isLicence.MatchString(e.Name()) {
			continue
		}
		data, err := os.ReadFile(filepath.Join(dir, e.Name()))
		if err != nil {
			return err
		}
		found = true
		data = bytes.ReplaceAll(bytes.TrimSpace(data), []byte("\r\n"), []byte("\n"))
		fmt.Fprintf(w, "\n%s\n%s (%s)\n\n%s\n", strings.Repeat("=", 78), what, e.Name(), data)
	}
	if !found {
		return fmt.Errorf("%s: no licence in %s", what, dir)
	}
	return nil
}
