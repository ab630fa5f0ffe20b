package calib_test

import (
	"errors"
	"fmt"
	"regexp"
	"strings"
	"testing"

	"singback/calib"
	"singback/theory"
)

var today = calib.Date{Year: 2026, Month: 11, Day: 25}

var errKind = errors.New("want alto, bass, child, mezzo, soprano or tenor")

// usual has some usual ranges of the dictionaries' tables of voices.
func usual(kind string) (theory.Range, error) {
	r, ok := map[string]theory.Range{
		"bass": {Low: 40, High: 64}, "tenor": {Low: 48, High: 69}, "alto": {Low: 53, High: 74},
		"mezzo": {Low: 57, High: 77}, "soprano": {Low: 60, High: 81}, "child": {Low: 57, High: 77},
	}[kind]
	if !ok {
		return r, errKind
	}
	return r, nil
}

// MIDI numbers: C4 is 60, and A4, 440 Hz, is 69.
func TestParseVoice(t *testing.T) {
	for _, c := range []struct {
		in        string
		kind      string
		low, high int
	}{
		{"I am a tenor", "tenor", 48, 69},
		{"I'm an alto.", "alto", 53, 74},
		{"I’m a soprano!", "soprano", 60, 81},
		{"Tenor", "tenor", 48, 69},
		{"mezzo-soprano", "mezzo", 57, 77},
		{"I am a mezzo soprano", "mezzo", 57, 77},
		{"Contralto", "alto", 53, 74},
		{"treble", "child", 57, 77},
		{"a child's voice", "child", 57, 77},
		{"my range is C3 to G4", "", 48, 67},
		{"C3-G4", "", 48, 67},
		{"c3–g4", "", 48, 67},
		{"C3 - G4", "", 48, 67},
		{"C3..G4", "", 48, 67},
		{"from Bb2 up to F#4", "", 46, 66},
		{"my lowest note is E♭3, the highest B♭4", "", 51, 70},
		{"bass, F2 to D4", "bass", 41, 62},
		{"F2-D4 bass", "bass", 41, 62},
		{"I am a tenor and a tenor", "tenor", 48, 69},
		{"C3-F3", "", 48, 53}, // a fourth, the narrowest
		{"C1-C5", "", 24, 72}, // four octaves, the widest
	} {
		v, err := calib.ParseVoice(c.in, usual, today)
		if err != nil {
			t.Errorf("%q: %v", c.in, err)
			continue
		}
		if !v.Stated || v.Date != today || v.Notes != 0 || v.Kind != c.kind || v.Comfortable != (theory.Range{Low: c.low, High: c.high}) || v.Growing != (c.kind == "child") {
			t.Errorf("%q: %+v, want %s %d–%d", c.in, v, c.kind, c.low, c.high)
		}
		if s := v.Tessitura; s.Low < c.low || s.High > c.high || s.Low >= s.High {
			t.Errorf("%q: tessitura %v", c.in, s)
		}
	}
}

func TestParseVoiceRefuses(t *testing.T) {
	for _, c := range []struct{ in, says string }{
		{"", "want a kind of voice, like tenor, or a range, like C3-G4"},
		{"I am a", "want a kind of voice"},
		{"banjo", `"banjo" is neither a range like C3-G4 nor a kind of voice: want alto`},
		{"tenor and bass", "tenor and bass: want one kind"},
		{"C3", "not 1"},
		{"C3 E3 G4", "not 3"},
		{"G4-C3", "from G4 to C3: want the lower note first"},
		{"C3-C3", "want the lower note first"},
		{"C3-E3", "too narrow: want a fourth or more"},
		{"C1-C#5", "beyond any voice"},
		{"B0-C4", "beyond any voice"},
		{"C5-C#7", "beyond any voice"},
		{"C-G", "neither"},
		{"C3-G44", "neither"},
		{strings.Repeat("x", 500), "…"},
	} {
		v, err := calib.ParseVoice(c.in, usual, today)
		if !errors.Is(err, calib.ErrVoice) || !strings.Contains(err.Error(), c.says) || len(err.Error()) > 200 || v != (calib.Voice{}) {
			t.Errorf("%.40q: %+v, %v; want an error that says %q", c.in, v, err, c.says)
		}
	}
	if _, err := calib.ParseVoice("banjo", usual, today); !errors.Is(err, errKind) {
		t.Errorf("the error does not say which kinds there are: %v", err)
	}
}

