package engrave_test

import (
	"encoding/xml"
	"strings"
	"testing"

	"singback/internal/engrave"
)

// escaped is what the standard library makes of a text.
func escaped(t *testing.T, s string) string {
	t.Helper()
	var b strings.Builder
	if err := xml.EscapeText(&b, []byte(s)); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func FuzzEscape(f *testing.F) {
	for _, s := range []string{
		"", "la", `a "b" 'c'`, "<b>&amp;</b>", "\t\n\r", "\x00\x1f\x7f\u0085", "\xff\xfea", "\xed\xa0\x80", "\ud7ff\ue000\ufffd\ufffe\uffff", "\U00010000\U0010ffff\xf4\x90\x80\x80", "é♭𝄞",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if got, want := engrave.Escape(s), escaped(t, s); got != want {
			t.Errorf("%q: %q, want %q", s, got, want)
		}
	})
}
