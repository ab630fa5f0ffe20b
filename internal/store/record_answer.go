package store

import (
	"cmp"
	"context"
	"crypto/rand"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"hash/crc64"
	"iter"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/exercise/practice"
	"singback/theory"
)

// NewSession returns a session with a new ID.
func NewSession(singer, command, source string, seed uint64, estimator string, started time.Time) practice.Session {
	var id [16]byte
	rand.Read(id[:]) // never fails
	return practice.Session{
		ID: hex.EncodeToString(id[:]), Singer: singer, Started: started,
		Command: command, Source: source, Seed: seed, Estimator: estimator,
	}
}

// timeFormat is how times are written: RFC 3339 in milliseconds, in the singer's
// zone, so that the first ten letters are the singer's day.
const timeFormat = "2006-01-02T15:04:05.000Z07:00"

// row is an answer as the tables and the exports have it. The fields are the
// columns of the export, in this order; the topic fields of the handbook explains
// them. Fields that may be null are pointers.
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

// reader turns rows into answers. It remembers what it has parsed: a record has
// few different keys, skills and tunings.
type reader struct {
	keys    map[string]theory.Key
	skills  map[string]exercise.Skill
	tunings map[string]theory.Tuning
	degrees map[string]theory.Degree
	session practice.Session
	started string
}

func newReader() *reader {
	return &reader{map[string]theory.Key{}, map[string]exercise.Skill{}, map[string]theory.Tuning{}, map[string]theory.Degree{}, practice.Session{}, ""}
}

// lookUp parses s, or finds it among what was parsed.
func lookUp[T any](known map[string]T, s string, parse func(string) (T, error)) (T, error) {
	if x, ok := known[s]; ok {
		return x, nil
	}
	x, err := parse(s)
	if err == nil {
		known[s] = x
	}
	return x, err
}

func (rd *reader) key(s string) (theory.Key, error) { return lookUp(rd.keys, s, theory.ParseModalKey) }
func (rd *reader) degree(s string) (theory.Degree, error) {
	return lookUp(rd.degrees, s, exercise.ParseDegree)
}

// readSession reads the session of a row.
func (rd *reader) readSession(r *row) (practice.Session, error) {
	if r.Session == rd.session.ID && r.Started == rd.started && r.Singer == rd.session.Singer {
		return rd.session, nil
	}
	s := practice.Session{ID: r.Session, Singer: r.Singer, Command: r.Command, Source: r.Source, Estimator: r.Estimator}
	var err error
	if s.Started, err = time.Parse(timeFormat, r.Started); err != nil {
		return s, fmt.Errorf("started: %w", notTime(r.Started))
	}
	if s.Seed, err = strconv.ParseUint(r.Seed, 10, 64); err != nil {
		return s, fmt.Errorf("seed: %.30q is no whole number from 0 up", r.Seed)
	}
	if err := validSession(s); err != nil {
		return s, err
	}
	rd.session, rd.started = s, r.Started
	return s, nil
}

