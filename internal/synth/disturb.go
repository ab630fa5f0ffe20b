package synth

import (
	"math"
	"math/rand/v2"
)

// Pink returns n samples of pink noise of RMS 1: −3 dB an octave from 10 Hz up
// at 44.1 kHz, and in proportion at other rates (the filter of P. Kellet, from
// memory).
func Pink(n int, seed uint64) []float64 {
	rng := rand.New(rand.NewPCG(seed, 1))
	x := make([]float64, n)
	var b [7]float64
	// The slowest filter needs some time to settle.
	for i := -8192; i < n; i++ {
		w := rng.NormFloat64()
		b[0] = 0.99886*b[0] + w*0.0555179
		b[1] = 0.99332*b[1] + w*0.0750759
		b[2] = 0.96900*b[2] + w*0.1538520
		b[3] = 0.86650*b[3] + w*0.3104856
		b[4] = 0.55000*b[4] + w*0.5329522
		b[5] = -0.7616*b[5] - w*0.0168980
		if i >= 0 {
			x[i] = b[0] + b[1] + b[2] + b[3] + b[4] + b[5] + b[6] + w*0.5362
		}
		b[6] = w * 0.115926
	}
	unitRMS(x)
	return x
}

// Breath returns n samples of RMS 1 of noise with the spectrum of breath
// through the voice's open vowel.
func (v Voice) Breath(n int, seed uint64) []float64 {
	fs := v.tract(A, 0)
	x := breath(n, float64(v.SampleRate), fs[:], rand.New(rand.NewPCG(seed, 2)))
	unitRMS(x)
	return x
}

// Hum returns n samples of RMS 1 of the hum of mains of the given frequency:
// the fundamental and harmonics 2 … 10, of which the odd ones and the second
// are strong, as rectifiers and transformers make them (common practice).
func Hum(n, sampleRate int, mains float64) []float64 {
	x := make([]float64, n)
	for h, db := range [10]float64{0, -4, -8, -16, -14, -20, -20, -26, -26, -30} {
		w := 2 * math.Pi * mains * float64(h+1) / float64(sampleRate)
		for i := range x {
			x[i] += fromDB(db) * math.Sin(w*float64(i)+float64(h*h))
		}
	}
	unitRMS(x)
	return x
}

// AddAt adds noise to x, so that the sounding part of x lies snrDB above it.
// The sounding part is every sample that is not exactly 0; noise has at least
// the length of x and any RMS.
func AddAt(x, noise []float64, snrDB float64) {
	signal, other, sounding := 0.0, 0.0, 0
	for i, s := range x {
		if s != 0 {
			sounding++
		}
		signal += s * s
		other += noise[i] * noise[i]
	}
	if signal == 0 || other == 0 {
		return
	}
	scale := math.Sqrt(signal/float64(sounding)) / math.Sqrt(other/float64(len(x))) * fromDB(-snrDB)
	for i := range x {
		x[i] += scale * noise[i]
	}
}

// Clip makes x louder by gainDB and cuts off what lies outside ±1.
func Clip(x []float64, gainDB float64) {
	gain := fromDB(gainDB)
	for i := range x {
		x[i] = min(max(x[i]*gain, -1), 1)
	}
}

// Room is a simple room: eight early reflections within 60 ms, then a tail of
// sparse noise that falls by 60 dB in RT60 seconds.
type Room struct {
	RT60     float64 // seconds
	DirectDB float64 // energy of the direct sound over that of all reflections
}

// roomTaps is the number of reflections a second in the tail: enough to be
// heard as smooth noise (velvet noise; Karjalainen and Järveläinen 2007, from
// memory).
const roomTaps = 2000

// Reverb returns x as heard in the room, longer than x by RT60.
func (r Room) Reverb(x []float64, sampleRate int, seed uint64) []float64 {
	delays, gains := r.reflections(sampleRate, seed)
	out := make([]float64, len(x)+samplesIn(r.RT60, sampleRate))
	copy(out, x)
	for j, d := range delays {
		for i, s := range x {
			out[i+d] += gains[j] * s
		}
	}
	return out
}

// reflections returns the delays in samples, below RT60, and the gains of the
// room's echoes.
func (r Room) reflections(sampleRate int, seed uint64) (delays []int, gains []float64) {
	rng := rand.New(rand.NewPCG(seed, 3))
	rate := float64(sampleRate)
	response := make([]float64, samplesIn(r.RT60, sampleRate))
	add := func(t, size float64) {
		if d := int(t * rate); d >= 1 && d < len(response) {
			response[d] += size * float64(1-2*rng.IntN(2)) * exp10(-3*t/r.RT60)
		}
	}
	for i := range 8 {
		add(0.005+0.055*(float64(i)+rng.Float64())/8, 3)
	}
	for i := range int(r.RT60 * roomTaps) {
		add((float64(i)+rng.Float64())/roomTaps, 1)
	}
	energy := 0.0
	for d, g := range response {
		if g != 0 {
			delays, gains, energy = append(delays, d), append(gains, g), energy+g*g
		}
	}
	for i := range gains {
		gains[i] *= fromDB(-r.DirectDB) / math.Sqrt(energy)
	}
	return delays, gains
}

// SmallMicrophone filters x in place as the microphone of a telephone or a
// cheap laptop does: 12 dB an octave down below 250 Hz and above 4 kHz, where
// the level is 3 dB down (Butterworth by the bilinear transform; the cookbook
// of R. Bristow-Johnson, from memory).
func SmallMicrophone(x []float64, sampleRate int) {
	butterworth(x, 250/float64(sampleRate), true)
	butterworth(x, min(4000/float64(sampleRate), bandEdge), false)
}

// butterworth filters x in place by a second-order high-pass or low-pass with
// the given corner, in cycles per sample.
func butterworth(x []float64, corner float64, high bool) {
	sin, cos := math.Sincos(2 * math.Pi * corner)
	alpha := sin / math.Sqrt2
	b0, b1 := (1-cos)/2, 1-cos
	if high {
		b0, b1 = (1+cos)/2, -(1 + cos)
	}
	a0, a1, a2 := 1+alpha, -2*cos, 1-alpha
	var x1, x2, y1, y2 float64
	for i, s := range x {
		y := (b0*(s+x2) + b1*x1 - a1*y1 - a2*y2) / a0
		x1, x2, y1, y2 = s, x1, y, y1
		x[i] = y
	}
}
