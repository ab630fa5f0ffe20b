package desk

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"time"

	"singback/exercise/practice"
	"singback/internal/audio"
	"singback/internal/class"
	"singback/internal/classfile"
	"singback/internal/codec"
	"singback/internal/kept"
	"singback/internal/review"
	"singback/pitch"
)

// Collector takes what was handed in into a class.
type Collector struct {
	File   *classfile.File
	Reader review.Reader
	Now    time.Time
	Keep   bool // the class keeps copies of the recordings
	Mark   bool // takes are marked as they are measured
	Again  bool // what is there already is measured again

	lines map[int64]lineOr
	alone bool // what becomes of a file depends on nothing but the file
}

type lineOr struct {
	Line
	err error
}

// Collected is what became of one file.
type Collected struct {
	Handed
	classfile.Added
	There   bool // it was in the class before
	Anew    bool // and was measured anew
	Answers int  // of a record of practice, that are new
	Read    int  // of a record of practice, that it holds
	Warning string
	rows    []*kept.Row
}

// batch is how many takes are put into the file in one change: so many are measured
// again at most when the program is ended at once.
const batch = 16

// Collect measures the recordings, as many at once as there are processors, and takes
// them and the records of practice into the class, in their order. done is told of each
// when it is on disk. A file that cannot be read is a take in trouble and stops nothing.
// When ctx ends, what is complete is kept, and the error is that of ctx: the same call
// goes on.
func (c *Collector) Collect(ctx context.Context, handed []Handed, done func(Collected) error) error {
	var pending []Collected
	flush := func() error {
		var takes []classfile.Added
		for _, p := range pending {
			if p.Content != Practice && !p.There {
				takes = append(takes, p.Added)
			}
		}
		if _, err := c.File.AddTakes(takes); err != nil {
			return err
		}
		for _, p := range pending {
			if p.Content == Practice && p.Trouble == "" {
				var err error
				if p.Answers, err = c.File.AddPractice(p.Handed.Student.ID, p.rows); err != nil {
					return err
				}
			}
			p.rows, p.Packed, p.Recording = nil, nil, nil
			if err := done(p); err != nil {
				return err
			}
		}
		pending = pending[:0]
		return nil
	}
	err := c.each(ctx, handed, func(r Collected) error {
		pending = append(pending, r)
		if len(pending) < batch {
			return nil
		}
		return flush()
	})
	return errors.Join(err, flush())
}

// each works out what there is to be kept of each file.
func (c *Collector) each(ctx context.Context, handed []Handed, done func(Collected) error) error {
	c.lines = map[int64]lineOr{}
	for _, h := range handed {
		if _, ok := c.lines[h.Task.ID]; !ok && h.Content != Practice {
			l, err := LineOf(h.Task)
			c.lines[h.Task.ID] = lineOr{l, err}
		}
	}
	return review.Each(ctx, len(handed), func(ctx context.Context, i int) (Collected, error) {
		r := c.one(ctx, handed[i])
		return r, ctx.Err()
	}, func(_ int, r Collected, err error) error {
		if err != nil {
			return err
		}
		return done(r)
	})
}

// one measures a file.
func (c *Collector) one(ctx context.Context, h Handed) (r Collected) {
	r.Handed = h
	r.Take = class.Take{Student: h.Student.ID, Task: h.Task.ID, Source: c.File.Place(h.Path), Collected: c.Now.Format(time.RFC3339)}
	trouble := func(err error) Collected {
		r.Trouble = lastPart(err, h.Path)
		if r.Trouble == "" {
			r.Trouble = "it cannot be read"
		}
		return r
	}
	if err := c.raw(&r); err != nil {
		return trouble(err)
	}
	if h.Content == Practice {
		err := c.answers(&r)
		if err != nil {
			return trouble(err)
		}
		return r
	}
	if !c.alone {
		there, err := c.File.Has(h.Student.ID, h.Task.ID, r.SHA256)
		switch {
		case err != nil:
			return trouble(err)
		case there && !c.Again:
			r.There = true
			return r
		}
		r.Anew = there
	}
	reader := c.Reader
	reader.Heard = func(src *audio.WAV) {
		if src.Cancelled() {
			r.Warning = "its channels cancel each other when mixed; collect it again with --channel 1"
		}
	}
	p, err := reader.Read(ctx, h.Path)
	if err != nil {
		return trouble(err)
	}
	if len(p.Curve) > 0 {
		r.Seconds = p.Curve[len(p.Curve)-1].At
	}
	if p, r.Packed, err = class.Grained(p); err != nil {
		return trouble(err)
	}
	r.Measured, r.Added.Again = pitch.Version, c.Again
	if c.Mark {
		l := c.lines[h.Task.ID]
		if l.err != nil {
			return trouble(l.err)
		}
		m, _, err := l.Mark(h.Task, p)
		if err != nil {
			return trouble(err)
		}
		m.At, m.Measured = r.Collected, r.Measured
		r.Mark = &m
	}
	return r
}

// raw takes the fingerprint of a file, its time, and its bytes where they are kept.
func (c *Collector) raw(r *Collected) error {
	raw, err := codec.OpenRaw(r.Path)
	if err != nil {
		return err
	}
	defer raw.Close()
	if !raw.Modified.IsZero() {
		r.Take.Handed = raw.Modified.In(c.Now.Location()).Format(time.RFC3339)
	}
	h := sha256.New()
	var in io.Reader = raw
	if c.Keep && r.Content != Practice {
		if raw.Size > classfile.MaxRecording {
			return fmt.Errorf("%d MB are not kept, at most %d", raw.Size>>20, classfile.MaxRecording>>20)
		}
		if r.Recording, err = io.ReadAll(io.LimitReader(raw, classfile.MaxRecording)); err != nil {
			return err
		}
		h.Write(r.Recording)
	} else if _, err := io.Copy(h, in); err != nil {
		return err
	}
	r.SHA256 = hex.EncodeToString(h.Sum(nil))
	return nil
}

// MaxPractice is how many bytes of a record of practice are read at most.
const MaxPractice = 256 << 20

// answers reads a record of practice.
func (c *Collector) answers(r *Collected) error {
	raw, err := codec.OpenRaw(r.Path)
	if err != nil {
		return err
	}
	defer raw.Close()
	err = kept.ReadRows(io.LimitReader(raw, MaxPractice), func(row *kept.Row, _ practice.Answer) error {
		r.rows = append(r.rows, row)
		return nil
	})
	r.Read = len(r.rows)
	return err
}