// answer reads a row. It refuses what newRow would not have written.
func (rd *reader) answer(r *row) (a practice.Answer, err error) {
	bad := func(column string, err error) (practice.Answer, error) {
		return practice.Answer{}, fmt.Errorf("%s: %w", column, err)
	}
	session, err := rd.readSession(r)
	if err != nil {
		return practice.Answer{}, err
	}
	a = practice.Answer{Session: session, Number: int(r.Number), Index: int(r.Item), Attempt: int(r.Attempt), Counts: r.Counts, Again: r.Again}
	if a.At, err = time.Parse(timeFormat, r.At); err != nil {
		return bad("at", notTime(r.At))
	}
	if a.Skill, err = lookUp(rd.skills, r.Skill, exercise.ParseSkill); err != nil {
		return bad("skill", err)
	}
	it := &a.Item
	if it.Key, err = rd.key(r.Key); err != nil {
		return bad("key", err)
	}
	if it.Tuning, err = lookUp(rd.tunings, r.Tuning, func(s string) (theory.Tuning, error) { return theory.ParseTuning(s, theory.DefaultA4) }); err != nil {
		return bad("tuning", err)
	}
	if _, err := theory.NewTuning(r.A4Hz); err != nil {
		return bad("a4_hz", err)
	}
	it.Tuning.A4 = r.A4Hz
	if it.Asked, err = rd.degree(r.Degree); err != nil {
		return bad("degree", err)
	}
	if r.FromDegree != nil {
		d, err := rd.degree(*r.FromDegree)
		if err != nil {
			return bad("from_degree", err)
		}
		it.From = &d
	}
	it.Move = exercise.Direction(r.Move)
	it.Register.TonicOctave = int(r.TonicOctave)
	if r.RangeLow != nil && r.RangeHigh != nil {
		it.Register.Range = theory.Range{Low: int(*r.RangeLow), High: int(*r.RangeHigh)}
	}
	a.Tolerance = exercise.Tolerance{Cents: r.ToleranceCents, StrictOctave: r.StrictOctave}
	if err := a.Tolerance.Validate(); err != nil {
		return bad("tolerance_cents", err)
	}
	v := &a.Verdict
	if v.Outcome, err = exercise.ParseOutcome(r.Outcome); err != nil {
		return bad("outcome", err)
	}
	if r.Reason != nil {
		if v.Reason, err = exercise.ParseReason(*r.Reason); err != nil {
			return bad("reason", err)
		}
	}
	if r.Sung != nil {
		if v.Sung, err = rd.degree(*r.Sung); err != nil {
			return bad("sung", err)
		}
		v.HasSung = true
	}
	if r.OctaveShift != nil {
		v.OctaveShift = int(*r.OctaveShift)
	}
	v.Level = r.LevelDBFS
	for _, f := range []struct {
		name string
		from *float64
		to   *float64
	}{
		{"cents", r.Cents, &v.Cents}, {"cents_from_asked", r.CentsFromAsked, &v.FromAsked}, {"cents_se", r.CentsSE, &v.SE},
		{"f0_hz", r.F0Hz, &v.F0}, {"spread_cents", r.SpreadCents, &v.Spread}, {"vibrato_hz", r.VibratoHz, &v.VibratoHz},
		{"vibrato_cents", r.VibratoCents, &v.VibratoCents}, {"scoop_cents", r.ScoopCents, &v.Scoop},
		{"settle_s", r.SettleS, &v.Settle}, {"held_s", r.HeldS, &v.Held}, {"answer_s", r.AnswerS, &v.Answer},
		{"level_dbfs", &r.LevelDBFS, &v.Level},
	} {
		if f.from == nil {
			continue
		}
		if math.IsNaN(*f.from) || math.IsInf(*f.from, 0) {
			return bad(f.name, errors.New("not a finite number"))
		}
		*f.to = *f.from
	}
	if a.Feedback, err = practice.ParseFeedback(r.Feedback); err != nil {
		return bad("feedback", err)
	}
	if r.Guess != nil {
		if a.Guess, err = exercise.ParseOutcome(*r.Guess); err != nil {
			return bad("guess", err)
		}
	}
	switch {
	case r.Notes != nil && r.NotesRight != nil && *r.Notes >= 1:
		a.Notes, a.NotesRight = int(*r.Notes), int(*r.NotesRight)
	case r.Notes != nil || r.NotesRight != nil:
		return bad("notes, notes_right", errors.New("want both or none, and 1 note or more"))
	}
	v.BySteps = r.BySteps != nil && *r.BySteps
	if r.Named != nil {
		a.Named = *r.Named
	}
	if r.Material != nil {
		a.Material = *r.Material
	}
	return a, validAnswer(a)
}

func notTime(s string) error {
	return fmt.Errorf("%.40q is no time like 2026-11-25T19:30:00.000+01:00", s)
}

