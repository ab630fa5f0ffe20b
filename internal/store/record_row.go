package store

import (
	"encoding/binary"
	"fmt"
	"hash/crc64"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"singback/exercise"
	"singback/exercise/practice"
	"singback/theory"
)

// timeFormat is how times are written: RFC 3339 in milliseconds, in the singer's
// zone, so that the first ten letters are the singer's day.
const timeFormat = "2006-01-02T15:04:05.000Z07:00"

// row is an answer as the tables and the exports have it. The fields are the
// columns of the export, in this order; the topic fields of the handbook explains
// them.
// Fields that may be null are pointers.
type row struct {
	Singer    string `json:"singer"`
	Session   string `json:"session"`
	Started   string `json:"started"`
	Command   string `json:"command"`
	Source    string `json:"source"`
	Seed      string `json:"seed"`
	Estimator string `json:"estimator"`

	Number         int64    `json:"number"`
	Item           int64    `json:"item"`
	Attempt        int64    `json:"attempt"`
	At             string   `json:"at"`
	Skill          string   `json:"skill"`
	Key            string   `json:"key"`
	Tuning         string   `json:"tuning"`
	A4Hz           float64  `json:"a4_hz"`
	ToleranceCents float64  `json:"tolerance_cents"`
	StrictOctave   bool     `json:"strict_octave"`
	TonicOctave    int64    `json:"tonic_octave"`
	RangeLow       *int64   `json:"range_low"`
	RangeHigh      *int64   `json:"range_high"`
	Degree         string   `json:"degree"`
	FromDegree     *string  `json:"from_degree"`
	Move           int64    `json:"move"`
	TargetMIDI     int64    `json:"target_midi"`
	Outcome        string   `json:"outcome"`
	Reason         *string  `json:"reason"`
	Sung           *string  `json:"sung"`
	OctaveShift    *int64   `json:"octave_shift"`
	Cents          *float64 `json:"cents"`
	CentsFromAsked *float64 `json:"cents_from_asked"`
	CentsSE        *float64 `json:"cents_se"`
	F0Hz           *float64 `json:"f0_hz"`
	SpreadCents    *float64 `json:"spread_cents"`
	VibratoHz      *float64 `json:"vibrato_hz"`
	VibratoCents   *float64 `json:"vibrato_cents"`
	ScoopCents     *float64 `json:"scoop_cents"`
	SettleS        *float64 `json:"settle_s"`
	HeldS          *float64 `json:"held_s"`
	AnswerS        *float64 `json:"answer_s"`
	LevelDBFS      float64  `json:"level_dbfs"`
	Counts         bool     `json:"counts"`
	Again          bool     `json:"again"`
	Feedback       string   `json:"feedback"`
	Guess          *string  `json:"guess"`
	// from version 2 on
	Named      *string `json:"named"`
	Material   *string `json:"material"`
	Notes      *int64  `json:"notes"`
	NotesRight *int64  `json:"notes_right"`
	// from version 3 on
	BySteps *bool `json:"by_steps"`
}

// versionColumns is how many of the columns a file of each version has.
var versionColumns = []int{1: slices.Index(columns, "named"), 2: slices.Index(columns, "by_steps"), 3: len(columns)}

// summed is the version from which on every answer has a checksum.
const summed = 3

// sessionColumns is how many of the columns belong to the session.
const sessionColumns = 7

// columns are the names of a row's fields.
var columns = func() []string {
	t := reflect.TypeFor[row]()
	names := make([]string, t.NumField())
	for i := range names {
		names[i] = t.Field(i).Tag.Get("json")
	}
	return names
}()

var insertAnswer = fmt.Sprintf("INSERT OR IGNORE INTO answers (session_id, %s, checksum) VALUES (?%s, ?)",
	strings.Join(columns[sessionColumns:], ", "), strings.Repeat(", ?", len(columns)-sessionColumns))

// inserted are the values of insertAnswer for a row whose session is at id.
func (r *row) inserted(id int64) []any {
	return append(append([]any{id}, r.values()[sessionColumns:]...), int64(checksum(r.fields())))
}

var polynomial = crc64.MakeTable(crc64.ECMA)

// checksum is that of an answer with its session and singer, whose fields are in
// the order of columns: CRC-64/XZ of all that are not null, each as one byte for
// its place, from 0, and its value: numbers in 8 bytes, the highest first (whole
// ones in two's complement, others by IEEE 754), truth as 1 or 0 in one, a text in
// UTF-8 behind its length in 4. The table has it as a number with a sign.
//
// Columns that a later version adds are null in what was there before, and change
// no checksum. Whatever changes in at most 64 bits that lie together is found for
// certain; of all else one in 2^64 is not.
func checksum(fields []any) uint64 {
	data := make([]byte, 0, 1<<10)
	for i, p := range fields {
		place := byte(i)
		text := func(s string) {
			data = binary.BigEndian.AppendUint32(append(data, place), uint32(len(s)))
			data = append(data, s...)
		}
		whole := func(x int64) { data = binary.BigEndian.AppendUint64(append(data, place), uint64(x)) }
		real := func(x float64) {
			switch { // as SQLite keeps them
			case math.IsNaN(x):
				return
			case x == 0:
				x = 0
			}
			data = binary.BigEndian.AppendUint64(append(data, place), math.Float64bits(x))
		}
		truth := func(x bool) {
			data = append(data, place, 0)
			if x {
				data[len(data)-1] = 1
			}
		}
		switch p := p.(type) {
		case *string:
			text(*p)
		case **string:
			if *p != nil {
				text(**p)
			}
		case *int64:
			whole(*p)
		case **int64:
			if *p != nil {
				whole(**p)
			}
		case *float64:
			real(*p)
		case **float64:
			if *p != nil {
				real(**p)
			}
		case *bool:
			truth(*p)
		case **bool:
			if *p != nil {
				truth(**p)
			}
		}
	}
	return crc64.Checksum(data, polynomial)
}

