package class

import (
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"singback/exercise"
	"singback/exercise/grade"
	"singback/theory"
)

// Date is a day as 2026-11-28; "" is none.
type Date string

// ParseDate reads a day.
func ParseDate(s string) (Date, error) {
	if _, err := time.Parse(time.DateOnly, s); err != nil {
		return "", fmt.Errorf("%q is no day: write it like 2026-11-28", s)
	}
	return Date(s), nil
}

// DateOf is the day of a time, where the clock stands that it was read from.
func DateOf(t time.Time) Date { return Date(t.Format(time.DateOnly)) }

// Student is who hands in takes. Names are the teacher's choosing: a first name or
// a number will do.
type Student struct {
	ID    int64 // 0: not in a file yet
	Name  string
	Voice string // one of exercise.Voices; "": not said
	Notes string // the teacher's; on no sheet
	// Consent is the day on which whoever may consented to recordings being marked;
	// "" where nobody did yet. ConsentBy says who, in the teacher's words.
	Consent   Date
	ConsentBy string
	Since     Date
}

// Validate reports a name or another field that no student may have.
func (s Student) Validate() error {
	if err := CheckName(s.Name); err != nil {
		return err
	}
	if s.Voice != "" {
		if _, err := exercise.VoiceNamed(s.Voice); err != nil {
			return err
		}
	}
	return checkWords("the notes", s.Notes)
}

// MaxName is how many letters a name has at most, MaxWords how many a remark.
const (
	MaxName  = 80
	MaxWords = 4000
)

// CheckName reports what a student or a task cannot be called.
func CheckName(name string) error {
	switch {
	case strings.TrimSpace(name) == "":
		return errors.New("a name is empty")
	case name != strings.TrimSpace(name):
		return fmt.Errorf("%q begins or ends with a blank", name)
	case !utf8.ValidString(name) || strings.ContainsFunc(name, func(r rune) bool { return !unicode.IsPrint(r) }):
		return fmt.Errorf("%q has what cannot be printed in it", name)
	case utf8.RuneCountInString(name) > MaxName:
		return fmt.Errorf("%q… is longer than %d letters", string([]rune(name)[:20]), MaxName)
	}
	return nil
}

func checkWords(what, s string) error {
	if !utf8.ValidString(s) {
		return fmt.Errorf("%s: not UTF-8", what)
	}
	if n := utf8.RuneCountInString(s); n > MaxWords {
		return fmt.Errorf("%s: %d letters, at most %d", what, n, MaxWords)
	}
	return nil
}

// Kind is what a task asks for.
type Kind int8

const (
	Melody   Kind = iota // a line to be sung: takes are marked
	Exercise             // a drill to be practised: the record of practice tells
)

// String returns the name used in the file and in machine-readable output.
func (k Kind) String() string { return [...]string{"melody", "exercise"}[k] }

// Which tells which of several takes of one student counts.
type Which int8

const (
	Last Which = iota // the one that was handed in last
	Best              // the one with the highest mark
)

// String returns the name used in the file and in machine-readable output.
func (w Which) String() string { return [...]string{"last", "best"}[w] }

// Task is what is to be handed in.
type Task struct {
	ID    int64 // 0: not in a file yet
	Name  string
	Kind  Kind
	Words string // what the students are told
	Given Date
	Due   Date

	Model    Model  // of a melody
	Exercise string // of an exercise: the command that starts it, without the program's name
	Goal     int    // of an exercise: how many answers are asked for

	Rules  grade.Rules
	Rubric Rubric
	Counts Which
}

// MaxContent is how many bytes of a notation file a task keeps at most.
const MaxContent = 4 << 20

// Validate reports what no task can be.
func (t Task) Validate() error {
	if err := CheckName(t.Name); err != nil {
		return err
	}
	if err := checkWords("the words to the students", t.Words); err != nil {
		return err
	}
	switch {
	case t.Due != "" && t.Given > t.Due:
		return fmt.Errorf("it is due on %s, before it was given (%s)", t.Due, t.Given)
	case t.Kind == Exercise && strings.TrimSpace(t.Exercise) == "":
		return errors.New("an exercise without a command")
	case t.Kind == Exercise && t.Goal < 0:
		return fmt.Errorf("a goal of %d answers", t.Goal)
	case t.Kind == Exercise:
		return nil
	case strings.TrimSpace(t.Model.Text) == "":
		return errors.New("a melody without a model")
	case len(t.Model.Content) > MaxContent:
		return fmt.Errorf("the model has %d bytes, at most %d", len(t.Model.Content), MaxContent)
	}
	return t.Rules.Validate()
}