// CheckSinger reports a name that the record does not take: it must not be empty,
// longer than 160 bytes, or have control characters or blanks around it.
func CheckSinger(name string) error {
	if !plainText(name, 160) {
		return fmt.Errorf("%.40q is no name: want letters, without blanks around them", name)
	}
	return nil
}

// plainText reports whether text is one line of at most so many bytes without
// blanks around it.
func plainText(text string, most int) bool {
	return text != "" && len(text) <= most && strings.TrimSpace(text) == text &&
		!strings.ContainsFunc(text, func(r rune) bool { return r < ' ' || r == 0xfffd || r == 0x7f })
}

// validate refuses a session that the record could not hand out again as it is.
func validSession(s practice.Session) error {
	switch id, err := hex.DecodeString(s.ID); {
	case err != nil || len(id) != 16 || strings.ToLower(s.ID) != s.ID:
		return fmt.Errorf("session: %.40q is no session: want 32 hexadecimal digits", s.ID)
	case CheckSinger(s.Singer) != nil:
		return fmt.Errorf("singer: %w", CheckSinger(s.Singer))
	case !plainText(s.Command, 20), !plainText(s.Source, 20), !plainText(s.Estimator, 40):
		return fmt.Errorf("command %.20q, source %.20q, estimator %.40q: want one word each", s.Command, s.Source, s.Estimator)
	case s.Started.Year() < 1 || s.Started.Year() > 9999:
		return fmt.Errorf("started: the year %d is out of range", s.Started.Year())
	}
	return nil
}

func validAnswer(a practice.Answer) error {
	switch {
	case a.Number < 1 || a.Index < 1 || a.Attempt < 1:
		return fmt.Errorf("number %d, item %d, attempt %d: want 1 or more", a.Number, a.Index, a.Attempt)
	case a.Item.Move < exercise.Down || a.Item.Move > exercise.Up:
		return fmt.Errorf("move: %d: want -1, 0 or 1", a.Item.Move)
	case a.Item.Register.TonicOctave < -1 || a.Item.Register.TonicOctave > 9:
		return fmt.Errorf("tonic_octave: %d is out of range: want -1 to 9", a.Item.Register.TonicOctave)
	case a.At.Year() < 1 || a.At.Year() > 9999:
		return fmt.Errorf("at: the year %d is out of range", a.At.Year())
	case a.Guess != exercise.NotMeasured && a.Guess != exercise.InTune && a.Guess != exercise.Flat && a.Guess != exercise.Sharp:
		return fmt.Errorf("guess: %s: want flat, sharp or in_tune", a.Guess)
	case a.Verdict.Outcome == exercise.NotMeasured && a.Verdict.Reason == exercise.NoReason:
		return errors.New("reason: missing for an outcome of not_measured")
	case a.Material != "" && !plainText(a.Material, 400):
		return fmt.Errorf("material: %.40q: want one line of at most 400 bytes", a.Material)
	}
	return suits(a)
}

// suits refuses what an answer to a skill of its kind does not have.
func suits(a practice.Answer) error {
	o := a.Verdict.Outcome
	judged := o == exercise.RightAnswer || o == exercise.WrongAnswer
	named, noted := a.Named != "", a.Notes != 0 || a.NotesRight != 0
	none := func(columns string, there bool) error {
		if there {
			return fmt.Errorf("%s: none belongs to %s that is %s", columns, a.Skill, o)
		}
		return nil
	}
	switch a.Skill.Kind {
	case exercise.BassSkill, exercise.QualitySkill:
		name := a.Skill
		var err error
		if named {
			name, err = exercise.ParseSkill(a.Skill.Kind.String() + " " + a.Named)
		}
		switch {
		case !judged && o != exercise.NotMeasured:
			return fmt.Errorf("outcome: %s for %s: want right, wrong or not_measured", o, a.Skill)
		case err != nil:
			return fmt.Errorf("named: %.20q is no name for %s", a.Named, a.Skill)
		case o == exercise.RightAnswer && !(named && compose.SameSound(a.Skill, name)):
			return fmt.Errorf("named: %.20q cannot be right for %s", a.Named, a.Skill)
		}
		return cmp.Or(none("named", named && !judged), none("notes", noted))
	case exercise.MelodySkill:
		switch {
		case !judged && o != exercise.NotMeasured:
			return fmt.Errorf("outcome: %s for %s: want right, wrong or not_measured", o, a.Skill)
		case judged && (a.Notes < 1 || a.NotesRight < 0 || a.NotesRight > a.Notes):
			return fmt.Errorf("notes_right: %d of notes %d: want 1 note or more, and 0 to all of them right", a.NotesRight, a.Notes)
		}
		return cmp.Or(none("named", named), none("notes", noted && !judged))
	}
	if judged {
		return fmt.Errorf("outcome: %s for %s, which is sung", o, a.Skill)
	}
	return cmp.Or(none("named", named), none("material", a.Material != ""), none("notes", noted))
}

