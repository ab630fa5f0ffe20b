package class

import (
	"fmt"
	"math"

	"singback/exercise/practice"
)

// Reviewed is a teacher's word with the mark that it is about.
type Reviewed struct {
	Review Review
	Mark   Mark
}

// Least is how many answers, or reviews, a share wants: of fewer nothing is said.
const Least = 10

// Table counts takes by what the machine and the teacher say, who fail (0) or pass (1) a
// take: Table[machine][teacher]. Takes that stand for others count more than once.
type Table [2][2]float64

func side(pass bool) int {
	if pass {
		return 1
	}
	return 0
}

// Agreement is how often machine and teacher say the same.
type Agreement struct {
	Takes, Same int   // that were reviewed, and on which they agree
	Table       Table // what the estimates are worked out from
	// Known tells that there are at least Least takes: else the estimates mean nothing.
	Known bool
	// Share is that of the takes on which they agree, with the interval of Wilson 1927.
	Share practice.Estimate
	// Kappa is Cohen's, with its standard error and the interval of 1.96 of them; without
	// meaning where HasKappa is false. Note says why, or how it may deceive; "" for nothing.
	Kappa    practice.Estimate
	Error    float64
	HasKappa bool
	Note     string
}

// Agreements are those over all reviews, and apart by how the takes were chosen: who only
// hears doubtful ones finds the machine worse than it is. Whole is an estimate for the
// whole class.
type Agreements struct {
	All, Doubt, Sample, Asked Agreement
	Whole                     Agreement
	Marked                    int // takes that Whole speaks of
}

// Agree compares the machine's marks with the reviews of them, one for each take. Of the
// takes of the class marked have a mark by the machine.
//
// Whole counts what was heard by doubt and by asking for itself alone, since nothing
// tells what others would be like; each take that was drawn by lot stands for as many as
// there are for each: itself and its share of those that nobody heard (the weights of
// Horvitz & Thompson 1952, from memory). Of fewer than Least takes by lot nothing is said
// of the whole, unless all were heard. Of 2000 made classes of 200 takes, 20 heard by doubt
// and 40 by lot, the interval of the share held what was so in 96 %, that of kappa in 90 %;
// in 95 % the interval of those heard by doubt alone lay below. The lot is best drawn
// after the doubtful takes were heard: drawn before, it has its share of them too, and the
// estimate is on the low side.
func Agree(reviews []Reviewed, marked int) Agreements {
	var all, doubt, sample, asked Table
	for _, r := range reviews {
		m, t := side(r.Mark.Pass), side(r.Review.Pass)
		all[m][t]++
		switch r.Review.Chosen {
		case Doubt:
			doubt[m][t]++
		case Sample:
			sample[m][t]++
		default:
			asked[m][t]++
		}
	}
	out := Agreements{All: agreement(all), Doubt: agreement(doubt), Sample: agreement(sample), Asked: agreement(asked), Marked: max(marked, len(reviews))}
	out.Whole = whole(all, sample, out.Marked)
	return out
}

// sum is how many takes a table counts.
func (t Table) sum() float64 { return t[0][0] + t[0][1] + t[1][0] + t[1][1] }

// agreement is that of takes that stand for themselves.
func agreement(t Table) Agreement {
	n := t.sum()
	a := Agreement{Takes: int(n), Same: int(t[0][0] + t[1][1]), Table: t, Known: n >= Least}
	if !a.Known {
		a.Note = fmt.Sprintf("fewer than %d takes", Least)
		return a
	}
	a.Share = practice.Share(a.Same, a.Takes, practice.Confidence)
	a.kappa()
	return a
}

// kappa works out Cohen's kappa from the table.
func (a *Agreement) kappa() {
	t := a.Table
	value, deviation, ok := kappaOf([][]float64{t[0][:], t[1][:]})
	if !ok {
		word := "pass"
		if t[0][0] > 0 {
			word = "fail"
		}
		a.Note = "kappa is not defined: both let all " + word
		return
	}
	a.HasKappa, a.Error = true, deviation
	z := math.Sqrt2 * math.Erfinv(practice.Confidence)
	a.Kappa = practice.Estimate{Value: value, Low: max(-1, value-z*deviation), High: min(1, value+z*deviation)}
	n := t.sum()
	machine, teacher := t[1][0]+t[1][1], t[0][1]+t[1][1]
	rare := min(machine+teacher, 2*n-machine-teacher) / 2
	switch {
	case machine == 0 || machine == n || teacher == 0 || teacher == n:
		a.Note = "one of them says the same of all takes: then kappa is 0 however often they agree"
	case rare < rareShare*n:
		a.Note = fmt.Sprintf("only %.0f %% are of one kind: kappa is then low and unsure however often they agree", 100*rare/n)
	}
}

// rareShare is the share of passes, or of fails, below which kappa is said to deceive: the
// paradox of Feinstein & Cicchetti 1990 (from memory); the number is ours.
const rareShare = 0.1

