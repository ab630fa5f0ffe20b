package kept

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"singback/exercise/practice"
	"singback/internal/testkit/invented"
)

func export(t testing.TB, f Format, list []practice.Answer) string {
	t.Helper()
	var out strings.Builder
	if n, err := WriteExport(&out, f, each(list, nil)); err != nil || n != len(list) {
		t.Fatal(n, err)
	}
	return out.String()
}

func read(t testing.TB, text string) (list []practice.Answer) {
	t.Helper()
	for a, err := range ReadExport(strings.NewReader(text)) {
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, a)
	}
	return list
}

// An export in any format holds everything, and written again it is the same.
func TestExportKeepsEverything(t *testing.T) {
	list := append(invented.Answers(session("Anna"), 250), invented.Answers(session("Zoë, the 2nd \"<z>\""), 20)...)
	list = append(list, invented.Answers(session("=1+1;-2"), 20)...)
	for _, f := range []Format{CSV, JSONLines, GuardedCSV} {
		text := export(t, f, list)
		got := read(t, text)
		equal(t, got, list)
		if export(t, f, got) != text {
			t.Errorf("format %d: written again it is another", f)
		}
		// What is read last is not read.
		n := 0
		for range ReadExport(strings.NewReader(text)) {
			if n++; n == 3 {
				break
			}
		}
		if n != 3 {
			t.Errorf("format %d: %d answers, want to stop after 3", f, n)
		}
	}
}

// An error among the answers, or one that could not be read again, ends an export.
func TestExportEnds(t *testing.T) {
	list := invented.Answers(session("Anna"), 4)
	broken := errors.New("the disk has gone")
	if n, err := WriteExport(io.Discard, CSV, each(list, broken)); n != 4 || !errors.Is(err, broken) {
		t.Error(n, err)
	}
	list[2].Attempt = 0
	if n, err := WriteExport(io.Discard, JSONLines, each(list, nil)); n != 2 || err == nil || !strings.Contains(err.Error(), "attempt 0: want 1 or more") {
		t.Error(n, err)
	}
}

