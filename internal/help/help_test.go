package help

import (
	"io/fs"
	"os"
	"path"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"
)

// Every file is a topic and every topic a file, with a heading, a line that fits a
// list in 80 columns, and links to what is there.
func TestTopics(t *testing.T) {
	names, err := fs.Glob(files, "*.md")
	if err != nil {
		t.Fatal(err)
	}
	link := regexp.MustCompile(`\]\(([^)#]*)`)
	for _, topic := range Topics() {
		i := slices.Index(names, topic.Name+".md")
		if i < 0 {
			t.Fatalf("%s is there twice", topic.Name)
		}
		names = slices.Delete(names, i, i+1)
		if !strings.HasPrefix(topic.Source, "# ") || strings.Count(topic.Source, "\n# ") > 0 {
			t.Errorf("%s does not begin with its heading, or has two", topic.Name)
		}
		if n := utf8.RuneCountInString(topic.Short); n == 0 || n > 80-19 {
			t.Errorf("%s: %q has %d letters, want 1 to 61", topic.Name, topic.Short, n)
		}
		for _, m := range link.FindAllStringSubmatch(topic.Source, -1) {
			if _, err := os.Stat(path.Clean(m[1])); err != nil {
				t.Errorf("%s: %v", topic.Name, err)
			}
		}
		if found, ok := Find(strings.ToUpper(topic.Name)); !ok || found.Name != topic.Name {
			t.Errorf("%s is not found", topic.Name)
		}
	}
	if len(names) > 0 {
		t.Errorf("not in the list of topics: %v", names)
	}
	if _, ok := Find("nothing"); ok {
		t.Error("there is a topic called nothing")
	}
}

// kept is what need not be in the text: where links lead, and the heads of tables.
var kept = regexp.MustCompile(`\]\([^)]*\)|(?m)^\|.*\n\| ---`)

// A topic fits the terminal, in whatever width: no line is longer but where a word
// is, or what is shown as it is. No sign of Markdown is left, and no word is lost.
func TestTextFits(t *testing.T) {
	for _, topic := range Topics() {
		longest := 0 // of what is shown as it is
		for line := range strings.Lines(topic.Source) {
			if isBlock(line) {
				longest = max(longest, utf8.RuneCountInString(line)-5)
			}
		}
		if longest > 80 {
			t.Errorf("%s shows a line of %d columns", topic.Name, longest)
		}
		for _, width := range []int{40, 60, 80, 120} {
			text := topic.Text(width, false)
			for line := range strings.Lines(text) {
				n := utf8.RuneCountInString(strings.TrimSpace(line))
				if n > width && n > longest && len(strings.Fields(line)) > 1 {
					t.Errorf("%s in %d columns: %d: %q", topic.Name, width, n, line)
				}
				if strings.TrimRight(line, " \n") != strings.TrimSuffix(line, "\n") {
					t.Errorf("%s in %d columns: blanks at the end of %q", topic.Name, width, line)
				}
			}
			if strings.Contains(text, "](") || strings.Contains(text, "**") || strings.Contains(text, "\n\n\n") {
				t.Errorf("%s in %d columns has signs of Markdown in it, or two empty lines", topic.Name, width)
			}
			for _, word := range regexp.MustCompile(`[\pL\d]+`).FindAllString(kept.ReplaceAllString(topic.Source, ""), -1) {
				if !strings.Contains(text, word) {
					t.Errorf("%s in %d columns lost %q", topic.Name, width, word)
				}
			}
		}
		for i, r := range topic.Text(80, true) {
			if r > '~' {
				t.Errorf("%s in ASCII has %q in %q", topic.Name, r, topic.Text(80, true)[max(0, i-20):i])
				break
			}
		}
	}
}

// What the Markdown says is what stands there.
func TestText(t *testing.T) {
	for _, c := range []struct{ name, in, want string }{
		{"headings are underlined", "# One `two`\n\n## Three\n\n### Four\n", "One two\n=======\n\nThree\n-----\n\nFour\n"},
		{"a paragraph is broken at the width", "one two three\nfour five six seven eight\n", "one two three four\nfive six seven eight\n"},
		{"code, emphasis and links", "`--a *b*` *is* **so**, [c](x.md#d) [e](https://f)\n", "--a *b* is so, c\n(singback help x) e\n"},
		{"a star that is none", "2 * 3 and a*\n", "2 * 3 and a*\n"},
		{"items hang", "- one two three four five\n  six\n- seven\n\n1. eight\n", "- one two three four\n  five six\n- seven\n\n1. eight\n"},
		{"a block is as it is", "text\n\n    $ a  `b`\n\n      c | d\n\nmore\n", "text\n\n  $ a  `b`\n\n    c | d\n\nmore\n"},
		{"a wide block moves to the edge", "    12345678901234567890\n", "12345678901234567890\n"},
		{"a table", "| a | b |\n| --- | --- |\n| `\\|` | one two |\n", "a  b\n-  -------\n|  one two\n"},
		{"a cell goes on below", "| a | b |\n| --- | --- |\n| c | one two three four five |\n", "a  b\n-  -----------------\nc  one two three\n   four five\n"},
		{"two columns without room", "| a | b |\n| --- | --- |\n| one two three | four five six |\n", "one two three\n    four five six\n"},
		{"three without room", "| a | b | c |\n| --- | --- | --- |\n| one | 1234567890123 | 123456789012 |\n", "one\n    b: 1234567890123\n    c: 123456789012\n"},
	} {
		if got := (Topic{Source: c.in}).Text(20, false); got != c.want {
			t.Errorf("%s:\n%q, want\n%q", c.name, got, c.want)
		}
	}
}