// Add writes an answer, numbered after the last one of its session, and returns
// when it is on disk.
func (r *Record) Add(a practice.Answer) error {
	if r.lock == nil {
		return fmt.Errorf("%s: opened for reading", r.path)
	}
	a.Number = 1
	if a.Session.ID == r.session.row.Session {
		a.Number = r.number + 1
	}
	if err := cmp.Or(validSession(a.Session), validAnswer(a)); err != nil {
		return err
	}
	tx, err := r.db.Begin()
	if err != nil {
		return recordError(r.path, err)
	}
	defer tx.Rollback()
	rw, s := newRow(a), r.session
	if rw.Session != s.row.Session {
		if s, err = insertSession(tx, &rw); err != nil {
			return recordError(r.path, err)
		}
	}
	if err := rw.belongs(s); err != nil {
		return fmt.Errorf("%s: %w", r.path, err)
	}
	result, err := tx.Stmt(r.add).Exec(rw.inserted(s.id)...)
	if err != nil {
		return recordError(r.path, err)
	}
	if n, err := result.RowsAffected(); err == nil && n == 0 {
		return fmt.Errorf("%s: session %s has an answer %d already", r.path, a.Session.ID, a.Number)
	}
	if err := tx.Commit(); err != nil {
		return recordError(r.path, err)
	}
	r.session, r.number = s, a.Number
	return nil
}

// Query chooses answers. The zero Query is all of them.
type Query struct {
	Singer  string    // "": every singer's
	Since   time.Time // answers at this time or later; zero: from the first
	Counted bool      // only those that count
}

// Answers yields the answers of a query in the order in which they were given,
// by singer. One that cannot be read, or is not what was written, yields an error
// that wraps ErrAnswer, and the next follows; after any other error none does.
func (r *Record) Answers(ctx context.Context, q Query) iter.Seq2[practice.Answer, error] {
	return func(yield func(practice.Answer, error) bool) {
		rd, since := newReader(), ""
		if !q.Since.IsZero() {
			// Zones differ by at most a day; the exact time is compared later.
			since = q.Since.UTC().AddDate(0, 0, -2).Format(timeFormat)
		}
		for rw, err := range r.rows(ctx, q.Singer) {
			if rw == nil {
				yield(practice.Answer{}, err)
				return
			}
			var a practice.Answer
			if err == nil {
				if q.Counted && !rw.Counts || rw.At < since {
					continue
				}
				if a, err = rd.answer(rw); err != nil {
					err = fmt.Errorf("%w: %w", ErrAnswer, err)
				}
			}
			if err == nil && a.At.Before(q.Since) {
				continue
			}
			if err != nil {
				err = fmt.Errorf("%s: session %.40q, answer %d: %w", r.path, rw.Session, rw.Number, err)
			}
			if !yield(a, err) {
				return
			}
		}
	}
}

// ErrAnswer is wrapped by the error about a single answer.
var ErrAnswer = errors.New("it cannot be read")

var errChanged = fmt.Errorf("%w: it is not what was written (its checksum is another)", ErrAnswer)

