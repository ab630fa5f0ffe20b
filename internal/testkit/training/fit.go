package training

import (
	"math"
	"runtime"
	"slices"
	"sync"
)

// Choice is one example of a choice among options and none of them.
type Choice struct {
	Options [][]float32 // the features of each, all of one length
	None    []float32   // the features of none; may be empty
	Right   int         // index of the right option, −1: none
}

// Ridge is the penalty on the square of a weight, per example, that all fits
// use: half of it times the sum of squares is added to the mean loss. It is
// small enough to cost nothing where the examples say something, and makes the
// minimum one point where they do not.
const Ridge = 1e-5

// perPart is how many examples are summed before their sum is added to the
// others: the order of all sums is the same on any number of processors.
const perPart = 512

// Fit finds the weights of the multinomial logistic model that makes the right
// choices likeliest: the options' and none's. The loss with its ridge is convex
// and has one minimum, so the weights do not depend on where the search starts:
// from zero, by Newton's method with halved steps (any textbook of logistic
// regression), first on some of the examples, which is a near place to go on
// from, and then on all, until a step would change the mean loss by less than
// 1e-13.
//
// The same examples in the same order give the same bits, whatever the number of
// processors, on one kind of processor: where the compiler fuses products and
// sums the last digits differ.
func Fit(examples []Choice, ridge float64) (option, none []float64) {
	if len(examples) == 0 {
		return nil, nil
	}
	options, total := 0, len(examples[0].None)
	for _, e := range examples {
		if len(e.Options) > 0 {
			options = len(e.Options[0])
			total += options
			break
		}
	}
	w := make([]float64, total)
	if len(examples) > manyExamples {
		var some []Choice
		for i := 0; i < len(examples); i += everyOther {
			some = append(some, examples[i])
		}
		descend(some, options, w, ridge, 1e-4)
	}
	descend(examples, options, w, ridge, 1e-13)
	return w[:options], w[options:]
}

// Of more than manyExamples every everyOther-th is fitted first.
const (
	manyExamples = 20000
	everyOther   = 10
)

// descend moves w to the minimum, until a step would gain less than enough.
func descend(examples []Choice, options int, w []float64, ridge, enough float64) {
	loss := slopes(examples, options, w, ridge, true)
	next := make([]float64, len(w))
	for range 100 {
		step := solve(loss.curve, loss.slope)
		gain := 0.0
		for i, s := range step {
			gain += s * loss.slope[i]
		}
		if !(gain > enough) {
			break
		}
		// A full step, or the largest of its halves that gains enough (Armijo).
		scale := 1.0
		for ; scale > 1e-6; scale /= 2 {
			for i := range next {
				next[i] = w[i] - scale*step[i]
			}
			if slopes(examples, options, next, ridge, false).value <= loss.value-1e-4*scale*gain {
				break
			}
		}
		copy(w, next)
		loss = slopes(examples, options, w, ridge, true)
	}
}

// Loss is the mean negative log likelihood of the right choices, and the share
// of examples where another choice is likelier than the right one.
func Loss(examples []Choice, option, none []float64) (mean, wrong float64) {
	m := newMinimum(0)
	for i := range examples {
		m.add(&examples[i], option, none, false)
	}
	n := float64(len(examples))
	return m.value / n, float64(m.wrong) / n
}

// minimum gathers what Newton's method needs: the loss, its slope and its
// curvature (the upper triangle) in the weights.
type minimum struct {
	value float64
	wrong int
	slope []float64
	curve [][]float64

	p            []float64
	mean, likely []float64 // of one example: all, and without the unlikely options
}

func newMinimum(size int) *minimum {
	m := &minimum{slope: make([]float64, size), curve: make([][]float64, size), mean: make([]float64, size), likely: make([]float64, size)}
	for i := range m.curve {
		m.curve[i] = make([]float64, size)
	}
	return m
}

// slopes sums up the mean loss of all examples at the weights w, the first of
// which are the options', and the ridge's part.
func slopes(examples []Choice, options int, w []float64, ridge float64, curved bool) *minimum {
	size := 0
	if curved {
		size = len(w)
	}
	parts := (len(examples) + perPart - 1) / perPart
	sum := newMinimum(size)
	// A few parts at once, each of them summed by itself, added up in their order.
	workers := min(parts, runtime.GOMAXPROCS(0))
	done := make([]*minimum, workers)
	for first := 0; first < parts; first += workers {
		var wait sync.WaitGroup
		for k := range min(workers, parts-first) {
			wait.Go(func() {
				if done[k] == nil {
					done[k] = newMinimum(size)
				}
				done[k].clear()
				from := (first + k) * perPart
				for i := from; i < min(from+perPart, len(examples)); i++ {
					done[k].add(&examples[i], w[:options], w[options:], curved)
				}
			})
		}
		wait.Wait()
		for k := range min(workers, parts-first) {
			sum.join(done[k])
		}
	}
	n := float64(len(examples))
	sum.value /= n
	for _, v := range w {
		sum.value += ridge / 2 * v * v
	}
	for i := range sum.slope {
		sum.slope[i] = sum.slope[i]/n + ridge*w[i]
		for j := i; j < size; j++ {
			sum.curve[i][j] /= n
		}
		sum.curve[i][i] += ridge
	}
	return sum
}

