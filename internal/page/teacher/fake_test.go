package teacher

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"iter"
	"math"
	"slices"
	"strings"
	"sync"
	"time"

	"singback/exercise/grade"
	"singback/internal/audio"
	"singback/internal/class"
)

// fake is a class in memory, of invented students, whose marks come from a formula.
type fake struct {
	mu       sync.Mutex
	stamp    uint32
	busy     bool
	name     string
	students []class.Student
	tasks    []class.Task
	rows     []Row // by task, then student
	remarks  []class.Remark
	reviews  int64
	writes   int
	reads    int
	ill      error // what reading ends with
}

var voices = []string{"soprano", "alto", "tenor", "bass"}

// invented makes a class: of the takes a twentieth is missing, and one in fifty could
// not be read.
func invented(students, tasks int) *fake {
	f := &fake{name: "Harbour choir, beginners (invented)"}
	first := []string{"Ada", "Bo", "Cem", "Dora", "Edo", "Fia", "Gil", "Hana", "Ivo", "Jana", "Kai", "Lea", "Mio", "Nur", "Ove", "Pia"}
	for i := range students {
		name := first[i%len(first)]
		if i >= len(first) {
			name = fmt.Sprintf("%s %d", name, i/len(first)+1)
		}
		f.students = append(f.students, class.Student{ID: int64(i + 1), Name: name, Voice: voices[i%4]})
	}
	slices.SortFunc(f.students, func(a, b class.Student) int { return strings.Compare(a.Name, b.Name) })
	for t := range tasks {
		f.tasks = append(f.tasks, class.Task{ID: int64(t + 1), Name: fmt.Sprintf("line %d", t+1), Words: "Sing it as written.",
			Due: class.Date(fmt.Sprintf("2026-11-%02d", t%28+1)), Rubric: class.Rubric{Name: "plain", Pass: 0.6, Points: (t % 2) * 15}})
	}
	for t := range f.tasks {
		for s := range f.students {
			n := s*31 + t*17
			if n%20 == 7 {
				continue
			}
			id := int64(len(f.rows) + 1)
			row := Row{Take: class.Take{ID: id, Student: f.students[s].ID, Task: f.tasks[t].ID, Source: fmt.Sprintf("week%d/%s.ogg", t+1, f.students[s].Name),
				Handed: fmt.Sprintf("2026-11-%02dT18:04:05Z", (t+n%3)%28+1), Collected: "2026-11-28T09:00:00Z", Seconds: 20}, Counts: true}
			if n%50 == 13 {
				row.Trouble = "it ends after 0 s: not all of it was sent"
			} else {
				value := 0.5 + 0.5*math.Sin(float64(n)*0.7)
				row.Mark = &class.Mark{ID: 1000000 + id, Take: id, At: "2026-11-28T09:00:01Z", Rubric: "plain", Value: value, Pass: value >= 0.6,
					PassAt: 0.6, Error: 0.05, Doubt: 0.5 * math.Exp(-math.Abs(value-0.6)/0.1)}
			}
			f.rows = append(f.rows, row)
		}
	}
	return f
}

func (f *fake) Stamp() (Stamp, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return Stamp{"harbour.class", f.stamp}, nil
}

func (f *fake) Read(_ context.Context, do func(Book) error) error {
	f.mu.Lock()
	f.reads++
	ill := f.ill
	f.mu.Unlock()
	if ill != nil {
		return ill
	}
	return do(book{f})
}

func (f *fake) Write(_ context.Context, do func(Book) error) error {
	f.mu.Lock()
	busy := f.busy
	f.mu.Unlock()
	if busy {
		return fmt.Errorf("harbour.class: %w", ErrBusy)
	}
	err := do(book{f})
	f.mu.Lock()
	defer f.mu.Unlock()
	if err == nil {
		f.stamp++
		f.writes++
	}
	return err
}

// change is what another program does.
func (f *fake) change(do func()) {
	f.mu.Lock()
	defer f.mu.Unlock()
	do()
	f.stamp++
}

type book struct{ *fake }

func (b book) Name() string                       { return b.name }
func (b book) Students() ([]class.Student, error) { return slices.Clone(b.students), nil }
func (b book) Tasks() ([]class.Task, error)       { return slices.Clone(b.tasks), nil }
func (b book) Takes() iter.Seq2[Row, error] {
	return func(yield func(Row, error) bool) {
		for _, r := range b.rows {
			if r.Counts && !yield(r, nil) {
				return
			}
		}
	}
}