// rows yields the rows of a singer, "" for all. The row is valid until the next.
// With an error about a row it yields that row, with any other none, and no row
// follows. Sessions are few and their answers lie together, so that nothing large is
// sorted. No row is left out for a value before its checksum has told that it is so.
func (r *Record) rows(ctx context.Context, singer string) iter.Seq2[*row, error] {
	return func(yield func(*row, error) bool) {
		sessions, err := r.sessions(ctx, singer)
		if err != nil {
			yield(nil, recordError(r.path, err))
			return
		}
		names := slices.Clone(columns[sessionColumns:versionColumns[min(r.version, len(versionColumns)-1)]])
		n := len(names)
		if r.version >= summed {
			names = append(names, "checksum")
		}
		values, to := make([]any, len(names)), make([]any, len(names))
		for i := range values {
			to[i] = &values[i]
		}
		answers, err := r.db.PrepareContext(ctx, fmt.Sprintf("SELECT %s FROM answers WHERE session_id = ? ORDER BY number", strings.Join(names, ", ")))
		if err != nil {
			yield(nil, recordError(r.path, err))
			return
		}
		defer answers.Close()
		one := func(s *sessionRow) (goOn bool) {
			rows, err := answers.QueryContext(ctx, s.id)
			if err != nil {
				yield(nil, recordError(r.path, err))
				return false
			}
			defer rows.Close()
			fields := s.row.fields()
			for rows.Next() {
				if err := rows.Scan(to...); err != nil {
					yield(nil, recordError(r.path, err))
					return false
				}
				var err error
				for i, v := range values[:n] {
					if !setColumn(fields[sessionColumns+i], v) && err == nil {
						err = fmt.Errorf("%w: %s is of another kind", ErrAnswer, names[i])
					}
				}
				if r.version >= summed && err == nil && values[n] != int64(checksum(fields)) {
					err = errChanged
				}
				if !yield(&s.row, err) {
					return false
				}
			}
			if err := rows.Err(); err != nil {
				yield(nil, recordError(r.path, err))
				return false
			}
			return true
		}
		for i := range sessions {
			if !one(&sessions[i]) {
				return
			}
		}
	}
}

// sessionRow is a session: its row in the table and its columns of the export.
type sessionRow struct {
	id  int64
	row row
}

// sessions returns the sessions of a singer, or of all, in the order of singers
// and times; with them those of which it is not known whose they are.
func (r *Record) sessions(ctx context.Context, singer string) ([]sessionRow, error) {
	rows, err := r.db.QueryContext(ctx, `SELECT sessions.id, name, session, started, command, source, seed, estimator
FROM sessions LEFT JOIN singers ON singers.id = singer_id WHERE ? IN ('', name) OR name IS NULL ORDER BY name, started, sessions.id`, singer)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []sessionRow
	for rows.Next() {
		var s sessionRow
		var values [sessionColumns]any
		to := []any{&s.id}
		for i := range values {
			to = append(to, &values[i])
		}
		if err := rows.Scan(to...); err != nil {
			return nil, err
		}
		for i, field := range s.row.fields()[:sessionColumns] {
			setColumn(field, values[i]) // what is of another kind does not fit the checksums
		}
		out = append(out, s)
	}
	return out, rows.Err()
}

// Practice works out what is known of a singer from all answers that count.
// Those that cannot be read are left out and counted in skipped.
func (r *Record) Practice(ctx context.Context, singer string) (p *practice.Practice, skipped int, err error) {
	p = &practice.Practice{}
	for a, err := range r.Answers(ctx, Query{Singer: singer, Counted: true}) {
		switch {
		case ctx.Err() != nil:
			return p, skipped, ctx.Err()
		case errors.Is(err, ErrAnswer):
			skipped++
			continue
		case err != nil:
			return p, skipped, err
		}
		if t, ok := a.Trial(); ok {
			p.Add(t)
		}
	}
	return p, skipped, nil
}
