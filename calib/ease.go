package calib

import (
	"errors"
	"fmt"
	"math"

	"singback/pitch"
)

// ErrNoVoice is wrapped by the error about a stretch in which nobody sang.
var ErrNoVoice = errors.New("no voice was heard")

// Ease is how a singer at ease reaches the microphone.
type Ease struct {
	Level   float64 // dBFS, the median of the frames that hold a voice
	Peak    float64 // dBFS, the highest sample
	Seconds float64 // of voice that this rests on
	// Clips counts the runs of three or more samples at full scale, FlatTops the
	// tenths of a second in which the wave is cut off below it: somewhere between
	// the microphone and here it was too loud.
	Clips, FlatTops int
}

// Clipped tells that the sound was too loud for the microphone or for what
// follows it.
func (e Ease) Clipped() bool { return e.Clips > 0 || e.FlatTops >= flatTenths }

// minVoice is how much voice, in seconds, MeasureEase wants.
const minVoice = 0.5

// MeasureEase measures a singer at ease: x, at rate hertz, holds at least half a
// second of voice.
func MeasureEase(x []float64, rate int) (Ease, error) {
	points, err := track(x, rate)
	if err != nil {
		return Ease{}, err
	}
	var levels []float64
	for _, p := range points {
		if p.Voiced {
			levels = append(levels, p.Level)
		}
	}
	hop := pitch.DefaultConfig(rate).Hop
	e := Ease{Seconds: float64(len(levels)*hop) / float64(rate), Peak: pitch.MinLevel}
	if e.Seconds < minVoice {
		return e, fmt.Errorf("%w: %.1f s of singing, want %g s", ErrNoVoice, e.Seconds, minVoice)
	}
	e.Level = quantile(levels, .5)
	peak := 0.0
	for _, v := range x {
		peak = max(peak, math.Abs(v))
	}
	e.Peak = dB(peak * peak)
	e.Clips = clips(x)
	e.FlatTops = max(flatTops(x, rate, 1), flatTops(x, rate, -1))
	return e, nil
}

// Three samples in a row at full scale are a clipped peak (common practice: one
// or two happen in sound that merely reaches it).
const (
	fullScale = .999
	fullRun   = 3
)

// clips counts the runs of samples at full scale.
func clips(x []float64) int {
	count, run := 0, 0
	for _, v := range x {
		if math.Abs(v) < fullScale {
			run = 0
		} else if run++; run == fullRun {
			count++
		}
	}
	return count
}

// A wave that was cut off spends most of the time that it is near its ceiling
// at the ceiling. The top of a smooth wave is a parabola, on which the time
// within 1 % of the top is √0.1 = 0.32 of the time within 10 %; that of a voice,
// whose cycles are not equally high, is less. Cut off by 0.2 dB the top of a
// sine has 0.52. A tenth of a second with more than flatShare, in runs of at
// least three samples, is flat; three of them are a ceiling.
const (
	flatTop    = .99
	flatNear   = .90
	flatShare  = .5
	flatTenths = 3
	flatRun    = 3
)

// flatTops counts the tenths of a second whose tops, on the side of sign, are
// cut off at the highest level that x reaches there. What lies below −40 dBFS
// is not looked at.
func flatTops(x []float64, rate int, sign float64) int {
	ceiling := 0.0
	for _, v := range x {
		ceiling = max(ceiling, sign*v)
	}
	if ceiling < .01 {
		return 0
	}
	count := 0
	for size := rate / 10; len(x) >= size; x = x[size:] {
		near, top, run := 0, 0, 0
		for _, v := range x[:size] {
			v *= sign
			if v >= flatNear*ceiling {
				near++
			}
			if v < flatTop*ceiling {
				run = 0
				continue
			}
			switch run++; {
			case run == flatRun:
				top += flatRun
			case run > flatRun:
				top++
			}
		}
		if near > 0 && float64(top) >= flatShare*float64(near) {
			count++
		}
	}
	return count
}
