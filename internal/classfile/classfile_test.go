package classfile

import (
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"singback/exercise/grade"
	"singback/internal/class"
	"singback/theory"
)

var now = time.Date(2026, 11, 28, 9, 0, 0, 0, time.UTC)

// made is a class with two students and two tasks; all of it is invented.
func made(t *testing.T) (*File, []class.Student, []class.Task) {
	t.Helper()
	f, err := New(filepath.Join(t.TempDir(), "lower.class"), "Lower Street Choir", now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	for _, s := range []class.Student{
		{Name: "Ana", Voice: "soprano", Notes: "left-handed", Consent: "2026-09-01", ConsentBy: "her mother", Since: "2026-09-01"},
		{Name: "Bo", Since: "2026-09-08"},
	} {
		if _, err := f.AddStudent(s); err != nil {
			t.Fatal(err)
		}
	}
	for _, k := range []class.Task{
		{Name: "week 1", Words: "sing it twice", Given: "2026-11-02", Due: "2026-11-09",
			Model: class.Model{Text: "do re mi fa sol", Names: "movable", Tuning: "equal", A4: 440}, Rules: grade.DefaultRules(), Rubric: class.Default()},
		{Name: "week 2", Due: "2026-11-16", Kind: class.Exercise, Exercise: "sing --key C", Goal: 40},
	} {
		if _, err := f.AddTask(k); err != nil {
			t.Fatal(err)
		}
	}
	students, err := f.Students()
	if err != nil {
		t.Fatal(err)
	}
	tasks, err := f.Tasks()
	if err != nil {
		t.Fatal(err)
	}
	return f, students, tasks
}

func sum(n byte) string { return strings.Repeat(string("0123456789abcdef"[n]), 64) }

// take is one of a student, which could be read.
func take(t *testing.T, f *File, student, task int64, n byte, handed string) int64 {
	t.Helper()
	p, b, err := class.Grained(grade.Performance{
		Curve: []grade.Moment{{At: 0.01, Voiced: true, Cents: 6000}, {At: 0.02, Voiced: true, Cents: 6001.5}},
		Notes: []grade.Sung{{Onset: 0.01, Offset: 0.4, Cents: 6001, Level: -20}},
	})
	if err != nil {
		t.Fatal(err)
	}
	id, added, err := f.AddTake(class.Take{Student: student, Task: task, Source: "takes/x.wav", SHA256: sum(n), Handed: handed, Collected: handed, Seconds: 0.5, Measured: "pitch 4"}, b)
	if err != nil || !added {
		t.Fatalf("added %v, %v", added, err)
	}
	got, err := f.Performance(id)
	if err != nil || !reflect.DeepEqual(got, p) {
		t.Fatalf("measured %+v, kept %+v (%v)", p, got, err)
	}
	return id
}

func mark(value float64, pass bool) class.Mark {
	return class.Mark{At: "2026-11-28T09:00:00Z", Rubric: "notes", RubricSum: "aa", Tolerance: 45, FreeKey: true, ModelSum: "bb", Measured: "pitch 4",
		Value: value, Pass: pass, PassAt: 0.5, Error: 0.1, Doubt: 0.2, Score: 0.9, Probability: 0.8,
		Parts: []class.Part{{Criterion: class.Notes, Weight: 3, Value: 0.8333, Measured: true}, {Criterion: class.Rhythm, Weight: 2}},
		Tally: class.Tally{
			Degrees: map[theory.Degree]class.Count{{Step: 1}: {Right: 1, Of: 1}, {Step: 4, Alter: 1}: {Right: 0, Of: 2}},
			Moves:   map[class.Move]class.Count{{From: theory.Degree{Step: 1}, To: theory.Degree{Step: 4, Alter: 1}}: {Right: 0, Of: 1}},
		}}
}

// What was put in comes out, also of a file that was closed and copied.
func TestKept(t *testing.T) {
	f, students, tasks := made(t)
	id := take(t, f, students[0].ID, tasks[0].ID, 1, "2026-11-05T10:00:00Z")
	want := mark(0.8, true)
	markID, err := f.AddMark(id, want)
	if err != nil {
		t.Fatal(err)
	}
	want.ID, want.Take = markID, id
	review := class.Review{Take: id, Mark: markID, At: "2026-11-28T10:00:00Z", Chosen: class.Doubt, Pass: false, Value: 0.3, Why: "the last note is held by somebody else"}
	if review.ID, err = f.AddReview(review, "one"); err != nil {
		t.Fatal(err)
	}
	if again, err := f.AddReview(review, "one"); err != nil || again != review.ID {
		t.Errorf("the same review twice: %d, %v", again, err)
	}
	if _, err := f.AddRemark(class.Remark{Student: students[0].ID, Task: tasks[0].ID, At: "2026-11-28T10:00:00Z", Words: "breathe before fa"}); err != nil {
		t.Fatal(err)
	}
	if err := f.KeepRecording(id, []byte("RIFF")); err != nil {
		t.Fatal(err)
	}
	f.Close()
	if left, _ := filepath.Glob(f.Path() + "*"); len(left) != 1 {
		t.Errorf("beside the file lies %q", left)
	}
	b, err := os.ReadFile(f.Path())
	if err != nil {
		t.Fatal(err)
	}
	copied := filepath.Join(t.TempDir(), "copy.class")
	if err := os.WriteFile(copied, b, 0o600); err != nil {
		t.Fatal(err)
	}
	c, err := Read(copied)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	if c.Name() != "Lower Street Choir" {
		t.Errorf("it is called %q", c.Name())
	}
	if got, err := c.Students(); err != nil || !reflect.DeepEqual(got, students) {
		t.Errorf("students %+v (%v)", got, err)
	}
	if got, err := c.Tasks(); err != nil || !reflect.DeepEqual(got, tasks) {
		t.Errorf("tasks %+v (%v)", got, err)
	}
	row, err := c.Take(id)
	if err != nil || !reflect.DeepEqual(*row.Mark, want) || !reflect.DeepEqual(*row.Review, review) || !row.Counts || !row.Kept {
		t.Errorf("take %+v\nmark %+v\nreview %+v (%v)", row, row.Mark, row.Review, err)
	}
	if v, pass, ok := row.Value(); v != 0.3 || pass || !ok {
		t.Errorf("it counts as %v %v %v: the teacher decides", v, pass, ok)
	}
	if got, err := c.Recording(id); err != nil || string(got) != "RIFF" {
		t.Errorf("the copy is %q (%v)", got, err)
	}
	if got, err := c.Remarks(students[0].ID); err != nil || len(got) != 1 || got[0].Words != "breathe before fa" {
		t.Errorf("remarks %+v (%v)", got, err)
	}
	if _, err := c.AddStudent(class.Student{Name: "Cy"}); !errors.Is(err, ErrReadOnly) {
		t.Errorf("a file opened for reading was written: %v", err)
	}
	if err := c.Check(); err != nil {
		t.Error(err)
	}
}

// The last take counts, or the best, and the teacher's word is the word.
func TestWhichCounts(t *testing.T) {
	f, students, tasks := made(t)
	early := take(t, f, students[0].ID, tasks[0].ID, 1, "2026-11-05T10:00:00Z")
	late := take(t, f, students[0].ID, tasks[0].ID, 2, "2026-11-06T10:00:00Z")
	counting := func() (out []int64) {
		for r, err := range f.Takes(Query{Counting: true}) {
			if err != nil {
				t.Fatal(err)
			}
			out = append(out, r.ID)
		}
		return out
	}
	do := func(_ any, err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	do(f.AddMark(early, mark(0.9, true)))
	do(f.AddMark(late, mark(0.6, true)))
	if got := counting(); !slices.Equal(got, []int64{late}) {
		t.Errorf("%v counts, want the last", got)
	}
	best := tasks[0]
	best.Counts = class.Best
	do(nil, f.SetTask(best))
	if got := counting(); !slices.Equal(got, []int64{early}) {
		t.Errorf("%v counts, want the best", got)
	}
	row, err := f.Take(early)
	do(nil, err)
	do(f.AddReview(class.Review{Take: early, Mark: row.Mark.ID, Pass: false, Value: -1}, ""))
	if got := counting(); !slices.Equal(got, []int64{late}) {
		t.Errorf("%v counts, want the one that the teacher did not fail", got)
	}
	if was, err := f.TakeBack(early); !was || err != nil {
		t.Errorf("taken back: %v %v", was, err)
	}
	if got := counting(); !slices.Equal(got, []int64{early}) {
		t.Errorf("%v counts after the review was taken back", got)
	}
	// One that could not be read counts only where there is no other.
	_, added, err := f.AddTake(class.Take{Student: students[0].ID, Task: tasks[0].ID, Source: "half.wav", SHA256: sum(3), Handed: "2026-11-07T10:00:00Z", Trouble: "it is cut short"}, nil)
	if !added || err != nil {
		t.Fatal(added, err)
	}
	best.Counts = class.Last
	do(nil, f.SetTask(best))
	if got := counting(); !slices.Equal(got, []int64{late}) {
		t.Errorf("%v counts, want the last that could be read", got)
	}
}

// The same recording is there once; one that could not be read is measured when it can be.
func TestAddTakeTwice(t *testing.T) {
	f, students, tasks := made(t)
	bad := class.Take{Student: students[0].ID, Task: tasks[0].ID, Source: "a.m4a", SHA256: sum(1), Trouble: "it needs ffmpeg"}
	first, added, err := f.AddTake(bad, nil)
	if err != nil || !added {
		t.Fatal(added, err)
	}
	if id, added, err := f.AddTake(bad, nil); id != first || added || err != nil {
		t.Errorf("again: %d %v %v", id, added, err)
	}
	good := bad
	good.Trouble, good.Measured = "", "pitch 4"
	b, err := class.Pack(grade.Performance{})
	if err != nil {
		t.Fatal(err)
	}
	if id, added, err := f.AddTake(good, b); id != first || !added || err != nil {
		t.Errorf("when it can be read: %d %v %v", id, added, err)
	}
	if id, added, err := f.AddTake(good, b); id != first || added || err != nil {
		t.Errorf("and again: %d %v %v", id, added, err)
	}
}

// A take that is measured again keeps its place, its marks and its review.
func TestMeasuredAgain(t *testing.T) {
	f, students, tasks := made(t)
	id := take(t, f, students[0].ID, tasks[0].ID, 1, "2026-11-05T10:00:00Z")
	if _, err := f.AddMark(id, mark(0.5, true)); err != nil {
		t.Fatal(err)
	}
	if n, err := f.MeasuredBefore("pitch 4"); n != 0 || err != nil {
		t.Errorf("%d were measured by another tracker (%v)", n, err)
	}
	row, err := f.Take(id)
	if err != nil {
		t.Fatal(err)
	}
	b, err := class.Pack(grade.Performance{Notes: []grade.Sung{{Onset: 1, Offset: 2, Cents: 6000}}})
	if err != nil {
		t.Fatal(err)
	}
	now := row.Take
	now.Measured = "pitch 5"
	if n, err := f.AddTakes([]Added{{Take: now, Packed: b, Again: true}}); n != 1 || err != nil {
		t.Fatal(n, err)
	}
	again, err := f.Take(id)
	if err != nil || again.Measured != "pitch 5" || again.Mark == nil || again.Mark.ID != row.Mark.ID {
		t.Errorf("%+v (%v)", again, err)
	}
	p, err := f.Performance(id)
	if err != nil || len(p.Notes) != 1 || p.Notes[0].Onset != 1 {
		t.Errorf("measured %+v (%v)", p, err)
	}
	if n, err := f.MeasuredBefore("pitch 4"); n != 1 || err != nil {
		t.Errorf("%d were measured by another tracker (%v)", n, err)
	}
}

// A forgotten student leaves no trace in the file; others keep theirs.
func TestForget(t *testing.T) {
	f, students, tasks := made(t)
	ana, bo := students[0], students[1]
	ana.Name, ana.Notes, ana.ConsentBy = "Anastasia Quillfeather", "plays the zither", "Mr Quillfeather senior"
	if err := f.SetStudent(ana); err != nil {
		t.Fatal(err)
	}
	for i, s := range []class.Student{ana, bo} {
		id := take(t, f, s.ID, tasks[0].ID, byte(i), "2026-11-05T10:00:00Z")
		markID, err := f.AddMark(id, mark(0.9, true))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := f.AddReview(class.Review{Take: id, Mark: markID, Why: "why-of-" + s.Name}, ""); err != nil {
			t.Fatal(err)
		}
		if _, err := f.AddRemark(class.Remark{Student: s.ID, Words: "words-to-" + s.Name}); err != nil {
			t.Fatal(err)
		}
		if err := f.KeepRecording(id, []byte("recording-of-"+s.Name)); err != nil {
			t.Fatal(err)
		}
		if err := f.AddSheet(s.ID, "/sheets/"+s.Name+".html"); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := f.AddRemark(class.Remark{Student: bo.ID, Words: "sit beside Anastasia Quillfeather"}); err != nil {
		t.Fatal(err)
	}
	traces := []string{"Quillfeather", "zither", "words-to-Ana", "recording-of-Ana", "/sheets/Ana", "why-of-Ana"}
	b, err := os.ReadFile(f.Path())
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range traces {
		if !strings.Contains(string(b), s) {
			t.Fatalf("the search does not find %q where it is", s)
		}
	}
	out, err := f.Forget(ana.ID)
	if err != nil {
		t.Fatal(err)
	}
	if out.Name != ana.Name || out.Takes != 1 || out.Copies != 1 || out.Marks != 1 || out.Reviews != 1 || out.Remarks != 1 ||
		!slices.Equal(out.Recordings, []Lay{{"takes/x.wav", sum(0)}}) || !slices.Equal(out.Sheets, []string{"/sheets/Anastasia Quillfeather.html"}) {
		t.Errorf("it says %+v", out)
	}
	if len(out.Named) != 1 || !strings.Contains(out.Named[0], "a remark to Bo") {
		t.Errorf("where the name still stands: %q", out.Named)
	}
	if _, err := f.db.Exec("DELETE FROM remarks WHERE words LIKE 'sit beside%'; VACUUM"); err != nil {
		t.Fatal(err)
	}
	f.Close()
	left, _ := filepath.Glob(filepath.Join(filepath.Dir(f.Path()), "*"))
	if len(left) != 1 {
		t.Errorf("beside the file lies %q", left)
	}
	if b, err = os.ReadFile(f.Path()); err != nil {
		t.Fatal(err)
	}
	for _, s := range traces {
		if strings.Contains(string(b), s) {
			t.Errorf("%q can still be read in the file", s)
		}
	}
	for _, s := range []string{"words-to-Bo", "recording-of-Bo", "why-of-Bo"} {
		if !strings.Contains(string(b), s) {
			t.Errorf("%q is gone", s)
		}
	}
}

// What is no class, damaged, newer or not there is one line that says so, and is not
// touched.
func TestRefused(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	f, _, _ := made(t)
	if _, err := f.db.Exec("PRAGMA user_version = 99"); err != nil {
		t.Fatal(err)
	}
	f.Close()
	for path, want := range map[string]string{
		write("text.class", "hello, this is no class at all; it is only text, longer than a header of a file of SQLite, which has a hundred bytes"): "it is no class",
		write("empty.class", ""):            "it is no class",
		filepath.Join(dir, "nothing.class"): "there is no such file",
		dir:                                 "it is no plain file",
		f.Path():                            "made by a newer singback (version 99",
	} {
		before, _ := os.ReadFile(path)
		if _, err := Open(path); err == nil || !strings.Contains(err.Error(), want) || !strings.HasPrefix(err.Error(), path) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v, want %q", path, err, want)
		}
		if after, _ := os.ReadFile(path); string(after) != string(before) {
			t.Errorf("%s was changed", path)
		}
	}
	if _, err := New(filepath.Join(dir, "text.class"), "x", now); !errors.Is(err, ErrThere) {
		t.Errorf("a file that is there: %v", err)
	}
}

// Names find who is meant.
func TestStudent(t *testing.T) {
	f, _, _ := made(t)
	if _, err := f.AddStudent(class.Student{Name: "Bodil"}); err != nil {
		t.Fatal(err)
	}
	if _, err := f.AddStudent(class.Student{Name: "ana"}); !errors.Is(err, ErrTaken) {
		t.Errorf("a second ana: %v", err)
	}
	for name, want := range map[string]string{"Ana": "Ana", "ana": "Ana", "Bo": "Bo", "bo": "Bo", "bod": "Bodil"} {
		if s, err := f.Student(name); err != nil || s.Name != want {
			t.Errorf("%s: %q, %v", name, s.Name, err)
		}
	}
	for name, want := range map[string]string{"B": "may be Bo, Bodil", "Zed": "not in the class; it has Ana, Bo, Bodil", "": "without a name"} {
		if _, err := f.Student(name); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", name, err, want)
		}
	}
}

// A file with bytes that are other ones is refused in one line, or read as far as it is
// sound; nothing panics.
func TestDamaged(t *testing.T) {
	f, students, tasks := made(t)
	for i := range 8 {
		id := take(t, f, students[0].ID, tasks[0].ID, byte(i), "2026-11-05T10:00:00Z")
		if _, err := f.AddMark(id, mark(0.5, true)); err != nil {
			t.Fatal(err)
		}
	}
	f.Close()
	whole, err := os.ReadFile(f.Path())
	if err != nil {
		t.Fatal(err)
	}
	look := func(path string) error {
		f, err := Read(path)
		if err != nil {
			return err
		}
		defer f.Close()
		errs := []error{f.Check()}
		_, err = f.Students()
		errs = append(errs, err)
		_, err = f.Tasks()
		errs = append(errs, err)
		for r, err := range f.Takes(Query{}) {
			errs = append(errs, err)
			if err == nil {
				_, err = f.Performance(r.ID)
				errs = append(errs, err)
			}
		}
		return errors.Join(errs...)
	}
	path := filepath.Join(t.TempDir(), "x.class")
	rng := rand.New(rand.NewPCG(1, 2))
	refused := 0
	for i := range 60 {
		b := slices.Clone(whole)
		if i%6 == 0 {
			b = b[:rng.IntN(len(b))]
		}
		for range 1 + rng.IntN(30) {
			if len(b) > 0 {
				b[rng.IntN(len(b))] ^= byte(1 + rng.IntN(255))
			}
		}
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
		if err := look(path); err != nil {
			refused++
			for line := range strings.Lines(err.Error()) {
				if strings.TrimSpace(line) == "" {
					t.Errorf("an empty line in %q", err)
				}
			}
		}
	}
	if refused < 20 {
		t.Errorf("only %d of 60 were seen to be damaged", refused)
	}
}
