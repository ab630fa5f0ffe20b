package teacher

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"mime"
	"net/http"
	"net/url"
	"strconv"
	"sync"
	"time"

	"singback/internal/class"
)

// Desk answers what the desk in the browser asks.
type Desk struct {
	source Source
	now    func() time.Time

	mu    sync.Mutex
	seen  *glance
	turns int // how often the class was read
	done  map[string]reviewReply
	order []string // the keys of done, the oldest first

	sounds sounds
}

// New returns the desk of a class.
func New(source Source, now func() time.Time) *Desk {
	return &Desk{source: source, now: now, done: map[string]reviewReply{}}
}

// Handlers are what can be asked, by name and method.
func (d *Desk) Handlers() map[string]map[string]func(http.ResponseWriter, *http.Request) error {
	get := func(f func(*http.Request, asked) (any, error)) map[string]func(http.ResponseWriter, *http.Request) error {
		return map[string]func(http.ResponseWriter, *http.Request) error{http.MethodGet: func(w http.ResponseWriter, r *http.Request) error {
			q, err := ask(r)
			if err != nil {
				return err
			}
			record, err := f(r, q)
			if err == nil {
				err = q.err()
			}
			if err != nil {
				return told(err)
			}
			return reply(w, record)
		}}
	}
	post := func(f func(http.ResponseWriter, *http.Request) error) map[string]func(http.ResponseWriter, *http.Request) error {
		return map[string]func(http.ResponseWriter, *http.Request) error{http.MethodPost: f}
	}
	return map[string]map[string]func(http.ResponseWriter, *http.Request) error{
		"class":   get(d.class),
		"table":   get(d.table),
		"queue":   get(d.queue),
		"take":    get(d.take),
		"picture": get(d.picture),
		"staff":   get(d.staff),
		"sound":   {http.MethodGet: d.sound},
		"review":  post(d.review),
		"undo":    post(d.undo),
		"remark":  post(d.remark),
	}
}

// look returns the class as it is now, read anew where another program changed it.
// Whoever has it holds d.mu.
func (d *Desk) look(ctx context.Context) (*glance, error) {
	stamp, err := d.source.Stamp()
	if err != nil {
		return nil, err
	}
	if d.seen != nil && d.seen.stamp == stamp {
		return d.seen, nil
	}
	err = d.source.Read(ctx, func(b Book) error {
		g, err := readGlance(ctx, b, stamp)
		if err == nil {
			d.seen, d.turns = g, d.turns+1
		}
		return err
	})
	return d.seen, err
}

// glance is look for whoever only reads.
func (d *Desk) glance(ctx context.Context, f func(*glance) error) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	g, err := d.look(ctx)
	if err != nil {
		return err
	}
	return f(g)
}

// asked are the parameters of an address, each of which may be wrong.
type asked struct {
	values url.Values
	used   map[string]bool
	first  *error
}

// ask reads the parameters of a request.
func ask(r *http.Request) (asked, error) {
	values, err := url.ParseQuery(r.URL.RawQuery)
	if err != nil {
		return asked{}, wrong("%.40q: no parameters of an address", r.URL.RawQuery)
	}
	for name, all := range values {
		if len(all) > 1 {
			return asked{}, wrong("%.20q: it is said %d times", name, len(all))
		}
	}
	return asked{values, map[string]bool{}, new(error)}, nil
}

func (q asked) fail(err error) {
	if *q.first == nil {
		*q.first = err
	}
}

func (q asked) err() error {
	for name := range q.values {
		if !q.used[name] {
			q.fail(wrong("%.20q: nothing is asked by that name", name))
		}
	}
	return *q.first
}

func (q asked) text(name string) string {
	q.used[name] = true
	s := q.values.Get(name)
	if len(s) > 4*class.MaxName {
		q.fail(wrong("%s: it is longer than %d bytes", name, 4*class.MaxName))
		return ""
	}
	return s
}

// number is a whole number from least to most, or otherwise what it is without.
func (q asked) number(name string, without, least, most int64) int64 {
	s := q.text(name)
	if s == "" {
		return without
	}
	n, err := strconv.ParseInt(s, 10, 64)
	if err != nil || n < least || n > most {
		q.fail(wrong("%s: %.20q: want a whole number from %d to %d", name, s, least, most))
		return without
	}
	return n
}

// seconds is a time.
func (q asked) seconds(name string) float64 {
	s := q.text(name)
	if s == "" {
		return 0
	}
	f, err := strconv.ParseFloat(s, 64)
	if err != nil || !(f >= 0 && f < 1e6) {
		q.fail(wrong("%s: %.20q: want seconds of the take", name, s))
		return 0
	}
	return f
}

func (q asked) yes(name string) bool { return q.number(name, 0, 0, 1) == 1 }

// among is one of some words, the first where nothing is said.
func (q asked) among(name string, words ...string) string {
	s := q.text(name)
	if s == "" {
		return words[0]
	}
	for _, word := range words {
		if s == word {
			return s
		}
	}
	q.fail(wrong("%s: %.20q: want one of %q", name, s, words))
	return words[0]
}

// task is the index of a task in the class, −1 for all of them.
func (q asked) task(g *glance) int {
	id := q.number("task", 0, 0, math.MaxInt64)
	if id == 0 {
		return -1
	}
	i, ok := g.task[id]
	if !ok {
		q.fail(told(fmt.Errorf("task %d: %w", id, ErrNone)))
		return -1
	}
	return i
}

// reply answers with a record.
func reply(w http.ResponseWriter, record any) error {
	b, err := json.Marshal(record)
	if err != nil {
		return err // a number that is none, in a file
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Content-Length", strconv.Itoa(len(b)))
	_, _ = w.Write(b) // whoever asked may have gone
	return nil
}

// maxBody is how long a request may be, in bytes.
const maxBody = 64 << 10

// read reads the record that a request carries, of known fields.
func read(w http.ResponseWriter, r *http.Request, record any) error {
	kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil || kind != "application/json" {
		return refused{http.StatusUnsupportedMediaType, "wrong", "it is sent as something else; want application/json", ""}
	}
	if r.ContentLength > maxBody {
		return refused{http.StatusRequestEntityTooLarge, "wrong", fmt.Sprintf("more than %d bytes at once", maxBody), ""}
	}
	in := json.NewDecoder(http.MaxBytesReader(w, r.Body, maxBody))
	in.DisallowUnknownFields()
	if err := in.Decode(record); err != nil {
		return wrong("it cannot be read: %v", err)
	}
	if _, err := in.Token(); err != io.EOF {
		return wrong("it has more than one record")
	}
	return nil
}
