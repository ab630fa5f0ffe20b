package fold

import (
	"bytes"
	"slices"
	"strings"
	"testing"
)

// Lines break between words, however they are written, and nothing but white space
// changes.
func TestWriter(t *testing.T) {
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
			f := NewWriter(&b, func() int { return 20 })
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
	off := NewWriter(&b, func() int { return 20 })
	off.Off(true)
	long := strings.Repeat("words ", 20) + "\n"
	for _, f := range []*Writer{off, NewWriter(&b, func() int { return 0 })} {
		b.Reset()
		if f.Write([]byte(long)); b.String() != long {
			t.Errorf("data, or a terminal of no known width: %q", b.String())
		}
	}
	if Under(off) != &b || Under(&b) != &b {
		t.Error("what is under a writer is what it writes to")
	}
}

// Paragraphs are broken, lines that begin with a blank are not.
func TestText(t *testing.T) {
	if got, want := Text("one two three\nfour five\n\n  as it is, however long\nsix", 13), "one two three\nfour five\n\n  as it is, however long\nsix"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if got, want := Text("one two three four\nfive six", 9), "one two\nthree\nfour five\nsix"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
