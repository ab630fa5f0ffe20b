package review

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"singback/exercise/grade"
	"singback/internal/audio"
	"singback/internal/codec"
	"singback/internal/notation"
	"singback/internal/plain"
	"singback/theory"
)

// Model says what takes are graded against: a typed melody, a notation file, a
// recording or a pitch curve.
type Model struct {
	Text string // the melody, or the path of the file
	Tune string // which tune of a file of ABC; "": the first
	Part string // which voice of a notation file; "" where it has one

	// Content is the notation file that Text names, where it is at hand already; nil: it
	// is read.
	Content []byte

	Key    *theory.Key          // of a typed melody, and what names the degrees of others; nil: not said
	Names  theory.Naming        // of a typed melody
	Tuning theory.Tuning        // of what is written
	Octave func(theory.Key) int // of the tonic of names in a file
}

// ModelError is an error in what was asked for, and not in what was read.
type ModelError struct{ error }

func modelError(format string, args ...any) error { return ModelError{fmt.Errorf(format, args...)} }

// Unwrap returns the error itself.
func (e ModelError) Unwrap() error { return e.error }

// ModelKind is what a model is.
type ModelKind int8

const (
	Typed     ModelKind = iota // names of degrees or notes
	Written                    // a notation file
	Performed                  // a recording or a pitch curve
)

// Kind tells what a model is: the one place that decides. An option that does not fit
// it is an error.
func (m Model) Kind() (ModelKind, error) {
	if m.Content != nil {
		return Written, nil
	}
	_, missing := os.Stat(m.Text)
	extension := strings.ToLower(filepath.Ext(m.Text))
	if _, written := notation.ByName(m.Text); written || missing == nil && !codec.Named(m.Text) && extension != ".csv" && holdsNotation(m.Text) {
		return Written, nil
	}
	for _, o := range []struct{ flag, value string }{{"part", m.Part}, {"tune", m.Tune}} {
		if o.value != "" {
			return Typed, modelError("--%s is about a notation file, and --model is none", o.flag)
		}
	}
	if missing == nil || codec.Named(m.Text) || extension == ".csv" {
		return Performed, nil
	}
	return Typed, nil
}

// Model reads a model. The warnings are about what a notation file holds and a line
// cannot.
func (r Reader) Model(ctx context.Context, m Model) (grade.Line, []notation.Warning, error) {
	kind, err := m.Kind()
	switch {
	case err != nil:
		return grade.Line{}, nil, err
	case kind == Written:
		return m.written()
	case kind == Performed:
		line, err := r.performed(ctx, m)
		return line, nil, err
	}
	line, err := m.typed()
	return line, nil, err
}

// Melody is a model in names.
func (m Model) Melody() (theory.Melody, error) {
	key := theory.Key{} // C major
	if m.Key != nil {
		key = *m.Key
	}
	melody, err := theory.ParseMelody(m.Text, key, m.Names)
	if err != nil && strings.ContainsAny(strings.ToLower(filepath.Ext(m.Text)), "abcdefghijklmnopqrstuvwxyz") && !strings.Contains(m.Text, " ") {
		return melody, modelError("--model: there is no file %s", plain.Short(m.Text))
	}
	if err != nil {
		return melody, modelError("--model: %w", err)
	}
	return melody, nil
}

// TypedOctave is the octave of the tonic of a model in names, as far as that counts.
const TypedOctave = 4

func (m Model) typed() (grade.Line, error) {
	melody, err := m.Melody()
	if err != nil {
		return grade.Line{}, err
	}
	line, err := grade.NewMelodyLine(melody, TypedOctave, m.Tuning)
	if err != nil {
		return line, modelError("--model: %w", err)
	}
	return line, nil
}

// holdsNotation tells whether a file whose ending says nothing holds notation.
func holdsNotation(path string) bool {
	f, err := os.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil || !info.Mode().IsRegular() {
		return false // what is read from a pipe is not there again
	}
	b, err := io.ReadAll(io.LimitReader(f, notation.MaxFile))
	kind, _ := codec.Sniff(b[:min(len(b), codec.Sniffed)])
	return err == nil && kind == codec.Unknown && !notation.HoldsNames(path, b)
}

// performed is a model that somebody sang or played.
func (r Reader) performed(ctx context.Context, m Model) (grade.Line, error) {
	p, err := r.Read(ctx, m.Text)
	if err != nil {
		return grade.Line{}, fmt.Errorf("--model: %w", err)
	}
	line, err := grade.NewPerformedLine(p.Notes)
	if err != nil {
		return line, fmt.Errorf("--model: %s: no note was found in it", m.Text)
	}
	if m.Key != nil {
		line = line.Named(*m.Key)
	}
	return line, nil
}

// written is a model in a notation file, in the key that the file says, or Key.
func (m Model) written() (grade.Line, []notation.Warning, error) {
	score, warnings, err := m.Score()
	if err != nil {
		return grade.Line{}, nil, err
	}
	line, err := grade.NewLine(score, m.Tuning)
	return line, warnings, err
}

// Score is a model in a notation file as it is written.
func (m Model) Score() (theory.Score, []notation.Warning, error) {
	var in io.Reader = bytes.NewReader(m.Content)
	if m.Content == nil {
		f, err := os.Open(m.Text)
		if errors.Is(err, fs.ErrNotExist) {
			return theory.Score{}, nil, modelError("--model: there is no file %s", plain.Short(m.Text))
		}
		if err != nil {
			return theory.Score{}, nil, fmt.Errorf("--model: %w", err)
		}
		defer f.Close()
		in = f
	}
	options := notation.Options{Voice: m.Part, Tune: m.Tune, KeyAsked: m.Key != nil, Naming: m.Names, Octave: m.Octave}
	if m.Key != nil {
		options.Key = *m.Key
	}
	score, warnings, err := notation.Read(m.Text, in, options)
	if err != nil {
		return theory.Score{}, nil, fmt.Errorf("--model: %w", err)
	}
	return score, warnings, nil
}

// Take is a take and what it was graded.
type Take struct {
	grade.Performance
	grade.Grading
	Cancelled bool // the channels of the recording cancel each other
}

// Grade grades the takes at some paths, as many at once as there are processors,
// and hands them on in order: see [Each].
func (r Reader) Grade(ctx context.Context, paths []string, line grade.Line, rules grade.Rules, done func(i int, t Take, err error) error) error {
	return Each(ctx, len(paths), func(ctx context.Context, i int) (t Take, err error) {
		one := r
		one.Heard = func(src *audio.WAV) { t.Cancelled = src.Cancelled() }
		if t.Performance, err = one.Read(ctx, paths[i]); err != nil {
			return Take{}, err
		}
		if t.Grading, err = grade.Of(line, t.Performance, rules); err != nil {
			return Take{}, fmt.Errorf("%s: %w", paths[i], err)
		}
		return t, nil
	}, done)
}
