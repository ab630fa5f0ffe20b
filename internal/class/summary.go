package class

import (
	"cmp"
	"math"
	"slices"

	"singback/exercise/practice"
	"singback/theory"
)

// Sung is what one student sang of degrees and moves, over any number of takes.
type Sung struct {
	Student int64
	Tally   Tally
}

// Add adds the counts of another tally.
func (t *Tally) Add(other Tally) {
	if t.Degrees == nil {
		t.Degrees, t.Moves = map[theory.Degree]Count{}, map[Move]Count{}
	}
	for d, c := range other.Degrees {
		v := t.Degrees[d]
		t.Degrees[d] = Count{v.Right + c.Right, v.Of + c.Of}
	}
	for m, c := range other.Moves {
		v := t.Moves[m]
		t.Moves[m] = Count{v.Right + c.Right, v.Of + c.Of}
	}
}

// ClassShare is how much of something a class has right.
type ClassShare struct {
	Count
	Students int // who sang it
	// Share is that of the right answers. Its interval is Wilson's, as if each answer
	// were of another student.
	Share practice.Estimate
	// ByStudents has the same value, and an interval that allows for answers of one
	// student being alike; HasStudents is false with fewer than LeastStudents.
	ByStudents  practice.Estimate
	HasStudents bool
}

// LeastStudents is how many students an interval by students wants.
const LeastStudents = 5

// ClassDegree and ClassMove are how a class sings a degree and a move.
type (
	ClassDegree struct {
		Degree theory.Degree
		ClassShare
	}
	ClassMove struct {
		Move Move
		ClassShare
	}
)

// Weak sums up what a class sang, the weakest first. What was sung fewer than Least times
// is left out. The same student may come more than once.
func Weak(sung []Sung) (degrees []ClassDegree, moves []ClassMove) {
	each := map[int64]*Tally{}
	for _, s := range sung {
		if each[s.Student] == nil {
			each[s.Student] = &Tally{}
		}
		each[s.Student].Add(s.Tally)
	}
	ids := make([]int64, 0, len(each))
	for id := range each {
		ids = append(ids, id)
	}
	slices.Sort(ids) // so that rounding is the same each time
	d, m := map[theory.Degree][]Count{}, map[Move][]Count{}
	for _, id := range ids {
		for k, c := range each[id].Degrees {
			d[k] = append(d[k], c)
		}
		for k, c := range each[id].Moves {
			m[k] = append(m[k], c)
		}
	}
	for k, counts := range d {
		if s, ok := shareOf(counts); ok {
			degrees = append(degrees, ClassDegree{k, s})
		}
	}
	for k, counts := range m {
		if s, ok := shareOf(counts); ok {
			moves = append(moves, ClassMove{k, s})
		}
	}
	slices.SortFunc(degrees, func(a, b ClassDegree) int {
		return cmp.Or(cmp.Compare(a.Share.Value, b.Share.Value), cmp.Compare(b.Of, a.Of), compareDegrees(a.Degree, b.Degree))
	})
	slices.SortFunc(moves, func(a, b ClassMove) int {
		return cmp.Or(cmp.Compare(a.Share.Value, b.Share.Value), cmp.Compare(b.Of, a.Of), compareDegrees(a.Move.From, b.Move.From), compareDegrees(a.Move.To, b.Move.To))
	})
	return degrees, moves
}

func compareDegrees(a, b theory.Degree) int {
	return cmp.Or(cmp.Compare(a.Step, b.Step), cmp.Compare(a.Alter, b.Alter))
}

