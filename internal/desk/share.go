package desk

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"singback/internal/class"
	"singback/internal/classfile"
)

// A class of many takes can be collected in shares, each by a program of its own that
// only reads the class: [Collector.Write] writes what it measured as lines, one a take,
// in the order of the list. The lines of all shares, one after the other, are those of
// the whole list, byte for byte; [Join] takes them into the class.

// shareLine is a take as a line of a share.
type shareLine struct {
	Schema   int                  `json:"schema"`
	Path     string               `json:"path"`
	Student  string               `json:"student"`
	Task     string               `json:"task"`
	SHA256   string               `json:"sha256"`
	Handed   string               `json:"handed"`
	Seconds  float64              `json:"seconds"`
	Measured string               `json:"measured"`
	Trouble  string               `json:"trouble"`
	Packed   []byte               `json:"packed,omitempty"`
	Mark     *classfile.PlainMark `json:"mark,omitempty"`
}

const shareSchema = 1

// maxShareLine bounds a line of a share.
const maxShareLine = 2*class.MaxPacked + 1<<20

// Write measures what was handed in, as Collect does, and writes a line for each. The
// class is only read. Records of practice are an error in their line.
func (c *Collector) Write(ctx context.Context, handed []Handed, w io.Writer, done func(Collected) error) error {
	c.alone, c.Keep = true, false
	return c.each(ctx, handed, func(r Collected) error {
		if r.Content == Practice && r.Trouble == "" {
			r.Trouble = "a record of practice: collect it into the class itself"
		}
		line := shareLine{shareSchema, r.Path, r.Handed.Student.Name, r.Handed.Task.Name, r.SHA256, r.Take.Handed, r.Seconds, r.Measured, r.Trouble, r.Packed, nil}
		if r.Mark != nil {
			m := *r.Mark
			m.At = ""
			p := classfile.Plain(m)
			line.Mark = &p
		}
		b, err := json.Marshal(line)
		if err != nil {
			return err
		}
		if _, err := w.Write(append(b, '\n')); err != nil {
			return err
		}
		return done(r)
	})
}

// Written tells how many of the takes of a list a share holds already, and where its
// last whole line ends. A share of another list is an error.
func Written(in io.Reader, handed []Handed) (n int, end int64, err error) {
	r := bufio.NewReaderSize(in, 1<<16)
	for {
		line, err := readLine(r)
		if errors.Is(err, io.EOF) { // the last line is half written, or there is none
			return n, end, nil
		}
		if err != nil {
			return n, end, err
		}
		var l shareLine
		if err := json.Unmarshal(line, &l); err != nil || l.Schema != shareSchema {
			return n, end, fmt.Errorf("line %d is none of a share of a class", n+1)
		}
		if n >= len(handed) || l.Path != handed[n].Path {
			return n, end, fmt.Errorf("line %d is about %s, which is not the one of that place in the list: it is of another list or share", n+1, l.Path)
		}
		n++
		end += int64(len(line)) + 1
	}
}

// readLine reads a line without its end; io.EOF where it has none.
func readLine(r *bufio.Reader) (line []byte, err error) {
	for {
		part, err := r.ReadSlice('\n')
		line = append(line, part...)
		if err == nil {
			return bytes.TrimSuffix(line, []byte("\n")), nil
		}
		if !errors.Is(err, bufio.ErrBufferFull) {
			return nil, err
		}
		if len(line) > maxShareLine {
			return nil, fmt.Errorf("a line of more than %d bytes", maxShareLine)
		}
	}
}

// Joined counts what a share brought into a class.
type Joined struct {
	Takes, New, Trouble int
	Half                bool // its last line is half written
}

// Join takes a share into a class. Names that the class does not have are an error with
// the line; what is there already is not added again.
func Join(f *classfile.File, in io.Reader, now time.Time) (out Joined, err error) {
	students, err := f.Students()
	if err != nil {
		return out, err
	}
	tasks, err := f.Tasks()
	if err != nil {
		return out, err
	}
	student, task := map[string]int64{}, map[string]int64{}
	for _, s := range students {
		student[s.Name] = s.ID
	}
	for _, t := range tasks {
		if t.Kind == class.Melody {
			task[t.Name] = t.ID
		}
	}
	var pending []classfile.Added
	flush := func() error {
		n, err := f.AddTakes(pending)
		out.New += n
		pending = pending[:0]
		return err
	}
	r := bufio.NewReaderSize(in, 1<<16)
	for {
		line, err := readLine(r)
		if errors.Is(err, io.EOF) {
			out.Half = len(line) > 0
			return out, flush()
		}
		if err != nil {
			return out, errors.Join(flush(), err)
		}
		t, err := takeOf(line, student, task, now)
		t.Source = f.Place(t.Source)
		if err != nil {
			return out, errors.Join(flush(), fmt.Errorf("line %d: %w", out.Takes+1, err))
		}
		out.Takes++
		if t.Trouble != "" {
			out.Trouble++
		}
		if t.SHA256 == "" {
			continue // nothing of it could be read, not even its bytes
		}
		if pending = append(pending, t); len(pending) == joinBatch {
			if err := flush(); err != nil {
				return out, err
			}
		}
	}
}

const joinBatch = 512

// takeOf reads a line of a share.
func takeOf(line []byte, student, task map[string]int64, now time.Time) (t classfile.Added, err error) {
	var l shareLine
	if err := json.Unmarshal(line, &l); err != nil || l.Schema != shareSchema {
		return t, errors.New("it is none of a share of a class")
	}
	sid, ok := student[l.Student]
	if !ok {
		return t, fmt.Errorf("student %q: %w", l.Student, classfile.ErrNobody)
	}
	tid, ok := task[l.Task]
	if !ok {
		return t, fmt.Errorf("task %q: %w", l.Task, classfile.ErrNobody)
	}
	t.Take = class.Take{Student: sid, Task: tid, Source: l.Path, SHA256: l.SHA256, Handed: l.Handed, Collected: now.Format(time.RFC3339),
		Seconds: l.Seconds, Measured: l.Measured, Trouble: l.Trouble}
	if l.Packed != nil {
		if _, err := class.Unpack(l.Packed); err != nil {
			return t, err
		}
		t.Packed = l.Packed
	}
	if l.Mark != nil {
		m, err := l.Mark.Mark()
		if err != nil {
			return t, err
		}
		m.At = t.Collected
		t.Mark = &m
	}
	return t, nil
}
