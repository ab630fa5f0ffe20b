package teacher

import (
	"fmt"
	"path/filepath"
	"testing"

	"singback/exercise/grade"
	"singback/internal/class"
	"singback/internal/classfile"
	"singback/theory"
)

// BenchmarkLarge is the desk of a class of 5 000 students and 200 000 takes on disk: the
// class read anew, a part of the table in an order, the queue, and a verdict.
func BenchmarkLarge(b *testing.B) {
	path := filepath.Join(b.TempDir(), "large"+classfile.Extension)
	large(b, path)
	s, address := openSource(b, OfFile(path))
	ask := func(name string) {
		if w := sent(s, address, "GET", name, ""); w.Code != 200 {
			b.Fatal(w.Body)
		}
	}
	b.Run("read", func(b *testing.B) {
		for b.Loop() {
			s, address = openSource(b, OfFile(path))
			ask("data/class")
		}
	})
	for _, name := range []string{"data/class", "data/table?sort=value&first=4000&most=50", "data/table?find=12&show=unsure", "data/queue", "data/queue?by=sample&n=100"} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				ask(name)
			}
		})
	}
	b.Run("verdict", func(b *testing.B) {
		source := OfFile(path)
		row, n := Row{}, 0
		if err := source.Read(b.Context(), func(c Book) (err error) {
			row, err = c.Take(1)
			return err
		}); err != nil {
			b.Fatal(err)
		}
		for b.Loop() {
			n++
			body := fmt.Sprintf(`{"id":"verdict-%d","take":1,"mark":%d,"pass":%t}`, n, row.Mark.ID, row.Mark.Pass)
			if w := sent(s, address, "POST", "data/review", body); w.Code != 200 {
				b.Fatal(w.Body)
			}
		}
	})
}

func large(t testing.TB, path string) {
	t.Helper()
	f, err := classfile.New(path, "Large (invented)", clock())
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	made := invented(5000, 40)
	ids, err := f.AddStudents(made.students)
	if err != nil {
		t.Fatal(err)
	}
	tasks := map[int64]int64{}
	for _, task := range made.tasks {
		old := task.ID
		task.ID = 0
		task.Rules, task.Rubric = grade.DefaultRules(), class.Default()
		task.Model = class.Model{Text: "do re mi", Names: theory.Movable.String(), Tuning: "equal", A4: 440}
		if tasks[old], err = f.AddTask(task); err != nil {
			t.Fatal(err)
		}
	}
	students := map[int64]int64{}
	for i, s := range made.students {
		students[s.ID] = ids[i]
	}
	var takes []classfile.Added
	for _, r := range made.rows {
		r.Take.Student, r.Take.Task, r.Take.ID = students[r.Student], tasks[r.Take.Task], 0
		r.Take.Measured = "x"
		r.Take.SHA256 = fmt.Sprintf("%064x", len(takes))
		takes = append(takes, classfile.Added{Take: r.Take, Packed: []byte{1}, Mark: r.Mark})
	}
	if _, err := f.AddTakes(takes); err != nil {
		t.Fatal(err)
	}
}
