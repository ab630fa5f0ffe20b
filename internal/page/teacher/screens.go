package teacher

import (
	"fmt"
	"math"
	"net/http"
	"unicode"
	"unicode/utf8"

	"singback/internal/class"
)

// studentRecord is a student as the desk shows one.
type studentRecord struct {
	ID    int64  `json:"id"`
	Name  string `json:"name"`
	Voice string `json:"voice"`
}

// taskRecord is a task as the desk shows one.
type taskRecord struct {
	ID     int64   `json:"id"`
	Name   string  `json:"name"`
	Kind   string  `json:"kind"`
	Words  string  `json:"words"`
	Due    string  `json:"due"`
	Rubric string  `json:"rubric"`
	Source string  `json:"source"`
	Points int     `json:"points"` // 0: per cent
	Counts *counts `json:"counts,omitempty"`
}

func (g *glance) taskRecord(t int) taskRecord {
	task := g.tasks[t]
	return taskRecord{
		ID: task.ID, Name: task.Name, Kind: task.Kind.String(), Words: task.Words, Due: string(task.Due),
		Rubric: task.Rubric.Name, Source: task.Rubric.Source, Points: task.Rubric.Points,
	}
}

// interval is a number with its 95 % interval.
type interval struct {
	Is   float64 `json:"is"`
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

type agreementRecord struct {
	Heard int       `json:"heard"`
	Same  int       `json:"same"`
	Share *interval `json:"share"`
	Kappa *interval `json:"kappa"`
	Words []string  `json:"words"`
}

// agreement says what the machine's marks are worth in a class.
func agreement(a class.Agreements) agreementRecord {
	r := agreementRecord{Heard: a.All.Takes, Same: a.All.Same, Words: []string{}}
	if a.All.Known {
		r.Share = &interval{a.All.Share.Value, a.All.Share.Low, a.All.Share.High}
	}
	if a.All.HasKappa {
		r.Kappa = &interval{a.All.Kappa.Value, a.All.Kappa.Low, a.All.Kappa.High}
	}
	if a.All.Known && a.All.Note != "" {
		r.Words = append(r.Words, sentence(a.All.Note))
	}
	if a.Doubt.Takes > 0 && a.Doubt.Takes < a.All.Takes {
		r.Words = append(r.Words, sentence("of those heard by doubt you "+a.Doubt.Words()))
	}
	if a.Sample.Takes > 0 && a.Sample.Takes < a.All.Takes {
		r.Words = append(r.Words, sentence("of those drawn by lot you "+a.Sample.Words()))
	}
	switch {
	case a.All.Takes == 0:
	case a.Whole.Known:
		w := a.Whole
		text := fmt.Sprintf("of all %d marked takes you would agree on about %.0f %%, 95 %% interval %.0f to %.0f %%", a.Marked, 100*w.Share.Value, 100*w.Share.Low, 100*w.Share.High)
		if w.HasKappa {
			text += fmt.Sprintf("; kappa %.2f, %.2f to %.2f", w.Kappa.Value, w.Kappa.Low, w.Kappa.High)
		}
		if w.Note != "" {
			text += "; " + w.Note
		}
		r.Words = append(r.Words, sentence(text))
	case a.Whole.Note != "":
		r.Words = append(r.Words, sentence(a.Whole.Note))
	}
	return r
}

// sentence begins with a capital and ends with a full stop.
func sentence(s string) string {
	first, size := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(first)) + s[size:] + "."
}

type classRecord struct {
	Name      string          `json:"name"`
	Turn      int             `json:"turn"` // another number: the class was read anew
	Unsure    float64         `json:"unsure"`
	Counts    counts          `json:"counts"`
	Tasks     []taskRecord    `json:"tasks"`
	Agreement agreementRecord `json:"agreement"`
}

func (d *Desk) class(r *http.Request, _ asked) (any, error) {
	var out classRecord
	err := d.glance(r.Context(), func(g *glance) error {
		out = classRecord{Name: g.name, Turn: d.turns, Unsure: Unsure, Counts: g.count(-1), Tasks: []taskRecord{}, Agreement: agreement(g.agree)}
		for t := range g.tasks {
			record := g.taskRecord(t)
			n := g.count(t)
			record.Counts = &n
			out.Tasks = append(out.Tasks, record)
		}
		return nil
	})
	return out, err
}

