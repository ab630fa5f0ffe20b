package calib

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"

	"singback/pitch"
	"singback/theory"
)

// ErrTooFewNotes is wrapped by the error about an instrument of which too few
// notes were heard.
var ErrTooFewNotes = errors.New("too few notes")

// ErrDetuned is wrapped by the error about notes that stand on no common A4.
var ErrDetuned = errors.New("the notes do not agree")

// Tuned is how the notes of an instrument are tuned, if equal temperament is
// what they are tuned to.
type Tuned struct {
	A4     float64      // hertz
	SE     theory.Cents // standard error of A4, from the scatter of the notes
	Spread theory.Cents // standard deviation of the notes about it
	Notes  int          // notes that agree
	Odd    int          // notes left out: more than 15 cents off
}

// Instrument is what a profile keeps of it.
func (t Tuned) Instrument(on Date) Instrument {
	return Instrument{Date: on, A4: t.A4, SE: t.SE, Notes: t.Notes}
}

// Limits of agreement: a note further than oddCents from the rest is odd; more
// than one, or a fifth of the notes, or a spread above detunedCents, and they
// stand on no common A4. A piano in tune keeps its middle octaves within some 3
// cents (common practice).
const (
	leastNotes   = 3
	oddCents     = 15.0
	detunedCents = 6.0
	// seFloor is the error of one note at least, in cents: a piano's strings and
	// its stretch are not known better.
	seFloor = 0.2
)

// FindTuning finds A4 from three or more single notes, any of them, one after
// the other, played on an instrument in equal temperament. The first partial of
// each note counts, since the higher ones of strings are sharp. x begins a few
// tenths of a second before the first note: what sounds from the start on is
// taken for the room.
//
// Notes alone tell A4 only within a quarter tone of 440 Hz: further off, the
// next semitone is nearer. Where first is not nil it says which note the first
// one is, and A4 may lie from 392 to 494 Hz.
//
// With ErrDetuned the result tells how far the notes disagree.
func FindTuning(x []float64, rate int, first *theory.Note) (Tuned, error) {
	cfg := pitch.DefaultConfig(rate)
	cfg.Reading = pitch.Offline
	cfg.MaxHz = 2000
	t, err := pitch.NewTracker(cfg)
	if err != nil {
		return Tuned{}, err
	}
	points := t.Flush(t.Push(nil, x))
	notes, err := pitch.Notes(cfg, points)
	if err != nil {
		return Tuned{}, err
	}
	var hz []float64
	for i, n := range notes {
		next := int64(len(x))
		if i+1 < len(notes) {
			next = notes[i+1].Onset
		}
		n.Offset = rings(points, int64(cfg.Hop), n, next)
		if f, ok := firstPartial(x, rate, n); ok {
			hz = append(hz, f)
		}
	}
	return tuned(hz, first)
}

// tuned finds A4 from the frequencies of notes.
func tuned(hz []float64, first *theory.Note) (Tuned, error) {
	if len(hz) < leastNotes {
		return Tuned{Notes: len(hz)}, fmt.Errorf("%w: %d heard, want %d or more, each held for half a second", ErrTooFewNotes, len(hz), leastNotes)
	}
	near := theory.DefaultA4
	if first != nil {
		// A4 as the first note has it, in the octave nearest to 440 Hz.
		off := theory.CentsBetween(hz[0], near) - 100*float64(first.PitchClass()-9)
		off -= 1200 * math.Round(off/1200)
		near = theory.Shift(near, off)
		if near < theory.MinA4 || near > theory.MaxA4 {
			return Tuned{}, fmt.Errorf("the first note is no %v: A4 would be %.1f Hz, want %g to %g", *first, near, theory.MinA4, theory.MaxA4)
		}
	}
	cents := make([]float64, len(hz))
	for i, f := range hz {
		cents[i] = fold(theory.CentsBetween(f, near))
	}
	// The note with the least distance to all others is the centre; then the mean
	// of those about it.
	centre, least := 0.0, math.Inf(1)
	for _, c := range cents {
		sum := 0.0
		for _, d := range cents {
			sum += min(math.Abs(fold(d-c)), 2*oddCents)
		}
		if sum < least {
			centre, least = c, sum
		}
	}
	var out Tuned
	sum := 0.0
	for _, c := range cents {
		if d := fold(c - centre); math.Abs(d) <= oddCents {
			sum += d
			out.Notes++
		}
	}
	out.Odd = len(cents) - out.Notes
	mean := sum / float64(out.Notes)
	squares := 0.0
	for _, c := range cents {
		if d := fold(c - centre); math.Abs(d) <= oddCents {
			squares += (d - mean) * (d - mean)
		}
	}
	if out.Notes > 1 {
		out.Spread = math.Sqrt(squares / float64(out.Notes-1))
	}
	out.A4 = theory.Shift(near, centre+mean)
	out.SE = max(out.Spread, seFloor) / math.Sqrt(float64(out.Notes))
	switch {
	case out.Odd > max(1, len(cents)/5) || out.Notes < leastNotes-1 || out.Spread > detunedCents:
		return out, fmt.Errorf("%w: %d of %d lie within %g cents of A4 = %.1f Hz, with a spread of %.1f cents", ErrDetuned, out.Notes, len(cents), oddCents, out.A4, out.Spread)
	case out.A4 < theory.MinA4 || out.A4 > theory.MaxA4:
		return out, fmt.Errorf("A4 = %.1f Hz is out of range: want %g to %g", out.A4, theory.MinA4, theory.MaxA4)
	}
	return out, nil
}

