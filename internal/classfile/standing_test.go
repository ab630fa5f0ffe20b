package classfile

import (
	"errors"
	"reflect"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"singback/internal/class"
	"singback/theory"
)

// TestStandings: what counts of all students in one go is what Takes says of each.
func TestStandings(t *testing.T) {
	f, students, tasks := made(t)
	ana, bo, week := students[0].ID, students[1].ID, tasks[0].ID
	if _, err := f.AddMark(take(t, f, ana, week, 1, "2026-11-05T10:00:00Z"), mark(0.3, false)); err != nil {
		t.Fatal(err)
	}
	newest := take(t, f, ana, week, 2, "2026-11-06T10:00:00Z")
	id, err := f.AddMark(newest, mark(0.8, true))
	if err != nil {
		t.Fatal(err)
	}
	review := class.Review{Take: newest, Mark: id, At: "2026-11-28T10:00:00Z", Chosen: class.Sample, Value: 0.4, Why: "flat"}
	if _, err := f.AddReview(review, ""); err != nil {
		t.Fatal(err)
	}
	take(t, f, bo, week, 3, "2026-11-07T10:00:00Z") // not marked
	got, err := f.Standings()
	if err != nil {
		t.Fatal(err)
	}
	if len(got) != 2 || got[0].Name != "Ana" || got[1].Name != "Bo" || len(got[0].Cells) != 1 || len(got[1].Cells) != 1 {
		t.Fatalf("%+v", got)
	}
	a, b := got[0].Cells[0], got[1].Cells[0]
	if a.Take != newest || a.Takes != 2 || !a.Readable || !a.Marked || a.Value != 0.8 || !a.Pass || a.Doubt != 0.2 || a.Rubric != "notes" || a.Review == nil || a.Review.Why != "flat" || a.Review.Value != 0.4 {
		t.Errorf("Ana: %+v", a)
	}
	if want := mark(0, false).Tally; !reflect.DeepEqual(got[0].Tally, want) {
		t.Errorf("sung %+v, want that of the take that counts, %+v", got[0].Tally, want)
	}
	if b.Marked || b.Review != nil || b.Takes != 1 || got[1].Tally.Degrees != nil {
		t.Errorf("Bo: %+v", got[1])
	}
	for _, r := range []class.Remark{{Student: ana, Task: week, At: "2026-11-28T10:00:00Z", Words: "old"}, {Student: ana, Task: week, At: "2026-11-28T11:00:00Z", Words: "new"}, {Student: bo, At: "2026-11-28T11:00:00Z", Words: "at all"}} {
		if _, err := f.AddRemark(r); err != nil {
			t.Fatal(err)
		}
	}
	remarks, err := f.NewestRemarks()
	if err != nil || len(remarks) != 1 || remarks[[2]int64{ana, week}] != "new" {
		t.Errorf("%v, %v", remarks, err)
	}
	if err := f.AddSheetOfAll("/school/table.html"); err != nil {
		t.Fatal(err)
	}
	for _, s := range students {
		if sheets, err := f.Sheets(s.ID); err != nil || !slices.Contains(sheets, "/school/table.html") {
			t.Errorf("%s: %v %v", s.Name, sheets, err)
		}
	}
}

// TestSummedTallies: tallies that are summed up as they stand in a file are the sum of
// those that were read one by one.
func TestSummedTallies(t *testing.T) {
	degree := rapid.Custom(func(r *rapid.T) theory.Degree {
		return theory.Degree{Step: rapid.IntRange(1, 7).Draw(r, "step"), Alter: rapid.IntRange(-1, 1).Draw(r, "alter")}
	})
	count := rapid.Custom(func(r *rapid.T) class.Count {
		n := rapid.IntRange(1, 500).Draw(r, "of")
		return class.Count{Right: rapid.IntRange(0, n).Draw(r, "right"), Of: n}
	})
	rapid.Check(t, func(r *rapid.T) {
		var summed summed
		var want class.Tally
		for range rapid.IntRange(0, 4).Draw(r, "takes") {
			one := class.Tally{
				Degrees: rapid.MapOfN(degree, count, 0, 5).Draw(r, "degrees"),
				Moves: rapid.MapOfN(rapid.Custom(func(r *rapid.T) class.Move {
					return class.Move{From: degree.Draw(r, "from"), To: degree.Draw(r, "to")}
				}), count, 0, 5).Draw(r, "moves"),
			}
			read, err := readTally(writeTally(one))
			if err != nil {
				r.Fatal(err)
			}
			want.Add(read)
			if err := summed.add([]byte(writeTally(one))); err != nil {
				r.Fatal(err)
			}
		}
		got, err := summed.tally(map[string]theory.Degree{})
		if err != nil {
			r.Fatal(err)
		}
		if len(got.Degrees) != len(want.Degrees) || len(got.Moves) != len(want.Moves) {
			r.Fatalf("%v, want %v", got, want)
		}
		for d, c := range want.Degrees {
			if got.Degrees[d] != c {
				r.Fatalf("%v: %v, want %v", d, got.Degrees[d], c)
			}
		}
		for m, c := range want.Moves {
			if got.Moves[m] != c {
				r.Fatalf("%v: %v, want %v", m, got.Moves[m], c)
			}
		}
	})
}

func FuzzTally(f *testing.F) {
	for _, s := range []string{"", ";", "1=5/5 2=3/4;1>2=3/4", "b3=0/1;", "1=x/2;", "9=1/1;", "1=1/99999999999999999999;", "1>1;1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		var sum summed
		if err := sum.add([]byte(s)); err != nil {
			if !errors.Is(err, ErrDamaged) {
				t.Errorf("%q: %v", s, err)
			}
			return
		}
		if _, err := sum.tally(map[string]theory.Degree{}); err != nil && !errors.Is(err, ErrDamaged) {
			t.Errorf("%q: %v", s, err)
		}
	})
}
