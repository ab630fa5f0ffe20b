package cli

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/cobra"

	"singback/internal/help"
)

// document is a text that shows commands behind a $: README.md, a topic of the
// handbook.
type document struct {
	name  string
	lines []string
}

// documents are all of them. README.md comes first; each has a folder and a user of
// its own.
func documents(t *testing.T) (list []document) {
	t.Helper()
	b, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	list = append(list, document{"README.md", strings.Split(string(b), "\n")})
	for _, topic := range help.Topics() {
		list = append(list, document{topic.Name + ".md", strings.Split(topic.Source, "\n")})
	}
	return list
}

// shown is a command that a document shows, with what is shown to come of it.
type shown struct {
	line int
	text string
	want string // "" where only the command is shown
}

// commands finds the commands that a document shows behind a $. A backslash at the
// end of a line goes on in the next.
func (d document) commands() (list []shown) {
	open, more := false, false
	for i, line := range d.lines {
		text, indented := strings.CutPrefix(line, "    ")
		command, ok := strings.CutPrefix(text, "$ ")
		last := len(list) - 1
		switch {
		case more:
			before, _ := strings.CutSuffix(list[last].text, `\`)
			list[last].text = before + strings.TrimSpace(text)
		case indented && ok:
			list = append(list, shown{line: i + 1, text: command})
			open = true
		case open && (indented || line == ""):
			list[last].want += text + "\n"
		default:
			open = false
		}
		more = len(list) > 0 && open && strings.HasSuffix(list[len(list)-1].text, `\`)
	}
	for i := range list {
		if list[i].want = strings.TrimRight(list[i].want, "\n"); list[i].want != "" {
			list[i].want += "\n"
		}
	}
	return list
}

// asShown turns what a document shows into an expression: a line of three dots
// stands for any lines, three dots at the end of a line for the rest of it, and
// before a blank for any words.
func asShown(want string) *regexp.Regexp {
	var b strings.Builder
	b.WriteString(`^`)
	for line := range strings.Lines(want) {
		head, cut := strings.CutSuffix(strings.TrimRight(line, " \n"), "...")
		words := strings.ReplaceAll(regexp.QuoteMeta(strings.TrimRight(head, " ")), `\.\.\. `, `.* `)
		switch {
		case cut && strings.TrimSpace(head) == "":
			b.WriteString(`(?:.*\n)*?`)
		case cut:
			b.WriteString(words + `.*\n`)
		default:
			b.WriteString(words + ` *\n`)
		}
	}
	b.WriteString(`$`)
	return regexp.MustCompile(b.String())
}

// shell runs command lines in this process, as far as the documents need one: words
// in quotes, pipes, && and files by < and >. Where a command line needs more it says
// so.
type shell struct {
	call
	home string // of the user, for ~
}

// line is what a command line printed, and the status that it ended with.
func (s shell) line(t *testing.T, line string) (stdout, all string, code int) {
	t.Helper()
	words := lex(t, line)
	for part := range split(words, "&&") {
		var o, a string
		o, a, code = s.pipe(t, part)
		stdout, all = stdout+o, all+a
		if code != exitDone {
			break
		}
	}
	return stdout, all, code
}

// pipe runs the commands of a pipe one after the other; each reads what the one
// before has printed.
func (s shell) pipe(t *testing.T, words []string) (stdout, all string, code int) {
	t.Helper()
	from := io.Reader(strings.NewReader(""))
	var both bytes.Buffer
	for command := range split(words, "|") {
		var args []string
		var into string
		for i := 0; i < len(command); i++ {
			switch {
			case command[i] == ">" && i+1 < len(command):
				i++
				into = command[i]
			case command[i] == "<" && i+1 < len(command):
				i++
				b, err := os.ReadFile(command[i])
				if err != nil {
					t.Fatal(err)
				}
				from = bytes.NewReader(b)
			default:
				args = append(args, s.expand(t, command[i])...)
			}
		}
		var out bytes.Buffer
		one := s.call
		one.stdin, one.stdout, one.stderr = from, &out, &both
		if into == "" {
			one.stdout = io.MultiWriter(&out, &both) // in the order in which a user reads it
		}
		if code = one.program(t, args); code != exitDone {
			return out.String(), both.String(), code
		}
		if stdout = out.String(); into != "" {
			if err := os.WriteFile(into, out.Bytes(), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		from = &out
	}
	return stdout, both.String(), code
}

// program runs one program with its arguments.
func (c call) program(t *testing.T, args []string) (code int) {
	t.Helper()
	in := bufio.NewReader(c.stdin)
	c.stdin = in
	switch args[0] {
	case "singback":
		if len(args) > 1 && args[1] == "page" || len(args) > 2 && args[1] == "class" && args[2] == "desk" {
			c.interruptible, c.browse = over, func(string) error { return nil }
		}
		_, _, code = c.run(t, args[1:]...)
	case "echo":
		fmt.Fprintln(c.stdout, strings.Join(args[1:], " "))
	case "head":
		if len(args) != 1 {
			t.Fatalf("%q: want no argument", args)
		}
		for range 10 {
			line, _ := in.ReadString('\n')
			io.WriteString(c.stdout, line)
		}
	case "mv":
		if len(args) != 3 {
			t.Fatalf("%q: want two names", args)
		}
		if err := os.Rename(args[1], args[2]); err != nil {
			t.Fatal(err)
		}
	default:
		t.Fatalf("%q needs a shell", args)
	}
	return code
}

// over is for what would go on until it is interrupted: that has happened.
func over(ctx context.Context) (context.Context, context.CancelFunc) {
	ctx, stop := context.WithCancel(ctx)
	stop()
	return ctx, stop
}

// expand replaces the home of the user, and names with a star by the files that
// there are. What stood in quotes has a 0 before it.
func (s shell) expand(t *testing.T, word string) []string {
	t.Helper()
	if quoted, ok := strings.CutPrefix(word, "\x00"); ok {
		return []string{quoted}
	}
	if rest, ok := strings.CutPrefix(word, "~/"); ok {
		word = filepath.Join(s.home, rest)
	}
	if !strings.Contains(word, "*") {
		return []string{word}
	}
	files, err := filepath.Glob(word)
	if err != nil || len(files) == 0 {
		t.Fatalf("there is no file %s: %v", word, err)
	}
	return files
}

// lex divides a command line into words and signs.
func lex(t *testing.T, line string) (list []string) {
	t.Helper()
	for rest := line; ; {
		rest = strings.TrimLeft(rest, " ")
		switch {
		case rest == "":
			return list
		case rest[0] == '"' || rest[0] == '\'':
			word, after, ok := strings.Cut(rest[1:], rest[:1])
			if !ok || after != "" && after[0] != ' ' {
				t.Fatalf("%q: a quote is open", line)
			}
			list, rest = append(list, "\x00"+word), after
		case strings.HasPrefix(rest, "&&"):
			list, rest = append(list, "&&"), rest[2:]
		case strings.ContainsRune("|<>", rune(rest[0])):
			list, rest = append(list, rest[:1]), rest[1:]
		default:
			n := strings.IndexAny(rest, ` |<>"'&$\;()`)
			if n < 0 {
				n = len(rest)
			}
			if n == 0 {
				t.Fatalf("%q needs a shell", line)
			}
			list, rest = append(list, rest[:n]), rest[n:]
		}
	}
}

// split yields what stands between the signs.
func split(words []string, sign string) func(func([]string) bool) {
	return func(yield func([]string) bool) {
		for len(words) > 0 {
			n := slices.Index(words, sign)
			if n < 0 {
				yield(words)
				return
			}
			if !yield(words[:n]) {
				return
			}
			words = words[n+1:]
		}
	}
}

// soundless hides the sound devices of the machine from this process, so that
// commands do what they do without: a simulated singer answers.
func soundless(t *testing.T) {
	t.Helper()
	if runtime.GOOS != "linux" {
		t.Skip("needs Linux: elsewhere the commands would use the real microphone")
	}
	for _, pair := range noDevices(t.TempDir()) {
		name, value, _ := strings.Cut(pair, "=")
		t.Setenv(name, value)
	}
}

// simulates tells whether a simulated singer answers a command line.
func simulates(line string) bool {
	if strings.Contains(line, "--input") {
		return strings.Contains(line, "--input simulated")
	}
	return regexp.MustCompile(`^singback($| today| sing | series| echo| calibrate| dictation)`).MatchString(line)
}

// Every command that README.md and the handbook show behind a $ runs, in the order
// of each document, and prints what is shown below it; then every example of --help
// that was not among them. What JSON has is explained in the topic fields.
func TestDocuments(t *testing.T) {
	soundless(t)
	recordings, err := filepath.Abs("../../testdata")
	if err != nil {
		t.Fatal(err)
	}
	done := map[string]bool{}
	fields := map[string]string{} // each field that was seen, and where
	seen := map[string]bool{}
	type ended struct {
		all  string
		code int
	}
	known := map[string]ended{} // what was sung is sung once
	run := func(t *testing.T, s shell, line string) (all string, code int) {
		t.Helper()
		if e, ok := known[line]; ok {
			return e.all, e.code
		}
		done[line] = true
		stdout, all, code := s.line(t, line)
		jsonFields(t, line, stdout, fields)
		if simulates(line) && !strings.ContainsAny(line, ".>") && !strings.Contains(line, "--keep") {
			known[line] = ended{all, code} // no files, and no user here has a profile when the simulated singer sings
		}
		return all, code
	}
	for _, d := range documents(t) {
		t.Run(d.name, func(t *testing.T) {
			data := t.TempDir()
			s := shell{call: call{data: data, now: readmeDay}, home: filepath.Join(t.TempDir(), "home")}
			t.Chdir(t.TempDir())
			if err := os.Symlink(recordings, "testdata"); err != nil {
				t.Fatal(err)
			}
			if err := os.MkdirAll(filepath.Join(s.home, ".local"), 0o700); err != nil {
				t.Fatal(err)
			}
			if err := os.Symlink(data, filepath.Join(s.home, ".local", "share")); err != nil {
				t.Fatal(err)
			}
			prepared(t, d.name, data)
			for _, c := range d.commands() {
				if words := strings.Fields(c.text); len(words) > 1 && words[0] == "singback" {
					seen[words[1]] = true
				}
				if notRun[c.text] {
					continue
				}
				undo := mistaken(t, c.text)
				got, code := run(t, s, strings.Replace(c.text, "--output speaker", "--output none", 1))
				undo()
				got = strings.ReplaceAll(got, data, "/home/you/.local/share")
				fails := strings.HasPrefix(c.want, "singback ") || failing[c.text]
				if (code == exitDone) == fails {
					t.Errorf("%s:%d: %s: exit %d: %s", d.name, c.line, c.text, code, got)
				}
				if c.want != "" && !asShown(c.want).MatchString(got) {
					t.Errorf("%s:%d: %s prints\n%s\nbut there stands\n%s", d.name, c.line, c.text, got, c.want)
				}
			}
		})
	}
	t.Run("--help", func(t *testing.T) { helpExamples(t, done, run) })
	for _, command := range newRoot(&env{}).Commands() {
		if name := command.Name(); !seen[name] && command.IsAvailableCommand() && name != "help" {
			t.Errorf("no document has a worked example of singback %s", name)
		}
	}
	topic, _ := help.Find("fields")
	words := map[string]bool{}
	for _, word := range regexp.MustCompile("`[^`]*`").FindAllString(topic.Source, -1) {
		words[strings.Trim(word, "`")] = true
	}
	for _, name := range slices.Sorted(maps.Keys(fields)) {
		if !words[name] {
			t.Errorf("the topic fields does not explain %q, which %s prints", name, fields[name])
		}
	}
	if len(fields) < 150 {
		t.Errorf("%d fields were seen, want 150 or more", len(fields))
	}
}

// notRun are commands that a document shows and no test can run.
var notRun = map[string]bool{
	"make build": true, "make test": true, "sudo cp bin/singback /usr/local/bin/": true, // the tests are part of the second
}

// failing are commands that are to fail though what they print is not shown.
var failing = map[string]bool{
	"singback devices":                           true, // there are none here
	"singback doctor":                            true, // and says so
	"singback doctor --format json":              true,
	"singback doctor --tone --yes":               true,
	"singback class forget Ana":                  true, // nobody types the name
	`singback class hear Ana "week 1" --at 0:03`: true, // nor is there a loudspeaker
}

// prepared makes what a document takes for granted: the user of record.md has a
// record.
func prepared(t *testing.T, name, data string) {
	t.Helper()
	if name != "record.md" {
		return
	}
	c := call{data: data, now: readmeDay}
	c.must(t, "record", "import", "testdata/record/anna.csv", "--record", filepath.Join(data, "singback", "record.db"))
}

// mistaken puts the mistake of a teacher into a course that is to be checked.
func mistaken(t *testing.T, line string) (undo func()) {
	if line != "singback course check mine.toml" {
		return func() {}
	}
	replaceInFile(t, "mine.toml", `"do mi sol"`, `"do mi soul"`)
	return func() { replaceInFile(t, "mine.toml", `"do mi soul"`, `"do mi sol"`) }
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

// jsonFields notes the names of the fields in what a command printed, where that is
// JSON or CSV.
func jsonFields(t *testing.T, line, text string, fields map[string]string) {
	t.Helper()
	if head, _, _ := strings.Cut(text, "\n"); regexp.MustCompile(`^[a-z0-9_]+(,[a-z0-9_]+){2,}$`).MatchString(head) {
		for name := range strings.SplitSeq(head, ",") {
			fields[name] = line // the header of CSV
		}
	}
	if !strings.Contains(line, "--format json") || strings.Contains(line, "devices") {
		return
	}
	dec := json.NewDecoder(strings.NewReader(text))
	for {
		var v any
		if err := dec.Decode(&v); errors.Is(err, io.EOF) {
			return
		} else if err != nil {
			return // several commands, of which one prints text
		}
		var walk func(any)
		walk = func(v any) {
			switch v := v.(type) {
			case []any:
				for _, x := range v {
					walk(x)
				}
			case map[string]any:
				for name, x := range v {
					if !byName(name) {
						fields[name] = line
					}
					walk(x)
				}
			}
		}
		walk(v)
	}
}

// byName tells whether a field is one of many of a kind: degrees, moves, qualities
// of a summary, namings.
func byName(name string) bool {
	return regexp.MustCompile(`^[b#]*[1-7](-[b#]*[1-7].*)?$|^(movable|la-based|fixed|fixed-chromatic|numbers|letters|curwen|kodaly)$`).MatchString(name)
}

// Every command's help has an example of that command, and every example runs as
// it stands. Those that a document shows have run there.
func helpExamples(t *testing.T, done map[string]bool, run func(*testing.T, shell, string) (string, int)) {
	dir := t.TempDir()
	for to, from := range map[string]string{"take.wav": "flat-40", "take1.wav": "la-for-sol", "take2.wav": "sharp-20-within-35", "piano.wav": "do-c-major-tenor"} {
		b, err := os.ReadFile("../../testdata/wav/" + from + ".wav")
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, to), b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	tune, err := os.ReadFile("../../testdata/evening.abc")
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, "hymn.abc"), tune, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	choir, err := os.ReadFile("../../testdata/harbour.abc")
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, "choir.abc"), choir, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"take.csv", "model.csv"} {
		writeCurve(t, filepath.Join(dir, name), 0.3, 60, 62, 64, 62, 60)
	}
	s := shell{call: call{data: filepath.Join(dir, "data")}, home: dir}
	for _, path := range []string{"choir.db", "old.db", "data/singback/record.db"} {
		s.must(t, "record", "import", "../../testdata/record/anna.csv", "--record", filepath.Join(dir, path))
	}
	s.must(t, "course", "export", filepath.Join(dir, "mine.toml"))
	t.Chdir(dir)
	s.must(t, "follow", "--input", "simulated", "--seed", "3", "--keep", dir)
	if err := os.Rename("follow-1.wav", "bass.wav"); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile("taps.txt", []byte("3.6 1\n4.28\n4.96\n5.65\n6.33 1\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile("takes.txt", []byte("take1.wav\ntake2.wav\ntake.csv\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	template, empty := classTemplate(t, s)
	visible(newRoot(&env{}), func(cmd *cobra.Command) {
		path := cmd.CommandPath()
		if strings.HasPrefix(path, "singback completion ") {
			return // the shells' own pages, with commands for set-up files in them
		}
		args := strings.Fields(path)[1:]
		text, stderr := call{}.must(t, append(args, "--help")...)
		if stderr != "" {
			t.Errorf("%s --help: standard error has %q", path, stderr)
		}
		_, after, _ := strings.Cut(text, "\nExamples:\n")
		examples, _, _ := strings.Cut(after, "\n\n")
		n := 0
		for line := range strings.Lines(examples) {
			line = strings.TrimSpace(line)
			if !strings.Contains(line, path) {
				t.Errorf("%s: the example %q is of another command", path, line)
			}
			n++
			switch {
			case done[line], raceDetector && (n > 1 || simulates(line)):
				continue
			case strings.Contains(line, "<("):
				sourced(t, dir, line)
				continue
			}
			if strings.HasPrefix(path, "singback class") {
				folder := template
				if path == "singback class new" {
					folder = empty
				}
				inClass(t, s, line, folder, run)
				continue
			}
			if all, code := run(t, s, line); (code == exitDone) == failing[line] {
				t.Errorf("%s: exit %d: %s", line, code, all)
			}
		}
		if n == 0 {
			t.Errorf("%s --help has no example", path)
		}
	})
}

// sourced runs a line that only a shell can.
func sourced(t *testing.T, dir, line string) {
	t.Helper()
	bash, err := exec.LookPath("bash")
	if err != nil {
		t.Logf("not run, for there is no bash: %s", line)
		return
	}
	c := exec.CommandContext(t.Context(), bash, "-c", "set -eo pipefail\n"+line)
	c.Dir = dir
	if out, err := c.CombinedOutput(); err != nil {
		t.Errorf("%s: %v\n%s", line, err, out)
	}
}

// What troubleshooting and keys say that the program says, it says.
func TestTroubleshootingQuotes(t *testing.T) {
	var said strings.Builder
	for _, folder := range []string{"device", "doctor", "drill", "report", "store", "tui"} {
		files, err := filepath.Glob("../" + folder + "/*.go")
		if err != nil {
			t.Fatal(err)
		}
		for _, file := range files {
			if strings.HasSuffix(file, "_test.go") {
				continue
			}
			b, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			said.Write(b)
		}
	}
	n := 0
	for _, name := range []string{"troubleshooting", "keys"} {
		topic, _ := help.Find(name)
		for i, text := range strings.Split(topic.Source, `"`) {
			if i%2 == 0 {
				continue
			}
			if n++; !strings.Contains(said.String(), text) {
				t.Errorf("the topic %s quotes %q, which the program does not say", name, text)
			}
		}
	}
	if n < 12 {
		t.Errorf("%d quotes were found, want 12 or more", n)
	}
}

// README.md and DEVELOPERS.md are short, and what they link to is there. The map of
// the code has every folder with code, and no other.
func TestGuides(t *testing.T) {
	root := os.DirFS("../..")
	for _, name := range []string{"README.md", "DEVELOPERS.md"} {
		b, err := fs.ReadFile(root, name)
		if err != nil {
			t.Fatal(err)
		}
		if n := bytes.Count(b, []byte("\n")); n > 200 {
			t.Errorf("%s has %d lines, want at most 200", name, n)
		}
		for _, m := range regexp.MustCompile(`\]\(([^)#]+)|src="([^"]+)"`).FindAllStringSubmatch(string(b), -1) {
			if _, err := fs.Stat(root, m[1]+m[2]); err != nil {
				t.Errorf("%s: %v", name, err)
			}
		}
	}
	b, err := fs.ReadFile(root, "DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	_, table, _ := strings.Cut(string(b), "## Code map")
	table, _, _ = strings.Cut(table, "\n## ")
	mapped := map[string]bool{}
	for _, row := range regexp.MustCompile("(?m)^\\| (`[^|]+`) \\|").FindAllStringSubmatch(table, -1) {
		for _, m := range regexp.MustCompile("`([^`]+)`").FindAllStringSubmatch(row[1], -1) {
			mapped[m[1]] = true
		}
	}
	for _, pattern := range []string{"*/*.go", "cmd/*/*.go", "exercise/*/*.go", "internal/*/*.go", "internal/page/*/*.go", "internal/release/*/*.go"} {
		files, err := fs.Glob(root, pattern)
		if err != nil || len(files) == 0 {
			t.Fatalf("%s: %d files, %v", pattern, len(files), err)
		}
		for _, file := range files {
			folder := path.Dir(file)
			if known, ok := mapped[folder]; ok && known {
				mapped[folder] = false // found
			} else if !ok {
				t.Errorf("the map of DEVELOPERS.md has no row for %s", folder)
				mapped[folder] = false
			}
		}
	}
	for folder, missing := range mapped {
		if missing {
			t.Errorf("the map of DEVELOPERS.md has a row for %s, which has no code", folder)
		}
	}
}
