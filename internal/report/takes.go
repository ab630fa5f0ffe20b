package report

import (
	"bufio"
	"bytes"
	"cmp"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"

	"singback/exercise/grade"
	"singback/internal/plain"
)

// gradeTable is the header of graded takes for people.
const gradeTable = "take                           score  pass  right omitted added median drift"

// Graded writes graded takes, each as soon as it is known: as "text", "csv",
// "json", or "jsonl", which is the objects of json, a line each. A row is one line and is written at once, so that whatever interrupts
// a run leaves whole rows and at most one torn line at the end.
type Graded struct {
	kind  string
	ascii bool
	w     *bufio.Writer
	count int
}

// NewGraded writes rows of a kind, after so many that are there already.
func (s Style) NewGraded(w io.Writer, kind string, there int) *Graded {
	return &Graded{kind, s.ASCII, bufio.NewWriter(w), there}
}

// head is the first line of graded takes of a kind.
func head(kind string) string {
	switch kind {
	case "csv":
		return GradeHeader
	case "jsonl":
		return ""
	case "json":
		return fmt.Sprintf(`{"schema":%d,"takes":[`, Schema)
	}
	return gradeTable
}

// Begin writes what stands before the rows.
func (r *Graded) Begin() error {
	r.w.WriteString(head(r.kind))
	if r.kind != "json" && r.kind != "jsonl" {
		r.w.WriteByte('\n') // else that of the first row
	}
	return r.w.Flush()
}

// Add writes the row of a take.
func (r *Graded) Add(g Grade) error {
	switch r.kind {
	case "csv":
		c := csv.NewWriter(r.w)
		if err := c.Write(g.Cells()); err != nil {
			return err
		}
		c.Flush()
	case "json":
		b, err := json.Marshal(g)
		if err != nil {
			return err
		}
		if r.count > 0 {
			r.w.WriteByte(',')
		}
		r.w.WriteByte('\n')
		r.w.Write(b)
	case "jsonl":
		b, err := json.Marshal(gradeLine{Schema, g})
		if err != nil {
			return err
		}
		r.w.Write(b)
		r.w.WriteByte('\n')
	default:
		if g.Score == nil {
			fmt.Fprintf(r.w, "%-*s %5s %5s  %s\n", widest, r.name(g.Take), "-", "-", g.unsung())
			break
		}
		fmt.Fprintf(r.w, "%-*s %5.2f %5.2f %6s %7d %5d %+6.0f %+5.0f\n", widest, r.name(g.Take), *g.Score, *g.PassProbability,
			fmt.Sprintf("%d/%d", g.NotesRight, g.NotesWritten), g.Omitted, g.Added, g.MedianCents, g.DriftCents)
	}
	r.count++
	return r.w.Flush()
}

// gradeLine is a graded take that stands by itself.
type gradeLine struct {
	Schema int `json:"schema"`
	Grade
}

// End writes what stands behind the rows. An interrupted document is left
// without it, to be gone on with.
func (r *Graded) End() error {
	if r.kind == "json" {
		r.w.WriteString("\n]}\n")
	}
	return r.w.Flush()
}

// widest is how many letters of a take's name the table shows.
const widest = 30

func (r *Graded) name(take string) string {
	name := plain.Shown(take)
	n := []rune(name)
	if len(n) <= widest {
		return name
	}
	cut := "…"
	if r.ascii {
		cut = "~"
	}
	return cut + string(n[len(n)-widest+1:])
}

// ReadGraded reads which takes the rows of a kind, "csv", "json" or "jsonl", have,
// which are headless where they go on with those of another file; and where the last whole row ends. What follows there is a torn row, or the end of
// a document; end is 0 where there is nothing yet.
func ReadGraded(in io.Reader, kind string, headless bool) (have map[string]bool, end int64, err error) {
	have = map[string]bool{}
	r := bufio.NewReader(in)
	at := int64(0)
	for line := 1; ; line++ {
		row, err := r.ReadBytes('\n')
		at += int64(len(row))
		whole := err == nil
		if err != nil && !errors.Is(err, io.EOF) {
			return nil, 0, err
		}
		text := bytes.TrimSuffix(row, []byte("\n"))
		switch {
		case line == 1 && len(row) == 0:
			return have, 0, nil // a new file
		case line == 1 && headless && strings.TrimRight(string(text), "\r") == GradeHeader:
			return nil, 0, errors.New("it begins with the header, which only the first share has")
		case line == 1 && kind != "jsonl" && !headless:
			begun, err := readHead(kind, text, whole)
			if err != nil || !begun {
				return have, 0, err
			}
			if end = at; kind == "json" {
				end = int64(len(head(kind)))
			}
		case kind == "json" && (string(text) == "]}" || len(text) == 0), kind != "json" && !whole:
			return have, end, nil
		default:
			take, n, ok := readTake(kind, row)
			switch {
			case ok:
				have[take] = true
				end = at - int64(len(row)) + n
			case whole:
				return nil, 0, fmt.Errorf("line %d is not a graded take: it was not written by grade --format %s", line, kind)
			}
		}
		if !whole {
			return have, end, nil
		}
	}
}

