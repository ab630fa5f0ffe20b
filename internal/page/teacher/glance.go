package teacher

import (
	"cmp"
	"context"
	"math"
	"slices"
	"strings"

	"singback/internal/class"
)

// Unsure is the doubt from which a mark is called unsure: one chance in ten that the
// other side of the pass line is right (our choice).
const Unsure = 0.1

// cell is what counts of one student for one task, in short.
type cell struct {
	take, mark   int64 // 0: none
	flags        flags
	value, doubt float32 // of the machine's mark
	length       float32 // seconds
	teachers     float32 // the teacher's value; less than 0: none
	passAt       float32 // from which value on it passes
}

// flags says of a cell what is so; the browser has the same numbers.
type flags uint16

const (
	marked    flags = 1 << iota
	passed          // what counts: the teacher's word, else the machine's mark
	reviewed        // the teacher said
	overruled       // and said other than the machine
	late            // handed in after the due day
	unread          // the recording could not be read
	unsure          // the machine is, and the teacher said nothing yet
)

// worth is the value that counts: the teacher's where it was said.
func (c cell) worth() float64 {
	if c.flags&reviewed != 0 && c.teachers >= 0 {
		return float64(c.teachers)
	}
	return float64(c.value)
}

// glance is a class as it was read: what all screens but that of one take show.
type glance struct {
	stamp    Stamp
	name     string
	students []class.Student
	tasks    []class.Task
	student  map[int64]int // by ID
	task     map[int64]int
	cells    []cell // students × tasks
	agree    class.Agreements

	queue []int // of cells that are marked and not reviewed, by doubt; nil: to be sorted
}

func (g *glance) at(student, task int) *cell { return &g.cells[student*len(g.tasks)+task] }

// readGlance reads a class.
func readGlance(ctx context.Context, b Book, stamp Stamp) (*glance, error) {
	g := &glance{stamp: stamp, name: b.Name(), student: map[int64]int{}, task: map[int64]int{}}
	var err error
	if g.students, err = b.Students(); err != nil {
		return nil, err
	}
	if g.tasks, err = b.Tasks(); err != nil {
		return nil, err
	}
	for i, s := range g.students {
		g.student[s.ID] = i
	}
	for i, t := range g.tasks {
		g.task[t.ID] = i
	}
	g.cells = make([]cell, len(g.students)*len(g.tasks))
	n := 0
	for row, err := range b.Takes() {
		if err != nil {
			return nil, err
		}
		if n++; n%4096 == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		g.put(row)
	}
	if g.agree, err = b.Agreements(); err != nil {
		return nil, err
	}
	return g, nil
}

// put puts a take that counts into the table.
func (g *glance) put(row Row) {
	s, ok := g.student[row.Student]
	t, is := g.task[row.Task]
	if !ok || !is {
		return
	}
	*g.at(s, t) = summary(row, g.tasks[t])
}

// summary is a take in short.
func summary(row Row, task class.Task) cell {
	c := cell{take: row.ID, length: float32(row.Seconds), teachers: -1}
	if day := string(task.Due); day != "" && len(row.Handed) >= len(day) && row.Handed[:len(day)] > day {
		c.flags |= late
	}
	if row.Trouble != "" {
		c.flags |= unread
	}
	if m := row.Mark; m != nil {
		c.mark, c.value, c.doubt = m.ID, float32(m.Value), float32(m.Doubt)
		c.passAt = float32(m.PassAt)
		c.flags |= marked
		if m.Pass {
			c.flags |= passed
		}
		if m.Doubt >= Unsure && row.Review == nil {
			c.flags |= unsure
		}
	}
	if r := row.Review; r != nil {
		c.flags = c.flags&^passed | reviewed
		c.teachers = float32(r.Value)
		if r.Pass {
			c.flags |= passed
		}
		if row.Mark != nil && row.Mark.Pass != r.Pass {
			c.flags |= overruled
		}
	}
	return c
}

// counts are how many there are of each kind.
type counts struct {
	Students int `json:"students"`
	Tasks    int `json:"tasks"`
	Takes    int `json:"takes"`
	Missing  int `json:"missing"`
	Unread   int `json:"unread"`
	Unmarked int `json:"unmarked"`
	Passed   int `json:"passed"`
	Failed   int `json:"failed"`
	Unsure   int `json:"unsure"`
	Reviewed int `json:"reviewed"`
	Late     int `json:"late"`
}

// count counts a task, or with −1 the class. What is asked for is melodies: of an
// exercise nothing is handed in.
func (g *glance) count(task int) counts {
	n := counts{Students: len(g.students), Tasks: len(g.tasks)}
	for t := range g.tasks {
		if task >= 0 && t != task || g.tasks[t].Kind != class.Melody {
			continue
		}
		for s := range g.students {
			n.add(g.at(s, t))
		}
	}
	return n
}

