package cli

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"singback/internal/plain"
	"singback/internal/report"
)

// gradeRows writes graded takes, each as soon as it is known. In a file a row
// is one line and is written at once, so that whatever interrupts a run leaves
// whole rows and at most one torn line at the end.
type gradeRows struct {
	kind       string // text, csv or json
	w          *bufio.Writer
	file       *os.File // nil: standard output
	onTerminal bool
	ascii      bool
	count      int
	last       report.Grade
}

// gradeTable is the header of the table for people.
const gradeTable = "take                           score  pass  right omitted added median drift"

func (r *gradeRows) head() error {
	switch r.kind {
	case "csv":
		fmt.Fprintln(r.w, report.GradeHeader)
	case "json":
		fmt.Fprintf(r.w, `{"schema":%d,"takes":[`, report.Schema)
	default:
		fmt.Fprintln(r.w, gradeTable)
	}
	return r.flush()
}

func (r *gradeRows) flush() error { return r.w.Flush() }

func (r *gradeRows) add(g report.Grade) error {
	r.last = g
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
	default:
		if err := r.text(g); err != nil {
			return err
		}
	}
	r.count++
	return r.flush()
}

// close ends the document; an interrupted one in a file stays open, to be gone
// on with.
func (r *gradeRows) close(complete bool) error {
	var err error
	if r.kind == "json" && (complete || r.file == nil) {
		r.w.WriteString("\n]}\n")
	}
	err = r.flush()
	if r.file != nil {
		err = errors.Join(err, r.file.Close())
	}
	return err
}

// readGraded reads which takes a file of rows has, and where its last whole row
// ends. What follows there is a torn row, or the end of a document.
func readGraded(in io.Reader, kind string) (have map[string]bool, end int64, err error) {
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
		case kind == "csv" && line == 1:
			if string(bytes.TrimSuffix(text, []byte("\r"))) != report.GradeHeader {
				if !whole && strings.HasPrefix(report.GradeHeader, string(text)) {
					return have, 0, nil
				}
				return nil, 0, fmt.Errorf("line 1 is not the header of graded takes: it was not written by grade --format csv")
			}
			if !whole {
				return have, 0, nil
			}
			end = at
		case kind == "csv":
			if !whole {
				return have, end, nil
			}
			cells, err := csv.NewReader(bytes.NewReader(row)).Read()
			if err != nil || len(cells) != strings.Count(report.GradeHeader, ",")+1 {
				return nil, 0, fmt.Errorf("line %d is not a graded take", line)
			}
			have[cells[0]] = true
			end = at
		case line == 1:
			head := fmt.Sprintf(`{"schema":%d,"takes":[`, report.Schema)
			if string(text) != head {
				if !whole && strings.HasPrefix(head, string(text)) {
					return have, 0, nil
				}
				return nil, 0, fmt.Errorf("line 1 is not that of graded takes: it was not written by grade --format json")
			}
			end = int64(len(head))
		default:
			if string(text) == "]}" || len(text) == 0 {
				return have, end, nil
			}
			object := bytes.TrimSuffix(text, []byte(","))
			var g struct {
				Take *string `json:"take"`
			}
			if err := json.Unmarshal(object, &g); err != nil || g.Take == nil {
				if !whole {
					return have, end, nil
				}
				return nil, 0, fmt.Errorf("line %d is not a graded take", line)
			}
			have[*g.Take] = true
			end = at - int64(len(row)) + int64(len(object))
		}
		if !whole {
			return have, end, nil
		}
	}
}

// bar shows on a terminal how many takes are graded.
type bar struct {
	w       io.Writer // nil: nobody is looking
	of, now int
	drawn   bool
}

func newBar(e *env, of int) *bar {
	p := &bar{of: of}
	if of > 1 && e.terminal(e.stderr) {
		p.w = plain.Around(e.stderr)
		p.draw()
	}
	return p
}

func (p *bar) step() { p.now++; p.draw() }

func (p *bar) draw() {
	if p.w == nil {
		return
	}
	const width = 40
	full := width * p.now / p.of
	fmt.Fprintf(p.w, "\r[%s%s] %d of %d", strings.Repeat("#", full), strings.Repeat("-", width-full), p.now, p.of)
	p.drawn = true
}

// clear takes the bar away, so that a line can be written.
func (p *bar) clear() {
	if p.w != nil && p.drawn {
		fmt.Fprintf(p.w, "\r%s\r", strings.Repeat(" ", 70))
		p.drawn = false
	}
}
