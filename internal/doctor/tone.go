package doctor

import (
	"math"
	"math/cmplx"
	"slices"
)

// The test tone. Its frequency was chosen by trial among the whole hertz about
// 1 kHz: whatever block a driver drops or repeats (1 to 100 ms, 64 to 4096 samples
// at 44.1 and 48 kHz), the phase after it is another by 0.56 rad at least.
const (
	ToneHz      = 1091.0
	ToneSeconds = 10.0
	toneFade    = 0.05 // seconds, at either end
	// PeakOverLoudness is the peak of the tone, in dBFS, above its loudness, in LUFS
	// (a sine of 0 dBFS at 997 Hz has -3.01 LUFS, ITU-R BS.1770; the weighting is flat there).
	PeakOverLoudness = 3.0
)

// Tone returns the samples of the test tone at rate hertz, a sine of ToneSeconds.
// No sample exceeds level, in dBFS.
func Tone(rate int, level float64) []float64 {
	x := make([]float64, int(ToneSeconds*float64(rate)))
	gain := math.Pow(10, min(level, 0)/20)
	for i := range x {
		near := float64(min(i, len(x)-1-i)) / float64(rate)
		fade := .5 - .5*math.Cos(math.Pi*min(1, near/toneFade))
		x[i] = gain * fade * math.Sin(2*math.Pi*ToneHz*float64(i)/float64(rate))
	}
	return x
}

// Dropout is a place at which the test tone was broken.
type Dropout struct {
	At float64 // seconds after the tone began
	// Length is how long nothing, or less than half, was heard, in seconds; 0 where
	// the tone only jumped: samples were lost or came twice.
	Length float64
}

// Steady is what was heard of the test tone.
type Steady struct {
	Heard bool
	// Level is the peak level in dBFS at which it came back, Over how far it stood
	// above the noise of its band in dB. Level is 0 where it was not heard.
	Level, Over float64
	Seconds     float64 // how long it was heard
	// Judged tells that it stood far enough above the noise for dropouts to be told.
	Judged   bool
	Dropouts []Dropout
	// Drift is how much faster the loudspeaker's clock is than the microphone's, in
	// parts per million; 0 where it was not judged.
	Drift float64
}

// How the tone is looked at: in frames of 10 ms with a Hann window, one every
// 2.5 ms. A frame is broken where it is less than half as loud as the half second
// around it: with that window a gap of 5 ms and more, which is what tests of 3 to
// 100 ms show. From frame to frame beside it the phase moves by the drift alone;
// jump, in radians, is more: 3 samples at 48 kHz.
const (
	frameSeconds = 0.010
	overlap      = 4
	localFrames  = 100 // either side: 0.25 s
	afresh       = 20  // frames after which their level is taken anew
	half         = 0.5
	jump         = 0.4
	// One break: what lies within 50 ms.
	together = 0.05
	// The tone is heard from 10 dB over the noise of a frame. At 26 dB the phase
	// from frame to frame scatters by 0.05 rad, an eighth of jump, and the level by
	// 5 %: one false alarm in 10¹¹ frames of Gaussian noise.
	heardOver  = 10.0
	judgedOver = 26.0
	// What is left out at either end: the fades.
	ends = 0.1
)

