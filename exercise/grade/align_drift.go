package grade

import (
	"math"
	"slices"
)

// drift is the moving median of the values at some of n places, about the line
// through them: the median of the slopes of all pairs (Theil 1950, Sen 1968),
// so that a steady drift does not bend at the ends.
func drift(at, value []float64, n int) []float64 {
	slope := 0.0
	if len(at) > 2*driftWindow {
		slope = slopeOf(at, value)
	}
	rest := make([]float64, len(at))
	for k := range at {
		rest[k] = value[k] - slope*at[k]
	}
	out := make([]float64, n)
	k := 0
	for j := range out {
		for k+1 < len(at) && math.Abs(at[k+1]-float64(j)) <= math.Abs(at[k]-float64(j)) {
			k++
		}
		window := rest[max(0, k-driftWindow):min(len(rest), k+driftWindow+1)]
		out[j] = slope*float64(j) + median(window)
	}
	return out
}

// fitTempo finds the line through the times of the notes that were answered,
// and how the singer moves against it.
func (s *search) fitTempo(a Alignment) {
	s.late = nil
	if !s.timed {
		return
	}
	var index []int
	var at, due []float64
	for i, w := range a.Answers {
		if w.Count > 0 && !w.Merged {
			index, at, due = append(index, w.First), append(at, s.sung[w.First].Onset), append(due, s.line[i].Onset)
		}
	}
	if len(at) < 3 {
		return
	}
	pace := slopeOf(due, at)
	if !(pace > 0) {
		return
	}
	rest := make([]float64, len(at))
	for k := range at {
		rest[k] = at[k] - pace*due[k]
	}
	s.pace, s.start = pace, median(rest)
	s.late = make([]float64, len(s.sung))
	k := 0
	for j := range s.late {
		for k+1 < len(index) && index[k+1] <= j {
			k++
		}
		s.late[j] = median(rest[max(0, k-driftWindow):min(len(rest), k+driftWindow+1)]) - s.start
	}
}

// slopeOf is the median of the slopes of all pairs of points, x ascending; of
// many points only of those half of them apart. 0 without a pair.
func slopeOf(x, y []float64) float64 {
	const all = 200
	var slopes []float64
	for i := range x {
		if len(x) > all {
			if k := i + len(x)/2; k < len(x) && x[k] > x[i] {
				slopes = append(slopes, (y[k]-y[i])/(x[k]-x[i]))
			}
			continue
		}
		for k := i + 1; k < len(x); k++ {
			if x[k] > x[i] {
				slopes = append(slopes, (y[k]-y[i])/(x[k]-x[i]))
			}
		}
	}
	return median(slopes)
}

// median is the middle of the values, or the mean of the two; 0 without any.
func median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	s := slices.Sorted(slices.Values(x))
	return (s[(len(s)-1)/2] + s[len(s)/2]) / 2
}
