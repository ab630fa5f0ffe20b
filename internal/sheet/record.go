package sheet

import (
	"bufio"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"math"
	"strconv"
	"strings"

	"singback/internal/class"
	"singback/internal/plain"
	"singback/internal/report"
)

// Record is what came of one task of one student, for other programs. Values are shares
// of a full mark, rounded to 0.0001; of what does not exist the field is null, and empty
// in CSV.
type Record struct {
	Student      string     `json:"student"`
	Task         string     `json:"task"`
	Due          class.Date `json:"due"`       // "" where none is set
	Handed       string     `json:"handed"`    // when the take that counts was handed in; "": nothing was
	LateDays     int        `json:"late_days"` // after the due day; of what is missing, until the table was made
	Takes        int        `json:"takes"`     // how many were handed in
	Take         *int64     `json:"take"`      // the one that counts
	Seconds      *float64   `json:"seconds"`
	Heard        string     `json:"heard"`   // singing, nothing, speech; "": not marked
	Trouble      string     `json:"trouble"` // why it could not be read
	Rubric       string     `json:"rubric"`
	Value        *float64   `json:"value"`  // that counts: the teacher's, else the machine's
	Points       *float64   `json:"points"` // the same in points; null where the rubric has none
	PointsOf     *int       `json:"points_of"`
	Pass         *bool      `json:"pass"` // that counts
	MachineValue *float64   `json:"machine_value"`
	MachinePass  *bool      `json:"machine_pass"`
	Doubt        *float64   `json:"doubt"` // the probability that the other side of the pass line is right
	Reviewed     bool       `json:"reviewed"`
	TeacherValue *float64   `json:"teacher_value"`
	Why          string     `json:"why"`    // the teacher's
	Remark       string     `json:"remark"` // the newest about this task
}

// RecordHeader names the columns of records in CSV.
const RecordHeader = "student,task,due,handed,late_days,takes,take,seconds,heard,trouble,rubric,value,points,points_of,pass,machine_value,machine_pass,doubt,reviewed,teacher_value,why,remark"

// Rounded is a value of a record.
func Rounded(v float64) *float64 {
	v = math.Round(v*1e4) / 1e4
	return &v
}

func (r Record) cells() []string {
	number := func(v *float64) string {
		if v == nil {
			return ""
		}
		return strconv.FormatFloat(*v, 'f', -1, 64)
	}
	truth := func(v *bool) string {
		if v == nil {
			return ""
		}
		return strconv.FormatBool(*v)
	}
	take, of := "", ""
	if r.Take != nil {
		take = fmt.Sprint(*r.Take)
	}
	if r.PointsOf != nil {
		of = fmt.Sprint(*r.PointsOf)
	}
	return []string{Harmless(r.Student), Harmless(r.Task), string(r.Due), r.Handed, strconv.Itoa(r.LateDays), strconv.Itoa(r.Takes), take, number(r.Seconds), r.Heard,
		Harmless(r.Trouble), Harmless(r.Rubric), number(r.Value), number(r.Points), of, truth(r.Pass), number(r.MachineValue), truth(r.MachinePass), number(r.Doubt),
		strconv.FormatBool(r.Reviewed), number(r.TeacherValue), Harmless(r.Why), Harmless(r.Remark)}
}

// Harmless is text for a cell of a spreadsheet, one line: what a spreadsheet would take
// for a formula has an apostrophe before it. Formulas begin with = + - @, in their full
// width too, as OWASP's page on CSV injection has it (from memory).
func Harmless(s string) string {
	s = plain.Line(s)
	if s != "" && strings.ContainsRune("=+-@＝＋－＠|%", []rune(s)[0]) {
		return "'" + s
	}
	return s
}

// WriteCSV writes records as they come.
func WriteCSV(w io.Writer, records iter.Seq2[Record, error]) error {
	b := bufio.NewWriter(w)
	b.WriteString(RecordHeader + "\n")
	c := csv.NewWriter(b)
	for r, err := range records {
		if err != nil {
			return err
		}
		if err := c.Write(r.cells()); err != nil {
			return err
		}
	}
	c.Flush()
	return errors.Join(c.Error(), b.Flush())
}

// Summary is what the records of a class begin with, in JSON.
type Summary struct {
	Schema    int          `json:"schema"`
	Class     string       `json:"class"`
	Made      class.Date   `json:"made"`
	Weak      []WeakRecord `json:"weak"`      // degrees and moves across the class
	Agreement any          `json:"agreement"` // of machine and teacher; null where none was reviewed
}

// WeakRecord is a degree or a move in JSON.
type WeakRecord struct {
	Name     string  `json:"name"`
	Right    int     `json:"right"`
	Of       int     `json:"of"`
	Students int     `json:"students"`
	Share    float64 `json:"share"`
	Low      float64 `json:"share_low"`
	High     float64 `json:"share_high"`
}

// NewSummary makes the beginning of records.
func NewSummary(t Table, agreement any) Summary {
	s := Summary{Schema: report.Schema, Class: t.Class, Made: t.Made, Weak: []WeakRecord{}, Agreement: agreement}
	for _, w := range t.Weak {
		s.Weak = append(s.Weak, WeakRecord{w.Name, w.Right, w.Of, w.Students, *Rounded(float64(w.Right) / float64(w.Of)), *Rounded(w.Low), *Rounded(w.High)})
	}
	return s
}

// WriteJSON writes one object: the summary, and the records as "rows", a line each, as
// they come.
func WriteJSON(w io.Writer, s Summary, records iter.Seq2[Record, error]) error {
	b := bufio.NewWriter(w)
	head, err := json.Marshal(s)
	if err != nil {
		return err
	}
	b.Write(head[:len(head)-1])
	b.WriteString(`,"rows":[`)
	sep := "\n"
	for r, err := range records {
		if err != nil {
			return err
		}
		row, err := json.Marshal(r)
		if err != nil {
			return err
		}
		b.WriteString(sep)
		b.Write(row)
		sep = ",\n"
	}
	b.WriteString("\n]}\n")
	return b.Flush()
}
