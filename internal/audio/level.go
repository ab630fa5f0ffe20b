package audio

import "math"

// MinLevel is the level, in dBFS, of digital silence; nothing is reported lower.
const MinLevel = -120.0

// DBFS returns the level of an RMS or peak value in dB below full scale,
// 20·log10(x): 0 is a square wave at full scale, −3.01 the RMS of such a sine.
// It is at least MinLevel.
func DBFS(x float64) float64 {
	if !(x > 1e-6) {
		return MinLevel
	}
	return 20 * math.Log10(x)
}

// Sound that was too loud for the microphone's converter shows as at least
// clipRun samples in a row at clipLevel or beyond. Common practice: one or two
// such samples happen in sound that merely reaches full scale.
const (
	clipLevel = 0.999
	clipRun   = 3
)

// Meter measures how loud the samples since its zero value were. To start
// afresh, assign Meter{}.
type Meter struct {
	Peak    float64 // largest |sample|
	Clipped int     // runs of at least 3 samples with |sample| ≥ 0.999

	n   int64
	sum float64 // of squares
	run int
}

// Push adds samples. The split into calls does not matter.
func (m *Meter) Push(samples []float64) {
	for _, x := range samples {
		m.sum += x * x
		x = math.Abs(x)
		if x > m.Peak {
			m.Peak = x
		}
		if x < clipLevel {
			m.run = 0
			continue
		}
		if m.run++; m.run == clipRun {
			m.Clipped++
		}
	}
	m.n += int64(len(samples))
}

// Level is the RMS of all samples in dBFS, MinLevel when there are none.
func (m *Meter) Level() float64 {
	if m.n == 0 {
		return MinLevel
	}
	return DBFS(math.Sqrt(m.sum / float64(m.n)))
}
