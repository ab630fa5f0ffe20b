package classfile

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"singback/exercise/grade"
	"singback/internal/class"
	"singback/theory"
)

// large is a class of so many students with forty takes each, made once and kept in the
// folder SINGBACK_LARGE_CLASS names, or for this run. All of it is invented.
func large(b *testing.B, students int) string {
	b.Helper()
	folder := os.Getenv("SINGBACK_LARGE_CLASS")
	if folder == "" {
		folder = b.TempDir()
	}
	path := filepath.Join(folder, fmt.Sprintf("large-%d%s", students, Extension))
	if _, err := os.Stat(path); err == nil {
		return path
	}
	f, err := New(path, "Large", now)
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	var who []class.Student
	for i := range students {
		who = append(who, class.Student{Name: fmt.Sprintf("student %05d", i), Since: "2026-09-01"})
	}
	ids, err := f.AddStudents(who)
	if err != nil {
		b.Fatal(err)
	}
	const tasks = 40
	for i := range tasks {
		_, err := f.AddTask(class.Task{Name: fmt.Sprintf("week %d", i+1), Due: class.Date(fmt.Sprintf("2027-%02d-%02d", 1+i/28, 1+i%28)),
			Model: class.Model{Text: "do re mi fa sol fa mi re do", Names: "movable", Tuning: "equal", A4: 440}, Rules: grade.DefaultRules(), Rubric: class.Default()})
		if err != nil {
			b.Fatal(err)
		}
	}
	var p grade.Performance
	for i := range 600 { // six seconds
		p.Curve = append(p.Curve, grade.Moment{At: float64(i) / 100, Voiced: i%60 > 3, Cents: 6000 + 100*float64(i/60) + float64(i*7%13)})
	}
	for i := range 9 {
		p.Notes = append(p.Notes, grade.Sung{Onset: float64(i) * 0.6, Offset: float64(i)*0.6 + 0.5, Cents: 6000 + 100*float64(i), Level: -20})
	}
	packed, err := class.Pack(p)
	if err != nil {
		b.Fatal(err)
	}
	var pending []Added
	for task := range tasks {
		for i, id := range ids {
			m := mark(float64((i*7+task*13)%100)/100, (i*7+task*13)%100 > 40)
			for step := 1; step <= 5; step++ {
				m.Tally.Degrees[theory.Degree{Step: step}] = class.Count{Right: 1 + (i+step)%2, Of: 2}
				m.Tally.Moves[class.Move{From: theory.Degree{Step: step}, To: theory.Degree{Step: step%5 + 1}}] = class.Count{Right: i % 2, Of: 1}
			}
			pending = append(pending, Added{Take: class.Take{Student: id, Task: int64(task + 1), Source: fmt.Sprintf("takes/week %d/%d.opus", task+1, i), SHA256: fmt.Sprintf("%064x", task*students+i),
				Handed: "2027-01-05T10:00:00Z", Collected: "2027-01-05T10:00:00Z", Seconds: 6, Measured: "pitch 4"}, Packed: packed, Mark: &m})
			if len(pending) == 4096 {
				if _, err := f.AddTakes(pending); err != nil {
					b.Fatal(err)
				}
				pending = pending[:0]
			}
		}
	}
	if _, err := f.AddTakes(pending); err != nil {
		b.Fatal(err)
	}
	return path
}

// Of 5 000 students with 200 000 takes where SINGBACK_LARGE_CLASS names a folder, else of
// 250 with 10 000.
func size() int {
	if n, err := strconv.Atoi(os.Getenv("SINGBACK_LARGE_STUDENTS")); err == nil {
		return n
	}
	if os.Getenv("SINGBACK_LARGE_CLASS") != "" {
		return 5000
	}
	return 250
}

func BenchmarkOpen(b *testing.B) {
	path := large(b, size())
	for b.Loop() {
		f, err := Read(path)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := f.Totals(); err != nil {
			b.Fatal(err)
		}
		f.Close()
	}
}

func BenchmarkTakesThatCount(b *testing.B) {
	f, err := Read(large(b, size()))
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	b.ReportAllocs()
	for b.Loop() {
		n := 0
		for _, err := range f.Takes(Query{Counting: true}) {
			if err != nil {
				b.Fatal(err)
			}
			n++
		}
		b.ReportMetric(float64(n), "takes")
	}
}

func BenchmarkTakesOfOne(b *testing.B) {
	f, err := Read(large(b, size()))
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	for b.Loop() {
		for _, err := range f.Takes(Query{Student: 7}) {
			if err != nil {
				b.Fatal(err)
			}
		}
	}
}