// Whatever is typed gives a voice that a profile may hold, or one line; and a
// range that was read is read again from its numbers.
func FuzzParseVoice(f *testing.F) {
	for _, s := range []string{"I am a tenor", "my range is C3 to G4", "C3–G4", "bass, F2..D4", "I’m a mezzo soprano", "Bb2-f#4", "C-1 - G9", "-", "\x00", "child’s"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		v, err := calib.ParseVoice(s, usual, today)
		if err != nil {
			if !errors.Is(err, calib.ErrVoice) || strings.ContainsAny(err.Error(), "\n\r\x00\x1b") {
				t.Fatalf("%q: %q", s, err)
			}
			return
		}
		p := calib.Profile{Version: calib.Version, Name: "Ada", Made: today, Voice: &v}
		if err := p.Validate(); err != nil || !v.Stated {
			t.Fatalf("%q: %+v: %v", s, v, err)
		}
		name := func(midi int) string {
			return fmt.Sprintf("%s%d", [...]string{"C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"}[midi%12], midi/12-1)
		}
		again, err := calib.ParseVoice(name(v.Comfortable.Low)+"-"+name(v.Comfortable.High)+" "+v.Kind, usual, today)
		if err != nil || again != v {
			t.Fatalf("%q: %+v, then %+v, %v", s, v, again, err)
		}
	})
}

// Six to eight weeks, over the end of a year and a leap day; not for others.
func TestAgain(t *testing.T) {
	v := calib.Voice{Date: today, Growing: true}
	from, to, ok := v.Again()
	if !ok || from.String() != "2027-01-06" || to.String() != "2027-01-20" {
		t.Errorf("after %v: %v to %v, %v", today, from, to, ok)
	}
	v.Date = calib.Date{Year: 2028, Month: 1, Day: 20}
	if from, to, _ := v.Again(); from.String() != "2028-03-02" || to.String() != "2028-03-16" {
		t.Errorf("over the leap day: %v to %v", from, to)
	}
	for day, due := range map[calib.Date]bool{
		{Year: 2028, Month: 3, Day: 1}: false, {Year: 2028, Month: 3, Day: 2}: true,
		{Year: 2027, Month: 12, Day: 31}: false, {Year: 2029, Month: 1, Day: 1}: true,
	} {
		if v.Due(day) != due {
			t.Errorf("measured %v, on %v: due %v", v.Date, day, !due)
		}
	}
	if (calib.Voice{Growing: true}).Due(today) {
		t.Error("a voice that was never measured is due again")
	}
	v.Growing = false
	if v.Due(calib.Date{Year: 2029, Month: 1, Day: 1}) {
		t.Error("a grown voice is due again")
	}
	if _, _, ok := v.Again(); ok {
		t.Error("a grown voice is to be tested again")
	}
}

// mezzoSoprano is what OneWord goes by.
var mezzoSoprano = regexp.MustCompile(`(?i)\bmezzo[\s-]soprano\b`)

func TestOneWord(t *testing.T) {
	for s, want := range map[string]string{
		"":                              "",
		"mezzo-soprano":                 "mezzo",
		"I am a Mezzo soprano":          "I am a mezzo",
		"MEZZO\tſoprano.":               "mezzo.",
		"mezzo-soprano,mezzo soprano":   "mezzo,mezzo",
		"mezzo-sopranos":                "mezzo-sopranos",
		"intermezzo soprano":            "intermezzo soprano",
		"mezzo  soprano":                "mezzo  soprano",
		"mezzo-soprano-mezzo-soprano é": "mezzo-mezzo é",
		"mezzo-sopran":                  "mezzo-sopran",
		"mezzo":                         "mezzo",
	} {
		if got := calib.OneWord(s); got != want {
			t.Errorf("%q: %q, want %q", s, got, want)
		}
	}
}

func FuzzOneWord(f *testing.F) {
	for _, s := range []string{"a mezzo-soprano", "MEZZO\vſOPRANO", "mezzo\u2028soprano", "mezzo-ſoprano", "mezzo-ſopranoé", "émezzo soprano_", "mezzo mezzo-soprano", "\xffmezzo\nsoprano\xff"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if got, want := calib.OneWord(s), mezzoSoprano.ReplaceAllString(s, "mezzo"); got != want {
			t.Errorf("%q: %q, want %q", s, got, want)
		}
	})
}
