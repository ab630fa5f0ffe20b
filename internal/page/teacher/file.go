package teacher

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"os"

	"singback/internal/audio"
	"singback/internal/class"
	"singback/internal/classfile"
	"singback/internal/desk"
	"singback/internal/newfile"
)

// OfFile is the class in a file. It is opened for each request and no longer, so that
// the terminal can work on it meanwhile.
func OfFile(path string) Source { return inFile(path) }

type inFile string

// Stamp is read from the head of the file, where SQLite counts changes ("The SQLite
// Database File Format", 1.3.7, sqlite.org/fileformat2.html; a class is never in WAL mode,
// where the counter would stand still).
func (p inFile) Stamp() (Stamp, error) {
	f, err := os.Open(string(p))
	if err != nil {
		return Stamp{}, newfile.PathError(string(p), err)
	}
	defer f.Close()
	var head [28]byte
	if _, err := io.ReadFull(f, head[:]); err != nil {
		return Stamp{}, fmt.Errorf("%s: %w", string(p), classfile.ErrForeign)
	}
	info, err := f.Stat()
	if err != nil {
		return Stamp{}, newfile.PathError(string(p), err)
	}
	return Stamp{File: fileID(info), Changes: binary.BigEndian.Uint32(head[24:])}, nil
}

func (p inFile) Read(_ context.Context, f func(Book) error) error {
	return p.with(classfile.Read, f)
}

func (p inFile) Write(_ context.Context, f func(Book) error) error {
	return p.with(classfile.Open, f)
}

func (p inFile) with(open func(string) (*classfile.File, error), f func(Book) error) error {
	c, err := open(string(p))
	if err != nil {
		return ofFile(err)
	}
	err = f(fileBook{c})
	return ofFile(errors.Join(err, c.Close()))
}

// ofFile says of an error of the file what the desk can do about it.
func ofFile(err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, classfile.ErrBusy):
		return fileErr{err, ErrBusy}
	case errors.Is(err, classfile.ErrNobody), errors.Is(err, fs.ErrNotExist):
		return fileErr{err, ErrNone}
	}
	return err
}

// fileErr is an error of the file, and one of this package's too.
type fileErr struct{ of, is error }

func (e fileErr) Error() string   { return e.of.Error() }
func (e fileErr) Unwrap() []error { return []error{e.of, e.is} }

// fileBook is a class that is open.
type fileBook struct{ *classfile.File }

func (b fileBook) Takes() iter.Seq2[Row, error] { return rows(b.Glance()) }

func rows(of iter.Seq2[classfile.Row, error]) iter.Seq2[Row, error] {
	return func(yield func(Row, error) bool) {
		for r, err := range of {
			if !yield(rowOf(r), err) {
				return
			}
		}
	}
}

func rowOf(r classfile.Row) Row {
	return Row{Take: r.Take, Counts: r.Counts, Mark: r.Mark, Review: r.Review}
}

func (b fileBook) TakesOf(student, task int64) (list []Row, err error) {
	for r, err := range rows(b.File.Takes(classfile.Query{Student: student, Task: task})) {
		if err != nil {
			return nil, err
		}
		list = append(list, r)
	}
	return list, nil
}

func (b fileBook) Take(id int64) (Row, error) {
	r, err := b.File.Take(id)
	return rowOf(r), ofFile(err)
}

func (b fileBook) Agreements() (class.Agreements, error) { return desk.Agreements(b.File) }

// loudness is that of what is heard, in LUFS.
const loudness = -17

func (b fileBook) Explain(ctx context.Context, take int64) (Explained, error) {
	m, err := desk.Explain(b.File, take)
	if err != nil {
		return Explained{}, ofFile(err)
	}
	out := Explained{
		Mark: m.Fresh, End: m.End(), Before: m.Before,
		Picture: func(v View) (Picture, error) {
			p := desk.PictureOf(m)
			p.From, p.To, p.Width = v.From, v.To, v.Width
			if p.To == 0 {
				p.To = m.End()
			}
			left, right := p.Axis()
			return Picture{SVG: p.SVG(), From: p.From, To: p.To, Left: left, Right: right}, nil
		},
		Sound: func(part Part) ([]byte, error) {
			what, _ := desk.WhatNamed(string(part))
			s, err := m.Sound(ctx, b.File, what, 0, 0, loudness)
			if err != nil {
				return nil, err
			}
			var w bytes.Buffer
			err = audio.WriteWAV(&w, s.Rate, s.Samples)
			return w.Bytes(), err
		},
	}
	if m.Row.Mark != nil {
		out.Stale = m.Stale
	}
	if m.Line.Score != nil {
		out.Staff = func(width int) (string, error) {
			p := desk.PictureOf(m)
			p.Width = width
			return p.Staff(*m.Line.Score)
		}
	}
	return out, nil
}