// FindTone looks for the test tone in x, captured at rate hertz from before it
// began until after it ended; quiet is at least a tenth of a second captured just
// before, when nothing sounded.
func FindTone(x, quiet []float64, rate int) Steady {
	s := Steady{}
	frames, noise := demodulate(x, rate), demodulate(quiet, rate)
	hop := frameSeconds / overlap
	loud := make([]float64, len(frames))
	for i, z := range frames {
		loud[i] = cmplx.Abs(z)
	}
	// The tone fills most of the capture: its level is the upper quartile.
	if len(loud) == 0 {
		return s
	}
	level := quantile(slices.Clone(loud), .75)
	power := 0.0
	for _, z := range noise {
		power += real(z)*real(z) + imag(z)*imag(z)
	}
	floor := math.Sqrt(power / float64(max(1, len(noise))))
	s.Over = min(120, 20*math.Log10(max(level, 1e-12)/max(floor, 1e-12)))
	if s.Over < heardOver || level < 1e-6 {
		return s
	}
	first := slices.IndexFunc(loud, func(v float64) bool { return v >= half*level })
	last := len(loud) - 1
	for last > first && loud[last] < half*level {
		last--
	}
	s.Heard, s.Level = true, 20*math.Log10(level)
	s.Seconds = float64(last-first) * hop
	edge := int(ends / hop)
	if s.Over < judgedOver || last-first < 4*edge {
		return s
	}
	s.Judged = true
	in := frames[first+edge : last+1-edge]
	broken := gaps(loud[first+edge : last+1-edge])
	moved, turned := jumps(in, broken)
	s.Drift = turned / (2 * math.Pi * ToneHz * frameSeconds) * 1e6
	s.Dropouts = merge(broken, moved, hop, float64(edge)*hop)
	return s
}

// demodulate returns the amplitude and phase of the tone in each frame of x.
func demodulate(x []float64, rate int) []complex128 {
	size := int(frameSeconds * float64(rate))
	window, sum := make([]float64, size), 0.0
	for i := range window {
		window[i] = .5 - .5*math.Cos(2*math.Pi*(float64(i)+.5)/float64(size))
		sum += window[i]
	}
	turned := make([]complex128, len(x))
	for i, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			v = 0
		}
		sin, cos := math.Sincos(2 * math.Pi * math.Mod(ToneHz*float64(i)/float64(rate), 1))
		turned[i] = complex(v*cos, -v*sin)
	}
	var frames []complex128
	for k := 0; ; k++ {
		at := int(float64(k)*frameSeconds/overlap*float64(rate) + .5)
		if at+size > len(x) {
			return frames
		}
		z := complex(0, 0)
		for i, w := range window {
			z += complex(w, 0) * turned[at+i]
		}
		frames = append(frames, z*complex(2/sum, 0))
	}
}

// gaps tells which frames are less than half as loud as those around them.
func gaps(loud []float64) []bool {
	broken := make([]bool, len(loud))
	var around []float64
	median := 0.0
	for i, v := range loud {
		if i%afresh == 0 {
			around = append(around[:0], loud[max(0, i-localFrames):min(len(loud), i+localFrames+1)]...)
			median = quantile(around, .5)
		}
		broken[i] = v < half*median
	}
	return broken
}

// jumps tells after which frames the phase moves by more than the drift, and what
// the drift is, in radians from a frame to the next that does not overlap with it.
func jumps(frames []complex128, broken []bool) (moved []bool, drift float64) {
	moved = make([]bool, len(frames))
	turns := make([]float64, len(frames))
	var all []float64
	for i := range len(frames) - overlap {
		turns[i] = cmplx.Phase(frames[i+overlap] * cmplx.Conj(frames[i]))
		if !broken[i] && !broken[i+overlap] {
			all = append(all, turns[i])
		}
	}
	if len(all) == 0 {
		return moved, 0
	}
	drift = quantile(all, .5)
	for i := range len(frames) - overlap {
		if !broken[i] && !broken[i+overlap] && math.Abs(math.Remainder(turns[i]-drift, 2*math.Pi)) > jump {
			moved[i] = true
		}
	}
	return moved, drift
}

// merge makes breaks of the frames that are broken or moved; from is the time of
// the first frame in seconds after the tone began.
func merge(broken, moved []bool, hop, from float64) []Dropout {
	var list []Dropout
	near := int(together / hop)
	lastAt, gap := -near-1, 0
	for i := range broken {
		if !broken[i] && !moved[i] {
			continue
		}
		if i-lastAt > near {
			list = append(list, Dropout{At: from + float64(i)*hop})
			gap = 0
		}
		lastAt = i
		if broken[i] {
			gap++
			list[len(list)-1].Length = float64(gap) * hop
		}
	}
	return list
}

// quantile returns the q-quantile of x, which is sorted in place.
func quantile(x []float64, q float64) float64 {
	slices.Sort(x)
	return x[int(q*float64(len(x)-1)+.5)]
}
