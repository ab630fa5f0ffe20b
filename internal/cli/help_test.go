package cli

import (
	"bytes"
	"context"
	"strings"
	"testing"
	"unicode/utf8"

	"singback/internal/fold"
	"singback/internal/help"
)

// singback help shows a topic, or the help of a command; for a word that is both,
// both; for none, one line with what may have been meant.
func TestHelpTopics(t *testing.T) {
	for _, topic := range help.Topics() {
		out, stderr := call{}.must(t, "help", topic.Name)
		if !strings.HasPrefix(out, topic.Text(80, false)) || stderr != "" {
			t.Errorf("help %s prints %.60q, %q", topic.Name, out, stderr)
		}
	}
	all, _ := call{}.must(t, "help")
	root, _ := call{}.must(t, "--help")
	if !strings.HasPrefix(all, root) {
		t.Errorf("help does not begin with what --help prints:\n%s", all)
	}
	for _, topic := range help.Topics() {
		if !strings.Contains(all, "\n  "+topic.Name+" ") {
			t.Errorf("help does not list %s", topic.Name)
		}
	}
	for _, command := range [][]string{{"sing"}, {"record", "export"}} {
		got, _ := call{}.must(t, append([]string{"help"}, command...)...)
		if want, _ := (call{}).must(t, append(command, "--help")...); got != want {
			t.Errorf("help %s is not what --help prints: %s", command, got)
		}
	}
	both, _ := call{}.must(t, "help", "record")
	topic, _ := help.Find("record")
	command, _ := call{}.must(t, "record", "--help")
	if both != topic.Text(80, false)+"\nThe command record\n\n"+command {
		t.Errorf("help record has not both:\n%s", both)
	}
	for args, says := range map[string]string{
		"help practise":        `there is no topic and no command "practise"; did you mean practice?`,
		"help Troubelshooting": "did you mean troubleshooting?",
		"help sng":             "did you mean sing?",
		"help trouble":         "did you mean troubleshooting?",
		"help xylophone":       "singback help lists them",
		"help practice more":   `"more" is one word too many`,
		"help sing more":       `"more" is one word too many`,
		"help record exprot":   `there is no command "exprot"`,
		"practice":             "there is a topic of that name: singback help practice",
	} {
		fields := strings.Fields(args)
		out, stderr, code := call{}.run(t, fields...)
		refused(t, fields, out, stderr, code, exitUsage, says)
	}
}

// Topics are completed, with what they are about.
func TestHelpCompletes(t *testing.T) {
	out, _ := call{}.must(t, "__complete", "help", "")
	for _, topic := range help.Topics() {
		if !strings.Contains(out, topic.Name+"\t"+topic.Short+"\n") {
			t.Errorf("%s is not among\n%s", topic.Name, out)
		}
	}
	if out, _ := (call{}).must(t, "__complete", "help", "tro"); !strings.HasPrefix(out, "troubleshooting\t") || strings.Contains(out, "sing\t") {
		t.Errorf("tro is completed to\n%s", out)
	}
}

// A topic fits the terminal that it is read in, and a locale without musical signs.
func TestHelpOnATerminal(t *testing.T) {
	for _, width := range []int{44, 80, 200} {
		var out, errs bytes.Buffer
		columns := func() int { return width }
		f := fold.NewWriter(&out, columns)
		e := &env{
			stdin: strings.NewReader(""), stdout: f, stderr: &errs, folded: f, columns: columns,
			getenv: func(string) string { return "" }, terminal: func(any) bool { return true },
		}
		if code := run(context.Background(), e, []string{"help", "names"}); code != exitDone {
			t.Fatalf("exit %d: %s", code, &errs)
		}
		for line := range strings.Lines(out.String()) {
			if n := utf8.RuneCountInString(strings.TrimRight(line, "\n")); n > min(width, 80) && len(strings.Fields(line)) > 1 {
				t.Errorf("in %d columns a line has %d: %q", width, n, line)
			}
		}
		if strings.ContainsFunc(out.String(), func(r rune) bool { return r > '~' }) {
			t.Errorf("in %d columns and no locale there are signs beyond ASCII", width)
		}
	}
}
