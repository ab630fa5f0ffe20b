package cli

import (
	"archive/zip"
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// shown is a command of README.md with what is shown to come of it.
type shown struct {
	line int
	args []string
	want string // "" where only the command is shown
}

// readmeCommands finds the commands that README.md shows behind a $.
func readmeCommands(t *testing.T) (list []shown) {
	t.Helper()
	b, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	open := false
	for i, line := range strings.Split(string(b), "\n") {
		text, indented := strings.CutPrefix(line, "    ")
		command, ok := strings.CutPrefix(text, "$ bin/singback")
		switch {
		case indented && ok:
			list = append(list, shown{line: i + 1, args: words(t, command)})
			open = true
		case open && (indented || line == ""):
			list[len(list)-1].want += text + "\n"
		default:
			open = false
		}
	}
	for i := range list {
		if list[i].want = strings.TrimRight(list[i].want, "\n"); list[i].want != "" {
			list[i].want += "\n"
		}
	}
	return list
}

// words splits a command line as a shell does, as far as README.md needs it.
func words(t *testing.T, s string) (list []string) {
	t.Helper()
	if strings.ContainsAny(s, `'$\&;<>()`) || strings.Count(s, `"`)%2 != 0 {
		t.Fatalf("README.md: the command %q needs a shell", s)
	}
	for i, part := range strings.Split(s, `"`) {
		if i%2 == 1 {
			list = append(list, part)
		} else {
			list = append(list, strings.Fields(part)...)
		}
	}
	return list
}

// asShown turns what README.md shows into an expression: a line of three dots
// stands for any lines, three dots at the end of a line for the rest of it.
func asShown(want string) *regexp.Regexp {
	var b strings.Builder
	b.WriteString(`^`)
	for line := range strings.Lines(want) {
		head, cut := strings.CutSuffix(strings.TrimRight(line, " \n"), "...")
		switch {
		case cut && strings.TrimSpace(head) == "":
			b.WriteString(`(?:.*\n)*?`)
		case cut:
			b.WriteString(regexp.QuoteMeta(strings.TrimRight(head, " ")) + `.*\n`)
		default:
			b.WriteString(regexp.QuoteMeta(head) + ` *\n`)
		}
	}
	b.WriteString(`$`)
	return regexp.MustCompile(b.String())
}

// Every command that README.md shows behind a $ runs, in this order, and prints
// what is shown below it.
func TestReadmeCommands(t *testing.T) {
	recordings, err := filepath.Abs("../../testdata")
	if err != nil {
		t.Fatal(err)
	}
	list := readmeCommands(t)
	t.Chdir(t.TempDir())
	if err := os.Symlink(recordings, "testdata"); err != nil {
		t.Fatal(err)
	}
	writeHymn(t, "hymn.mxl")
	seen := map[string]bool{}
	for _, c := range list {
		args := c.args
		name := strings.Join(args, " ")
		seen[args[0]] = true
		if args[0] == "today" && !slices.Contains(args, "--input") {
			args = append(args, "--input", "simulated") // no microphone here
		}
		if raceDetector && slices.Contains(args, "simulated") {
			continue // other tests have the simulated singer sing
		}
		if i := slices.Index(args, "speaker"); i >= 0 {
			args[i] = "none" // and no loudspeaker
		}
		mistaken := strings.HasPrefix(name, "course check") // it shows a teacher's mistake
		if mistaken {
			replaceInFile(t, "mine.toml", `"do mi sol"`, `"do mi soul"`)
		}
		data := t.TempDir() // nobody's profile
		var out bytes.Buffer
		_, _, code := call{data: data, now: readmeDay, stdout: &out, stderr: &out}.run(t, args...)
		if mistaken {
			replaceInFile(t, "mine.toml", `"do mi soul"`, `"do mi sol"`)
		}
		got := strings.ReplaceAll(out.String(), data, "/home/you/.local/share")
		fails := strings.HasPrefix(c.want, "singback ")
		if (code == exitDone) == fails {
			t.Errorf("README.md:%d: singback %s: exit %d: %s", c.line, name, code, got)
		}
		if c.want != "" && !asShown(c.want).MatchString(got) {
			t.Errorf("README.md:%d: singback %s prints\n%s\nbut there stands\n%s", c.line, name, got, c.want)
		}
	}
	for _, command := range []string{"key", "rename", "deduce", "between", "cadence", "findkey", "judge", "melody", "profile", "today", "course"} {
		if !seen[command] {
			t.Errorf("README.md has no worked example of singback %s", command)
		}
	}
}

func replaceInFile(t *testing.T, path, old, new string) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(b, []byte(old)) {
		t.Fatalf("%s has no %s", path, old)
	}
	if err := os.WriteFile(path, bytes.Replace(b, []byte(old), []byte(new), 1), 0o600); err != nil {
		t.Fatal(err)
	}
}

// writeHymn writes a compressed score with a part named Alto.
func writeHymn(t *testing.T, path string) {
	t.Helper()
	score, _ := call{}.must(t, "melody", "| do :re | mi :- | sol ||", "--key", "G", "--to", "musicxml")
	name := regexp.MustCompile(`<part-name[^>]*(/>|>[^<]*</part-name>)`)
	if !name.MatchString(score) {
		t.Fatal("the score has no part name")
	}
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, f := range []struct{ name, text string }{
		{"META-INF/container.xml", `<container><rootfiles><rootfile full-path="score.xml"/></rootfiles></container>`},
		{"score.xml", name.ReplaceAllString(score, `<part-name>Alto</part-name>`)},
	} {
		w, err := z.Create(f.name)
		if err == nil {
			_, err = w.Write([]byte(f.text))
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
}
