package hardset

import (
	"fmt"
	"iter"
	"math"

	"singback/internal/testkit"
)

// Manner is how a note of [Manners] is held.
type Manner string

// The manners. In the last two the voice wanders slowly, by 0 to 3 cents.
const (
	Plain   Manner = "held"    // from its start, exactly steady
	Vibrato Manner = "vibrato" // that sets in late, after 0 to 0.8 s
	Slide   Manner = "slide"   // held after 0.2 to 0.6 s on the way there
)

// Held is one held note with all that is true of it. It has one note, whose pitch is
// its centre without vibrato, wander or way.
type Held struct {
	Item
	Manner Manner
	SNR    float64 // dB, over the whole band; +Inf is clean
	// Rate and Extent are of the vibrato, in hertz and in cents to either side where
	// it is full; From is where its extent reaches 15 cents, in seconds of the item.
	// All are 0 without one.
	Rate, Extent, From float64
	// Settles is where the pitch has come within 8 cents of what is held, Near within 50,
	// in seconds of the item.
	Settles, Near float64

	straight []float64 // hertz without the vibrato, per millisecond
	extent   []float64 // of the vibrato, per millisecond
}

// mannerNotes is how many notes of each manner there are at each SNR.
const mannerNotes = 40

// Manners renders the held notes of one manner at one of the SNRs, every step-th:
// held for 0.6 to 1.8 s, at frequencies spread evenly over 70 to 800 Hz on a logarithmic scale, in
// noise that is white in one half of them and of breath in the other. The same notes
// at every SNR, other noise.
func Manners(half Half, manner Manner, snr float64, step int) iter.Seq[Held] {
	return func(yield func(Held) bool) {
		for i := 0; i < mannerNotes; i += step {
			if !yield(held(half, manner, snr, i)) {
				return
			}
		}
	}
}

func held(half Half, manner Manner, snr float64, i int) Held {
	const rate, before, after = 44100, 0.2, 0.15
	rng := seeded(half, string(manner), i)
	hz := 70 * math.Pow(800./70, (float64(i)+rng.Float64())/mannerNotes)
	seconds := 0.6 + 1.2*rng.Float64()
	h := Held{Manner: manner, SNR: snr}
	var start, ramp float64 // of the vibrato
	var way, wayTime float64
	switch manner {
	case Vibrato:
		h.Rate, h.Extent = 4.5+2.5*rng.Float64(), 20+60*rng.Float64()
		start, ramp = 0.8*rng.Float64(), 0.15+0.25*rng.Float64()
		seconds += start
	case Slide:
		way, wayTime = 120+280*rng.Float64(), 0.2+0.4*rng.Float64()
		if rng.IntN(4) > 0 {
			way = -way
		}
		seconds += wayTime
	}
	wander, turn := 3*rng.Float64(), 2*math.Pi*rng.Float64()
	if manner == Plain {
		wander = 0
	}
	slow, phase := 0.3+0.7*rng.Float64(), 2*math.Pi*rng.Float64()
	extent := func(t float64) float64 {
		if h.Rate == 0 {
			return 0
		}
		return h.Extent * rise((t-start)/ramp)
	}
	straight := func(t float64) float64 {
		c := wander * math.Sin(turn+2*math.Pi*slow*t)
		if wayTime > 0 {
			c += way * (1 - rise(t/wayTime))
		}
		return c
	}
	curve := func(t float64) float64 {
		return hz * math.Exp2((straight(t)+extent(t)*math.Sin(phase+2*math.Pi*h.Rate*t))/1200)
	}
	f := vowels[rng.IntN(len(vowels))]
	amps := testkit.Vowel(hz, min(60, int(9000/hz)), max(f[0], hz), max(f[1], hz+200), f[2])
	var t take
	t.rest(before, rate)
	onset := len(t.x)
	for i, v := range testkit.Tone(rate, seconds, curve, amps) {
		at := float64(i) / rate
		t.x, t.f0 = append(t.x, v*rise(at/0.03)*rise((seconds-at)/0.06)), append(t.f0, curve(at))
	}
	from := float64(onset) / rate
	t.notes = []Note{{from, float64(len(t.x)) / rate, hz}}
	t.rest(after, rate)
	n := len(t.x)
	y := append([]float64(nil), t.x...)
	noise := testkit.White
	if i%2 == 1 {
		noise = func(n int, seed uint64) []float64 { return testkit.Breath(n, rate, seed) }
	}
	if !math.IsInf(snr, 1) {
		add(y, noise(n, rng.Uint64()^math.Float64bits(snr)), -20-snr) // Tone is at −20 dBFS
	}
	h.Item = t.item(Steady, fmt.Sprintf("%s %.1f Hz", manner, hz), rate, y)
	h.straight, h.extent = make([]float64, len(h.truth)), make([]float64, len(h.truth))
	h.Settles, h.Near = from, from
	for k := range h.truth {
		at := float64(k)/1000 - from
		if at < 0 || at > seconds {
			continue
		}
		h.straight[k], h.extent[k] = hz*math.Exp2(straight(at)/1200), extent(at)
		if d := math.Abs(way) * (1 - rise(at/max(wayTime, 1e-3))); d > 8 {
			h.Settles = from + at
			if d > 50 {
				h.Near = from + at
			}
		}
		if h.From == 0 && h.extent[k] >= 15 {
			h.From = from + at
		}
	}
	return h
}

// Mean is the mean without the vibrato between two moments, in hertz, taken in cents.
func (h *Held) Mean(from, to float64) float64 {
	sum, n := 0.0, 0.0
	for k := max(0, int(1000*from)); k < min(len(h.straight), int(1000*to)); k++ {
		if h.straight[k] > 0 {
			sum += math.Log2(h.straight[k])
			n++
		}
	}
	return math.Exp2(sum / n)
}

// MeanExtent is the mean extent of the vibrato from where it sets in, in cents.
func (h *Held) MeanExtent() float64 {
	sum, n := 0.0, 0.0
	for _, e := range h.extent {
		if e >= 15 {
			sum += e
			n++
		}
	}
	return sum / max(n, 1)
}
