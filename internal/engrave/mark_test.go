package engrave_test

import (
	"encoding/xml"
	"io"
	"os"
	"strings"
	"testing"

	"singback/internal/engrave"
	"singback/internal/notation"
	"singback/theory"
)

func markedLine(t *testing.T) (theory.Score, []engrave.Mark) {
	t.Helper()
	s, _, err := notation.Parse("line.abc", []byte("X:1\nM:4/4\nL:1/4\nK:Eb\nE F G A | B c d e | e d c B | A G E2 |]\n"), notation.Options{})
	if err != nil {
		t.Fatal(err)
	}
	marks := make([]engrave.Mark, len(s.Notes))
	for i := range marks {
		marks[i].Kind = engrave.MarkRight
	}
	marks[1] = engrave.Mark{Kind: engrave.MarkOff, Cents: -40, Text: "-40"}
	marks[2] = engrave.Mark{Kind: engrave.MarkOff, Cents: 38, Text: "+38"}
	marks[4] = engrave.Mark{Kind: engrave.MarkWrong, Cents: 400, Text: "re"}
	marks[6] = engrave.Mark{Kind: engrave.MarkAbsent, Cents: 0, Text: ""}
	marks[9] = engrave.Mark{Kind: engrave.MarkWrong, Cents: -900, Text: "<fa>"}
	return s, marks
}

// Every note has its mark, in an SVG that XML readers take, whatever its words are.
func TestMarks(t *testing.T) {
	s, marks := markedLine(t)
	text, err := engrave.SVG(s, engrave.View{Width: 760, Labels: s.Labels(theory.Movable, false), Marks: marks})
	if err != nil {
		t.Fatal(err)
	}
	if path := os.Getenv("SINGBACK_DRAWN"); path != "" { // to look at
		if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	dec := xml.NewDecoder(strings.NewReader(text))
	for {
		if _, err := dec.Token(); err == io.EOF {
			break
		} else if err != nil {
			t.Fatal(err)
		}
	}
	for class, want := range map[string]int{"mark-right": len(marks) - 5, "mark-off": 2, "mark-wrong": 2, "mark-absent": 1} {
		if got := strings.Count(text, `"mark `+class+`"`); got != want {
			t.Errorf("%d of %s, want %d", got, class, want)
		}
	}
	if !strings.Contains(text, "&lt;fa&gt;") || strings.Contains(text, "<fa>") {
		t.Error("the words of a mark are not escaped")
	}
	without, err := engrave.SVG(s, engrave.View{Width: 760, Labels: s.Labels(theory.Movable, false)})
	if err != nil || strings.Contains(without, "mark") {
		t.Errorf("marks without any: %v", err)
	}
}