// kappaOf is Cohen's kappa of a square table of counts, and its standard error, that of
// Fleiss, Cohen & Everitt 1969, Psychological Bulletin 72, 323–327 (from memory, checked
// against a statistics library): where kappa is not 0. It is not defined, ok false,
// where chance agrees always.
func kappaOf(table [][]float64) (kappa, deviation float64, ok bool) {
	n := 0.0
	rows, columns := make([]float64, len(table)), make([]float64, len(table))
	for i, r := range table {
		for j, v := range r {
			n += v
			rows[i] += v
			columns[j] += v
		}
	}
	if n == 0 {
		return 0, 0, false
	}
	same, chance := 0.0, 0.0
	for i := range table {
		rows[i], columns[i] = rows[i]/n, columns[i]/n
	}
	for i := range table {
		same += table[i][i] / n
		chance += rows[i] * columns[i]
	}
	if 1-chance < 1e-12 {
		return 0, 0, false
	}
	kappa = (same - chance) / (1 - chance)
	a, b := 0.0, 0.0
	for i, r := range table {
		for j, v := range r {
			p := v / n
			if i == j {
				d := 1 - (rows[i]+columns[i])*(1-kappa)
				a += p * d * d
				continue
			}
			d := columns[i] + rows[j]
			b += p * d * d
		}
	}
	c := kappa - chance*(1-kappa)
	variance := (a + (1-kappa)*(1-kappa)*b - c*c) / ((1 - chance) * (1 - chance) * n)
	return kappa, math.Sqrt(max(0, variance)), true
}

// whole estimates the agreement over all takes from all that were reviewed, and those of
// them that were drawn by lot.
func whole(all, sample Table, marked int) Agreement {
	heard, lot := all.sum(), sample.sum()
	unheard := float64(marked) - heard
	a := Agreement{Takes: int(heard), Same: int(all[0][0] + all[1][1])}
	switch {
	case unheard == 0:
		a = agreement(all)
		if a.Known { // of these takes nothing is left to chance
			a.Share.Low, a.Share.High = a.Share.Value, a.Share.Value
			a.Kappa.Low, a.Kappa.High, a.Error = a.Kappa.Value, a.Kappa.Value, 0
		}
		return a
	case lot < Least:
		a.Note = fmt.Sprintf("fewer than %d takes were drawn by lot and heard: nothing can be said of the others", Least)
		return a
	}
	a.Known = true
	table := func(t Table, of float64) Table { // each of the lot for itself and its share of the unheard
		var w Table
		for i := range w {
			for j := range w[i] {
				w[i][j] = all[i][j] + unheard*t[i][j]/of
			}
		}
		return w
	}
	a.Table = table(sample, lot)
	n := float64(marked)
	z := math.Sqrt2 * math.Erfinv(practice.Confidence)
	// Those that nobody heard are themselves only so many: what they are worth is foretold,
	// with the variance of both.
	of := wilson((sample[0][0]+sample[1][1])/lot, 1/(1/lot+1/unheard), z)
	known := float64(a.Same)
	a.Share = practice.Estimate{Value: (known + unheard*of.Value) / n, Low: (known + unheard*of.Low) / n, High: (known + unheard*of.High) / n}
	a.kappa()
	if !a.HasKappa {
		return a
	}
	// The error of kappa is that of the lot: leaving out each of it in turn, a jackknife.
	sum := 0.0
	for i := range sample {
		for j, count := range sample[i] {
			if count == 0 {
				continue
			}
			without := sample
			without[i][j]--
			w := table(without, lot-1)
			k, _, ok := kappaOf([][]float64{w[0][:], w[1][:]})
			if !ok {
				k = 0
			}
			sum += count * (k - a.Kappa.Value) * (k - a.Kappa.Value)
		}
	}
	a.Error = math.Sqrt(sum * (lot - 1) / lot * (1 + lot/unheard))
	a.Kappa.Low, a.Kappa.High = max(-1, a.Kappa.Value-z*a.Error), min(1, a.Kappa.Value+z*a.Error)
	if a.Error == 0 {
		// All of the lot are alike: the interval is that of a lot in which one take more is
		// another.
		a.Kappa.Low, a.Note = a.oneMore(sample, lot, of.Low, table), "all that were drawn by lot are alike in this: the interval of kappa is a guess on the safe side"
	}
	return a
}

// oneMore is kappa if as many of those that nobody heard were differed upon as the
// interval of the share allows: the lower end where the lot shows nothing.
func (a *Agreement) oneMore(sample Table, lot, share float64, table func(t Table, of float64) Table) float64 {
	least := a.Kappa.Value
	for i := range sample {
		t := sample
		moved := (1 - share) * t[i][i]
		t[i][i] -= moved
		t[i][1-i] += moved
		w := table(t, lot)
		if k, _, ok := kappaOf([][]float64{w[0][:], w[1][:]}); ok {
			least = min(least, k)
		}
	}
	return least
}

// Words say an agreement in one line.
func (a Agreement) Words() string {
	if !a.Known {
		if a.Note == "" {
			return "not enough reviews"
		}
		return fmt.Sprintf("agree on %d of %d; %s", a.Same, a.Takes, a.Note)
	}
	text := fmt.Sprintf("agree on %d of %d (%.2f, %.2f to %.2f)", a.Same, a.Takes, a.Share.Value, a.Share.Low, a.Share.High)
	if a.HasKappa {
		text += fmt.Sprintf("; kappa %.2f, %.2f to %.2f", a.Kappa.Value, a.Kappa.Low, a.Kappa.High)
	}
	if a.Note != "" {
		text += "; " + a.Note
	}
	return text
}
