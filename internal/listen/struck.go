package listen

import (
	"context"
	"math"

	"singback/exercise/grade"
	"singback/internal/audio"
	"singback/pitch"
	"singback/theory"
)

// Instrument is what was heard of an instrument that was struck, plucked or blown, one
// note at a time.
type Instrument struct {
	Notes []grade.Sung // in order of time
	// Opening tells that something was left out that sounded when the window opened: the
	// tool's own sound in the room, or what was struck too early.
	Opening bool
}

// An instrument is read twice. The tracker's window is too short for a period below
// some 16 ms, so the same samples are read once more as if they had been taken at twice
// their rate: an octave higher, and in half the time. What lies below lowTop counts from
// that reading, the rest from the first.
const (
	lowTop    = 66.0   // Hz: C2 is 65.4
	lowBottom = 25.0   // Hz: A0 of a piano is 27.5
	highTop   = 2000.0 // Hz: B6 is 1976
	lowLeast  = 0.12   // s: a note of the low reading is no shorter
	lowRise   = 3.0    // dB that the level rises where a low note begins: hum does not
)

// What sounds when the window opens has answered nothing, nor has what is no louder
// (chosen on the keyboard's own chords in made rooms, struck_test.go).
const (
	openingTime  = 0.15 // s
	openingRise  = 4.0  // dB over the loudest of that time
	openingQuiet = 10.0 // dB over the level under which nothing is voiced: silence opens with nothing
)

// ringNear is how near, in cents, what goes on after the end of a note is to it: the
// note that dies away.
const ringNear = 60.0

// Struck finds the notes that an instrument plays in samples. A tone of the room, if it
// is not nil, is hushed. Live tells that the samples begin where a window opened, and
// that what sounds there is not the instrument's answer; a recording may begin with its
// first note.
func Struck(ctx context.Context, samples []float64, rate int, h Hearing, room *Tone, live bool) (Instrument, error) {
	var in Instrument
	h = Hearing{Gate: h.Gate, Top: highTop}
	samples = unrumbled(samples, rate)
	high, levels, err := instrument(ctx, samples, rate, h.Config(rate), room, 1)
	if err != nil {
		return in, err
	}
	var low []grade.Sung
	if rate <= 96000 { // the tracker takes no more than twice that
		config := h.Config(2 * rate)
		config.MinHz = 2 * lowBottom
		if low, _, err = instrument(ctx, samples, 2*rate, config, nil, 2); err != nil {
			return in, err
		}
	}
	notes := levels.whole(levels.joined(high, low))
	if !live {
		in.Notes = notes
		return in, nil
	}
	least := levels.opening() + openingRise
	for _, n := range notes {
		if levels.loudest(n.Onset, n.Offset) < least {
			in.Opening = true
			continue
		}
		in.Notes = append(in.Notes, n)
	}
	return in, nil
}

// rumble is the frequency, in hertz, under which more and more is taken away before an
// instrument is read: body and stand of a plucked bass sound there at 20 to 50 Hz, louder
// than its string does at first, and the third to fifth partial tell the pitch of a low
// note (Ritsma 1967, from memory).
const rumble = 70.0

// unrumbled takes it away, 12 dB an octave.
func unrumbled(samples []float64, rate int) []float64 {
	out := make([]float64, len(samples))
	keep := math.Exp(-2 * math.Pi * rumble / float64(rate))
	var x1, y1, z1 float64
	for i, x := range samples {
		y := keep * (y1 + x - x1)
		z := keep * (z1 + y - y1)
		x1, y1, z1, out[i] = x, y, z, z
	}
	return out
}

// instrument reads samples as if they were taken at a rate, which is so many times
// theirs.
func instrument(ctx context.Context, samples []float64, rate int, config pitch.Config, room *Tone, times float64) ([]grade.Sung, *loudness, error) {
	config.Reading = pitch.Offline
	e, err := newEar(audio.NewSamples(rate, samples), config, fileBlock)
	if err != nil {
		return nil, nil, err
	}
	e.room = room
	segmenter, err := pitch.NewMelodySegmenter(config)
	if err != nil {
		return nil, nil, err
	}
	var found []pitch.Note
	l := &loudness{hop: float64(config.Hop) / float64(rate) * times}
	err = e.read(ctx, func(_ []float64, _ int64, points []pitch.Point) bool {
		found = segmenter.Push(found, points)
		l.points = append(l.points, points...)
		return false
	})
	if err != nil {
		return nil, nil, err
	}
	notes := sung(segmenter.Flush(found), float64(rate))
	for i := range notes {
		n := &notes[i]
		n.Cents -= 1200 * math.Log2(times)
		n.Onset, n.Offset = n.Onset*times, n.Offset*times
		end := math.Inf(1)
		if i+1 < len(notes) {
			end = notes[i+1].Onset * times
		}
		n.Offset = l.rings(*n, end, times)
	}
	return notes, l, nil
}

