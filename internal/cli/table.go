package cli

import (
	"context"
	"errors"
	"io"
	"strconv"

	"singback/internal/audio"
	"singback/internal/session"
	"singback/pitch"
)

// field is one number of a table: its name, and how many decimals it is given.
type field struct {
	name     string
	value    float64
	decimals int
}

// table writes rows of numbers as CSV, or as one JSON array of objects. It
// keeps the first error.
type table struct {
	w    io.Writer
	json bool
	rows int
	line []byte
	err  error
}

func newTable(w io.Writer, asJSON bool) *table { return &table{w: w, json: asJSON} }

// header begins the table; its names are those of the rows to come.
func (t *table) header(names string) {
	if t.json {
		names = "["
	}
	t.write(append(append(t.line[:0], names...), '\n'))
}

func (t *table) row(fields []field) {
	line := t.line[:0]
	if t.json {
		if t.rows > 0 {
			line = append(line, ",\n"...)
		}
		line = append(line, '{')
	}
	for i, f := range fields {
		if i > 0 {
			line = append(line, ',')
		}
		if t.json {
			line = append(strconv.AppendQuote(line, f.name), ':')
		}
		if f.value == 0 {
			f.value = 0 // not −0
		}
		line = strconv.AppendFloat(line, f.value, 'f', f.decimals, 64)
	}
	if t.json {
		line = append(line, '}')
	} else {
		line = append(line, '\n')
	}
	t.rows++
	t.line = line
	t.write(line)
}

// close ends the table and returns the first error.
func (t *table) close() error {
	if t.json {
		t.write([]byte("\n]\n"))
	}
	return t.err
}

func (t *table) write(b []byte) {
	if t.err == nil {
		_, t.err = t.w.Write(b)
	}
}

// track reads a source to its end and hands on the points of its pitch track
// as they are found, together with how many samples had been heard by then.
func track(ctx context.Context, src audio.Source, h session.Hearing, reading pitch.Reading, found func(points []pitch.Point, heard int64)) error {
	config := h.Config(src.SampleRate())
	config.Reading = reading
	tracker, err := pitch.NewTracker(config)
	if err != nil {
		return err
	}
	// A live reading is timed to the millisecond.
	step := 4096
	if reading == pitch.Live {
		step = max(1, src.SampleRate()/1000)
	}
	block := make([]float64, 4096)
	points := make([]pitch.Point, 0, 1024)
	heard := int64(0)
	for {
		n, lost, err := src.Read(ctx, block)
		if lost > 0 {
			heard += lost
			if points = tracker.Lost(points[:0], lost); len(points) > 0 {
				found(points, heard)
			}
		}
		for some := block[:n]; len(some) > 0; {
			k := min(step-int(heard%int64(step)), len(some))
			heard += int64(k)
			if points = tracker.Push(points[:0], some[:k]); len(points) > 0 {
				found(points, heard)
			}
			some = some[k:]
		}
		if errors.Is(err, io.EOF) {
			found(tracker.Flush(points[:0]), heard)
			return nil
		}
		if err != nil {
			return err
		}
	}
}
