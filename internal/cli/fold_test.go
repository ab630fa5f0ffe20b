package cli

import (
	"bytes"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"singback/internal/fold"
)

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
			cmd.SetOut(fold.NewWriter(&b, e.columns))
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
}
