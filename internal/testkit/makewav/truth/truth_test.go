package truth

import (
	"errors"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
)

var sample = Truth{
	Title: "title", Origin: "origin: here", Licence: "licence", SHA256: "00", Key: "Ab major", TonicOctave: 3,
	Asked: "la", Sung: "la (F4)", Tolerance: 35, Outcome: "flat",
	Note: &Note{Degree: "la", OctaveShift: -1, Cents: -40.5, Within: 5}, F0: &F0{170.5, 0.4, 1.6},
}

func TestRoundTrip(t *testing.T) {
	silent := sample
	silent.Outcome, silent.Reason, silent.Note, silent.F0 = "not_measured", "too_quiet", nil, nil
	for _, want := range []Truth{sample, silent} {
		got, err := Parse(want.String())
		if err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("Parse(String()) = %+v, %v; want %+v", got, err, want)
		}
	}
}

func TestParseRefuses(t *testing.T) {
	text := sample.String()
	for _, c := range []struct{ rule, text, want string }{
		{"unknown key", text + "colour: red\n", `unknown key "colour"`},
		{"key twice", text + "title: again\n", `the key "title" a second time`},
		{"missing key", strings.Replace(text, "tolerance: 35\n", "", 1), `"tolerance" is missing`},
		{"no colon", text + "nothing\n", `want "key: value"`},
		{"empty value", strings.Replace(text, "asked: la", "asked: ", 1), `want "key: value"`},
		{"not a number", strings.Replace(text, "35", "much", 1), "want a number"},
		{"not a whole number", strings.Replace(text, "shift: -1", "shift: -1.5", 1), "want a whole number"},
		{"unknown outcome", strings.Replace(text, "flat", "low", 1), "want one of in_tune"},
		{"reason without need", strings.Replace(text, "reason: -", "reason: too_quiet", 1), "belongs to not_measured"},
		{"no reason", strings.Replace(text, "flat", "not_measured", 1), "belongs to not_measured"},
		{"bad F0", strings.Replace(text, " Hz", " kHz", 1), "f0 is"},
		{"empty", "", `want "key: value"`},
	} {
		if _, err := Parse(c.text); !errors.Is(err, ErrTruth) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v; want ErrTruth with %q", c.rule, err, c.want)
		}
	}
	if _, err := Read(filepath.Join(t.TempDir(), "none.txt")); err == nil {
		t.Error("a missing file was read")
	}
}

func FuzzParse(f *testing.F) {
	f.Add(sample.String())
	f.Add("title: x\n")
	f.Add("")
	f.Fuzz(func(t *testing.T, text string) {
		tr, err := Parse(text)
		if err != nil {
			if !errors.Is(err, ErrTruth) {
				t.Errorf("%v is no ErrTruth", err)
			}
			return
		}
		// What was read once reads the same from its own text.
		again, err := Parse(tr.String())
		if err != nil {
			t.Fatalf("%q was read, but not %q: %v", text, tr, err)
		}
		if third, err := Parse(again.String()); err != nil || third.String() != again.String() {
			t.Errorf("%q does not settle: %q, %v", text, third, err)
		}
	})
}
