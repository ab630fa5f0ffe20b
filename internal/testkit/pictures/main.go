// Command pictures draws the pictures of README.md again, to the byte: the screen of
// the drill, by the view that draws it in a terminal, and the beginning of the page
// that singback progress writes, of the invented record in testdata/record.
//
//	go run ./internal/testkit/pictures [-out DIR]
package main

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
)

func main() {
	out := flag.String("out", filepath.Join("internal", "help", "pictures"), "the `directory` to write to")
	flag.Parse()
	if err := write(*out); err != nil {
		fmt.Fprintln(os.Stderr, "pictures:", err)
		os.Exit(1)
	}
}

// write draws the pictures. It is called in the root of the sources.
func write(dir string) error {
	page, err := progressPage(filepath.Join("testdata", "record", "anna.csv"))
	if err != nil {
		return err
	}
	progress, err := drawPage(page)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	for name, svg := range map[string]string{
		"drill.svg":    drawScreens("a terminal: sing la in A flat major, then the verdict, 40 cents flat", asking(), judged()),
		"progress.svg": progress,
	} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(svg), 0o644); err != nil {
			return err
		}
	}
	return nil
}