// Model is the line of a task, as the class keeps it.
type Model struct {
	Text string // a typed melody, or the name of the file it came from
	// Content is the notation file; nil for a typed melody and a performance.
	Content []byte
	// Performed is what was measured of a recording (see Pack); nil for others.
	Performed []byte
	Part      string
	Tune      string
	Key       string // "": not said
	Names     string // a naming of theory
	Tuning    string
	A4        float64 // Hz
}

// Take is a recording, or a pitch curve, that a student handed in for a task.
type Take struct {
	ID      int64
	Student int64
	Task    int64
	Source  string // where the recording lay: a path, with what it is called within a zip
	SHA256  string // of the bytes of the recording, hexadecimal
	// Handed is the time that the file says, in RFC 3339; Collected when it was read.
	Handed, Collected string
	Seconds           float64 // its length
	Measured          string  // which tracker measured it: pitch.Version; "" where it could not be read
	Trouble           string  // why it could not be read, one line; "" where it could
	Kept              bool    // the class holds a copy of the recording
}

// Review is the teacher's word on a take. The machine's mark stays beside it.
type Review struct {
	ID   int64
	Take int64
	Mark int64 // the machine's mark that was reviewed
	At   string
	// Chosen tells why the take was heard: Doubt where the machine was unsure,
	// Sample where it was drawn by lot, Asked where the teacher went to it.
	Chosen Chosen
	Pass   bool
	// Value is the teacher's mark, 0 to 1; less than 0 where only Pass was said.
	Value float64
	Why   string
}

// Validate reports what no review can be.
func (r Review) Validate() error {
	if r.Value > 1 || r.Value != r.Value {
		return fmt.Errorf("a mark of %g: want 0 to 1", r.Value)
	}
	return checkWords("the reason", r.Why)
}

// Chosen is how a take came to be reviewed.
type Chosen int8

const (
	Asked  Chosen = iota // the teacher went to it
	Doubt                // the machine was unsure of it
	Sample               // it was drawn by lot
)

// String returns the name used in the file and in machine-readable output.
func (c Chosen) String() string { return [...]string{"asked", "doubt", "sample"}[c] }

// Remark is what the teacher says to a student about a take or at all; it is
// printed on the sheet.
type Remark struct {
	ID      int64
	Student int64
	Task    int64 // 0: at all
	At      string
	Words   string
}

// Validate reports what no remark can be.
func (r Remark) Validate() error {
	if strings.TrimSpace(r.Words) == "" {
		return errors.New("a remark without words")
	}
	return checkWords("the remark", r.Words)
}

// Mark is what the machine makes of a take by a rubric.
type Mark struct {
	ID   int64
	Take int64
	At   string

	// What it was made with: the rubric's name and fingerprint, the rules, the
	// model's fingerprint, and the tracker.
	Rubric     string
	RubricSum  string
	Tolerance  theory.Cents
	FreeKey    bool
	FreeOctave bool
	ModelSum   string
	Measured   string

	Heard grade.Heard
	// Value is 0 to 1; Pass tells that it reaches the rubric's pass line. Of a take
	// that was not sung Value is 0.
	Value float64
	Pass  bool
	// PassAt is the value from which on it passes.
	PassAt float64
	// Error is the standard error of Value, and Doubt the probability that the other
	// side of the pass line is right, 0 to 0.5.
	Error, Doubt float64
	Parts        []Part
	// Score and Probability are those of grade.Grading.
	Score, Probability float64
	Tally              Tally
}

// Part is what one thing that a rubric counts comes to.
type Part struct {
	Criterion Criterion
	Weight    float64
	Value     float64 // 0 to 1; without meaning where nothing could be measured
	Measured  bool
	Why       string  // in words, one line; not kept in a file: see Rubric.Mark
	Places    []Place // where in the recording; not kept in a file
}

// Place is a stretch of a recording that a mark rests on.
type Place struct {
	From, To float64 // seconds of the take
	First    int     // the written notes it is about, from 0, −1 where it is about none
	Last     int
	What     string // one line
}

// Tally counts what was sung by degrees and moves: what is weak in a class is
// summed up from it. Degrees and moves are those of the model's key; a line without
// a key has none.
type Tally struct {
	Degrees map[theory.Degree]Count
	Moves   map[Move]Count
}

// Move is a step from one degree of the line to the next.
type Move struct{ From, To theory.Degree }

// Count is how often something was sung, and right.
type Count struct{ Right, Of int }