// cellRecord is a cell in little room: the take, its flags, its value and the doubt in
// thousandths.
type cellRecord [4]int64

func (c cell) record() *cellRecord {
	if c.take == 0 {
		return nil
	}
	return &cellRecord{c.take, int64(c.flags), int64(math.Round(c.worth() * 1000)), int64(math.Round(float64(c.doubt) * 1000))}
}

type tableRow struct {
	studentRecord
	Cells []*cellRecord `json:"cells"` // in the order of the tasks; null: nothing was handed in
}

type tableRecord struct {
	Turn  int        `json:"turn"`
	First int        `json:"first"`
	Of    int        `json:"of"`
	Rows  []tableRow `json:"rows"`
}

// maxRows is how many rows are answered at once.
const maxRows = 200

func (d *Desk) table(r *http.Request, q asked) (any, error) {
	first, most := int(q.number("first", 0, 0, 1e9)), int(q.number("most", 50, 1, maxRows))
	find, down := q.text("find"), q.yes("down")
	sort := q.among("sort", "name", "value", "unsure", "missing")
	show := q.among("show", "all", "missing", "unsure", "failed", "unread", "unmarked", "reviewed", "late")
	var out tableRecord
	err := d.glance(r.Context(), func(g *glance) error {
		list := g.rows(find, show, sort, q.task(g), down)
		out = tableRecord{Turn: d.turns, First: first, Of: len(list), Rows: []tableRow{}}
		for _, s := range list[min(first, len(list)):min(first+most, len(list))] {
			row := tableRow{g.studentRecord(s), make([]*cellRecord, len(g.tasks))}
			for t := range g.tasks {
				row.Cells[t] = g.at(s, t).record()
			}
			out.Rows = append(out.Rows, row)
		}
		return nil
	})
	return out, err
}

func (g *glance) studentRecord(s int) studentRecord {
	return studentRecord{g.students[s].ID, g.students[s].Name, g.students[s].Voice}
}

type queueItem struct {
	Take    int64   `json:"take"`
	Student string  `json:"student"`
	Task    string  `json:"task"`
	Seconds float64 `json:"seconds"`
	Value   float64 `json:"value"`
	Points  int     `json:"points"`
	Line    float64 `json:"line"` // the pass
	Doubt   float64 `json:"doubt"`
	Flags   flags   `json:"flags"`
}

type queueRecord struct {
	Turn   int         `json:"turn"`
	By     string      `json:"by"`
	First  int         `json:"first"`
	Of     int         `json:"of"`
	Unsure int         `json:"unsure"` // how many of them the machine is unsure of
	Left   int         `json:"left"`   // how many were not reviewed
	Items  []queueItem `json:"items"`
}

func (d *Desk) queue(r *http.Request, q asked) (any, error) {
	by := q.among("by", class.Doubt.String(), class.Sample.String())
	first, most := int(q.number("first", 0, 0, 1e9)), int(q.number("most", 50, 1, maxRows))
	n, seed := int(q.number("n", 20, 1, 10_000)), uint64(q.number("seed", 1, 0, math.MaxInt64))
	var out queueRecord
	err := d.glance(r.Context(), func(g *glance) error {
		task := q.task(g)
		var list []int
		if by == class.Sample.String() {
			list = g.sample(n, seed, task)
		} else {
			for _, i := range g.doubtful() {
				if task < 0 || i%len(g.tasks) == task {
					list = append(list, i)
				}
			}
		}
		out = queueRecord{Turn: d.turns, By: by, First: first, Of: len(list), Items: []queueItem{}}
		for _, i := range list {
			if g.cells[i].flags&unsure != 0 {
				out.Unsure++
			}
			if g.cells[i].flags&reviewed == 0 {
				out.Left++
			}
		}
		for _, i := range list[min(first, len(list)):min(first+most, len(list))] {
			c, task := g.cells[i], g.tasks[i%len(g.tasks)]
			out.Items = append(out.Items, queueItem{
				Take: c.take, Student: g.students[i/len(g.tasks)].Name, Task: task.Name, Seconds: float64(c.length), Value: float64(c.value),
				Points: task.Rubric.Points, Line: float64(c.passAt), Doubt: float64(c.doubt), Flags: c.flags,
			})
		}
		return nil
	})
	return out, err
}
