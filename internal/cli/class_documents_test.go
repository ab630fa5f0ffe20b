package cli

import (
	"archive/zip"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// inClass runs an example of a command of a class in a folder of its own, in which there
// is what examples speak of: a copy of template.
func inClass(t *testing.T, s shell, line, template string, run func(*testing.T, shell, string) (string, int)) {
	t.Helper()
	t.Run(line, func(t *testing.T) {
		dir := t.TempDir()
		if err := os.CopyFS(dir, os.DirFS(template)); err != nil {
			t.Fatal(err)
		}
		t.Chdir(dir)
		if strings.Contains(line, "--out mine.toml") { // it makes the one that others speak of
			if err := os.Remove("mine.toml"); err != nil {
				t.Fatal(err)
			}
		}
		if all, code := run(t, s, line); (code == exitDone) == failing[line] {
			t.Errorf("%s: exit %d: %s", line, code, all)
		}
	})
}

// classTemplate makes what the examples of commands of a class speak of, in a folder; and
// the same without the class.
func classTemplate(t *testing.T, s shell) (template, empty string) {
	t.Helper()
	hymn, err := os.ReadFile("hymn.abc")
	if err != nil {
		t.Fatal(err)
	}
	template, empty = t.TempDir(), t.TempDir()
	for _, folder := range []string{"takes", "choirs", "sheets"} {
		if err := errors.Join(os.Mkdir(filepath.Join(template, folder), 0o777), os.Mkdir(filepath.Join(empty, folder), 0o777)); err != nil {
			t.Fatal(err)
		}
	}
	for name, text := range map[string]string{
		"hymn.abc": string(hymn), "students.csv": "name,voice,consent\nDu,alto,2026-11-02\n",
		"mine.toml": "name = \"strict\"\npass = 0.8\n\n[counts]\nnotes = 2\nintonation = 1\n",
	} {
		if err := os.WriteFile(filepath.Join(template, name), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	t.Run("class", func(t *testing.T) {
		t.Chdir(template)
		madeClass(t, s)
	})
	return template, empty
}

// madeClass makes an invented class in the folder in which the test is, with takes that
// are pitch curves, marked, and with shares and a zip beside it.
func madeClass(t *testing.T, s shell) {
	t.Helper()
	for _, c := range [][]string{
		{"new", "Lower Street Choir"},
		{"add", "student", "Ana", "Bo", "--consent", "2026-11-02"},
		{"add", "task", "week 1", "--model", "do re mi fa sol fa mi re do do re mi fa sol fa mi re do"},
		{"add", "task", "week 3", "--model", "do re mi re do", "--due", "2026-12-04"},
	} {
		s.must(t, append([]string{"class"}, c...)...)
	}
	fa := []float64{60, 62, 64, 63, 60}
	for i := range 3 {
		s.must(t, "class", "add", "task", fmt.Sprintf("fa %d", i), "--model", "do re mi fa do")
		writeCurve(t, fmt.Sprintf("takes/fa %d Ana.csv", i), 0.4, fa...)
		writeCurve(t, fmt.Sprintf("takes/fa %d Bo.csv", i), 0.4, fa...)
	}
	line := []float64{60, 62, 64, 65, 67, 65, 64, 62, 60}
	writeCurve(t, "takes/week 1 Ana.csv", 0.4, append(line, 60, 62, 64, 66.5, 67, 66.5, 64, 62, 60)...)
	writeCurve(t, "takes/week 1 Bo.csv", 0.4, append(line, 60, 62, 64, 67, 67, 63, 64, 62, 60)...)
	writeCurve(t, "takes/week 3 Ana.csv", 0.4, 60, 62, 64, 62, 60)
	s.must(t, "class", "collect", "takes", "--mark")
	for i := range 4 {
		s.must(t, "class", "collect", "takes", "--share", fmt.Sprintf("%d/4", i+1), "--out", fmt.Sprintf("share%d.jsonl", i+1))
	}
	f, err := os.Create("week3.zip")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z := zip.NewWriter(f)
	w, err := z.Create("Bo.csv")
	if err == nil {
		var b []byte
		if b, err = os.ReadFile("takes/week 3 Ana.csv"); err == nil {
			_, err = w.Write(b)
		}
	}
	if err := errors.Join(err, z.Close()); err != nil {
		t.Fatal(err)
	}
}