// Exports of older versions, made by the programs that had them, hold the same answers
// in both formats, and a row that is written again has their columns as they were.
func TestOlderExports(t *testing.T) {
	for version := 1; version <= 2; version++ {
		var of [2][]practice.Answer
		for i, extension := range []string{"csv", "jsonl"} {
			data, err := os.ReadFile(fmt.Sprintf("../store/testdata/version%d.%s", version, extension))
			if err != nil {
				t.Fatal(err)
			}
			of[i] = read(t, string(data))
			var rows []*Row
			err = ReadRows(bytes.NewReader(data), func(r *Row, _ practice.Answer) error {
				rows = append(rows, r)
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
			var again bytes.Buffer
			n, err := WriteRows(&again, []Format{CSV, JSONLines}[i], func(yield func(*Row, error) bool) {
				for _, r := range rows {
					if !yield(r, nil) {
						return
					}
				}
			})
			if err != nil || n != len(rows) {
				t.Fatal(n, err)
			}
			was, now := strings.Split(string(data), "\n"), strings.Split(again.String(), "\n")
			for j := 1; j < len(was); j++ {
				if w := strings.TrimSuffix(was[j], "}"); !strings.HasPrefix(now[j], w) {
					t.Fatalf("version %d, %s, line %d:\n got %s\nwant %s", version, extension, j+1, now[j], w)
				}
			}
		}
		if len(of[0]) < 40 {
			t.Errorf("version %d: %d answers", version, len(of[0]))
		}
		equal(t, of[1], of[0])
	}
}

// Each mistake in an export names its line.
func TestReadRefuses(t *testing.T) {
	list := invented.Answers(session("Anna"), 3)
	table, lines := export(t, CSV, list), export(t, JSONLines, list)
	for _, c := range []struct{ name, text, want string }{
		{"nothing", " \n", "there is nothing in it"},
		{"another table", "a,b\n1,2\n", "line 1: not the columns"},
		{"a text", "dear diary\n", "line 1: not the columns"},
		{"a row cut short", table[:len(table)-40], "line 4: wrong number of fields"},
		{"a bad key", strings.Replace(table, list[1].Item.Key.ASCII(), "H major", 1), "key: not a key"},
		{"a bad time", strings.Replace(table, "2026-11-25T19:30:10.250+01:00", "yesterday", 1), "line 2: at: \"yesterday\" is no time"},
		{"a bad number", strings.Replace(table, ",35,", ",wide,", 1), "tolerance_cents: \"wide\" cannot be read"},
		{"A4 out of range", strings.Replace(lines, `"a4_hz":4`, `"a4_hz":14`, 1), "a4_hz: A4 ="},
		{"no JSON", lines + "{\"singer\"\n", "line 4: no JSON object"},
		{"a field missing", lines + "{\"singer\":\"Anna\"}\n", "line 4: session is missing"},
		{"an unknown field", strings.Replace(lines, `{"singer"`, `{"mood":"good","singer"`, 1), "line 1: unknown field"},
		{"a wrong type", strings.Replace(lines, `"number":2`, `"number":"two"`, 1), "line 2: "},
		{"half of the columns of version 2", strings.Replace(lines, `"material":null,`, "", 1), "line 1: material is missing"},
		{"a column short", strings.Replace(table, ",notes_right,by_steps\n", "\n", 1), "line 1: the column notes_right is missing"},
		{"a column left out", strings.Replace(table, ",notes_right,by_steps\n", ",by_steps\n", 1), "line 1, column 48: \"by_steps\"; want notes_right"},
		{"a column more", strings.Replace(table, ",by_steps\n", ",by_steps,mood\n", 1), "line 1, column 50: \"mood\"; the practice record has no such column"},
		{"a column of another name", strings.Replace(table, ",outcome,", ",result,", 1), "line 1, column 25: \"result\"; want outcome"},
		{"notes without those that were right", strings.Replace(lines, `"notes":null`, `"notes":4`, 1), "line 1: notes, notes_right: want both or none"},
		{"an endless line", "{" + strings.Repeat(" ", 1<<17), "longer than"},
		{"a field that does not end", table + "\"" + strings.Repeat("x", 1<<20), "line 5: longer than 65536 bytes"},
		{"a header that does not end", "\"" + strings.Repeat("x", 1<<20), "line 1: longer than 65536 bytes"},
		{"a session that began at another time", strings.Replace(table, ",2026-11-25T19:30:00.250+01:00,", ",2026-11-25T19:31:00.250+01:00,", 1), "line 3: session "},
		{"another one's session", strings.Replace(lines, "Anna", "Ben", 1), "line 2: session "},
	} {
		var err error
		for _, failed := range ReadExport(strings.NewReader(c.text)) {
			if err != nil {
				t.Errorf("%s: it goes on after %v", c.name, err)
			}
			err = failed
		}
		if err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") || len(err.Error()) > 300 {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
}

// What is read is written again as the same row.
func FuzzReadRows(f *testing.F) {
	list := invented.Answers(session("Anna"), 12)
	for _, format := range []Format{CSV, JSONLines, GuardedCSV} {
		f.Add([]byte(export(f, format, list)))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		rd := NewReader()
		err := readRows(bytes.NewReader(data), func(rw *Row) error {
			a, err := rd.Answer(rw)
			if err != nil {
				return nil
			}
			again := NewRow(a)
			b, err := NewReader().Answer(&again)
			if err != nil {
				t.Fatalf("written again: %v", err)
			}
			if b.At.Unix() != a.At.Unix() || b.Skill != a.Skill || b.Verdict.Outcome != a.Verdict.Outcome {
				t.Fatalf("%+v is read again as %+v", a, b)
			}
			return nil
		})
		if err != nil && strings.Contains(err.Error(), "\n") {
			t.Errorf("more than one line: %q", err)
		}
	})
}

func TestGuard(t *testing.T) {
	for s, want := range map[string]string{
		"":             "",
		"la":           "la",
		"=1+1":         "'=1+1",
		"a=1":          "a=1",
		"'=x":          "''=x",
		"'x":           "'x",
		"Anna;=1+1;-2": "Anna;'=1+1;'-2",
		"a\t'+b":       "a\t''+b",
		"\t=":          "'\t=",
		"a;\t=":        "a;'\t=",
		"＝1":           "'＝1",
		"é;＠":          "é;'＠",
	} {
		if got := guard(s); got != want || unguard(got) != s {
			t.Errorf("%q is guarded as %q and comes back as %q, want %q", s, got, unguard(got), want)
		}
	}
}

// A guarded text begins no cell with what a spreadsheet takes for a formula, and
// comes back exactly.
func FuzzGuard(f *testing.F) {
	for _, s := range []string{"=cmd|' /C calc'!A0", "+1", "@SUM(A1)", "-2+3", "'=x", "''-", "Anna;=1+1", "a\t'+b", "\tx", "\r=", "Zoë", "", "'", ";", "b7", "level 3 seed 4711", "＝1", ";;'\t'=\t=;-", "\t'=", "\t=", ";\t=", "'';'-", "\xff=;\xff=", "'\u3000"} {
		f.Add(s)
	}
	begins := regexp.MustCompile(`(^|;)[=+\-@\t\r\n＝＋－＠]`)
	formula := regexp.MustCompile(`(^|[;\t])('*[=+\-@\t\r\n＝＋－＠])`)
	guardOf := regexp.MustCompile(`(^|[;\t])'('*[=+\-@\t\r\n＝＋－＠])`)
	f.Fuzz(func(t *testing.T, s string) {
		g := guard(s)
		if unguard(g) != s {
			t.Errorf("%q is guarded as %q and comes back as %q", s, g, unguard(g))
		}
		if begins.MatchString(g) {
			t.Errorf("%q is guarded as %q", s, g)
		}
		if want := formula.ReplaceAllString(s, "$1'$2"); g != want {
			t.Errorf("%q is guarded as %q, want %q", s, g, want)
		}
		if got, want := unguard(s), guardOf.ReplaceAllString(s, "$1$2"); got != want {
			t.Errorf("%q without guard is %q, want %q", s, got, want)
		}
		if !begins.MatchString(s) && !strings.ContainsAny(s, "'\t") && g != s {
			t.Errorf("%q became %q", s, g)
		}
	})
}

// many is an export of so many answers, in sessions of 50.
func many(b *testing.B, f Format, n int) string {
	list := invented.Answers(session("Anna"), 50)
	var out strings.Builder
	_, err := WriteExport(&out, f, func(yield func(practice.Answer, error) bool) {
		for i := range n / len(list) {
			s := session("Anna")
			s.Started = evening.Add(time.Duration(i) * 24 * time.Hour)
			for j, a := range list {
				a.Session, a.At = s, s.Started.Add(time.Duration(j)*10*time.Second)
				if !yield(a, nil) {
					return
				}
			}
		}
	})
	if err != nil {
		b.Fatal(err)
	}
	return out.String()
}

// 20 000 answers, some years of a quarter of an hour a day.
func BenchmarkReadExport(b *testing.B) {
	const answers = 20_000
	for name, f := range map[string]Format{"csv": CSV, "guarded": GuardedCSV, "jsonl": JSONLines} {
		b.Run(name, func(b *testing.B) {
			text := many(b, f, answers)
			b.SetBytes(int64(len(text)))
			for b.Loop() {
				if n := len(read(b, text)); n != answers {
					b.Fatal(n)
				}
			}
		})
	}
}

func BenchmarkWriteExport(b *testing.B) {
	const answers = 20_000
	list := read(b, many(b, CSV, answers))
	for name, f := range map[string]Format{"csv": CSV, "guarded": GuardedCSV, "jsonl": JSONLines} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if n, err := WriteExport(io.Discard, f, each(list, nil)); err != nil || n != answers {
					b.Fatal(n, err)
				}
			}
		})
	}
}
