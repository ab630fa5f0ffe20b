// Command papers writes what a package has beside the program into a folder: the
// manual pages of all commands and the completions of all shells, made from the
// commands themselves, and the licences of all modules that a build holds.
package main

import (
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"singback/internal/cli"
)

func main() {
	out := flag.String("out", "", "the folder")
	version := flag.String("version", "", "what is released, as v1.2.3")
	at := flag.Int64("epoch", 0, "the second of the release since 1970: its day stands on the pages")
	modules := flag.String("licences", "", "only write, to standard output, the licences of the modules in this list of go version -m")
	flag.Parse()
	err := errors.New("usage: papers -out FOLDER -version VERSION -epoch SECONDS, or papers -licences FILE")
	switch {
	case *modules != "":
		err = licences(os.Stdout, *modules)
	case *out != "" && *version != "" && *at > 0:
		err = write(*out, *version, time.Unix(*at, 0))
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "papers:", err)
		os.Exit(1)
	}
}

func write(out, version string, day time.Time) error {
	papers, err := cli.Papers(version, day)
	if err != nil {
		return err
	}
	for name, data := range papers {
		path := filepath.Join(out, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return err
		}
		if err := os.WriteFile(path, data, 0o644); err != nil {
			return err
		}
	}
	return nil
}
