package calib

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"github.com/mjibson/go-dsp/spectral"

	"singback/pitch"
)

// ErrTooShort is wrapped by the error about a stretch of sound that is too
// short to be measured.
var ErrTooShort = errors.New("too short to be measured")

// Noise is what a stretch without singing tells of the room and the
// microphone. Levels are dBFS and say nothing of dB SPL.
type Noise struct {
	// Floor is the level of the room: the median of frames of 50 ms, their mean
	// taken out as the tracker does it. A door or a cough does not count.
	Floor float64
	// Loud is what 95 of 100 frames stay below.
	Loud float64
	// Hum is 50 or 60 Hz where the mains hum, else 0, and HumLevel the level of
	// its harmonics together, pitch.MinLevel where there is none.
	Hum, HumLevel float64
	// Broadband is the level from 100 to 1000 Hz, harmonics of the mains left
	// out. Fan tells that a fan or the like is heard: see there.
	Broadband float64
	Fan       bool
	// Voiced is the share of frames in which the tracker hears a voice, 0 … 1:
	// somebody sang or talked, so this was no silence.
	Voiced float64
	// Bands is the spectrum in octaves.
	Bands []Band
}

// Band is the level of one octave, in dBFS, about its nominal centre in hertz
// (IEC 61260-1: from memory).
type Band struct{ Hz, Level float64 }

// Talked tells that the stretch held a voice and should be measured again: more
// than a tenth of it.
func (n Noise) Talked() bool { return n.Voiced > .1 }

// minSilence is the shortest stretch in seconds that MeasureNoise takes: the
// spectrum wants three stretches of half a second, which tell lines 10 Hz apart.
const minSilence = 2.0

// MeasureNoise measures at least 2 s of the room, nobody singing, at rate hertz.
func MeasureNoise(x []float64, rate int) (Noise, error) {
	if s := float64(len(x)) / float64(rate); s < minSilence {
		return Noise{}, fmt.Errorf("%.1f s of the room: %w: want %g s", s, ErrTooShort, minSilence)
	}
	points, err := track(x, rate)
	if err != nil {
		return Noise{}, err
	}
	levels := frameLevels(x, rate)
	n := Noise{Floor: quantile(levels, .5), Loud: quantile(levels, .95)}
	voiced := 0
	for _, p := range points {
		if p.Voiced {
			voiced++
		}
	}
	n.Voiced = float64(voiced) / float64(len(points))
	s := newSpectrum(x, rate)
	n.Hum, n.HumLevel = s.hum()
	n.Bands = s.octaves()
	n.Broadband = dB(s.between(fanLow, fanHigh))
	n.Fan = s.fan(x, rate)
	return n, nil
}

// track reads x with the tracker's default settings.
func track(x []float64, rate int) ([]pitch.Point, error) {
	t, err := pitch.NewTracker(pitch.DefaultConfig(rate))
	if err != nil {
		return nil, err
	}
	return t.Flush(t.Push(nil, x)), nil
}

// frameLevels returns the levels, in dBFS, of frames of 50 ms every 25 ms, each
// less its mean.
func frameLevels(x []float64, rate int) []float64 {
	size := rate / 20
	var levels []float64
	for at := 0; at+size <= len(x); at += size / 2 {
		sum, squares := 0.0, 0.0
		for _, v := range x[at : at+size] {
			sum += v
			squares += v * v
		}
		mean := sum / float64(size)
		levels = append(levels, dB(squares/float64(size)-mean*mean))
	}
	return levels
}

// dB is the level of a power, in dBFS.
func dB(power float64) float64 {
	if !(power > 1e-12) {
		return pitch.MinLevel
	}
	return 10 * math.Log10(power)
}

// quantile returns the q-quantile of x, which is sorted in place.
func quantile(x []float64, q float64) float64 {
	slices.Sort(x)
	return x[int(q*float64(len(x)-1)+.5)]
}

// What the gate keeps, in dB: gateMargin above the floor, gateLoud above the
// loud frames, and softRange below the singer at ease for singing softly. From
// piano to forte trained singers cover some 20 to 30 dB (common practice); a
// singer at ease is in the middle of that.
const (
	gateMargin = 6.0
	gateLoud   = 3.0
	softRange  = 20.0

	lowestGate  = -90.0
	highestGate = -30.0
)