// readHead tells whether the first line, which may be torn, is that of rows;
// begun is false where only a part of it is there.
func readHead(kind string, text []byte, whole bool) (begun bool, err error) {
	want := head(kind)
	if kind == "csv" {
		text = bytes.TrimSuffix(text, []byte("\r"))
	}
	switch {
	case string(text) == want:
		return whole || kind == "json", nil
	case !whole && strings.HasPrefix(want, string(text)):
		return false, nil
	case kind == "csv":
		return false, errors.New("line 1 is not the header of graded takes: it was not written by grade --format csv")
	}
	return false, errors.New("line 1 is not that of graded takes: it was not written by grade --format json")
}

// readTake reads which take a row is about, and how many bytes of the row that
// takes.
func readTake(kind string, row []byte) (take string, n int64, ok bool) {
	if kind == "csv" {
		cells, err := csv.NewReader(bytes.NewReader(row)).Read()
		if err != nil || len(cells) != strings.Count(GradeHeader, ",")+1 {
			return "", 0, false
		}
		return cells[0], int64(len(row)), true
	}
	object := bytes.TrimSuffix(bytes.TrimSuffix(row, []byte("\n")), []byte(","))
	var g struct {
		Take *string `json:"take"`
	}
	if err := json.Unmarshal(object, &g); err != nil || g.Take == nil {
		return "", 0, false
	}
	if kind == "jsonl" {
		return *g.Take, int64(len(row)), true
	}
	return *g.Take, int64(len(object)), true
}

// Marks says why a take got what it got: its marks and its faults, a line each.
func (g Grade) Marks(line grade.Line) string {
	w := &strings.Builder{}
	if g.Score == nil {
		return "heard     " + g.unsung() + "\n"
	}
	parts, flow := "parts of four beats", ""
	if len(line.Bars) > 0 {
		parts = "bars"
	}
	if g.Flow {
		flow = ", and the flow"
	}
	fmt.Fprintf(w, "marks     %d of %d notes right; %d of %d points: %d of %d %s%s\n", g.NotesRight, g.NotesWritten, g.Points, g.PointsOf, g.SegmentsRight, g.Segments, parts, flow)
	if g.AwayCents != nil {
		fmt.Fprintf(w, "key       all of it is %s (%+.0f cents)\n", AwayText(*g.AwayCents), *g.AwayCents)
	}
	if !line.Timed {
		fmt.Fprintln(w, "rhythm    not judged: the model says nothing of it")
	}
	if g.UnsteadyBeats != nil {
		fmt.Fprintf(w, "tempo     notes begin within %.2f beats of their time (median)\n", *g.UnsteadyBeats)
	}
	for k, b := range g.Restarts {
		fmt.Fprintf(w, "%-9s at %.1f s, from note %d to note %d\n", onFirst(k, "restarts"), b.AtSeconds, b.From, b.To)
	}
	if len(g.Hesitations) > 0 {
		fmt.Fprintf(w, "waited    before note %s\n", strings.Trim(strings.Join(strings.Fields(fmt.Sprint(g.Hesitations)), ", "), "[]"))
	}
	if l := g.Weakest; l != nil {
		way := "up"
		if l.Semitones < 0 {
			way = "down"
		}
		named := ""
		if l.FromDegree != "" {
			named = fmt.Sprintf("%s to %s, ", l.FromDegree, l.ToDegree)
		}
		fmt.Fprintf(w, "weakest   %snotes %d to %d, %s %s: %.0f cents off", named, l.From, l.To, Many(max(l.Semitones, -l.Semitones), "semitone"), way, l.WorstCents)
		if l.Times > 1 {
			fmt.Fprintf(w, "; %.0f on average of %d like it", l.ErrorCents, l.Times)
		}
		fmt.Fprintln(w)
	}
	for k, f := range g.Why {
		if f.Cost >= 0.05 {
			fmt.Fprintf(w, "%-9s %s (-%.2f)\n", onFirst(k, "faults"), f.Text, f.Cost/8)
		}
	}
	return w.String()
}

// NoteTable lists what became of the notes.
func (g Grade) NoteTable() string {
	w := &strings.Builder{}
	t := newColumns(w)
	fmt.Fprintln(t, "note\tdegree\tresult\tcents\tlate\tlength")
	number := func(v *float64, form string) string {
		if v == nil {
			return "-"
		}
		return fmt.Sprintf(form, *v)
	}
	for _, n := range g.Notes {
		fmt.Fprintf(t, "%d\t%s\t%s\t%s\t%s\t%s\n", n.Index, cmp.Or(n.Degree, "-"), strings.ReplaceAll(n.Result, "_", " "),
			number(n.Cents, "%+.0f"), number(n.LateBeats, "%+.2f"), number(n.Length, "%.2f"))
	}
	t.Flush()
	return w.String()
}

// onFirst is a label on the first line of several.
func onFirst(k int, label string) string {
	if k == 0 {
		return label
	}
	return ""
}
