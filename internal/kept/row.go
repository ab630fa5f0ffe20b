package kept

import (
	"cmp"
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

// TimeFormat is how times are written: RFC 3339 in milliseconds, in the singer's
// zone, so that the first ten letters are the singer's day.
const TimeFormat = "2006-01-02T15:04:05.000Z07:00"

// Row is an answer as the tables and the exports have it. The fields are the
// columns of the export, in this order; the topic fields of the handbook explains
// them. Fields that may be null are pointers.
type Row struct {
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

// SessionColumns is how many of the columns belong to the session.
const SessionColumns = 7

// Columns are the names of a row's fields. They are not to be changed.
var Columns = func() []string {
	t := reflect.TypeFor[Row]()
	names := make([]string, t.NumField())
	for i := range names {
		names[i] = t.Field(i).Tag.Get("json")
	}
	return names
}()

// VersionColumns is how many of the columns a record of each version has, from 1
// on; the last is all of them.
var VersionColumns = []int{1: slices.Index(Columns, "named"), 2: slices.Index(Columns, "by_steps"), 3: len(Columns)}

var polynomial = crc64.MakeTable(crc64.ECMA)

// Checksum is that of an answer with its session and singer: CRC-64/XZ of all fields
// that are not null, each as one byte for its place, from 0, and its value: numbers
// in 8 bytes, the highest first (whole ones in two's complement, others by IEEE 754),
// truth as 1 or 0 in one, a text in UTF-8 behind its length in 4. The tables of the
// record have it as a number with a sign.
//
// Columns that a later version adds are null in what was there before, and change
// no checksum. Whatever changes in at most 64 bits that lie together is found for
// certain; of all else one in 2^64 is not.
func (r *Row) Checksum() uint64 {
	data := make([]byte, 0, 1<<10)
	for i, p := range r.Fields() {
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

// Fields returns pointers to the fields of a row, in the order of Columns.
func (r *Row) Fields() []any {
	return []any{
		&r.Singer, &r.Session, &r.Started, &r.Command, &r.Source, &r.Seed, &r.Estimator,
		&r.Number, &r.Item, &r.Attempt, &r.At, &r.Skill, &r.Key, &r.Tuning, &r.A4Hz, &r.ToleranceCents, &r.StrictOctave,
		&r.TonicOctave, &r.RangeLow, &r.RangeHigh, &r.Degree, &r.FromDegree, &r.Move, &r.TargetMIDI, &r.Outcome, &r.Reason, &r.Sung,
		&r.OctaveShift, &r.Cents, &r.CentsFromAsked, &r.CentsSE, &r.F0Hz, &r.SpreadCents, &r.VibratoHz, &r.VibratoCents, &r.ScoopCents, &r.SettleS,
		&r.HeldS, &r.AnswerS, &r.LevelDBFS, &r.Counts, &r.Again, &r.Feedback, &r.Guess,
		&r.Named, &r.Material, &r.Notes, &r.NotesRight, &r.BySteps,
	}
}

func pointer[T any](x T) *T { return &x }

// NewRow writes an answer as a row; see [Check] for what can be read again.
func NewRow(a practice.Answer) Row {
	it, v := a.Item, a.Verdict
	target, _ := it.Target()
	r := sessionRow(a.Session)
	r.Number, r.Item, r.Attempt, r.At = int64(a.Number), int64(a.Index), int64(a.Attempt), a.At.Format(TimeFormat)
	r.Skill, r.Key, r.Tuning, r.A4Hz = a.Skill.String(), it.Key.ASCII(), it.Tuning.String(), it.Tuning.A4
	r.ToleranceCents, r.StrictOctave = a.Tolerance.Cents, a.Tolerance.StrictOctave
	r.TonicOctave, r.Degree, r.Move, r.TargetMIDI = int64(it.Register.TonicOctave), it.Asked.ASCII(), int64(it.Move), int64(target.MIDI())
	r.Outcome, r.LevelDBFS = v.Outcome.String(), v.Level
	r.Counts, r.Again, r.Feedback = a.Counts, a.Again, a.Feedback.String()
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
	switch {
	case a.Skill.Kind.Heard(), a.Skill.Kind == exercise.HandSkill:
		if a.Named != "" {
			r.Named = &a.Named
		}
		r.AnswerS = &v.Answer
		return r
	case a.Skill.Kind == exercise.MelodySkill:
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

// sessionRow is a row of which only the columns of the session are set.
func sessionRow(s practice.Session) Row {
	return Row{
		Singer: s.Singer, Session: s.ID, Started: s.Started.Format(TimeFormat),
		Command: s.Command, Source: s.Source, Seed: strconv.FormatUint(s.Seed, 10), Estimator: s.Estimator,
	}
}

// Compare orders rows as the record hands them out: by singer, by the beginning of the
// session, and by their number in it.
func Compare(a, b *Row) int {
	return cmp.Or(
		strings.Compare(a.Singer, b.Singer), strings.Compare(a.Started, b.Started),
		strings.Compare(a.Session, b.Session), cmp.Compare(a.Number, b.Number),
	)
}

// Belongs refuses a row whose session is not in all columns the one that is there,
// in the record: its checksum would not fit.
func (r *Row) Belongs(there *Row) error {
	here, in := r.Fields(), there.Fields()
	for i, name := range Columns[:SessionColumns] {
		if h, t := *here[i].(*string), *in[i].(*string); h != t {
			return fmt.Errorf("session %s: here its %s is %.40q, in the record %.40q", r.Session, name, h, t)
		}
	}
	return nil
}

// SameSession refuses a session that is another one than that of the same ID which is
// there, in the record.
func SameSession(here, there practice.Session) error {
	h, t := sessionRow(here), sessionRow(there)
	return h.Belongs(&t)
}
