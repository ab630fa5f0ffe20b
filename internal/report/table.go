package report

import (
	"io"
	"strconv"

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
	rate float64 // samples a second
	rows int
	line []byte
	err  error
}

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

// Close ends the table and returns the first error.
func (t *table) Close() error {
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

// trackHeader is the header of the track in CSV; estimatesHeader and liveHeader are what
// is appended to it.
const (
	trackHeader     = "time_s,f0_hz,voiced,confidence,level_dbfs"
	estimatesHeader = ",estimate_hz"
	liveHeader      = ",available_s"
)

// Track writes a pitch track, a row a point, as CSV or JSON.
type Track struct {
	table
	estimates, live bool
	cells           []field
}

// NewTrack begins the track of a recording of so many samples a second. With
// estimates each row has the pitch whether or not it is voiced; in a live track
// each row says when it was known.
func NewTrack(w io.Writer, rate int, asJSON, estimates, live bool) *Track {
	t := &Track{table: table{w: w, json: asJSON, rate: float64(rate)}, estimates: estimates, live: live}
	header := trackHeader
	if estimates {
		header += estimatesHeader
	}
	if live {
		header += liveHeader
	}
	t.header(header)
	return t
}

// Add writes points that were known when so many samples had been heard.
func (t *Track) Add(points []pitch.Point, heard int64) {
	for _, p := range points {
		voiced := 0.0
		if p.Voiced {
			voiced = 1
		}
		t.cells = append(t.cells[:0],
			field{"time_s", float64(p.Index) / t.rate, 6},
			field{"f0_hz", p.F0, 4},
			field{"voiced", voiced, 0},
			field{"confidence", p.Confidence, 3},
			field{"level_dbfs", p.Level, 2},
		)
		if t.estimates {
			t.cells = append(t.cells, field{"estimate_hz", p.Estimate, 4})
		}
		if t.live {
			t.cells = append(t.cells, field{"available_s", float64(heard) / t.rate, 6})
		}
		t.row(t.cells)
	}
}

// notesHeader is the header of the sung notes in CSV.
const notesHeader = "onset_s,offset_s,f0_hz,cents_se,spread_cents,vibrato_hz,vibrato_cents,scoop_cents,settle_s"

// SungNotes writes sung notes, a row a note, as CSV or JSON.
type SungNotes struct {
	table
	cells []field
}

// NewSungNotes begins the notes of a recording of so many samples a second.
func NewSungNotes(w io.Writer, rate int, asJSON bool) *SungNotes {
	t := &SungNotes{table: table{w: w, json: asJSON, rate: float64(rate)}}
	t.header(notesHeader)
	return t
}

// Add writes notes.
func (t *SungNotes) Add(notes []pitch.Note) {
	for _, n := range notes {
		t.cells = append(t.cells[:0],
			field{"onset_s", float64(n.Onset) / t.rate, 4},
			field{"offset_s", float64(n.Offset) / t.rate, 4},
			field{"f0_hz", n.F0, 4},
			field{"cents_se", n.SE, 2},
			field{"spread_cents", n.Spread, 2},
			field{"vibrato_hz", n.VibratoHz, 2},
			field{"vibrato_cents", n.VibratoCents, 1},
			field{"scoop_cents", n.Scoop, 1},
			field{"settle_s", n.Settle, 3},
		)
		t.row(t.cells)
	}
}