func (m *minimum) clear() {
	m.value, m.wrong = 0, 0
	clear(m.slope)
	for i := range m.curve {
		clear(m.curve[i])
	}
}

func (m *minimum) join(o *minimum) {
	m.value += o.value
	m.wrong += o.wrong
	for i, v := range o.slope {
		m.slope[i] += v
		row := m.curve[i]
		for j := i; j < len(row); j++ {
			row[j] += o.curve[i][j]
		}
	}
}

// add adds one example.
func (m *minimum) add(e *Choice, option, none []float64, curved bool) {
	n := len(e.Options)
	m.p = append(m.p[:0], make([]float64, n+1)...)
	p := m.p
	for j, v := range e.None {
		p[n] += none[j] * float64(v)
	}
	most, likeliest := p[n], -1
	for q, x := range e.Options {
		for j, v := range x {
			p[q] += option[j] * float64(v)
		}
		if p[q] > most {
			most, likeliest = p[q], q
		}
	}
	sum := 0.0
	for q := range p {
		p[q] = math.Exp(p[q] - most)
		sum += p[q]
	}
	for q := range p {
		p[q] /= sum
	}
	right := e.Right
	if right < 0 {
		right = n
	}
	m.value -= math.Log(p[right] + 1e-300)
	if likeliest != e.Right {
		m.wrong++
	}
	if !curved {
		return
	}
	// The mean of the features under the model, less those of the right choice,
	// is the slope; their variance is the curvature.
	k := len(option)
	clear(m.mean)
	clear(m.likely)
	sure := slices.Max(p) > 1-unlikely
	for q, x := range e.Options {
		for j, v := range x {
			m.mean[j] += p[q] * float64(v)
		}
		if q == right {
			for j, v := range x {
				m.slope[j] -= float64(v)
			}
		}
		if sure || p[q] < unlikely {
			continue
		}
		for i, v := range x {
			m.likely[i] += p[q] * float64(v)
			if v != 0 {
				addScaled(m.curve[i][i:k], p[q]*float64(v), x[i:])
			}
		}
	}
	for j, v := range e.None {
		m.mean[k+j] = p[n] * float64(v)
		if right == n {
			m.slope[k+j] -= float64(v)
		}
		if v != 0 && !sure && p[n] >= unlikely {
			m.likely[k+j] = m.mean[k+j]
			addScaled(m.curve[k+j][k+j:], p[n]*float64(v), e.None[j:])
		}
	}
	for j, v := range m.mean {
		m.slope[j] += v
	}
	if sure {
		return
	}
	for i, v := range m.likely {
		if v != 0 {
			row, mean := m.curve[i][i:], m.likely[i:]
			for j, w := range mean[:len(row)] {
				row[j] -= v * w
			}
		}
	}
}

// unlikely options are left out of the curvature, where they cost time and change
// little, and so are examples of which the model is as sure: the curvature need
// not be exact for Newton's method to end in the minimum.
const unlikely = 1e-6

// addScaled adds a times x to y.
func addScaled(y []float64, a float64, x []float32) {
	x = x[:len(y)]
	for i, v := range x {
		y[i] += a * float64(v)
	}
}

// solve gives curve⁻¹·slope by Cholesky's method; curve is symmetric, positive
// definite, and given by its upper triangle.
func solve(curve [][]float64, slope []float64) []float64 {
	n := len(slope)
	root := make([][]float64, n) // upper: curve = rootᵀ·root
	for i := range root {
		root[i] = append([]float64(nil), curve[i]...)
		for k := range i {
			f := root[k][i]
			for j := i; j < n; j++ {
				root[i][j] -= f * root[k][j]
			}
		}
		d := math.Sqrt(max(root[i][i], 1e-12))
		for j := i; j < n; j++ {
			root[i][j] /= d
		}
		root[i][i] = d
	}
	x := append([]float64(nil), slope...)
	for i := range x {
		for k := range i {
			x[i] -= root[k][i] * x[k]
		}
		x[i] /= root[i][i]
	}
	for i := n - 1; i >= 0; i-- {
		for j := i + 1; j < n; j++ {
			x[i] -= root[i][j] * x[j]
		}
		x[i] /= root[i][i]
	}
	return x
}
