package cli

import (
	"bytes"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/spf13/cobra"
)

// Lines break between words, however they are written, and nothing but white space
// changes.
func TestFolded(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"short\n", "short\n"},
		{"exactly twenty cells\n", "exactly twenty cells\n"},
		{"exactly twenty-one ce\n", "exactly twenty-one\n  ce\n"},
		{"   set in by three columns\n", "   set in by three\n     columns\n"},
		{"a-word-that-is-longer-than-a-line and more\n", "a-word-that-is-longer-than-a-line\n  and more\n"},
		{"sol♯ la♭ ti♭ do♯ re♯\n", "sol♯ la♭ ti♭ do♯ re♯\n"}, // columns, not bytes
		{"two columns   and a table\n", "two columns   and a\n  table\n"},
		{"Which is it? (1 to 3): ", "Which is it? (1 to\n  3): "},
		{"\n\n  \n", "\n\n  \n"},
		{"\r12345678901234567890\r12345678901234567890", "\r12345678901234567890\r12345678901234567890"},
	} {
		for _, chunk := range []int{len(c.in), 5, 1} {
			var b bytes.Buffer
			f := &folded{out: &b, columns: func() int { return 20 }}
			for part := range slices.Chunk([]byte(c.in), max(1, chunk)) {
				if n, err := f.Write(part); n != len(part) || err != nil {
					t.Fatalf("%q: %d, %v", part, n, err)
				}
			}
			got := b.String()
			if chunk == len(c.in) && got != c.want {
				t.Errorf("%q is written\n%q, want\n%q", c.in, got, c.want)
			}
			if strings.Join(strings.Fields(got), " ") != strings.Join(strings.Fields(c.in), " ") {
				t.Errorf("%q in parts of %d: %q", c.in, chunk, got)
			}
		}
	}
	var b bytes.Buffer
	long := strings.Repeat("words ", 20) + "\n"
	for _, f := range []*folded{{out: &b, columns: func() int { return 20 }, off: true}, {out: &b, columns: func() int { return 0 }}} {
		b.Reset()
		if f.Write([]byte(long)); b.String() != long {
			t.Errorf("data, or a terminal of no known width: %q", b.String())
		}
	}
}

// What is for programs is not folded.
func TestWhatIsFolded(t *testing.T) {
	for line, want := range map[string]bool{
		"": true, "sing": true, "sing --format json": false, "progress --format csv": false, "trace": false, "notes": false, "record export": false,
		"melody": true, "melody --to abc": false, "melody --format json": false, "rename --names fixed": true, "course export": false, "course show": true,
		"completion bash": false, "grade": true, "devices": true, "record check": true, "profile": true, "profile --format json": false,
	} {
		root := newRoot(&env{terminal: func(any) bool { return false }, getenv: func(string) string { return "" }})
		args := strings.Fields(line)
		cmd, rest, err := root.Find(args)
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.ParseFlags(rest); err != nil {
			t.Fatal(err)
		}
		if got := isText(cmd); got != want {
			t.Errorf("%q writes text: %v, want %v", line, got, want)
		}
	}
}

// Help fits every terminal: no line is longer but where a word is, and the text is
// the same.
func TestHelpFits(t *testing.T) {
	for _, width := range []int{40, 60, 80, 120} {
		var walk func(*cobra.Command)
		e := &env{
			terminal: func(any) bool { return true }, getenv: func(string) string { return "" },
			columns: func() int { return width },
		}
		walk = func(cmd *cobra.Command) {
			var b bytes.Buffer
			cmd.SetOut(&folded{out: &b, columns: e.columns})
			cmd.InitDefaultHelpFlag()
			if err := cmd.Help(); err != nil {
				t.Fatal(err)
			}
			for line := range strings.Lines(b.String()) {
				line = strings.TrimRight(line, " \n")
				if n := utf8.RuneCountInString(line); n > width && len(strings.Fields(line)) > 1 {
					t.Errorf("%s in %d columns: a line of %d: %q", cmd.CommandPath(), width, n, line)
				}
			}
			for _, c := range cmd.Commands() {
				walk(c)
			}
		}
		walk(newRoot(e))
	}
	if got, want := reflow("one two three\nfour five\n\n  as it is, however long\nsix", 13), "one two three\nfour five\n\n  as it is, however long\nsix"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if got, want := reflow("one two three four\nfive six", 9), "one two\nthree\nfour five\nsix"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
