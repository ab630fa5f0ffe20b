package main

import (
	"encoding/xml"
	"errors"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"singback/internal/help"
)

// The pictures in the tree are those that the program draws today, and are small.
func TestPictures(t *testing.T) {
	t.Chdir("../../..")
	dir := t.TempDir()
	if err := write(dir); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"drill.svg", "progress.svg"} {
		want, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		got, err := os.ReadFile(filepath.Join("internal/help/pictures", name))
		if err != nil {
			t.Fatal(err)
		}
		if string(got) != string(want) {
			t.Errorf("%s is not what is drawn today: make pictures", name)
		}
		if len(got) > 32<<10 {
			t.Errorf("%s has %d bytes, want at most 32 KiB", name, len(got))
		}
		for d := xml.NewDecoder(strings.NewReader(string(got))); ; {
			if _, err := d.Token(); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
		}
	}
}

// The screens that the handbook shows as text are those of the view.
func TestScreensOfTheHandbook(t *testing.T) {
	topic, ok := help.Find("practice")
	if !ok {
		t.Fatal("there is no topic practice")
	}
	shown := map[string]bool{}
	for line := range strings.SplitSeq(regexp.MustCompile("\x1b\\[[0-9;]*m").ReplaceAllString(asking()+"\n"+judged(), ""), "\n") {
		shown[strings.Join(strings.Fields(line), " ")] = true
	}
	_, after, _ := strings.Cut(topic.Source, "and listens:\n")
	screens, _, found := strings.Cut(after, "The degree comes first")
	if !found {
		t.Fatal("the topic has no screens where they are looked for")
	}
	n := 0
	for line := range strings.Lines(screens) {
		text, block := strings.CutPrefix(line, "    ")
		if text = strings.Join(strings.Fields(text), " "); !block || text == "" {
			continue
		}
		n++
		if !shown[text] {
			t.Errorf("no screen has %q", text)
		}
	}
	if n < 20 {
		t.Errorf("%d lines of screens were found, want 20 or more", n)
	}
}
