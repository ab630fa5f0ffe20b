package review

import (
	"math"
	"slices"

	"singback/exercise"
	"singback/pitch"
)

// curveRate is the sample rate that a curve is given to the segmenter at: a
// point is a hop of 10 ms.
const curveRate = 16000

// OfCurve finds the notes of a pitch curve. Its points may lie anywhere in
// time; those of every 10 ms are taken together.
func OfCurve(curve []exercise.Moment) (exercise.Performance, error) {
	p := exercise.Performance{Curve: curve}
	if len(curve) == 0 {
		return p, nil
	}
	cfg := pitch.DefaultConfig(curveRate)
	seg, err := pitch.NewSegmenter(cfg)
	if err != nil {
		return p, err
	}
	hop := float64(cfg.Hop) / curveRate
	var steps []float64
	for k := 1; k < min(len(curve), 200); k++ {
		steps = append(steps, curve[k].At-curve[k-1].At)
	}
	slices.Sort(steps)
	hold := hop
	if n := len(steps); n > 0 {
		hold = max(hop, 1.5*steps[n/2])
	}
	zero := curve[0].At
	var notes []pitch.Note
	var inside []float64
	k := 0
	for f := int64(0); k < len(curve) || f == 0; f++ {
		inside = inside[:0]
		all, end := 0, zero+float64(f+1)*hop-1e-6
		for k < len(curve) && curve[k].At < end {
			if curve[k].Voiced {
				inside = append(inside, curve[k].Cents)
			}
			all++
			k++
		}
		pt := pitch.Point{Index: f * int64(cfg.Hop), Confidence: 1, Level: -30}
		switch {
		case len(inside) > 0 && 2*len(inside) >= all:
			slices.Sort(inside)
			pt.Voiced, pt.F0 = true, hertz(inside[len(inside)/2])
		case all == 0 && k > 0 && curve[k-1].Voiced && end-hop-curve[k-1].At <= hold:
			pt.Voiced, pt.F0 = true, hertz(curve[k-1].Cents)
		}
		notes = seg.Push(notes, []pitch.Point{pt})
	}
	for _, n := range seg.Flush(notes) {
		p.Notes = append(p.Notes, sungNote(n, curveRate, zero))
	}
	return p, nil
}

// hertz undoes exercise.CentsOnA4 on the A4 of all cents.
func hertz(cents float64) float64 { return 440 * math.Exp2((cents-6900)/1200) }

// sungNote puts a note into seconds and cents.
func sungNote(n pitch.Note, rate, zero float64) exercise.Sung {
	return exercise.Sung{
		Cents: exercise.CentsOnA4(n.F0, 440),
		Onset: zero + float64(n.Onset)/rate, Offset: zero + float64(n.Offset)/rate,
		Level: n.Level,
	}
}