// loudness is how loud, and how high, it was at every moment.
type loudness struct {
	hop    float64 // s
	points []pitch.Point
}

// between are the points from one time to another.
func (l *loudness) between(from, to float64) []pitch.Point {
	i := min(max(0, int(math.Round(from/l.hop))), len(l.points))
	return l.points[i:max(i, min(len(l.points), int(math.Round(to/l.hop))))]
}

// rings returns until when a note dies away, before the next.
func (l *loudness) rings(n grade.Sung, next, times float64) float64 {
	end := n.Offset
	hz := theory.Shift(theory.DefaultA4, n.Cents-6900) * times
	gap := 0
	for i, p := range l.between(end, min(next, end+60)) {
		if !p.Voiced || math.Abs(math.Remainder(theory.CentsBetween(p.F0, hz), 1200)) > ringNear {
			if gap++; gap > 6 {
				break
			}
			continue
		}
		gap = 0
		end = max(end, n.Offset+l.hop*float64(i+1))
	}
	return end
}

// loudest is the highest level between two times, in dBFS.
func (l *loudness) loudest(from, to float64) float64 {
	most := pitch.MinLevel
	for _, p := range l.between(from, to) {
		most = max(most, p.Level)
	}
	return most
}

// opening is how loud it is when the window opens, in dBFS.
func (l *loudness) opening() float64 { return l.loudest(0, openingTime) }

// rises tells that the level rises where a note begins.
func (l *loudness) rises(n grade.Sung) bool {
	before := math.Inf(1)
	for _, p := range l.between(n.Onset-0.12, n.Onset+0.02) {
		before = min(before, p.Level)
	}
	return n.Onset < 0.12 || l.loudest(n.Onset, n.Onset+0.2) >= before+lowRise
}

// The pieces that are one note (chosen on the soundfont's acoustic bass, whose body
// sounds before the string does).
const (
	attackTime = 0.18 // s: what is shorter and runs into the next note is its attack, or a grace note
	pieceGap   = 0.06 // s between the two
	damperTime = 1.0  // s: after which a damper may fall on a string and stir it once more,
	damperLess = 18.0 // dB under the note
)

// whole takes pieces of one note together: an attack that has a pitch of its own, and
// what goes on at the same pitch without being struck again.
func (l *loudness) whole(notes []grade.Sung) []grade.Sung {
	var out []grade.Sung
	for _, n := range notes {
		if k := len(out) - 1; k >= 0 {
			before := &out[k]
			gap, length := n.Onset-before.Offset, before.Offset-before.Onset
			same := math.Abs(math.Remainder(n.Cents-before.Cents, 1200)) < ringNear
			switch {
			case same && (gap < pieceGap && !l.rises(n) || gap < damperTime && l.loudest(n.Onset, n.Offset) < l.loudest(before.Onset, before.Offset)-damperLess):
				before.Offset = n.Offset
				continue
			case !same && gap < pieceGap && length < attackTime && n.Offset-n.Onset > length:
				n.Onset, out = before.Onset, out[:k]
			}
		}
		out = append(out, n)
	}
	return out
}

// joined puts the notes of both readings together: a low note takes the place of what
// the usual reading made of it.
func (l *loudness) joined(high, low []grade.Sung) []grade.Sung {
	top := grade.CentsOnA4(lowTop, theory.DefaultA4)
	var lows []grade.Sung
	for _, n := range low {
		if n.Cents < top && n.Offset-n.Onset >= lowLeast && l.rises(n) {
			lows = append(lows, n)
		}
	}
	out := make([]grade.Sung, 0, len(high)+len(lows))
	i := 0
	for _, n := range high {
		within := 0.0
		for _, m := range lows {
			within += max(0, min(n.Offset, m.Offset)-max(n.Onset, m.Onset))
		}
		if within > 0.5*(n.Offset-n.Onset) {
			continue
		}
		for ; i < len(lows) && lows[i].Onset < n.Onset; i++ {
			out = append(out, lows[i])
		}
		out = append(out, n)
	}
	return append(out, lows[i:]...)
}