// fold brings cents to the nearest semitone's: −50 … 50.
func fold(c float64) float64 { return c - 100*math.Round(c/100) }

// How a struck note is measured, in seconds and cents.
const (
	playedFrom    = 0.05 // after the onset: the hammer
	playedUntil   = 0.03 // before the offset: the damper
	playedLeast   = 0.25
	playedMost    = 1.0
	playedFall    = 20.0 // dB below the note's own level: it has ended
	playedWithin  = 35.0 // of the tracker's F0, which takes all partials together
	weakest       = .03  // amplitude against the strongest of the first four (−30 dB)
	playedHighest = 4    // partials looked at
)

// rings returns the offset of a note, but not after the next one's onset, as the
// level has it. The tracker takes a pitch that is heard again and again for
// something in the room, and lets go of it ever earlier.
func rings(points []pitch.Point, hop int64, n pitch.Note, next int64) int64 {
	i := n.Offset / hop
	for i < int64(len(points)) && points[i].Index < next && points[i].Level > n.Level-playedFall {
		i++
	}
	return min(next, max(n.Offset, i*hop))
}

// firstPartial measures the first partial of a note of x; a higher one, divided
// by its number, where a small microphone has left too little of the first.
func firstPartial(x []float64, rate int, n pitch.Note) (hz float64, ok bool) {
	from := max(0, n.Onset+int64(playedFrom*float64(rate)))
	to := min(int64(len(x)), n.Offset-int64(playedUntil*float64(rate)), from+int64(playedMost*float64(rate)))
	if float64(to-from) < playedLeast*float64(rate) {
		return 0, false
	}
	y := hann(x[from:to])
	var freq, amp [playedHighest + 1]float64
	most := 0.0
	for h := 1; h <= playedHighest; h++ {
		if f := n.F0 * float64(h); f < .4*float64(rate) {
			freq[h], amp[h] = partial(y, float64(rate), f)
			most = max(most, amp[h])
		}
	}
	for h := 1; h <= playedHighest; h++ {
		if amp[h] > weakest*most {
			return freq[h] / float64(h), true
		}
	}
	return 0, false
}

// hann is x under a Hann window, its mean taken out.
func hann(x []float64) []float64 {
	y := withoutMean(x)
	for i := range y {
		y[i] *= .5 - .5*math.Cos(2*math.Pi*(float64(i)+.5)/float64(len(y)))
	}
	return y
}

// partial finds the highest place of the spectrum of y within playedWithin cents
// of hz, by a grid and then by parabolas. A partial that decays has its peak
// where its frequency is.
func partial(y []float64, rate, hz float64) (f, amp float64) {
	step := rate / float64(len(y)) / 1.5
	span := hz * (math.Exp2(playedWithin/1200) - 1)
	count := max(2, int(math.Ceil(span/step)))
	step = span / float64(count)
	best := 0
	for i := -count; i <= count; i++ {
		if a := amplitude(y, rate, hz+float64(i)*step); a > amp {
			best, amp = i, a
		}
	}
	f = hz + float64(best)*step
	for range 3 {
		a, b, c := amplitude(y, rate, f-step), amplitude(y, rate, f), amplitude(y, rate, f+step)
		if curve := a - 2*b + c; curve < 0 {
			f += step * max(-1, min(1, .5*(a-c)/curve))
		}
		step /= 4
	}
	return f, amplitude(y, rate, f)
}

// amplitude is the magnitude of the Fourier transform of y at hz, by a rotating
// pointer.
func amplitude(y []float64, rate, hz float64) float64 {
	turn := cmplx.Rect(1, -2*math.Pi*hz/rate)
	p, sum := complex(1, 0), complex(0, 0)
	for _, v := range y {
		sum += complex(v, 0) * p
		p *= turn
	}
	return cmplx.Abs(sum) / float64(len(y))
}
