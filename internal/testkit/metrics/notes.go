package metrics

import "math"

// Note is one note: onset and offset in seconds, pitch in hertz, above 0.
type Note struct{ Onset, Offset, Hz float64 }

// Agreement tells whether an estimated note agrees with a reference note in
// one respect. Limits are inside; times are rounded to 0.1 ms before, as
// mir_eval does, so that 50 ms is within 50 ms.
type Agreement func(ref, est Note) bool

// OnsetWithin asks for onsets at most so many seconds apart; 0.05 in MIREX.
func OnsetWithin(seconds float64) Agreement {
	return func(ref, est Note) bool { return round(math.Abs(ref.Onset-est.Onset), 4) <= seconds }
}

// PitchWithin asks for pitches at most so many cents apart; 50 in MIREX.
func PitchWithin(cents float64) Agreement {
	return func(ref, est Note) bool { return math.Abs(1200*(math.Log2(ref.Hz)-math.Log2(est.Hz))) <= cents }
}

// OffsetWithin asks for offsets at most the given part of the reference note's
// duration apart, or so many seconds if that is more; 0.2 and 0.05 in MIREX.
func OffsetWithin(part, seconds float64) Agreement {
	return func(ref, est Note) bool {
		return round(math.Abs(ref.Offset-est.Offset), 4) <= math.Max(part*math.Abs(ref.Offset-ref.Onset), seconds)
	}
}

// Matched is how many of the notes were matched one to one. Adding up those of
// several recordings weighs every note the same.
type Matched struct{ Notes, Ref, Est int }

// Add adds the counts of another recording.
func (m *Matched) Add(o Matched) {
	m.Notes, m.Ref, m.Est = m.Notes+o.Notes, m.Ref+o.Ref, m.Est+o.Est
}

// Precision is the share of the estimated notes that were matched; 0 if there
// are none.
func (m Matched) Precision() float64 { return ratio(m.Notes, m.Est) }

// Recall is the share of the reference notes that were matched; 0 if there are
// none.
func (m Matched) Recall() float64 { return ratio(m.Notes, m.Ref) }

// F is the harmonic mean of precision and recall; 0 if nothing was matched.
func (m Matched) F() float64 { return ratio(2*m.Notes, m.Ref+m.Est) }

func ratio(a, b int) float64 {
	if b == 0 {
		return 0
	}
	return float64(a) / float64(b)
}

// Compare matches as many notes as can be, each at most once, such that all
// agreements hold for every pair. The notes may be in any order.
func Compare(ref, est []Note, agreements ...Agreement) Matched {
	candidates := make([][]int, len(est))
	for j, e := range est {
	next:
		for i, r := range ref {
			for _, agree := range agreements {
				if !agree(r, e) {
					continue next
				}
			}
			candidates[j] = append(candidates[j], i)
		}
	}
	m := Matched{Ref: len(ref), Est: len(est)}
	// Maximum matching by augmenting paths (Berge 1957): taker[i] is the
	// estimate that has reference i.
	taker := make([]int, len(ref))
	for i := range taker {
		taker[i] = -1
	}
	seen := make([]int, len(ref)) // in the search for estimate j, if j+1
	var place func(j, search int) bool
	place = func(j, search int) bool {
		for _, i := range candidates[j] {
			if seen[i] == search {
				continue
			}
			seen[i] = search
			if taker[i] < 0 || place(taker[i], search) {
				taker[i] = j
				return true
			}
		}
		return false
	}
	for j := range est {
		if place(j, j+1) {
			m.Notes++
		}
	}
	return m
}
