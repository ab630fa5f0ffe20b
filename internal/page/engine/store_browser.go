package engine

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"sort"

	"singback/calib"
	"singback/exercise/practice"
	"singback/internal/course"
	"singback/internal/kept"
)

// Line is an answer as a browser's database has it, under its session and its number
// there.
type Line struct {
	Session string `json:"session"`
	Number  int    `json:"number"`
	Line    string `json:"line"` // as kept.Row.Line writes it
}

// Database is the browser's own. What is put there is safe when the call returns: all
// of it, or after an error nothing.
type Database interface {
	// AddLines puts lines where there are none yet, and returns how many that were.
	AddLines(ctx context.Context, lines []Line) (added int, err error)
	// Lines returns all lines, by session and number.
	Lines(ctx context.Context) ([]Line, error)
	// Get returns a thing by name; "" where it is not there.
	Get(ctx context.Context, name string) (string, error)
	Put(ctx context.Context, name, value string) error
	// Clear deletes everything.
	Clear(ctx context.Context) error
}

// BrowserStore keeps everything in a database of the browser.
type BrowserStore struct{ DB Database }

var _ Store = (*BrowserStore)(nil)

// where is where a browser keeps things, for people.
const where = "this browser"

// Known returns what the browser knows.
func (s *BrowserStore) Known(ctx context.Context) (Known, error) {
	k := Known{Home: "browser", Singer: defaultSinger, Record: where, There: true}
	singer, err := s.DB.Get(ctx, "singer")
	if err != nil {
		return k, err
	}
	if singer != "" {
		k.Singer = singer
	}
	text, err := s.DB.Get(ctx, "profile")
	if err != nil {
		return k, err
	}
	if text != "" {
		if k.Profile, err = kept.DecodeProfile([]byte(text)); err != nil {
			k.Notes = append(k.Notes, fmt.Sprintf("The profile in this browser is left out: %v", err))
		}
	}
	k.Course, err = s.DB.Get(ctx, "course")
	return k, err
}

// entry is an answer that is kept, as the row that it is and read.
type entry struct {
	row    *kept.Row
	answer practice.Answer
}

// entries are those in the browser, in the order of a record, and how many lines are not
// what was written.
func (s *BrowserStore) entries(ctx context.Context) (all []entry, skipped int, err error) {
	lines, err := s.DB.Lines(ctx)
	if err != nil {
		return nil, 0, err
	}
	read := kept.NewReader()
	all = make([]entry, 0, len(lines))
	for _, l := range lines {
		r, a, err := read.Line([]byte(l.Line))
		if err != nil {
			skipped++
			continue
		}
		all = append(all, entry{r, a})
	}
	sort.SliceStable(all, func(i, j int) bool { return kept.Compare(all[i].row, all[j].row) < 0 })
	return all, skipped, nil
}

// Answers returns those in the browser.
func (s *BrowserStore) Answers(ctx context.Context) ([]practice.Answer, int, bool, error) {
	all, skipped, err := s.entries(ctx)
	answers := make([]practice.Answer, len(all))
	for i := range all {
		answers[i] = all[i].answer
	}
	return answers, skipped, true, err
}

// Export writes those in the browser, each as it was kept.
func (s *BrowserStore) Export(ctx context.Context, w io.Writer) (n, skipped int, err error) {
	all, skipped, err := s.entries(ctx)
	if err != nil {
		return 0, 0, err
	}
	n, err = kept.WriteRows(w, kept.CSV, func(yield func(*kept.Row, error) bool) {
		for i := range all {
			if !yield(all[i].row, nil) {
				return
			}
		}
	})
	return n, skipped, err
}

// Add keeps an answer.
func (s *BrowserStore) Add(ctx context.Context, a practice.Answer) error {
	line, err := kept.EncodeLine(a)
	if err != nil {
		return err
	}
	_, err = s.DB.AddLines(ctx, []Line{{a.Session.ID, a.Number, string(line)}})
	return err
}

// Import reads an export and keeps what is not there yet, row by row as it is.
func (s *BrowserStore) Import(ctx context.Context, text []byte) (read, added int, err error) {
	there, _, err := s.entries(ctx)
	if err != nil {
		return 0, 0, err
	}
	sessions := map[string]*kept.Row{}
	for _, e := range there {
		sessions[e.row.Session] = e.row
	}
	var lines []Line
	err = kept.ReadRows(bytes.NewReader(text), func(r *kept.Row, a practice.Answer) error {
		if first := sessions[r.Session]; first == nil {
			sessions[r.Session] = r
		} else if err := r.Belongs(first); err != nil {
			return err
		}
		line, err := r.Line()
		lines = append(lines, Line{a.Session.ID, a.Number, string(line)})
		return err
	})
	switch {
	case err != nil:
		return 0, 0, err
	case len(lines) == 0:
		return 0, 0, errors.New("there is no answer in it: want a file that Export, or singback record export, has written")
	}
	added, err = s.DB.AddLines(ctx, lines)
	return len(lines), added, err
}

// SaveProfile keeps a profile.
func (s *BrowserStore) SaveProfile(ctx context.Context, p calib.Profile) (string, error) {
	text, err := kept.EncodeProfile(p)
	if err != nil {
		return "", err
	}
	return where, s.DB.Put(ctx, "profile", string(text))
}

// Set keeps the singer's name or a course.
func (s *BrowserStore) Set(ctx context.Context, what, value string) error {
	switch what {
	case "singer":
		if err := kept.CheckSinger(value); err != nil {
			return err
		}
	case "course":
		if value != "" {
			if _, err := course.Read([]byte(value)); err != nil {
				return err
			}
		}
	default:
		return fmt.Errorf("%.40q: want singer or course", what)
	}
	return s.DB.Put(ctx, what, value)
}

// Forget deletes all that this browser keeps.
func (s *BrowserStore) Forget(ctx context.Context) error { return s.DB.Clear(ctx) }
