package testkit

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"
)

// Result is what a measurement found, to be kept in a dated file.
type Result struct {
	Name  string // part of the file's name: pitch-dev, jury
	Title string
	Make  string // the command that makes it again
	Text  string // Markdown
}

// Keep writes the result to a file of the folder with the day in its name, and
// returns its path. A result of the same day and name is replaced.
func (r Result) Keep(folder string, day time.Time, commit string) (path string, err error) {
	date := day.Format(time.DateOnly)
	path = filepath.Join(folder, date+"-"+r.Name+".md")
	text := fmt.Sprintf("# %s\n\nMeasured on %s at %s by `%s`. Written by that command; do not edit.\n\n%s", r.Title, date, commit, r.Make, r.Text)
	return path, os.WriteFile(path, []byte(text), 0o666)
}

// Commit names the state of the sources in the working directory, as git knows
// it.
func Commit() string {
	git := func(args ...string) (string, error) {
		out, err := exec.Command("git", args...).Output()
		return strings.TrimSpace(string(out)), err
	}
	commit, err := git("rev-parse", "--short=12", "HEAD")
	if err != nil {
		return "an unknown commit"
	}
	// A result that was kept before changes nothing that is measured.
	changed, err := git("status", "--porcelain", "--", ".", ":(exclude,glob)**/results/*.md")
	if err != nil || changed != "" {
		return "commit " + commit + " with changes"
	}
	return "commit " + commit
}
