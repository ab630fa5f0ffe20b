package hardset

import (
	"math"
	"slices"

	"singback/internal/synth"
	"singback/internal/testkit"
)

// Note is one sung note: when the voice starts (after an unvoiced consonant, or
// half-way through a slur) and ends, in seconds, and its target in hertz.
type Note struct{ Onset, Offset, Hz float64 }

// Item is one sound with its truth.
type Item struct {
	Condition Condition
	Name      string
	Rate      int       // hertz
	Samples   []float64 // in [-1, 1), on the 65536 steps of a 16-bit recording
	Notes     []Note    // in order; none where nobody sings
	// Known lists the frequencies in hertz of every partial of the tool's own
	// sound in the item, as the tool knows them; nil if it is silent.
	Known []float64

	truth []float64 // per millisecond, hertz; 0 is not sung, open is open
}

const open = -1.0

// Seconds is the length of the item, to the millisecond below.
func (it Item) Seconds() float64 { return float64(len(it.truth)) / 1000 }

// At returns the truth at the given second: the fundamental in hertz, or 0 if
// nothing is sung; counts is false where it is open.
func (it Item) At(seconds float64) (hz float64, counts bool) {
	x := max(0, seconds*1000)
	i := int(x)
	if i+1 >= len(it.truth) {
		last := it.truth[len(it.truth)-1]
		return last, last != open
	}
	a, b, part := it.truth[i], it.truth[i+1], x-float64(i)
	switch {
	case a == open || b == open || (a == 0) != (b == 0):
		return open, false
	case a == 0:
		return 0, true
	}
	return a * math.Pow(b/a, part), true
}

// The rule of the package comment, in seconds and decibels.
const (
	meanOver   = 0.010
	quietAfter = 0.015
	sungAbove  = -20.0
)

// take is a voice by itself, before anything spoils it.
type take struct {
	x, f0 []float64 // f0 is 0 where the voice does not sound
	gain  []float64 // of what is let through; nil is all
	notes []Note
}

// append adds another take after this one.
func (t *take) append(o take, rate int) {
	at := float64(len(t.x)) / float64(rate)
	for _, n := range o.notes {
		t.notes = append(t.notes, Note{n.Onset + at, n.Offset + at, n.Hz})
	}
	t.x, t.f0 = append(t.x, o.x...), append(t.f0, o.f0...)
}

// truth returns the truth per millisecond of the take.
func (t take) truth(rate int) []float64 {
	if t.gain != nil {
		return t.cutTruth(rate)
	}
	n := len(t.x)
	sum := make([]float64, n+1)    // of f0
	count := make([]int, n+1)      // of sounding samples
	energy := make([]float64, n+1) // of the voice
	for i, f := range t.f0 {
		sum[i+1], count[i+1], energy[i+1] = sum[i]+f, count[i], energy[i]+t.x[i]*t.x[i]
		if f > 0 {
			count[i+1]++
		}
	}
	side := int(meanOver / 2 * float64(rate))
	margin := int(quietAfter * float64(rate))
	out := make([]float64, int(1000*float64(n)/float64(rate)))
	loud := t.loudness(energy, rate)
	for k := range out {
		at := k * rate / 1000
		from, to := max(0, at-side), min(n, at+side+1)
		switch {
		case count[min(n, at+margin+1)] == count[max(0, at-margin)]:
			out[k] = 0
		case count[to]-count[from] == to-from && t.level(energy, at, rate) >= loud[at]+sungAbove:
			out[k] = (sum[to] - sum[from]) / float64(to-from)
		default:
			out[k] = open
		}
	}
	return out
}

// level is the level in dB around a sample: over 20 ms, so over more than one
// period of every voice.
func (t take) level(energy []float64, at, rate int) float64 {
	from, to := max(0, at-rate/100), min(len(t.x), at+rate/100+1)
	return 10 * math.Log10((energy[to]-energy[from])/float64(to-from)+1e-30)
}

// loudness returns, for every sample within a note, the level of the note's
// middle 100 ms.
func (t take) loudness(energy []float64, rate int) []float64 {
	out := make([]float64, len(t.x))
	for _, n := range t.notes {
		from, to := int(n.Onset*float64(rate)), min(len(out), int(math.Ceil(n.Offset*float64(rate))))
		middle := (from + to) / 2
		a, b := max(from, middle-rate/20), min(to, middle+rate/20)
		level := 10 * math.Log10((energy[b]-energy[a])/float64(b-a)+1e-30)
		for i := from; i < to; i++ {
			out[i] = level
		}
	}
	return out
}

// item finishes a take: x is what the microphone heard of it, at least as long.
func (t take) item(c Condition, name string, rate int, x []float64) Item {
	return Item{Condition: c, Name: name, Rate: rate, Samples: quantise(x[:len(t.x)]), Notes: t.notes, truth: t.truth(rate)}
}

// quantise rounds to the steps of 16 bits, in place, so that a recording of
// the samples is exactly them.
func quantise(x []float64) []float64 {
	for i, v := range x {
		x[i] = math.RoundToEven(min(max(v, -1), 32767./32768)*32768) / 32768
	}
	return x
}

// add adds noise of the given RMS level in dBFS to x.
func add(x, noise []float64, level float64) {
	g := math.Pow(10, level/20) / testkit.RMS(noise[:len(x)])
	for i := range x {
		x[i] += g * noise[i]
	}
}

// partials lists the partials of the keyboard sounds of a phrase: ten
// harmonics each, sorted, without repeats.
func partials(p synth.Phrase, rate int) []float64 {
	var out []float64
	for _, s := range p {
		for h := 1.0; h <= 10 && h*s.Hz < 0.45*float64(rate); h++ {
			out = append(out, h*s.Hz)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}