// Gate returns the level, in dBFS, under which a frame is not the singer: 6 dB
// above the floor of the room and 3 dB above what 95 of 100 frames stay below,
// but at least 20 dB below the singer at ease, for whoever sings softly; within
// −90 … −30. voice is the level of the singer at ease, or 0 where it is not
// known. It is for pitch.Config.MinLevel.
func (n Noise) Gate(voice float64) float64 {
	gate := max(n.Floor+gateMargin, n.Loud+gateLoud)
	if voice < 0 {
		gate = min(gate, voice-softRange)
	}
	return min(max(gate, lowestGate), highestGate)
}

// spectrum is the power density of a stretch of sound, per hertz, one value
// every step hertz from 0.
type spectrum struct {
	density []float64
	step    float64
}

// newSpectrum takes at least three stretches of 1.4 s at the most (Welch 1967),
// which tell the harmonics of 50 Hz from those of 60.
func newSpectrum(x []float64, rate int) spectrum {
	size := 1
	for 2*size <= len(x)/3 && 2*size <= 3*rate/2 {
		size *= 2
	}
	density, _ := spectral.Pwelch(withoutMean(x), float64(rate), &spectral.PwelchOptions{NFFT: size, Noverlap: size / 2})
	return spectrum{density, float64(rate) / float64(size)}
}

// withoutMean is a copy of x less its mean; what is no finite number is 0 in it.
func withoutMean(x []float64) []float64 {
	mean := 0.0
	y := make([]float64, len(x))
	for i, v := range x {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			y[i] = v
			mean += v
		}
	}
	mean /= float64(len(x))
	for i := range y {
		y[i] -= mean
	}
	return y
}

// power is the power from low to high hertz.
func (s spectrum) power(low, high float64) float64 {
	sum := 0.0
	for i, d := range s.density {
		if hz := float64(i) * s.step; hz >= low && hz < high {
			sum += d * s.step
		}
	}
	return sum
}

// between is the power from low to high hertz as it would be without the lines
// of the mains.
func (s spectrum) between(low, high float64) float64 {
	sum, n := 0.0, 0
	for i, d := range s.density {
		if hz := float64(i) * s.step; hz >= low && hz < high && !s.nearMains(hz) {
			sum += d
			n++
		}
	}
	if n == 0 {
		return 0
	}
	return sum / float64(n) * (high - low)
}

// nearMains tells whether hz is a harmonic of 50 or 60 Hz, or next to one.
func (s spectrum) nearMains(hz float64) bool {
	for _, mains := range [2]float64{50, 60} {
		if d := math.Abs(hz - mains*math.Round(hz/mains)); d <= mainsDrift*hz+2.5*s.step {
			return hz < mains*(humHarmonics+.5)
		}
	}
	return false
}

// octaves is the spectrum in octaves as far as the rate has them, all lines
// included.
func (s spectrum) octaves() []Band {
	var bands []Band
	top := float64(len(s.density)-1) * s.step
	for _, centre := range [...]float64{31.5, 63, 125, 250, 500, 1000, 2000, 4000, 8000} {
		low, high := centre/math.Sqrt2, centre*math.Sqrt2
		if high > top {
			break
		}
		bands = append(bands, Band{centre, dB(s.power(low, high))})
	}
	return bands
}

// Hum of the mains: its first ten harmonics are looked for, except those that
// 50 and 60 Hz share. The grids keep within 0.2 Hz of 50 or 60 almost always
// (common practice).
const (
	humHarmonics = 10
	mainsDrift   = .004
	// A line stands a factor of humLine (10 dB) above the median of its
	// surroundings. By chance alone a bin of such a spectrum does so once in
	// 10¹¹ (a gamma distribution of order 4).
	humLine = 10.0
	// humLines harmonics make a hum, or the fundamental alone if it stands a
	// factor of humAlone (20 dB) out.
	humLines = 3
	humAlone = 100.0
)

