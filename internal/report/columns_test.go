package report

import (
	"strings"
	"testing"
	"text/tabwriter"
)

// Columns are those of text/tabwriter.
func FuzzColumns(f *testing.F) {
	for _, text := range []string{"", "\n", "a\tb\n", "a\tb\tc\nlong cell\tx\n\nnext\tone\n", "\t\n\ta\n", "é♭\tb\nabc\tc", "x\ty\tz\nq\n r\ts\n"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if strings.ContainsAny(text, "\v\f\r") || strings.ToValidUTF8(text, "") != text {
			t.Skip("what the library acts upon, and no table holds")
		}
		text += "\n" // as every table ends
		var want, got strings.Builder
		w, c := tabwriter.NewWriter(&want, 0, 0, columnGap, ' ', 0), newColumns(&got)
		_, err := w.Write([]byte(text))
		_, err2 := c.Write([]byte(text))
		if err != nil || err2 != nil || w.Flush() != nil || c.Flush() != nil {
			t.Fatal(err, err2)
		}
		if got.String() != want.String() {
			t.Errorf("%q: got\n%s\nwant\n%s", text, got.String(), want.String())
		}
	})
}
