package cli

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"unicode/utf8"

	"singback/internal/report"
)

// What a user reads is what the topic chords of the handbook shows, and it fits a terminal.
func TestDeduce(t *testing.T) {
	out, errs, code := user{}.runs(t, "deduce", "--key", "G", "--style", "hymn", "do fa:min sol do")
	if code != exitDone || errs != "" {
		t.Fatal(errs)
	}
	ascii, _, _ := user{ascii: true}.runs(t, "deduce", "--key", "Gb", "--style", "pop", "le:m7b5 te re:+fi do:sus fi ti:aug")
	for _, text := range []string{out, ascii} {
		for line := range strings.Lines(text) {
			if line = strings.TrimSuffix(line, "\n"); utf8.RuneCountInString(line) > 80 || strings.TrimRight(line, " ") != line {
				t.Errorf("too wide, or blanks at its end: %q", line)
			}
		}
	}
	if strings.ContainsFunc(ascii, func(r rune) bool { return r > 126 }) {
		t.Errorf("not ASCII:\n%s", ascii)
	}
	for _, want := range []string{"why", "or", "listen", "Counted in 739 chart songs"} {
		if !strings.Contains(ascii, want) {
			t.Errorf("no %q in\n%s", want, ascii)
		}
	}
	judged, _, _ := user{}.runs(t, "deduce", "--key", "C", "--style", "gospel", "do di re")
	if !strings.Contains(judged, "is taken for") || !strings.Contains(judged, "judgement") || strings.Contains(judged, "Counted in") {
		t.Errorf("gospel does not say that it is judgement:\n%s", judged)
	}
	// Names are a view: numbers mean the same, though lines break elsewhere.
	numbers, _, _ := user{}.runs(t, "deduce", "--key", "G", "--names", "numbers", "1", "4:min", "5", "1")
	named := strings.NewReplacer("do", "1", "fa", "4", "sol", "5").Replace(out)
	if strings.Join(strings.Fields(named), " ") != strings.Join(strings.Fields(numbers), " ") {
		t.Errorf("with numbers:\n%s", numbers)
	}
}

func TestDeduceJSON(t *testing.T) {
	out, errs, code := user{}.runs(t, "deduce", "--key", "g", "--style", "chorale", "--count", "2", "--format", "json", "do fa:min:+re sol do")
	if code != exitDone {
		t.Fatal(errs)
	}
	var d report.Deduction
	if err := json.Unmarshal([]byte(out), &d); err != nil {
		t.Fatal(err)
	}
	if d.Schema != report.Schema || d.Key != "G major" || d.Style != "chorale" || d.Source == "" || len(d.Places) != 4 || len(d.Progressions) != 2 {
		t.Errorf("%+v", d)
	}
	for _, p := range d.Places {
		sum, alone := 0.0, 0.0
		for _, c := range p.Candidates {
			sum, alone = sum+c.Probability, alone+c.Alone
		}
		if math.Abs(sum-1) > 1e-9 || math.Abs(alone-1) > 1e-9 {
			t.Errorf("probabilities sum to %g and %g", sum, alone)
		}
	}
	p := d.Places[1]
	if p.Bass.Name != "fa" || *p.Heard.Triad != "minor" || p.Heard.Seventh != nil || p.Heard.Sounds[0].Name != "re" ||
		p.Candidates[0].Numeral != "ii65" || p.Candidates[0].Chord.Chord != "Am7/C" || *p.Candidates[0].Percent != 22 ||
		p.Excluded[0].Numeral != "IV" || *p.Before != 17 || *p.After != 71 || p.Listen.For != "degree" || p.Listen.Degree.Name != "do" {
		t.Errorf("%+v", p)
	}
}

// One line that names what was not understood, and what would have been.
func TestDeduceErrors(t *testing.T) {
	for _, c := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{"deduce", "do"}, exitUsage, "--key is missing"},
		{[]string{"deduce", "--key", "H", "do"}, exitUsage, `"H"`},
		{[]string{"deduce", "--key", "C"}, exitUsage, "the bass line is missing"},
		{[]string{"deduce", "--key", "C", "--style", "jazz", "do"}, exitUsage, "want pop, rock, hymn, chorale"},
		{[]string{"deduce", "--key", "C", "--names", "odd", "do"}, exitUsage, "--names"},
		{[]string{"deduce", "--key", "C", "--count", "0", "do"}, exitUsage, "--count: 0"},
		{[]string{"deduce", "--key", "C", "do fu"}, exitUsage, `bass 2: not a degree of C major: "fu"`},
		{[]string{"deduce", "--key", "C", "do fa:mni"}, exitUsage, `"mni" is not understood; want a triad (maj min dim aug sus)`},
		{[]string{"deduce", "--key", "C", strings.Repeat("do ", 300)}, exitUsage, "300 bass notes are too many"},
		{[]string{"deduce", "--key", "C", "do:+di:+re:+me:+mi"}, exitFailed, "above bass 1, C"},
	} {
		out, errs, code := user{}.runs(t, c.args...)
		if code != c.code || out != "" || !strings.Contains(errs, c.want) || strings.Count(errs, "\n") != 1 {
			t.Errorf("%v: exit %d, %q, %q; want exit %d, %q", c.args, code, out, errs, c.code, c.want)
		}
	}
}
