package teacher

import (
	"bytes"

	"container/list"
	"errors"

	"fmt"
	"math"
	"net/http"
	"sync"
	"time"

	"singback/internal/class"
)

type placeRecord struct {
	From  float64 `json:"from"`
	To    float64 `json:"to"`
	Start float64 `json:"start"` // where hearing it begins
	First int     `json:"first"`
	Last  int     `json:"last"`
	What  string  `json:"what"`
}

type partRecord struct {
	Name     string        `json:"name"`
	About    string        `json:"about"`
	Weight   float64       `json:"weight"` // of 1
	Value    float64       `json:"value"`
	Measured bool          `json:"measured"`
	Why      string        `json:"why"`
	Places   []placeRecord `json:"places"`
}

type markRecord struct {
	ID     int64        `json:"id"`
	At     string       `json:"at"`
	Rubric string       `json:"rubric"`
	Heard  string       `json:"heard"`
	Value  float64      `json:"value"`
	Pass   bool         `json:"pass"`
	PassAt float64      `json:"pass_at"`
	Error  float64      `json:"error"`
	Doubt  float64      `json:"doubt"`
	Parts  []partRecord `json:"parts"`
}

type reviewRecord struct {
	ID     int64    `json:"id"`
	At     string   `json:"at"`
	Chosen string   `json:"chosen"`
	Pass   bool     `json:"pass"`
	Value  *float64 `json:"value"`
	Why    string   `json:"why"`
}

type remarkRecord struct {
	ID    int64  `json:"id"`
	Task  int64  `json:"task"`
	At    string `json:"at"`
	Words string `json:"words"`
}

type otherRecord struct {
	Take   int64  `json:"take"`
	Handed string `json:"handed"`
	Counts bool   `json:"counts"`
}

type takeRecord struct {
	ID        int64          `json:"id"`
	Turn      int            `json:"turn"`
	Student   studentRecord  `json:"student"`
	Task      taskRecord     `json:"task"`
	Source    string         `json:"source"`
	Handed    string         `json:"handed"`
	Collected string         `json:"collected"`
	Seconds   float64        `json:"seconds"`
	Trouble   string         `json:"trouble"`
	Flags     flags          `json:"flags"`
	Stale     string         `json:"stale"`
	Written   bool           `json:"written"` // it has a staff
	Mark      *markRecord    `json:"mark"`
	Review    *reviewRecord  `json:"review"`
	Remarks   []remarkRecord `json:"remarks"`
	Others    []otherRecord  `json:"others"` // all takes of the student for the task, where there are more
}

func (d *Desk) take(r *http.Request, q asked) (any, error) {
	id := q.number("id", 0, 1, math.MaxInt64)
	if id == 0 {
		q.fail(wrong("id: want the number of a take"))
	}
	if err := q.err(); err != nil {
		return nil, err
	}
	var out takeRecord
	var g *glance
	if err := d.glance(r.Context(), func(seen *glance) error {
		g = seen
		out.Turn = d.turns
		return nil
	}); err != nil {
		return nil, err
	}
	turn := out.Turn
	err := d.source.Read(r.Context(), func(b Book) error {
		row, err := b.Take(id)
		if err != nil {
			return err
		}
		s, ok := g.student[row.Student]
		t, is := g.task[row.Task]
		if !ok || !is {
			return fmt.Errorf("take %d: %w", id, ErrNone)
		}
		out = takeRecord{
			ID: id, Turn: turn, Student: g.studentRecord(s), Task: g.taskRecord(t), Source: row.Source, Handed: row.Handed,
			Collected: row.Collected, Seconds: row.Seconds, Trouble: row.Trouble, Flags: summary(row, g.tasks[t]).flags,
			Review: reviewOf(row.Review), Remarks: []remarkRecord{}, Others: []otherRecord{},
		}
		if err := out.around(b, row); err != nil {
			return err
		}
		if row.Trouble != "" || row.Mark == nil {
			return nil
		}
		told, err := b.Explain(r.Context(), id)
		if err != nil {
			return err
		}
		// What counts is the mark that the class keeps; words and places are worked out.
		m := *row.Mark
		m.Parts, m.Heard = told.Mark.Parts, told.Mark.Heard
		out.Mark, out.Stale, out.Written, out.Seconds = markOf(m, told.Before), told.Stale, told.Staff != nil, told.End
		return nil
	})
	return out, err
}

// around adds what stands beside a take: remarks, and other takes for the task.
func (out *takeRecord) around(b Book, row Row) error {
	remarks, err := b.Remarks(row.Student)
	if err != nil {
		return err
	}
	for _, m := range remarks {
		if m.Task == 0 || m.Task == row.Task {
			out.Remarks = append(out.Remarks, remarkRecord{m.ID, m.Task, m.At, m.Words})
		}
	}
	all, err := b.TakesOf(row.Student, row.Task)
	if err != nil {
		return err
	}
	for _, one := range all {
		if len(all) > 1 {
			out.Others = append(out.Others, otherRecord{one.ID, one.Handed, one.Counts})
		}
	}
	return nil
}