// setColumn sets a field of a row from what the database has; false if it is of
// another kind.
func setColumn(field, value any) bool {
	ok := true
	switch p := field.(type) {
	case *string:
		*p, ok = value.(string)
	case **string:
		ok = setPointer(p, value)
	case *int64:
		*p, ok = value.(int64)
	case **int64:
		ok = setPointer(p, value)
	case *float64:
		*p, ok = value.(float64)
	case **float64:
		ok = setPointer(p, value)
	case *bool:
		*p, ok = truthOf(value)
	case **bool:
		if value == nil {
			*p = nil
		} else {
			*p = new(bool)
			**p, ok = truthOf(value)
		}
	}
	return ok
}

// setPointer sets what a field points to, or makes it null.
func setPointer[T any](p **T, value any) bool {
	if value == nil {
		*p = nil
		return true
	}
	if *p == nil {
		*p = new(T)
	}
	var ok bool
	**p, ok = value.(T)
	return ok
}

func truthOf(value any) (truth, ok bool) {
	n, ok := value.(int64)
	return n == 1, ok && (n == 0 || n == 1)
}

// fields returns pointers to the fields of a row, in the order of columns.
func (r *row) fields() []any {
	v := reflect.ValueOf(r).Elem()
	out := make([]any, v.NumField())
	for i := range out {
		out[i] = v.Field(i).Addr().Interface()
	}
	return out
}

// values returns the fields of a row for the database.
func (r *row) values() []any {
	out := r.fields()
	for i, p := range out {
		out[i] = reflect.ValueOf(p).Elem().Interface()
	}
	return out
}

func pointer[T any](x T) *T { return &x }

func newRow(a practice.Answer) row {
	it, v := a.Item, a.Verdict
	target, _ := it.Target()
	r := row{
		Singer: a.Session.Singer, Session: a.Session.ID, Started: a.Session.Started.Format(timeFormat),
		Command: a.Session.Command, Source: a.Session.Source, Seed: strconv.FormatUint(a.Session.Seed, 10), Estimator: a.Session.Estimator,
		Number: int64(a.Number), Item: int64(a.Index), Attempt: int64(a.Attempt), At: a.At.Format(timeFormat),
		Skill: a.Skill.String(), Key: it.Key.ASCII(), Tuning: it.Tuning.String(), A4Hz: it.Tuning.A4,
		ToleranceCents: a.Tolerance.Cents, StrictOctave: a.Tolerance.StrictOctave,
		TonicOctave: int64(it.Register.TonicOctave), Degree: it.Asked.ASCII(), Move: int64(it.Move), TargetMIDI: int64(target.MIDI()),
		Outcome: v.Outcome.String(), LevelDBFS: v.Level, Counts: a.Counts, Again: a.Again, Feedback: a.Feedback.String(),
	}
	if it.Register.Range != (theory.Range{}) {
		r.RangeLow, r.RangeHigh = pointer(int64(it.Register.Range.Low)), pointer(int64(it.Register.Range.High))
	}
	if it.From != nil {
		r.FromDegree = pointer(it.From.ASCII())
	}
	if a.Guess != exercise.NotMeasured {
		r.Guess = pointer(a.Guess.String())
	}
	if a.Material != "" {
		r.Material = &a.Material
	}
	if v.Outcome == exercise.NotMeasured {
		r.Reason = pointer(v.Reason.String())
		return r
	}
	switch a.Skill.Kind {
	case exercise.BassSkill, exercise.QualitySkill:
		if a.Named != "" {
			r.Named = &a.Named
		}
		r.AnswerS = &v.Answer
		return r
	case exercise.MelodySkill:
		r.Notes, r.NotesRight, r.HeldS = pointer(int64(a.Notes)), pointer(int64(a.NotesRight)), &v.Held
		return r
	}
	if v.HasSung {
		r.Sung, r.OctaveShift = pointer(v.Sung.ASCII()), pointer(int64(v.OctaveShift))
		r.Cents = &v.Cents
	}
	r.CentsFromAsked, r.CentsSE, r.F0Hz, r.SpreadCents = &v.FromAsked, &v.SE, &v.F0, &v.Spread
	r.VibratoHz, r.VibratoCents, r.ScoopCents = &v.VibratoHz, &v.VibratoCents, &v.Scoop
	r.SettleS, r.HeldS, r.AnswerS = &v.Settle, &v.Held, &v.Answer
	r.BySteps = &v.BySteps
	return r
}
