package kept

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"
	"reflect"
	"singback/exercise/practice"
	"singback/internal/testkit/invented"
	"strings"
	"testing"
)

// An answer comes back from its line, and the line says what JSONLines says, with the
// checksum behind it.
func TestLines(t *testing.T) {
	list := append(invented.Answers(session("Anna"), 100), invented.Answers(session("Zoë <& \u2028 \"z\" \\"), 20)...)
	lines := strings.Split(export(t, JSONLines, list), "\n")
	rd := NewReader()
	var got []practice.Answer
	for i, a := range list {
		line, err := EncodeLine(a)
		if err != nil {
			t.Fatal(err)
		}
		r, back, err := rd.Line(line)
		if err != nil {
			t.Fatal(err)
		}
		if want := strings.TrimSuffix(lines[i], "}") + fmt.Sprintf(`,"checksum":"%016x"}`, r.Checksum()); string(line) != want {
			t.Fatalf("line\n%s\nwant\n%s", line, want)
		}
		if again, err := r.Line(); err != nil || !bytes.Equal(again, line) {
			t.Fatalf("written again\n%s\n%v", again, err)
		}
		got = append(got, back)
	}
	equal(t, got, list)
	list[0].Number = 0
	if _, err := EncodeLine(list[0]); err == nil || !strings.Contains(err.Error(), "number 0") {
		t.Errorf("an answer without a number: %v", err)
	}
	list[1].Verdict.Level = math.NaN()
	if _, err := EncodeLine(list[1]); err == nil {
		t.Error("a line with what JSON cannot hold")
	}
}

// A line of which a bit has changed is refused, or is the same answer: nothing that was
// not written is taken for an answer. So is one that is cut short.
func TestChangedLines(t *testing.T) {
	list := invented.Answers(session("Zoë"), 12)
	for _, a := range list {
		line, err := EncodeLine(a)
		if err != nil {
			t.Fatal(err)
		}
		same := 0
		for i := range line {
			if _, _, err := NewReader().Line(line[:i]); !errors.Is(err, ErrAnswer) {
				t.Fatalf("cut to %d bytes: %v", i, err)
			}
			for bit := range 8 {
				changed := bytes.Clone(line)
				changed[i] ^= 1 << bit
				_, got, err := NewReader().Line(changed)
				switch {
				case err == nil:
					equal(t, []practice.Answer{got}, []practice.Answer{a})
					same++
				case !errors.Is(err, ErrAnswer) || strings.Contains(err.Error(), "\n"):
					t.Fatalf("byte %d, bit %d: %v", i, bit, err)
				}
			}
		}
		if same > 20 { // e becomes E in a number, or a digit of the checksum a capital
			t.Errorf("%d changes of a bit make no difference", same)
		}
	}
	// A row that is changed and fits nothing is told from one that is no row.
	line, _ := EncodeLine(list[0])
	if _, _, err := NewReader().Line(bytes.Replace(line, []byte(`"attempt":`), []byte(`"attempt":1`), 1)); !errors.Is(err, ErrChanged) {
		t.Errorf("%v, want that it was changed", err)
	}
}

// The quick way reads what the slow one reads, or leaves it to it.
func FuzzScanRow(f *testing.F) {
	for _, line := range strings.Split(export(f, JSONLines, invented.Answers(session("Zoë <\"\\>"), 12)), "\n") {
		f.Add([]byte(line))
	}
	for _, a := range invented.Answers(session("Anna"), 3) {
		line, err := EncodeLine(a)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(line)
	}
	for _, name := range []string{"version1", "version2"} {
		data, err := os.ReadFile("../store/testdata/" + name + ".jsonl")
		if err != nil {
			f.Fatal(err)
		}
		line, _, _ := bytes.Cut(data, []byte("\n"))
		f.Add(line)
		f.Add(bytes.ReplaceAll(line, []byte(":"), []byte(" : ")))
		f.Add(bytes.Replace(line, []byte(`"a4_hz":4`), []byte(`"a4_hz":-0e+0`), 1))
		f.Add(bytes.Replace(line, []byte(`"number":1`), []byte(`"number":01`), 1))
		f.Add(bytes.Replace(line, []byte(`"singer":"`), []byte(`"singer":"\ud83d\xff\u00e`), 1))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		r, sum, ok := scanRow(string(text))
		if !ok {
			return
		}
		if sum != "" {
			i := bytes.LastIndex(text, []byte(`"checksum"`))
			text = append(bytes.TrimRight(bytes.TrimRight(text[:i], " \t\r\n"), ","), '}')
		}
		want, err := unmarshalRow(text)
		if err != nil || !reflect.DeepEqual(r, want) {
			t.Errorf("%s\nis read as %+v\nwant %+v, %v", text, r, want, err)
		}
	})
}

// The quick way is taken for all that this program writes.
func TestScanRow(t *testing.T) {
	for _, line := range strings.Split(strings.TrimSpace(export(t, JSONLines, invented.Answers(session("Zoë <\"\\>"), 200))), "\n") {
		if _, sum, ok := scanRow(line); !ok || sum != "" {
			t.Errorf("not read: %s", line)
		}
	}
}

// 20 000 lines, as a page reads them when it opens.
func BenchmarkReadLines(b *testing.B) {
	var lines [][]byte
	for a, err := range ReadExport(strings.NewReader(many(b, CSV, 20_000))) {
		if err != nil {
			b.Fatal(err)
		}
		line, err := EncodeLine(a)
		if err != nil {
			b.Fatal(err)
		}
		lines = append(lines, line)
	}
	for b.Loop() {
		rd := NewReader()
		for _, line := range lines {
			if _, _, err := rd.Line(line); err != nil {
				b.Fatal(err)
			}
		}
	}
}
