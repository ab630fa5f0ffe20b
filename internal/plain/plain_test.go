package plain

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"
)

// The controls by Unicode's own tables: category Cc, Zl and Zp, and the property
// Bidi_Control.
func TestControlByTheTables(t *testing.T) {
	for r := rune(0); r <= unicode.MaxRune; r++ {
		want := unicode.In(r, unicode.Cc, unicode.Zl, unicode.Zp, unicode.Bidi_Control)
		if Control(r) != want {
			t.Errorf("Control(%U) = %v, the tables say %v", r, !want, want)
		}
	}
}

func TestLineAndShown(t *testing.T) {
	for _, c := range []struct{ rule, in, line, shown string }{
		{"text stays", "Étude 1 – ля, שיר, 歌", "Étude 1 – ля, שיר, 歌", "Étude 1 – ля, שיר, 歌"},
		{"blanks around text without controls stay", " a ", " a ", " a "},
		{"escape", "a\x1b[31mb", "a[31mb", `a\u001b[31mb`},
		{"bell ends a title", "a\x1b]0;t\x07b", "a]0;tb", `a\u001b]0;t\u0007b`},
		{"C1 as a character", "a\u009b31mb", "a31mb", `a\u009b31mb`},
		{"C1 as a byte", "a\x9b31mb", "a\ufffd31mb", `a\x9b31mb`},
		{"delete", "a\x7fb", "ab", `a\u007fb`},
		{"override", "a\u202eb\u2066c\u200fd\u061ce", "abcde", `a\u202eb\u2066c\u200fd\u061ce`},
		{"line separators", "a\u2028b\u2029c\u0085d", "a b c d", `a\u2028b\u2029c\u0085d`},
		{"carriage return", "a\rb", "a b", `a\u000db`},
		{"new line and tab are text of the program's own", "a\n\tb", "a  b", "a\n\tb"},
		{"nothing but controls", "\x1b\x07", "", `\u001b\u0007`},
		{"cut off", "a\xe2\x80", "a\ufffd", `a\xe2\x80`},
		{"U+FFFD itself", "\ufffd", "\ufffd", "\ufffd"},
	} {
		if got := Line(c.in); got != c.line {
			t.Errorf("%s: Line(%q) = %q, want %q", c.rule, c.in, got, c.line)
		}
		if got := Shown(c.in); got != c.shown {
			t.Errorf("%s: Shown(%q) = %q, want %q", c.rule, c.in, got, c.shown)
		}
	}
}

// However text is cut into calls, the same is written.
func TestWriterCutAnywhere(t *testing.T) {
	text := "é\x1b[1m\u202e\u009b歌\x9b\xe2\x80 \xf0\x9f\x8e\xb5\n\xf0\x9f"
	for size := 1; size <= len(text); size++ {
		var out bytes.Buffer
		w := NewWriter(&out)
		for at := 0; at < len(text); at += size {
			piece := text[at:min(len(text), at+size)]
			if n, err := io.WriteString(w, piece); n != len(piece) || err != nil {
				t.Fatal(n, err)
			}
		}
		if err := w.Flush(); err != nil {
			t.Fatal(err)
		}
		if out.String() != Shown(text) {
			t.Errorf("in pieces of %d: %q, want %q", size, out.String(), Shown(text))
		}
	}
}

type broken struct{}

func (broken) Write([]byte) (int, error) { return 0, errors.New("gone") }

func TestWriterHandsErrorsOn(t *testing.T) {
	if _, err := NewWriter(broken{}).Write([]byte("a")); err == nil {
		t.Error("no error")
	}
	if Around(NewWriter(broken{})) != (broken{}) || Around(broken{}) != (broken{}) {
		t.Error("Around")
	}
}

// What is shown has no controls but new line and tab, is UTF-8, and JSON in it
// says what it said before.
func FuzzWriter(f *testing.F) {
	f.Add("a\x1b[31m\u202e\u009b\x9b")
	f.Fuzz(func(t *testing.T, s string) {
		shown := Shown(s)
		if !utf8.ValidString(shown) || strings.ContainsFunc(shown, func(r rune) bool { return Control(r) && r != '\n' && r != '\t' }) {
			t.Errorf("%q is shown as %q", s, shown)
		}
		if line := Line(s); strings.ContainsFunc(line, Control) || !utf8.ValidString(line) || Line(line) != line {
			t.Errorf("Line(%q) = %q", s, line)
		}
		b, err := json.Marshal(s)
		if err != nil {
			t.Fatal(err)
		}
		var want, got string
		if err := json.Unmarshal(b, &want); err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal([]byte(Shown(string(b))), &got); err != nil || got != want {
			t.Errorf("JSON of %q: %q, %v", s, got, err)
		}
	})
}
