package desk

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"

	"singback/exercise"
	"singback/exercise/grade"
	"singback/internal/class"
	"singback/internal/notation"
	"singback/internal/review"
	"singback/theory"
)

// Tonic is the octave in which the tonic of typed names lies.
func Tonic(k theory.Key) int { return exercise.MiddleRegister(k).TonicOctave }

// NewModel reads what a task is to be sung against, by what [review.Model] says of it,
// and keeps it as the class does: the text, the notation file, or what was measured of
// a recording. The warnings are about what a notation file holds and a line cannot.
func NewModel(ctx context.Context, reader review.Reader, m review.Model, key string, a4 float64) (class.Model, []notation.Warning, error) {
	out := class.Model{Text: m.Text, Part: m.Part, Tune: m.Tune, Key: key, Names: m.Names.String(), Tuning: m.Tuning.String(), A4: a4}
	kind, err := m.Kind()
	if err != nil {
		return out, nil, err
	}
	_, warnings, err := reader.Model(ctx, m)
	if err != nil || kind == review.Typed {
		return out, warnings, err
	}
	out.Text = filepath.Base(m.Text)
	if kind == review.Written {
		info, err := os.Stat(m.Text)
		if err == nil && info.Size() > class.MaxContent {
			err = fmt.Errorf("%s: %d bytes, at most %d", m.Text, info.Size(), class.MaxContent)
		}
		if err == nil {
			out.Content, err = os.ReadFile(m.Text)
		}
		return out, warnings, err
	}
	p, err := reader.Read(ctx, m.Text)
	if err == nil {
		out.Performed, err = class.Pack(p)
	}
	return out, warnings, err
}

// Line is the model of a task, ready to be graded against.
type Line struct {
	grade.Line
	Names theory.Naming
	Score *theory.Score // as it is written; nil of names and of performances
	Sum   string        // fingerprint of the model
}

// LineOf reads the model of a task that asks for a melody.
func LineOf(t class.Task) (l Line, err error) {
	if t.Kind != class.Melody {
		return l, fmt.Errorf("%s is an exercise: nothing is to be sung against a model", t.Name)
	}
	m := t.Model
	defer func() {
		if err != nil {
			err = fmt.Errorf("the model of %s: %w", t.Name, err)
		}
	}()
	l.Sum = modelSum(m)
	if l.Names, err = theory.ParseNaming(m.Names); err != nil {
		return l, err
	}
	of := review.Model{Text: m.Text, Part: m.Part, Tune: m.Tune, Names: l.Names, Content: m.Content, Octave: Tonic}
	if of.Tuning, err = theory.ParseTuning(m.Tuning, m.A4); err != nil {
		return l, err
	}
	if m.Key != "" {
		k, err := theory.ParseKey(m.Key)
		if err != nil {
			return l, err
		}
		of.Key = &k
	}
	switch {
	case m.Performed != nil:
		p, err := class.Unpack(m.Performed)
		if err != nil {
			return l, err
		}
		if l.Line, err = grade.NewPerformedLine(p.Notes); err != nil {
			return l, err
		}
		if of.Key != nil {
			l.Line = l.Line.Named(*of.Key)
		}
		return l, nil
	case m.Content != nil:
		score, _, err := of.Score()
		if err != nil {
			return l, err
		}
		l.Score = &score
		l.Line, err = grade.NewLine(score, of.Tuning)
		return l, err
	}
	melody, err := of.Melody()
	if err != nil {
		return l, err
	}
	if score, err := melody.Score(review.TypedOctave, theory.Fraction{Num: 1, Den: 1}); err == nil {
		l.Score = &score
	}
	l.Line, err = grade.NewMelodyLine(melody, review.TypedOctave, of.Tuning)
	return l, err
}

// modelSum is the fingerprint of a model: equal sums are the same line.
func modelSum(m class.Model) string {
	h := sha256.New()
	for _, s := range []string{m.Text, string(m.Content), string(m.Performed), m.Part, m.Tune, m.Key, m.Names, m.Tuning, fmt.Sprint(m.A4)} {
		fmt.Fprintf(h, "%d:%s", len(s), s)
	}
	return hex.EncodeToString(h.Sum(nil)[:8])
}
