package cli

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Four runs that share the takes of a list, one of them interrupted and gone on with, make
// what one run makes, to the byte: under whatever starts them, a million takes are no more
// than many shares.
func TestGradeShares(t *testing.T) {
	dir, paths := gradeTakes(t)
	broken := filepath.Join(dir, "broken.csv")
	if err := os.WriteFile(broken, []byte("no curve"), 0o600); err != nil {
		t.Fatal(err)
	}
	// Eleven takes: by name, with one that cannot be read, and names of the same files that
	// have commas, quotes and letters beyond ASCII.
	var list strings.Builder
	fmt.Fprintf(&list, "\ufeff# week 3\r\n\n   \n")
	for i, name := range []string{"a,b.csv", `q"q.csv`, "Ünal.csv", "x.csv", "y.csv", "z.csv"} {
		b, err := os.ReadFile(paths[i%len(paths)])
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), b, 0o600); err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&list, "%s\r\n", filepath.Join(dir, name))
	}
	fmt.Fprintf(&list, "%s\n%s", broken, paths[0])
	file := filepath.Join(dir, "takes.txt")
	if err := os.WriteFile(file, []byte(list.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, format := range []string{"csv", "jsonl"} {
		grade := func(more ...string) []string {
			return append(append([]string{"grade", "--model", gradeModel, "--format", format, "--list", file}, more...), paths[1:]...)
		}
		want, _, code := call{}.run(t, grade()...)
		if code != exitFailed || strings.Count(want, "\n") < 10 {
			t.Fatalf("%d %q", code, want)
		}
		out := func(k int) string { return filepath.Join(dir, fmt.Sprintf("%d.%s", k, format)) }
		read := func(k int) []byte {
			b, err := os.ReadFile(out(k))
			if err != nil {
				t.Fatal(err)
			}
			return b
		}
		for _, n := range []int{4, 20} {
			var joined bytes.Buffer
			for k := 1; k <= n; k++ {
				call{}.run(t, grade("--share", fmt.Sprintf("%d/%d", k, n), "--out", out(k), "--force")...)
				joined.Write(read(k))
			}
			if joined.String() != want {
				t.Errorf("%d shares of %s:\n%s\nwant\n%s", n, format, joined.String(), want)
			}
		}
		// Whatever byte a share was interrupted after.
		for _, k := range []int{1, 3} {
			share := fmt.Sprintf("%d/4", k)
			call{}.run(t, grade("--share", share, "--out", out(k), "--force")...)
			whole := read(k)
			for cut := 0; cut <= len(whole); cut += max(1, len(whole)/10) {
				if err := os.WriteFile(out(k), whole[:cut], 0o600); err != nil {
					t.Fatal(err)
				}
				if _, stderr, _ := (call{}).run(t, grade("--share", share, "--out", out(k), "--resume")...); !bytes.Equal(read(k), whole) {
					t.Fatalf("%s, share %s cut after %d bytes: %q\n%s", format, share, cut, read(k), stderr)
				}
			}
		}
		// The file of another share, and another file.
		call{}.run(t, grade("--share", "1/4", "--out", out(1), "--force")...)
		before := read(1)
		_, stderr, code := call{}.run(t, grade("--share", "2/4", "--out", out(1), "--resume")...)
		if code != exitFailed || !strings.Contains(stderr, "--out: "+out(1)+": it ") || !bytes.Equal(read(1), before) {
			t.Errorf("over another share: %d %q", code, stderr)
		}
		for _, text := range []string{"somebody's notes", "somebody's notes\n"} {
			if err := os.WriteFile(out(1), []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
			if _, stderr, code := (call{}).run(t, grade("--share", "2/4", "--out", out(1), "--resume")...); code != exitFailed || !strings.Contains(stderr, "not written by grade") || string(read(1)) != text {
				t.Errorf("over another file: %d %q %q", code, stderr, read(1))
			}
		}
	}
	// From standard input, and what is wrong with a list.
	got, _, _ := call{stdin: strings.NewReader(list.String())}.run(t, "grade", "--model", gradeModel, "--format", "csv", "--list", "-")
	if strings.Count(got, "\n") != 8 {
		t.Errorf("a list on standard input: %q", got)
	}
	for _, c := range []struct {
		args  []string
		stdin string
		code  int
		want  string
	}{
		{[]string{"--list", filepath.Join(dir, "none.txt")}, "", exitFailed, "--list: "},
		{[]string{"--list", "-"}, "# nothing\n", exitFailed, "names no take"},
		{[]string{"--list", "-"}, strings.Repeat("a", longestName+1), exitFailed, "line 1 is longer than"},
		{[]string{"--list", "-"}, "a.wav\nb\x00c\n", exitFailed, "line 2 holds no text"},
		{[]string{"--list", "-"}, "-\n", exitUsage, "line 1 is -"},
		{nil, "", exitUsage, "TAKE is missing, or --list FILE"},
		{[]string{"--share", "2/4", paths[0]}, "", exitUsage, "want --format csv or jsonl"},
		{[]string{"--share", "2/4", "--format", "json", paths[0]}, "", exitUsage, "want --format csv or jsonl"},
		{[]string{"--share", "0/4", "--format", "csv", paths[0]}, "", exitUsage, "want K/N"},
		{[]string{"--share", "5/4", "--format", "csv", paths[0]}, "", exitUsage, "want K/N"},
		{[]string{"--share", "half", "--format", "csv", paths[0]}, "", exitUsage, "want K/N"},
	} {
		_, stderr, code := call{stdin: strings.NewReader(c.stdin)}.run(t, append([]string{"grade", "--model", gradeModel}, c.args...)...)
		if code != c.code || !strings.Contains(stderr, c.want) || strings.Count(stderr, "\n") > 2 {
			t.Errorf("%q: %d %q, want %d %q", c.args, code, stderr, c.code, c.want)
		}
	}
}