func (b book) TakesOf(student, task int64) (out []Row, err error) {
	for _, r := range b.rows {
		if r.Student == student && r.Task == task {
			out = append(out, r)
		}
	}
	return out, nil
}

func (b book) row(id int64) (*Row, error) {
	if id < 1 || int(id) > len(b.rows) {
		return nil, fmt.Errorf("take %d: %w", id, ErrNone)
	}
	return &b.rows[id-1], nil
}

func (b book) Take(id int64) (Row, error) {
	r, err := b.row(id)
	if err != nil {
		return Row{}, err
	}
	return *r, nil
}

func (b book) Remarks(student int64) (out []class.Remark, err error) {
	for _, r := range b.remarks {
		if r.Student == student {
			out = append(out, r)
		}
	}
	return out, nil
}

func (b book) Agreements() (class.Agreements, error) {
	var all []class.Reviewed
	n := 0
	for _, r := range b.rows {
		if r.Mark != nil {
			n++
		}
		if r.Review != nil && r.Mark != nil {
			all = append(all, class.Reviewed{Review: *r.Review, Mark: *r.Mark})
		}
	}
	return class.Agree(all, n), nil
}

func (b book) AddReview(r class.Review, _ string) (int64, error) {
	row, err := b.row(r.Take)
	if err != nil {
		return 0, err
	}
	b.reviews++
	r.ID = b.reviews
	row.Review = &r
	return r.ID, nil
}

func (b book) TakeBack(take int64) (bool, error) {
	row, err := b.row(take)
	if err != nil || row.Review == nil {
		return false, err
	}
	row.Review = nil
	return true, nil
}

func (b book) AddRemark(r class.Remark) (int64, error) {
	r.ID = int64(len(b.remarks) + 1)
	b.remarks = append(b.remarks, r)
	return r.ID, nil
}

func (b book) Explain(_ context.Context, id int64) (Explained, error) {
	r, err := b.row(id)
	if err != nil {
		return Explained{}, err
	}
	m := class.Mark{}
	if r.Mark != nil {
		m = *r.Mark
	}
	m.Heard = grade.Singing
	m.Parts = []class.Part{
		{Criterion: class.Notes, Weight: 3, Value: 0.75, Measured: true, Why: "9 of 12 notes are right", Places: []class.Place{
			{From: 4, To: 5, First: 3, Last: 3, What: "la is 70 cents sharp"}, {From: 11.5, To: 13, First: 9, Last: 10, What: "two notes are left out"}}},
		{Criterion: class.Flow, Weight: 1, Value: 0.5, Measured: true, Why: "one halt", Places: []class.Place{{From: 15, To: 16.2, First: 12, Last: 12, What: "a halt of 1.2 s"}}},
		{Criterion: class.Steadiness, Weight: 1, Why: "too little was sung to tell"},
	}
	return Explained{
		Mark: m, End: 20, Before: func(at float64) float64 { return max(0, at-2.4) },
		Picture: func(v View) (Picture, error) {
			if v.To == 0 {
				v.To = 20
			}
			return Picture{SVG: fakePicture(v), From: v.From, To: v.To, Left: 52 / float64(v.Width), Right: 1 - 8/float64(v.Width), Text: "the pitch against the line"}, nil
		},
		Staff: func(width int) (string, error) { return fakePicture(View{0, 20, width}), nil },
		Sound: func(p Part) ([]byte, error) {
			if p == Model && r.Task == 2 {
				return nil, errors.New("the model of this task cannot be sounded")
			}
			return tone(20, map[Part]float64{Sung: 440, Model: 330, Both: 220}[p]), nil
		},
	}, nil
}

func fakePicture(v View) string {
	var path strings.Builder
	for x := 52; x < v.Width-8; x += 4 {
		fmt.Fprintf(&path, "%d %.1f ", x, 120+60*math.Sin(v.From+float64(x)/40))
	}
	return fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d 240"><title>Pitch</title><polyline class="voice" fill="none" stroke="currentColor" points="%s"/></svg>`, v.Width, path.String())
}

// tone is a WAV of a tone.
func tone(seconds int, hz float64) []byte {
	const rate = 8000
	x := make([]float64, seconds*rate)
	for i := range x {
		x[i] = 0.1 * math.Sin(2*math.Pi*hz*float64(i)/rate)
	}
	var b bytes.Buffer
	if err := audio.WriteWAV(&b, rate, x); err != nil {
		panic(err)
	}
	return b.Bytes()
}

func clock() time.Time { return time.Date(2026, 11, 28, 9, 30, 0, 0, time.UTC) }
