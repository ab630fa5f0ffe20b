package kept

import (
	"bytes"
	"hash/crc64"
	"math"
	"reflect"
	"singback/exercise/practice"
	"singback/internal/testkit/invented"
	"slices"
	"strings"
	"testing"
	"time"
)

// Fields names every field of a row, in the order of the columns, and each version has
// the columns of the one before and some more.
func TestFieldsAreTheColumns(t *testing.T) {
	var r Row
	v := reflect.ValueOf(&r).Elem()
	fields := r.Fields()
	if len(fields) != v.NumField() || len(Columns) != v.NumField() {
		t.Fatalf("%d fields, %d columns, want %d", len(fields), len(Columns), v.NumField())
	}
	for i, p := range fields {
		if p != v.Field(i).Addr().Interface() {
			t.Errorf("field %d is not %s", i, v.Type().Field(i).Name)
		}
	}
	if VersionColumns[1] != 44 || !slices.IsSorted(VersionColumns) || VersionColumns[len(VersionColumns)-1] != len(Columns) {
		t.Errorf("columns of the versions: %v", VersionColumns)
	}
	if c := Columns[:SessionColumns]; c[0] != "singer" || c[6] != "estimator" {
		t.Errorf("columns of the session: %v", c)
	}
}

// The polynomial is that of CRC-64/XZ, whose check value of "123456789" is in the
// catalogue of parametrised CRC algorithms and in the specification of .xz files.
func TestChecksumPolynomial(t *testing.T) {
	if got := crc64.Checksum([]byte("123456789"), polynomial); got != 0x995dc9bbdf1939fa {
		t.Errorf("%x", got)
	}
}

// A row of each kind of value, with its checksum written out by hand from what its
// comment says.
func TestChecksumByHand(t *testing.T) {
	right, hz := int64(3), 440.5
	r := Row{Singer: "Zoë", Number: -2, A4Hz: math.Copysign(0, -1), F0Hz: &hz, NotesRight: &right, BySteps: new(bool), Counts: true}
	place := func(column string) byte { return byte(slices.Index(Columns, column)) }
	var want bytes.Buffer
	for i, c := range Columns {
		switch c {
		case "singer":
			want.Write([]byte{0, 0, 0, 0, 4, 'Z', 'o', 0xc3, 0xab})
		case "number":
			want.Write([]byte{place(c), 255, 255, 255, 255, 255, 255, 255, 254})
		case "f0_hz": // 440.5 = 1.720703125 * 2^8: 0x407b880000000000
			want.Write([]byte{place(c), 0x40, 0x7b, 0x88, 0, 0, 0, 0, 0})
		case "notes_right":
			want.Write([]byte{place(c), 0, 0, 0, 0, 0, 0, 0, 3})
		case "counts":
			want.Write([]byte{place(c), 1})
		case "by_steps", "strict_octave", "again":
			want.Write([]byte{place(c), 0})
		default:
			switch r.Fields()[i].(type) {
			case *string:
				want.Write([]byte{byte(i), 0, 0, 0, 0})
			case *int64, *float64:
				want.Write([]byte{byte(i), 0, 0, 0, 0, 0, 0, 0, 0})
			}
		}
	}
	if got := r.Checksum(); got != crc64.Checksum(want.Bytes(), polynomial) {
		t.Errorf("%x", got)
	}
}

// Every answer comes back from its row, to the last bit.
func TestRowsKeepEverything(t *testing.T) {
	list := append(invented.Answers(session("Anna"), 300), invented.Answers(session("Zoë, the 2nd \"z\""), 5)...)
	rd := NewReader()
	var got []practice.Answer
	for _, a := range list {
		if err := Check(a); err != nil {
			t.Fatal(err)
		}
		rw := NewRow(a)
		a, err := rd.Answer(&rw)
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, a)
	}
	equal(t, got, list)
}

// A session is one only if it is the same in every column.
func TestSameSession(t *testing.T) {
	a := session("Anna")
	if err := SameSession(a, a); err != nil {
		t.Error(err)
	}
	for want, change := range map[string]func(*practice.Session){
		"singer":    func(s *practice.Session) { s.Singer = "Ben" },
		"started":   func(s *practice.Session) { s.Started = s.Started.Add(time.Second) },
		"command":   func(s *practice.Session) { s.Command = "sing" },
		"source":    func(s *practice.Session) { s.Source = "file" },
		"seed":      func(s *practice.Session) { s.Seed = 7 },
		"estimator": func(s *practice.Session) { s.Estimator = "pitch 2" },
	} {
		b := a
		change(&b)
		if err := SameSession(b, a); err == nil || !strings.Contains(err.Error(), "here its "+want+" is ") {
			t.Errorf("%s: %v", want, err)
		}
		// And a reader that knows the one does not take the other for it.
		list := invented.Answers(a, 1)
		first := NewRow(list[0])
		list[0].Session = b
		second := NewRow(list[0])
		rd := NewReader()
		if _, err := rd.Answer(&first); err != nil {
			t.Fatal(err)
		}
		if got, err := rd.Answer(&second); err != nil || SameSession(got.Session, b) != nil {
			t.Errorf("%s: read as %+v, %v", want, got.Session, err)
		}
	}
}

// The order is that in which the record hands rows out.
func TestCompare(t *testing.T) {
	row := func(singer, started, session string, number int64) *Row {
		return &Row{Singer: singer, Started: started, Session: session, Number: number}
	}
	want := []*Row{row("Anna", "2026-01", "b", 9), row("Anna", "2026-02", "a", 2), row("Anna", "2026-02", "a", 10), row("Anna", "2026-02", "c", 1), row("Ben", "2025-01", "a", 1)}
	got := []*Row{want[3], want[1], want[4], want[0], want[2]}
	slices.SortFunc(got, Compare)
	if !slices.Equal(got, want) {
		t.Errorf("%+v", got)
	}
}