func reviewOf(r *class.Review) *reviewRecord {
	if r == nil {
		return nil
	}
	out := &reviewRecord{ID: r.ID, At: r.At, Chosen: r.Chosen.String(), Pass: r.Pass, Why: r.Why}
	if r.Value >= 0 {
		out.Value = &r.Value
	}
	return out
}

// finite is a number that JSON can say.
func finite(f float64) float64 {
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return 0
	}
	return f
}

func markOf(m class.Mark, before func(float64) float64) *markRecord {
	out := &markRecord{
		ID: m.ID, At: m.At, Rubric: m.Rubric, Heard: m.Heard.String(), Value: finite(m.Value), Pass: m.Pass, PassAt: finite(m.PassAt),
		Error: finite(m.Error), Doubt: finite(m.Doubt), Parts: []partRecord{},
	}
	sum := 0.0
	for _, p := range m.Parts {
		sum += p.Weight
	}
	for _, p := range m.Parts {
		part := partRecord{Name: p.Criterion.String(), About: p.Criterion.Text(), Weight: finite(p.Weight / sum), Value: finite(p.Value), Measured: p.Measured, Why: p.Why, Places: []placeRecord{}}
		for _, at := range p.Places {
			part.Places = append(part.Places, placeRecord{finite(at.From), finite(at.To), finite(before(at.From)), at.First, at.Last, at.What})
		}
		out.Parts = append(out.Parts, part)
	}
	return out
}

// explain works out what is shown of a take.
func (d *Desk) explain(r *http.Request, q asked, f func(Explained) error) error {
	id := q.number("take", 0, 1, math.MaxInt64)
	if id == 0 {
		q.fail(wrong("take: want the number of a take"))
	}
	if err := q.err(); err != nil {
		return err
	}
	return d.source.Read(r.Context(), func(b Book) error {
		told, err := b.Explain(r.Context(), id)
		if err != nil {
			return err
		}
		return f(told)
	})
}

type pictureRecord struct {
	SVG   string  `json:"svg"`
	From  float64 `json:"from"`
	To    float64 `json:"to"`
	Left  float64 `json:"left"`
	Right float64 `json:"right"`
	Text  string  `json:"text"`
}

func (d *Desk) picture(r *http.Request, q asked) (any, error) {
	v := View{From: q.seconds("from"), To: q.seconds("to"), Width: int(q.number("width", 900, 200, 4000))}
	if v.To != 0 && v.To <= v.From {
		q.fail(wrong("to: it is not after from"))
	}
	var out pictureRecord
	err := d.explain(r, q, func(told Explained) error {
		p, err := told.Picture(v)
		out = pictureRecord{p.SVG, finite(p.From), finite(p.To), finite(p.Left), finite(p.Right), p.Text}
		return err
	})
	return out, err
}

func (d *Desk) staff(r *http.Request, q asked) (any, error) {
	width := int(q.number("width", 900, 200, 4000))
	var out struct {
		SVG string `json:"svg"`
	}
	err := d.explain(r, q, func(told Explained) (err error) {
		if told.Staff == nil {
			return fmt.Errorf("nothing is written of this task: %w", ErrNone)
		}
		out.SVG, err = told.Staff(width)
		return err
	})
	return out, err
}

// sound answers with a WAV file, or the part of it that was asked for.
func (d *Desk) sound(w http.ResponseWriter, r *http.Request) error {
	q, err := ask(r)
	if err != nil {
		return err
	}
	id := q.number("take", 0, 1, math.MaxInt64)
	part := q.among("part", string(Sung), string(Model), string(Both))
	key := fmt.Sprintf("%d %s", id, part)
	data, ok := d.sounds.get(key)
	if err := q.err(); err != nil || !ok {
		if err := d.explain(r, q, func(told Explained) (err error) {
			if data, err = told.Sound(Part(part)); err != nil && !errors.Is(err, ErrBusy) {
				err = refused{http.StatusNotFound, "silent", err.Error(), ""}
			}
			return err
		}); err != nil {
			return told(err)
		}
		d.sounds.put(key, data)
	}
	w.Header().Set("Content-Type", "audio/wav")
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(data))
	return nil
}

// sounds are those that were heard last: a browser asks for one in pieces.
type sounds struct {
	mu    sync.Mutex
	last  list.List // of *heard, the newest first
	bytes int
}

type heard struct {
	key  string
	data []byte
}

// maxSounds is how much of them is kept, in bytes; the newest always is.
const maxSounds = 64 << 20

func (s *sounds) get(key string) ([]byte, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for e := s.last.Front(); e != nil; e = e.Next() {
		if h := e.Value.(*heard); h.key == key {
			s.last.MoveToFront(e)
			return h.data, true
		}
	}
	return nil, false
}

func (s *sounds) put(key string, data []byte) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.last.PushFront(&heard{key, data})
	s.bytes += len(data)
	for s.bytes > maxSounds && s.last.Len() > 1 {
		s.bytes -= len(s.last.Remove(s.last.Back()).(*heard).data)
	}
}
