package main

import (
	"math"

	"singback/internal/testkit/metrics"
)

// Rate of the third voices' vibratos in hertz: their README.
const thirdRate = 5.5

// Where a vibrato of the third voices is looked for in a note, from its ends, in
// seconds, and the extent in cents from which it is one: half of what the README says.
const (
	vibratoAfter, vibratoBefore = 0.25, 0.10
	vibratoLeast                = 25.0
)

// swing is the extent in cents to either side at thirdRate in the true contour of a
// note, by least squares beside a level and a trend; NaN for a note that is too short
// for two cycles.
func (v *voice) swing(n metrics.Note) float64 {
	from, to := int((n.Onset+vibratoAfter)/step), int((n.Offset-vibratoBefore)/step)
	if float64(to-from)*step < 2/thirdRate || to > len(v.f0) {
		return math.NaN()
	}
	var a [4][5]float64
	for k := from; k < to; k++ {
		if v.f0[k] == 0 {
			return math.NaN()
		}
		s, c := math.Sincos(2 * math.Pi * thirdRate * step * float64(k))
		row := [5]float64{1, float64(k-from) * step, s, c, metrics.Cents(v.f0[k])}
		for i := range a {
			for j := range row {
				a[i][j] += row[i] * row[j]
			}
		}
	}
	for i := range a { // Gauss and Jordan
		for j := range a {
			if j == i {
				continue
			}
			f := a[j][i] / a[i][i]
			for k := range a[j] {
				a[j][k] -= f * a[i][k]
			}
		}
	}
	return math.Hypot(a[2][4]/a[2][2], a[3][4]/a[3][3])
}

// thirdVibrato is what ours says of the vibratos of the third voices' melodies.
type thirdVibrato struct {
	with, found, without, invented int
	rate, extent                   []float64 // absolute errors, in hertz and cents
}

// vibratos compares the notes of ours with the truth of a melody.
func (e *thirdVibrato) vibratos(v *voice) error {
	notes, err := v.clip.notes()
	if err != nil {
		return err
	}
	for _, n := range v.notes {
		extent := v.swing(n)
		if math.IsNaN(extent) {
			continue
		}
		middle := int64((n.Onset + n.Offset) / 2 * float64(v.rate))
		for _, f := range notes {
			if f.Onset > middle || f.Offset <= middle {
				continue
			}
			switch swings := f.VibratoHz > 0; {
			case extent >= vibratoLeast && swings:
				e.with++
				e.found++
				e.rate = append(e.rate, math.Abs(f.VibratoHz-thirdRate))
				e.extent = append(e.extent, math.Abs(f.VibratoCents-extent))
			case extent >= vibratoLeast:
				e.with++
			default:
				e.without++
				if swings {
					e.invented++
				}
			}
		}
	}
	return nil
}

// thirdVibratoRows are NaN without the voices, and for other programs.
func thirdVibratoRows() []row {
	of := func(name, unit string, digits int, value func(*thirdVibrato) float64) row {
		return row{name: "third voices, vibrato: " + name, unit: unit, digits: digits, goal: noGoal, value: func(c *column) float64 {
			if c.vibrato == nil {
				return math.NaN()
			}
			return value(c.vibrato)
		}}
	}
	out := []row{
		of("notes in which it is found", "%", 1, func(e *thirdVibrato) float64 { return 100 * float64(e.found) / float64(e.with) }),
		of("found where there is none", "%", 1, func(e *thirdVibrato) float64 { return 100 * float64(e.invented) / float64(e.without) }),
		of("rate: median error", "Hz", 3, func(e *thirdVibrato) float64 { return median(e.rate) }),
		of("rate: 90th percentile", "Hz", 3, func(e *thirdVibrato) float64 { return quantile(e.rate, 0.9) }),
		of("extent: median error", "cents", 2, func(e *thirdVibrato) float64 { return median(e.extent) }),
		of("extent: 90th percentile", "cents", 2, func(e *thirdVibrato) float64 { return quantile(e.extent, 0.9) }),
	}
	for i := range out[1:] {
		out[i+1].lower = true
	}
	return out
}