func (n *counts) add(c *cell) {
	if c.take == 0 {
		n.Missing++
		return
	}
	n.Takes++
	n.Unread += b2i(c.flags&unread != 0)
	n.Unsure += b2i(c.flags&unsure != 0)
	n.Reviewed += b2i(c.flags&reviewed != 0)
	n.Late += b2i(c.flags&late != 0)
	switch {
	case c.flags&passed != 0:
		n.Passed++
	case c.flags&(marked|reviewed) != 0:
		n.Failed++
	case c.flags&unread == 0:
		n.Unmarked++
	}
}

// doubtful are the takes that the machine marked and the teacher has not heard, in the
// order of class.Queue.
func (g *glance) doubtful() []int {
	if g.queue == nil {
		g.queue = []int{}
		for i, c := range g.cells {
			if c.flags&marked != 0 && c.flags&reviewed == 0 {
				g.queue = append(g.queue, i)
			}
		}
		slices.SortStableFunc(g.queue, func(a, b int) int {
			x, y := g.cells[a], g.cells[b]
			near := func(c cell) float64 { return math.Abs(float64(c.value) - float64(c.passAt)) }
			return cmp.Or(cmp.Compare(y.doubt, x.doubt), cmp.Compare(near(x), near(y)), cmp.Compare(x.take, y.take))
		})
	}
	return g.queue
}

// sample are n of the marked takes, drawn by lot as class.Draw does.
func (g *glance) sample(n int, seed uint64, task int) []int {
	var cells []int
	var marks []class.Mark
	for i, c := range g.cells {
		if c.flags&marked != 0 && (task < 0 || i%len(g.tasks) == task) {
			cells, marks = append(cells, i), append(marks, class.Mark{Take: c.take})
		}
	}
	drawn := class.Draw(marks, n, seed)
	for i, at := range drawn {
		drawn[i] = cells[at]
	}
	return drawn
}

// rows are the students in an order, those that are wanted.
func (g *glance) rows(find, show, sort string, task int, down bool) []int {
	find = strings.ToLower(find)
	var list []int
	for s := range g.students {
		if strings.Contains(strings.ToLower(g.students[s].Name), find) && g.has(s, show, task) {
			list = append(list, s)
		}
	}
	var by func(s int) float64
	switch sort {
	case "missing":
		by = func(s int) float64 { return g.sum(s, func(c cell) bool { return c.take == 0 }) }
	case "unsure":
		by = func(s int) float64 { return g.sum(s, func(c cell) bool { return c.flags&unsure != 0 }) }
	case "value":
		by = func(s int) float64 { return g.mean(s, task) }
	default:
		if down {
			slices.Reverse(list)
		}
		return list
	}
	keys := make(map[int]float64, len(list))
	for _, s := range list {
		keys[s] = by(s)
	}
	slices.SortStableFunc(list, func(a, b int) int {
		x, y := keys[a], keys[b]
		switch { // who has nothing stands last, whichever way
		case math.IsNaN(x) || math.IsNaN(y):
			return cmp.Compare(b2i(math.IsNaN(x)), b2i(math.IsNaN(y)))
		case down:
			return cmp.Compare(y, x)
		}
		return cmp.Compare(x, y)
	})
	return list
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// shows are what the table can be confined to: students of whom one cell is so.
var shows = map[string]func(cell) bool{
	"missing":  func(c cell) bool { return c.take == 0 },
	"unsure":   func(c cell) bool { return c.flags&unsure != 0 },
	"failed":   func(c cell) bool { return c.flags&(marked|reviewed) != 0 && c.flags&passed == 0 },
	"unread":   func(c cell) bool { return c.flags&unread != 0 },
	"unmarked": func(c cell) bool { return c.take != 0 && c.flags&(marked|reviewed|unread) == 0 },
	"reviewed": func(c cell) bool { return c.flags&reviewed != 0 },
	"late":     func(c cell) bool { return c.flags&late != 0 },
}

func (g *glance) has(s int, show string, task int) bool {
	is, ok := shows[show]
	if !ok {
		return true
	}
	for t := range g.tasks {
		if (task < 0 || t == task) && g.tasks[t].Kind == class.Melody && is(*g.at(s, t)) {
			return true
		}
	}
	return false
}

// sum counts the tasks of a student of which something is so.
func (g *glance) sum(s int, is func(cell) bool) (n float64) {
	for t := range g.tasks {
		if g.tasks[t].Kind == class.Melody && is(*g.at(s, t)) {
			n++
		}
	}
	return n
}

// mean is the mean of a student's marks, or the mark for one task; NaN without one.
func (g *glance) mean(s, task int) float64 {
	sum, n := 0.0, 0
	for t := range g.tasks {
		if c := g.at(s, t); (task < 0 || t == task) && c.flags&marked != 0 {
			sum += c.worth()
			n++
		}
	}
	if n == 0 {
		return math.NaN()
	}
	return sum / float64(n)
}
