package sheet

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"reflect"
	"strings"
	"testing"

	"singback/internal/class"
)

// invented is a name that nobody has.
func invented(i int) string {
	first := []string{"Mira", "Joss", "Lene", "Tarek", "Ondra", "Pia", "Wim", "Suvi", "Karel", "Nour"}
	last := []string{"Quill", "Harbour", "Lamplight", "Oarsman", "Kestrel-Windermark"}
	name := first[i%len(first)] + " " + last[i/len(first)%len(last)]
	if i >= 50 {
		name += fmt.Sprintf(" %d", i)
	}
	return name
}

// cellsOf are the cells of an invented student.
func cellsOf(i, tasks int) []Cell {
	cells := make([]Cell, tasks)
	for k := range cells {
		c := &cells[k]
		switch (i*7 + k*3) % 11 {
		case 0:
			c.Late = 9
		case 1:
			c.State, c.Handed = "not readable", "2026-11-20"
		default:
			v := Verdict{fmt.Sprintf("%d %%", 40+(i*13+k*17)%60), (i*13+k*17)%60 >= 20}
			c.Verdict, c.Handed = &v, class.Date(fmt.Sprintf("2026-11-%02d", 1+(i+k)%28))
			c.Late = max(0, (i+k)%9-5)
			c.Reviewed, c.Overruled = (i+k)%6 == 0, (i+k)%12 == 0
		}
	}
	return cells
}

func rowsOf(students, tasks int) iter.Seq2[Row, error] {
	return func(yield func(Row, error) bool) {
		for i := range students {
			if !yield(Row{invented(i), cellsOf(i, tasks)}, nil) {
				return
			}
		}
	}
}

func table(students, tasks int) Table {
	t := Table{Class: "Harbour choir, autumn", Made: "2026-11-28", Rows: rowsOf(students, tasks),
		Weak:      []Weak{{"fa", 41, 80, 22, 0.40, 0.62}, {"sol to la", 30, 44, 19, 0.53, 0.80}},
		Agreement: []string{"Of 24 takes that were drawn by lot the teacher and the machine agreed on 22: 92 % (74 to 98 %), kappa 0.81."}}
	names := []string{"The harbour lamp", "Scale up and down", "Thirds", "Evening", "The tide comes in, second voice", "Fifths", "Minor scale", "Rowing home", "Sixths", "A fog horn", "Lanterns", "Farewell of the ferrymen"}
	for k := range tasks {
		t.Tasks = append(t.Tasks, Column{names[k%len(names)], class.Date(fmt.Sprintf("2026-11-%02d", 2+2*k%26))})
	}
	return t
}

// TestTableOfMany writes 5 000 students as they come: of a row nothing stays.
func TestTableOfMany(t *testing.T) {
	const students = 5000
	held, most := 0, 0
	big := table(0, 30)
	big.Rows = func(yield func(Row, error) bool) {
		for i := range students {
			held++
			if !yield(Row{invented(i), cellsOf(i, 30)}, nil) {
				return
			}
		}
	}
	count := &counter{step: func(n int) { most, held = max(most, held), 0 }}
	if err := big.HTML(count); err != nil {
		t.Fatal(err)
	}
	if rows := strings.Count(count.text.String(), `<th scope="row">Mira`); rows != 3*students/10 {
		t.Errorf("%d rows begin with a name of a tenth of %d, want it in three tables: %d", rows, students, 3*students/10)
	}
	if heads := strings.Count(count.text.String(), `<th scope="col">student<`); heads != 3 {
		t.Errorf("%d tables of 30 tasks, want 3", heads)
	}
	if most > 200 {
		t.Errorf("%d rows were taken before anything was written", most)
	}
	failed := errors.New("the disk is gone")
	big.Rows = func(yield func(Row, error) bool) { yield(Row{}, failed) }
	if err := big.HTML(io.Discard); !errors.Is(err, failed) {
		t.Errorf("a row that cannot be read: %v", err)
	}
}

type counter struct {
	text bytes.Buffer
	step func(n int)
}

func (c *counter) Write(p []byte) (int, error) {
	c.step(len(p))
	return c.text.Write(p)
}

func TestTableText(t *testing.T) {
	text, err := table(5, 2).Text(true)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"- +9", "o 57%", "1: The harbour lamp, due 2026-11-02", "41 of 80 right, 51 % (40 to 62 %)", "kappa 0.81"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in\n%s", want, text)
		}
	}
	if strings.ContainsFunc(text, func(r rune) bool { return r > 126 }) {
		t.Errorf("not ASCII:\n%s", text)
	}
}

func records(n int) iter.Seq2[Record, error] {
	return func(yield func(Record, error) bool) {
		for i := range n {
			take, pass, of := int64(i), i%2 == 0, 9
			r := Record{Student: invented(i), Task: "Thirds", Due: "2026-11-20", Handed: "2026-11-23T10:00:00Z", LateDays: 3, Takes: 1, Take: &take, Seconds: Rounded(12.34567),
				Heard: "singing", Rubric: "notes", Value: Rounded(0.83333), Points: Rounded(7.5), PointsOf: &of, Pass: &pass, Why: "one, two \"three\"", Remark: "=HYPERLINK(\"x\")"}
			if i == 1 {
				r = Record{Student: "-Joss", Task: "@Thirds"}
			}
			if !yield(r, nil) {
				return
			}
		}
	}
}

// TestRecordsAreRead: programs of others read what was written.
func TestRecordsAreRead(t *testing.T) {
	var b bytes.Buffer
	if err := WriteCSV(&b, records(3)); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil || len(rows) != 4 {
		t.Fatalf("%d rows: %v", len(rows), err)
	}
	column := map[string]int{}
	for k, name := range rows[0] {
		column[name] = k
	}
	for name, want := range map[string]string{"value": "0.8333", "points": "7.5", "points_of": "9", "pass": "true", "why": `one, two "three"`, "remark": `'=HYPERLINK("x")`, "teacher_value": ""} {
		if got := rows[1][column[name]]; got != want {
			t.Errorf("%s is %q, want %q", name, got, want)
		}
	}
	if rows[2][column["student"]] != "'-Joss" || rows[2][column["task"]] != "'@Thirds" {
		t.Errorf("a formula is left: %q", rows[2])
	}
	var names []string
	for f := range reflect.TypeFor[Record]().Fields() {
		names = append(names, f.Tag.Get("json"))
	}
	if got := strings.Join(names, ","); got != RecordHeader {
		t.Errorf("JSON has %s, CSV %s", got, RecordHeader)
	}
	b.Reset()
	if err := WriteJSON(&b, NewSummary(table(1, 1), nil), records(3)); err != nil {
		t.Fatal(err)
	}
	var all struct {
		Summary
		Rows []Record `json:"rows"`
	}
	if err := json.Unmarshal(b.Bytes(), &all); err != nil || len(all.Rows) != 3 || all.Rows[1].Take != nil || all.Weak[0].Low != 0.4 {
		t.Errorf("%v: %+v", err, all)
	}
}

func TestHarmless(t *testing.T) {
	for s, want := range map[string]string{"=1+1": "'=1+1", "+49": "'+49", "-": "'-", "@x": "'@x", "\t=1": "'=1", "＝1": "'＝1", "Mira": "Mira", "": "", "a=b": "a=b", "x\n=1": "x =1"} {
		if got := Harmless(s); got != want {
			t.Errorf("Harmless(%q) = %q, want %q", s, got, want)
		}
	}
}
