package engine

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

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

// Answers returns those in the browser, by time.
func (s *BrowserStore) Answers(ctx context.Context) ([]practice.Answer, int, bool, error) {
	lines, err := s.DB.Lines(ctx)
	if err != nil {
		return nil, 0, true, err
	}
	read := kept.NewReader()
	all, skipped := make([]practice.Answer, 0, len(lines)), 0
	for _, l := range lines {
		_, a, err := read.Line([]byte(l.Line))
		if err != nil {
			skipped++
			continue
		}
		all = append(all, a)
	}
	slices.SortStableFunc(all, func(a, b practice.Answer) int {
		return cmp.Or(a.At.Compare(b.At), strings.Compare(a.Session.ID, b.Session.ID), a.Number-b.Number)
	})
	return all, skipped, true, nil
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

// Import reads an export and keeps what is not there yet.
func (s *BrowserStore) Import(ctx context.Context, text []byte) (read, added int, err error) {
	sessions, err := s.sessions(ctx)
	if err != nil {
		return 0, 0, err
	}
	var lines []Line
	for a, err := range kept.ReadExport(bytes.NewReader(text)) {
		if err != nil {
			return 0, 0, err
		}
		if there, ok := sessions[a.Session.ID]; ok {
			if err := kept.SameSession(a.Session, there); err != nil {
				return 0, 0, err
			}
		}
		line, err := kept.EncodeLine(a)
		if err != nil {
			return 0, 0, err
		}
		lines = append(lines, Line{a.Session.ID, a.Number, string(line)})
	}
	if len(lines) == 0 {
		return 0, 0, errors.New("there is no answer in it: want a file that Export, or singback record export, has written")
	}
	added, err = s.DB.AddLines(ctx, lines)
	return len(lines), added, err
}

// sessions are those that are kept already.
func (s *BrowserStore) sessions(ctx context.Context) (map[string]practice.Session, error) {
	all, _, _, err := s.Answers(ctx)
	if err != nil {
		return nil, err
	}
	out := map[string]practice.Session{}
	for _, a := range all {
		out[a.Session.ID] = a.Session
	}
	return out, nil
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
