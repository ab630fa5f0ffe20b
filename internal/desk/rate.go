package desk

import (
	"math"
	"sync"
)

// The filter that changes a sample rate: a sinc under a Kaiser window, from a table.
const (
	zeroCrossings = 24  // on either side
	kaiserBeta    = 9.0 // what is beyond the band lies some 90 dB lower
	passBand      = 0.92
	tableSteps    = 512 // of one crossing, with lines between them
)

var kernel = sync.OnceValue(func() []float64 {
	table := make([]float64, zeroCrossings*tableSteps+2)
	for i := range table {
		u := float64(i) / tableSteps
		x := min(1, u/zeroCrossings)
		table[i] = sinc(u) * bessel0(kaiserBeta*math.Sqrt(1-x*x)) / bessel0(kaiserBeta)
	}
	return table
})

// AtRate is a sound at another sample rate, in hertz: what a loudspeaker wants.
func (s Sound) AtRate(rate int) Sound {
	if rate == s.Rate || len(s.Samples) == 0 {
		return s
	}
	ratio := float64(s.Rate) / float64(rate) // samples of s for one of the new ones
	cut := passBand * min(1, 1/ratio)        // of half the old rate
	reach := zeroCrossings / cut             // old samples
	table := kernel()
	out := make([]float64, int(float64(len(s.Samples))/ratio))
	for i := range out {
		at := float64(i) * ratio
		sum := 0.0
		for k := max(0, int(math.Ceil(at-reach))); k <= min(len(s.Samples)-1, int(at+reach)); k++ {
			u := math.Abs(at-float64(k)) * cut * tableSteps
			j := int(u)
			sum += s.Samples[k] * (table[j] + (u-float64(j))*(table[j+1]-table[j]))
		}
		out[i] = cut * sum
	}
	s.Samples, s.Rate = out, rate
	return s
}

func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

// bessel0 is the modified Bessel function of the first kind and order 0, by its series.
func bessel0(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > 1e-12*sum; k++ {
		term *= (x / (2 * k)) * (x / (2 * k))
		sum += term
	}
	return sum
}