// shareOf sums up the counts of students. The interval by students is that of a sample of
// whole students: the variance of the share as a ratio of two sums (Cochran, Sampling
// Techniques, 3rd edition, section 11; from memory, checked against a statistics
// library's errors that are robust to groups), which says how many independent answers
// the answers are worth, never more than there are; with so many the interval is Wilson's,
// for fewer students widened by Student's t (as Korn & Graubard 1998 do with another
// interval; from memory). Where all answers are right, or none, they are worth one for
// each student.
func shareOf(students []Count) (ClassShare, bool) {
	var s ClassShare
	for _, c := range students {
		if c.Of > 0 {
			s.Students++
		}
		s.Right, s.Of = s.Right+c.Right, s.Of+c.Of
	}
	if s.Of < Least {
		return s, false
	}
	s.Share = practice.Share(s.Right, s.Of, practice.Confidence)
	if s.Students < LeastStudents {
		return s, true
	}
	s.HasStudents = true
	n, k, p := float64(s.Of), float64(s.Students), s.Share.Value
	worth := k
	if p > 0 && p < 1 {
		worth = min(n, p*(1-p)/ratioVariance(students))
	}
	z := math.Sqrt2 * math.Erfinv(practice.Confidence)
	t := practice.StudentQuantile(s.Students-1, practice.Confidence)
	s.ByStudents = wilson(p, worth*(z/t)*(z/t), z)
	return s, true
}

// ratioVariance is the variance of the share of all right answers over samples of whole
// students.
func ratioVariance(students []Count) float64 {
	right, of, k := 0.0, 0.0, 0.0
	for _, c := range students {
		right, of = right+float64(c.Right), of+float64(c.Of)
		if c.Of > 0 {
			k++
		}
	}
	p, sum := right/of, 0.0
	for _, c := range students {
		d := float64(c.Right) - p*float64(c.Of)
		sum += d * d
	}
	return k / (k - 1) * sum / (of * of)
}

// wilson is the interval of practice.Share for a number of answers that need not be whole.
func wilson(p, n, z float64) practice.Estimate {
	centre := (p + z*z/(2*n)) / (1 + z*z/n)
	half := z / (1 + z*z/n) * math.Sqrt(p*(1-p)/n+z*z/(4*n*n))
	e := practice.Estimate{Value: p, Low: max(0, centre-half), High: min(1, centre+half)}
	if p == 0 {
		e.Low = 0
	}
	if p == 1 {
		e.High = 1
	}
	return e
}

// Distribution is how marks lie.
type Distribution struct {
	Marks, Passed     int
	Unsung            int // takes in which nothing was sung; among Marks
	Low, Median, High float64
	Quarter, Three    float64 // a quarter of the marks lie below, and above
	Tenths            [10]int // marks from 0 to 0.1, and so on; the last holds 1
}

// Distribute tells how marks lie; of no marks all is 0.
func Distribute(marks []Mark) Distribution {
	d := Distribution{Marks: len(marks)}
	if len(marks) == 0 {
		return d
	}
	values := make([]float64, len(marks))
	for i, m := range marks {
		values[i] = m.Value
		if m.Pass {
			d.Passed++
		}
		if m.Heard != 0 {
			d.Unsung++
		}
		d.Tenths[max(0, min(9, int(m.Value*10+equal)))]++
	}
	slices.Sort(values)
	at := func(share float64) float64 { // between the two nearest, in proportion
		x := share * float64(len(values)-1)
		k := min(int(x), len(values)-1)
		next := min(k+1, len(values)-1)
		return values[k] + (x-float64(k))*(values[next]-values[k])
	}
	d.Low, d.Quarter, d.Median, d.Three, d.High = values[0], at(0.25), at(0.5), at(0.75), values[len(values)-1]
	return d
}

// Changed is a take whose mark is another than before.
type Changed struct {
	Take     int64
	From, To Mark
	Flipped  bool // it passed and does no more, or does now
}

// Changes compares the marks of takes before and after they were marked anew: first those
// that pass no more or do now, then by how much the value changed. A take that has only
// one of both marks is left out.
func Changes(before, after []Mark) []Changed {
	old := make(map[int64]Mark, len(before))
	for _, m := range before {
		old[m.Take] = m
	}
	var out []Changed
	for _, m := range after {
		b, ok := old[m.Take]
		if !ok || math.Abs(b.Value-m.Value) <= equal && b.Pass == m.Pass && b.Heard == m.Heard {
			continue
		}
		out = append(out, Changed{m.Take, b, m, b.Pass != m.Pass})
	}
	slices.SortFunc(out, func(a, b Changed) int {
		return cmp.Or(cmp.Compare(side(b.Flipped), side(a.Flipped)),
			cmp.Compare(math.Abs(b.To.Value-b.From.Value), math.Abs(a.To.Value-a.From.Value)), cmp.Compare(a.Take, b.Take))
	})
	return out
}
