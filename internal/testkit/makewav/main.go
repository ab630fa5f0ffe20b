// Command makewav makes the recordings in testdata/wav again, each with the text file
// of truth beside it:
//
//	go run ./internal/testkit/makewav [-out DIR]
//
// To add a recording, add a line to the table in recordings.go and run it.
// It reads nothing and removes nothing.
package main

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
)

func main() {
	out := flag.String("out", filepath.Join("testdata", "wav"), "the `directory` to write to")
	flag.Parse()
	if flag.NArg() > 0 {
		fmt.Fprintf(os.Stderr, "makewav: unexpected argument %q; want only -out DIR\n", flag.Arg(0))
		os.Exit(2)
	}
	if err := write(*out); err != nil {
		fmt.Fprintln(os.Stderr, "makewav:", err)
		os.Exit(1)
	}
}

// write makes every recording and writes it to dir.
func write(dir string) error {
	for _, r := range recordings {
		wav, t, err := r.make()
		if err != nil {
			return fmt.Errorf("making %s: %w", r.name, err)
		}
		base := filepath.Join(dir, r.name)
		if err := os.WriteFile(base+".wav", wav, 0o644); err != nil {
			return err
		}
		if err := os.WriteFile(base+".txt", []byte(t.String()), 0o644); err != nil {
			return err
		}
	}
	return nil
}
