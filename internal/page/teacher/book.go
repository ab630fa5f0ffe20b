// Package teacher is the server's half of the teacher's desk: a class at a glance, the
// takes that the machine is least sure of, one take with what its mark rests on, and the
// teacher's word on it.
//
// [Desk] answers what the desk in the browser asks (internal/page/web/desk), as handlers
// for internal/page, which looks after who may ask. It knows of a class only what [Book]
// has. What is shown of all students comes from a reading of the class that is kept as
// long as the file is the same: a verdict of the desk changes it in its place, and what
// another program wrote has it read anew.
package teacher

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"net/http"

	"singback/internal/class"
)

// Source opens a class.
type Source interface {
	// Stamp tells where the file is in its changes.
	Stamp() (Stamp, error)
	// Read opens the class beside whoever writes, and closes it when f returns.
	Read(ctx context.Context, f func(Book) error) error
	// Write opens it for a change; ErrBusy where another program is at it for long.
	Write(ctx context.Context, f func(Book) error) error
}

// Stamp tells one state of a class from another.
type Stamp struct {
	File    string // which file it is: another one in its place has another
	Changes uint32 // counts changes, each by one
}

// Book is a class that is open.
type Book interface {
	Name() string
	Students() ([]class.Student, error)
	Tasks() ([]class.Task, error)
	// Takes are the takes that count: at most one of each student for each task. Of a take
	// there is the ID, the student, the task, when it was handed in, its length and its
	// trouble; of the mark ID, Value, Pass, PassAt, Doubt; of the review ID, Pass, Value.
	Takes() iter.Seq2[Row, error]
	// TakesOf are all of one student for one task, in the order of times.
	TakesOf(student, task int64) ([]Row, error)
	Take(id int64) (Row, error) // ErrNone
	Remarks(student int64) ([]class.Remark, error)
	Agreements() (class.Agreements, error)
	Explain(ctx context.Context, take int64) (Explained, error)

	// What only a class that was opened for writing can do. A review that is once named
	// once is not added again.
	AddReview(r class.Review, once string) (int64, error)
	TakeBack(take int64) (was bool, err error)
	AddRemark(class.Remark) (int64, error)
}

// Row is a take as the class has it.
type Row struct {
	class.Take
	Counts bool          // of several for one task, this one
	Mark   *class.Mark   // the newest; without words and places
	Review *class.Review // the newest
}

// Explained is a take that was graded again from what was measured, with all words.
type Explained struct {
	Mark  class.Mark // with Why and Places
	Stale string     // why the mark in the class is not the same; "" where it is
	End   float64    // of the take, in seconds
	// Before is where hearing a place begins: about a bar before it.
	Before func(place float64) float64
	// Picture draws the pitch of the take against the model.
	Picture func(View) (Picture, error)
	// Staff draws the written line with the marks of its notes, width units wide; nil
	// where nothing is written.
	Staff func(width int) (string, error)
	// Sound is a WAV file of what can be heard; an error says why it cannot.
	Sound func(Part) ([]byte, error)
}

// View is which picture of a take is wanted.
type View struct {
	From, To float64 // seconds of the take; both 0: all of it
	Width    int     // units
}

// Picture is an SVG with the place of its time axis. Its colours are those of the classes
// of its elements.
type Picture struct {
	SVG         string
	From, To    float64 // seconds of the take
	Left, Right float64 // where they lie, in parts of the width
	Text        string  // the picture in words
}

// Part is what of a take is heard.
type Part string

// The parts: the take, the model, and both at once.
const (
	Sung  Part = "take"
	Model Part = "model"
	Both  Part = "both"
)

// The errors of a class.
var (
	ErrBusy = errors.New("another program is writing into the class")
	ErrNone = errors.New("the class has none such")
)

// refused is an error as the desk in the browser is told.
type refused struct {
	status           int
	code, text, hint string
}

func (r refused) Error() string { return r.text }

// Refusal is how the page's server tells it.
func (r refused) Refusal() (status int, code, text, hint string) {
	return r.status, r.code, r.text, r.hint
}

// wrong is what cannot be meant.
func wrong(format string, args ...any) error {
	return refused{http.StatusBadRequest, "wrong", fmt.Sprintf(format, args...), ""}
}

// told gives an error of the class its status.
func told(err error) error {
	var already refused
	switch {
	case err == nil || errors.As(err, &already):
		return err
	case errors.Is(err, ErrBusy):
		return refused{http.StatusConflict, "busy", err.Error(), "try again when it has ended"}
	case errors.Is(err, ErrNone):
		return refused{http.StatusNotFound, "gone", err.Error(), "the class may have changed: open it anew"}
	}
	return refused{http.StatusInternalServerError, "class", err.Error(), ""}
}
