package desk

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"singback/exercise/grade"
	"singback/internal/class"
	"singback/internal/classfile"
	"singback/internal/drill"
	"singback/theory"
)

// choir is a class that was invented for this test: two students, two melodies and an
// exercise.
func choir(t testing.TB) (*classfile.File, []class.Student, []class.Task) {
	t.Helper()
	f, err := classfile.New(filepath.Join(t.TempDir(), "harbour"+classfile.Extension), "Harbour choir", time.Date(2026, 9, 1, 8, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	for _, s := range []class.Student{{Name: "Mira Quill", Voice: "alto", Notes: "shy", Since: "2026-09-01"}, {Name: "Joss Harbour", Since: "2026-09-01"}} {
		if _, err := f.AddStudent(s); err != nil {
			t.Fatal(err)
		}
	}
	text, err := os.ReadFile("../../testdata/harbour.abc")
	if err != nil {
		t.Fatal(err)
	}
	rubric, err := class.RubricNamed("notes")
	if err != nil {
		t.Fatal(err)
	}
	for _, task := range []class.Task{
		{Name: "The harbour lamp", Due: "2026-11-20", Model: class.Model{Text: "harbour.abc", Content: text, Part: "S", Names: "movable", Tuning: "equal", A4: 440}},
		{Name: "Up and down", Due: "2026-11-27", Model: class.Model{Text: "do re mi fa sol la ti do' ti la sol fa mi re do", Key: "D", Names: "movable", Tuning: "equal", A4: 440}},
		{Name: "Sing la", Kind: class.Exercise, Exercise: "sing --key G --degrees la", Goal: 20, Given: "2026-11-01"},
	} {
		task.Rules, task.Rubric = grade.DefaultRules(), rubric
		if _, err := f.AddTask(task); err != nil {
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

func named[T any](t testing.TB, list []T, name string, of func(T) string) T {
	t.Helper()
	for _, v := range list {
		if of(v) == name {
			return v
		}
	}
	t.Fatalf("no %s", name)
	panic("")
}

// sungTake is a take of a line, cents above it, with a fault of some notes; NaN leaves one
// out.
func sungTake(line grade.Line, cents float64, faults map[int]float64) grade.Performance {
	var p grade.Performance
	for i, n := range line.Notes {
		if math.IsNaN(faults[i]) {
			continue
		}
		at, end := 0.5+0.6*n.Onset, 0.5+0.6*(n.Onset+0.93*n.Length)
		c := n.Cents + cents + faults[i]
		p.Notes = append(p.Notes, grade.Sung{Cents: c, Onset: at, Offset: end})
		for s := at; s < end; s += 0.01 {
			p.Curve = append(p.Curve, grade.Moment{At: s, Cents: c, Voiced: true})
		}
		p.Curve = append(p.Curve, grade.Moment{At: end})
	}
	return p
}

// hand hands a take in and marks it.
func hand(t testing.TB, f *classfile.File, s class.Student, task class.Task, p grade.Performance, source, handed string) int64 {
	t.Helper()
	p, packed, err := class.Grained(p)
	if err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256([]byte(source + handed))
	if data, err := os.ReadFile(source); err == nil {
		sum = sha256.Sum256(data)
	}
	id, added, err := f.AddTake(class.Take{Student: s.ID, Task: task.ID, Source: source, SHA256: hex.EncodeToString(sum[:]), Handed: handed, Collected: handed, Seconds: 20, Measured: "pitch test"}, packed)
	if err != nil || !added {
		t.Fatal(added, err)
	}
	line, err := LineOf(task)
	if err != nil {
		t.Fatal(err)
	}
	m, _, err := line.Mark(task, p)
	if err != nil {
		t.Fatal(err)
	}
	m.At, m.Measured = handed, "pitch test"
	if _, err := f.AddMark(id, m); err != nil {
		t.Fatal(err)
	}
	return id
}

func studentName(s class.Student) string { return s.Name }
func taskName(t class.Task) string       { return t.Name }

func TestStudentSheet(t *testing.T) {
	f, students, tasks := choir(t)
	mira, joss := named(t, students, "Mira Quill", studentName), named(t, students, "Joss Harbour", studentName)
	lamp, scale := named(t, tasks, "The harbour lamp", taskName), named(t, tasks, "Up and down", taskName)
	line, err := LineOf(lamp)
	if err != nil {
		t.Fatal(err)
	}
	// la is written three times: it is wrong each time, and a fa is left out.
	faults := map[int]float64{}
	for i, d := range line.Degrees {
		if d == (theory.Degree{Step: 6}) {
			faults[i] = -200
		}
	}
	worse := map[int]float64{1: 200, 5: -300, 8: 200, 11: 300}
	for i, v := range faults {
		worse[i] = v
	}
	hand(t, f, mira, lamp, sungTake(line.Line, -300, worse), "old.wav", "2026-11-10T10:00:00Z")
	id := hand(t, f, mira, lamp, sungTake(line.Line, -300, faults), "new.wav", "2026-11-23T10:00:00Z")
	up, err := LineOf(scale)
	if err != nil {
		t.Fatal(err)
	}
	hand(t, f, joss, scale, sungTake(up.Line, 0, nil), "joss.wav", "2026-11-20T10:00:00Z")
	row, err := f.Take(id)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.AddReview(class.Review{Take: id, Mark: row.Mark.ID, At: "2026-11-24T10:00:00Z", Pass: !row.Mark.Pass, Value: -1, Why: "la was a sol on purpose"}, ""); err != nil {
		t.Fatal(err)
	}
	for _, m := range []class.Remark{{Student: mira.ID, Task: lamp.ID, At: "2026-11-24T10:00:00Z", Words: "breathe"}, {Student: joss.ID, At: "2026-11-24T10:00:00Z", Words: "only for Joss"}} {
		if _, err := f.AddRemark(m); err != nil {
			t.Fatal(err)
		}
	}
	r := Reporter{File: f, Made: "2026-11-28", Staff: true}
	s, err := r.Student(mira.ID)
	if err != nil {
		t.Fatal(err)
	}
	text := s.Text()
	for _, want := range []string{"2026-11-23, 3 days late", "not handed in", "0 of 20 answers", "la was a sol on purpose", "better than on 2026-11-10", "breathe", `singback sing --key "G major" --from sol --degrees la --count 10 --voice alto`} {
		if !strings.Contains(strings.Join(strings.Fields(text), " "), want) {
			t.Errorf("%q is not on the sheet", want)
		}
	}
	var html bytes.Buffer
	if err := s.HTML(&html); err != nil {
		t.Fatal(err)
	}
	for _, secret := range []string{"Joss", "joss.wav", "shy"} {
		if strings.Contains(text, secret) || strings.Contains(html.String(), secret) {
			t.Errorf("%q is on the sheet of Mira", secret)
		}
	}
	for _, a := range s.Practise {
		if _, err := drill.ReadAddress(a.Address); err != nil {
			t.Errorf("#%s: %v", a.Address, err)
		}
	}
	empty, err := r.Student(joss.ID)
	if err != nil || len(empty.Tasks) != 3 {
		t.Errorf("%v: %+v", err, empty.Tasks)
	}
}

// TestAdviceIsAccepted: every piece of advice that can be given, in every naming, key and
// mode, is an address that the page reads and plans.
func TestAdviceIsAccepted(t *testing.T) {
	for _, a := range everyAdvice(t) {
		address, err := drill.ReadAddress(a.Address)
		if err != nil {
			t.Errorf("#%s: %v", a.Address, err)
			continue
		}
		if address.Command == "today" {
			continue // wants a course
		}
		if address.Drill == nil {
			t.Errorf("#%s is no drill", a.Address)
			continue
		}
		if _, err := address.Drill.Plan(); err != nil {
			t.Errorf("#%s: %v", a.Address, err)
		}
	}
}

func benchClass(b *testing.B) *classfile.File {
	path := os.Getenv("SINGBACK_BIG_CLASS")
	if path == "" {
		b.Skip("SINGBACK_BIG_CLASS names no file for a class of 5 000 students")
	}
	if f, err := classfile.Read(path); err == nil {
		return f
	}
	f, err := classfile.New(path, "Big", time.Date(2026, 9, 1, 8, 0, 0, 0, time.UTC))
	if err != nil {
		b.Fatal(err)
	}
	const students, tasks, takes = 5000, 20, 2
	var list []class.Student
	for i := range students {
		list = append(list, class.Student{Name: fmt.Sprintf("Student %04d", (i*7919)%students)})
	}
	ids, err := f.AddStudents(list)
	if err != nil {
		b.Fatal(err)
	}
	rubric, _ := class.RubricNamed("notes")
	text, _ := os.ReadFile("../../testdata/harbour.abc")
	var line Line
	var set []class.Task
	for k := range tasks {
		task := class.Task{Name: fmt.Sprintf("Task %02d", k), Due: class.Date(fmt.Sprintf("2026-11-%02d", k+1)), Rules: grade.DefaultRules(), Rubric: rubric,
			Model: class.Model{Text: "harbour.abc", Content: text, Part: "S", Names: "movable", Tuning: "equal", A4: 440}}
		if task.ID, err = f.AddTask(task); err != nil {
			b.Fatal(err)
		}
		set = append(set, task)
	}
	if line, err = LineOf(set[0]); err != nil {
		b.Fatal(err)
	}
	var marks []class.Mark
	var packed [][]byte
	for v := range 16 {
		p, bytes, err := class.Grained(sungTake(line.Line, 0, map[int]float64{v: -200, (v * 5) % 23: 300}))
		if err != nil {
			b.Fatal(err)
		}
		m, _, err := line.Mark(set[0], p)
		if err != nil {
			b.Fatal(err)
		}
		marks, packed = append(marks, m), append(packed, bytes)
	}
	n := 0
	for i, id := range ids {
		var batch []classfile.Added
		for k, task := range set {
			for j := range takes * 2 {
				if j >= takes && k%2 == 0 || (i+k)%17 == 0 {
					continue
				}
				sum := sha256.Sum256(fmt.Append(nil, i, k, j))
				v := (i + k + j) % 16
				batch = append(batch, classfile.Added{Take: class.Take{Student: id, Task: task.ID, Source: "x.wav", SHA256: hex.EncodeToString(sum[:]), Handed: fmt.Sprintf("2026-11-%02dT10:00:0%dZ", k+1, j), Seconds: 20, Measured: "pitch"}, Packed: packed[v], Mark: &marks[v]})
				n++
			}
		}
		if _, err := f.AddTakes(batch); err != nil {
			b.Fatal(err)
		}
	}
	b.Logf("%d takes", n)
	return f
}

// BenchmarkStudentSheet makes one sheet of a class of 5 000 students, from opening the
// file on.
func BenchmarkStudentSheet(b *testing.B) {
	benchClass(b).Close()
	for b.Loop() {
		f, err := classfile.Read(os.Getenv("SINGBACK_BIG_CLASS"))
		if err != nil {
			b.Fatal(err)
		}
		r := Reporter{File: f, Made: "2026-11-28"}
		s, err := r.Student(2500)
		if err == nil {
			err = s.HTML(io.Discard)
		}
		if err != nil {
			b.Fatal(err)
		}
		f.Close()
	}
}

// BenchmarkTable makes the table of a class of 5 000 students, from opening the file on.
func BenchmarkTable(b *testing.B) {
	benchClass(b).Close()
	for b.Loop() {
		f, err := classfile.Read(os.Getenv("SINGBACK_BIG_CLASS"))
		if err != nil {
			b.Fatal(err)
		}
		r := Reporter{File: f, Made: "2026-11-28"}
		t, err := r.Table()
		if err == nil {
			err = t.HTML(io.Discard)
		}
		if err != nil {
			b.Fatal(err)
		}
		f.Close()
	}
}