// hum recognises the hum of the mains, and returns the mains' frequency and the
// level of all its lines; 0 and pitch.MinLevel where there is none.
func (s spectrum) hum() (mains, level float64) {
	level = pitch.MinLevel
	most := 0.0
	for _, f := range [2]float64{50, 60} {
		count, prominence, power, alone := 0, 0.0, 0.0, false
		for h := 1; h <= humHarmonics; h++ {
			hz := f * float64(h)
			over, line := s.line(hz)
			if over < humLine {
				continue
			}
			power += line
			if math.Mod(hz, 300) == 0 {
				continue // a harmonic of both
			}
			count++
			prominence += math.Log(over)
			alone = alone || h == 1 && over >= humAlone
		}
		if (count >= humLines || alone) && prominence > most {
			mains, level, most = f, dB(power), prominence
		}
	}
	return mains, level
}

// line looks for a line within the drift of hz and returns how far its highest
// bin stands above the median of its surroundings, as a factor, and its power.
func (s spectrum) line(hz float64) (over, power float64) {
	near := int(math.Ceil(mainsDrift*hz/s.step)) + 1
	centre := int(math.Round(hz / s.step))
	const around = 10.0 // hertz: the next harmonic of 50 or 60 may be that near
	far := near + 2 + max(4, int((around-2)/s.step))
	if centre-far < 1 || centre+far >= len(s.density) {
		far = min(centre-1, len(s.density)-1-centre)
	}
	var floor []float64
	peak := centre
	for i := centre - far; i <= centre+far; i++ {
		switch d := max(i-centre, centre-i); {
		case d <= near:
			if s.density[i] > s.density[peak] {
				peak = i
			}
		case d > near+2:
			floor = append(floor, s.density[i])
		}
	}
	if len(floor) == 0 {
		return 0, 0
	}
	median := quantile(floor, .5)
	for i := max(0, peak-2); i <= min(len(s.density)-1, peak+2); i++ {
		power += max(0, s.density[i]-median) * s.step
	}
	return s.density[peak] / max(median, 1e-18), power
}

// A fan, an air conditioner, a computer: broadband noise, strong from 100 to
// 1000 Hz, which is steady, and of the air and not of the microphone, whose own
// hiss is about as dense at 4 to 8 kHz. The numbers are common practice.
const (
	fanLow, fanHigh   = 100.0, 1000.0
	hissLow, hissHigh = 4000.0, 8000.0
	fanLevel          = -62.0 // dBFS: some 40 dB below a singer at ease
	fanOverHiss       = 6.0   // dB, of density
	fanSteady         = 3.0   // dB, from the tenth to the ninetieth percentile
)

// fan tells that a fan is heard: the noise from 100 to 1000 Hz, lines of the
// mains left out, lies above −62 dBFS; its density is at least 6 dB above the
// one of the microphone's hiss at 4 to 8 kHz, or whatever the rate has of that;
// and four fifths of it, a quarter of a second each, lie within 3 dB.
func (s spectrum) fan(x []float64, rate int) bool {
	power := s.between(fanLow, fanHigh)
	if dB(power) < fanLevel {
		return false
	}
	top := min(hissHigh, .45*float64(rate))
	low := min(hissLow, top/2)
	hiss := s.between(low, top)
	if 10*math.Log10(power/(fanHigh-fanLow)*(top-low)/max(hiss, 1e-18)) < fanOverHiss {
		return false
	}
	var levels []float64
	for size := rate / 4; len(x) >= size; x = x[size:] {
		levels = append(levels, dB(newSpectrumOf(x[:size], rate).power(fanLow, fanHigh)))
	}
	low, high := quantile(levels, .1), quantile(levels, .9)
	return high-low <= fanSteady
}

// newSpectrumOf is the spectrum of a short stretch, one value every 25 Hz or so.
func newSpectrumOf(x []float64, rate int) spectrum {
	size := 1
	for 2*size <= rate/20 {
		size *= 2
	}
	density, _ := spectral.Pwelch(withoutMean(x), float64(rate), &spectral.PwelchOptions{NFFT: size, Noverlap: size / 2})
	return spectrum{density, float64(rate) / float64(size)}
}
