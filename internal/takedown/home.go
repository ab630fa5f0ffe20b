package takedown

import (
	"cmp"
	"errors"
	"math"
	"slices"

	"singback/exercise/grade"
	"singback/theory"
)

// Home is the note that a line is counted from.
type Home struct {
	Cents         float64 // above MIDI 0, on A4 = 440 Hz
	Onset, Offset float64 // seconds; both 0 where it was not sung by itself
}

// Pitch is the nearest note of the piano at A4 = a4 Hz, as a MIDI number, and how far
// the home lies above it, in cents, in (−50, 50].
func (h Home) Pitch(a4 float64) (midi int, off theory.Cents) {
	c := h.Cents - float64(theory.CentsBetween(a4, theory.DefaultA4))
	midi = int(math.Ceil(c/100 - 0.5))
	return midi, theory.Cents(c - 100*float64(midi))
}

// Key is the key of that mode on the home, with the fewest signs.
func (h Home) Key(a4 float64, m theory.Mode) theory.Key {
	midi, _ := h.Pitch(a4)
	return theory.TwelveKeys(m)[((midi%12)+12)%12]
}

// heldHome is how long, in seconds, a note is held that is meant as the home, and
// steady is the share of it that lies at its pitch.
const (
	heldHome = 0.7
	steady   = 0.6
)

var (
	// ErrNoHome is returned where no note was held that could be the home.
	ErrNoHome = errors.New("no note was held for the home")
	// ErrNoNotes is returned where nothing was sung after the home.
	ErrNoNotes = errors.New("no note was heard")
)

// FirstHeld is the home that was sung before a song: the first note that was held,
// or with until above 0 the last one that begins before so many seconds.
func FirstHeld(p grade.Performance, until float64) (Home, error) {
	var found Home
	ok := false
	for _, s := range sounds(p) {
		if until > 0 && s.Onset >= until {
			break
		}
		if s.length() < heldHome || s.Near < steady {
			continue
		}
		found, ok = Home{s.Cents, s.Onset, s.Offset}, true
		if until <= 0 {
			break
		}
	}
	if !ok {
		return found, ErrNoHome
	}
	return found, nil
}

// OfKey is the home of a key that is named, where the notes of a take lie: as far off
// the piano at A4 = a4 Hz as they do on the whole.
func OfKey(p grade.Performance, k theory.Key, a4 float64) (Home, error) {
	list := sounds(p)
	if len(list) == 0 {
		return Home{}, ErrNoNotes
	}
	off, _ := apart(list, a4)
	at := func(octave int) float64 { return 100*float64(theory.Pitch{Note: k.Tonic, Octave: octave}.MIDI()) + off }
	middle := middleOf(list)
	octave := 0
	for octave < 8 && at(octave)+600 <= middle {
		octave++
	}
	return Home{Cents: at(octave)}, nil
}

// apart is how far the sounds lie off the piano as a whole, in cents above MIDI 0,
// between −50 and 50 off A4 = a4 Hz, and how well they agree about it.
func apart(list []Sound, a4 float64) (off, agreement float64) {
	base := float64(theory.CentsBetween(a4, theory.DefaultA4))
	var cents []theory.Cents
	var lengths []float64
	for _, s := range list {
		cents, lengths = append(cents, theory.Cents(s.Cents-base)), append(lengths, s.length())
	}
	o, agreement := theory.Offset(cents, lengths)
	return float64(o) + base, agreement
}

func middleOf(list []Sound) float64 {
	var cents []float64
	for _, s := range list {
		cents = append(cents, s.Cents)
	}
	return quantile(cents, 0.5)
}

// What a key gains, in the correlation by which it is found, where the line ends on its
// tonic or begins on it: basses mostly do (judgement: where the home of the hymns at
// hand is known, it was read off their last bass note).
const (
	endsHome   = 0.2
	beginsHome = 0.1
)

// Find is the home that key finding proposes for a take in which none was sung, the
// keys it proposes, best first, and how well the notes agree about where the piano
// lies, 0 … 1. mode narrows it to the keys of a mode, if it is not nil.
func Find(p grade.Performance, mode *theory.Mode, a4 float64, profile theory.Profile) (h Home, scores []theory.KeyScore, agreement float64, err error) {
	list := sounds(p)
	if len(list) == 0 {
		return h, nil, 0, ErrNoNotes
	}
	off, agreement := apart(list, a4)
	path := drift(list, off, func(int) float64 { return 0 }, homeScatter)
	var histogram [12]float64
	class := func(i int) int {
		k := int(math.Round((list[i].Cents - off - path[i]) / 100))
		return ((k % 12) + 12) % 12
	}
	for i, s := range list {
		histogram[class(i)] += s.length()
	}
	scores, err = theory.FindKeys(histogram, profile)
	if err != nil {
		return h, nil, agreement, err
	}
	gains := func(s theory.KeyScore) (sum float64) {
		tonic := s.Key.Tonic.PitchClass()
		if tonic == class(len(list)-1) {
			sum += endsHome
		}
		if tonic == class(0) {
			sum += beginsHome
		}
		return s.Score + sum
	}
	slices.SortStableFunc(scores, func(a, b theory.KeyScore) int { return cmp.Compare(gains(b), gains(a)) })
	if mode != nil {
		scores = slices.DeleteFunc(scores, func(s theory.KeyScore) bool { return s.Key.Mode != *mode })
	}
	tonic := float64(scores[0].Key.Tonic.PitchClass()) * 100
	h.Cents = off + tonic
	for h.Cents+600 <= middleOf(list) {
		h.Cents += 1200
	}
	return h, scores, agreement, nil
}

// How the home moves while a song is sung, in cents. The singer of it is off by
// homeScatter at first, wanders by driftRate in a second, and a note lies off its
// degree by noteScatter; farther off than farOff counts as so far. A degree outside
// the scale has to be chromatic times nearer than one of the scale would be
// (2.7 in logarithms, cut to be careful with modulations). Judgement, tried on the
// basses of every second hymn.
const (
	homeScatter = 15.0
	driftRate   = 2.5
	noteScatter = 18.0
	farOff      = 55.0
	chromatic   = 1.2
	driftMost   = 160
	driftStep   = 4
)

// drift is how far the home has moved at each sound from home, in cents: the most
// probable slow path. dear is what a number of semitones above it costs, and free the
// SD of where the path begins.
func drift(list []Sound, home float64, dear func(semitones int) float64, free float64) []float64 {
	const n = 2*driftMost/driftStep + 1
	if len(list) == 0 {
		return nil
	}
	at := func(state int) float64 { return float64(state*driftStep - driftMost) }
	cost := make([]float64, n)
	next := make([]float64, n)
	from := make([][]int16, len(list))
	for i, s := range list {
		from[i] = make([]int16, n)
		for j := range next {
			next[j] = math.Inf(1)
			if i == 0 {
				next[j] = at(j) * at(j) / (2 * free * free)
				continue
			}
			seconds := max(0.3, s.Onset-list[i-1].Onset)
			wide := 2 * driftRate * driftRate * seconds
			reach := int(4*driftRate*math.Sqrt(seconds)/driftStep) + 1
			for q := max(0, j-reach); q <= min(n-1, j+reach); q++ {
				step := at(j) - at(q)
				if c := cost[q] + step*step/wide; c < next[j] {
					next[j], from[i][j] = c, int16(q)
				}
			}
		}
		weight := min(1, s.length()/0.3) * s.Near
		for j := range next {
			up := s.Cents - home - at(j)
			k := math.Round(up / 100)
			best := math.Inf(1)
			for _, k := range [3]float64{k - 1, k, k + 1} {
				r := min(math.Abs(up-100*k), farOff)
				best = min(best, r*r/(2*noteScatter*noteScatter)+dear(int(k)))
			}
			next[j] += weight * best
		}
		cost, next = next, cost
	}
	state := 0
	for j := range cost {
		if cost[j] < cost[state] {
			state = j
		}
	}
	out := make([]float64, len(list))
	for i := len(list) - 1; i >= 0; i-- {
		out[i] = at(state)
		if i > 0 {
			state = int(from[i][state])
		}
	}
	return out
}

// own is the set of semitones above the tonic that belong to a key; in minor the
// raised sixth and seventh do too.
func own(m theory.Mode) (set [12]bool) {
	for _, d := range (theory.Key{Mode: m}).ScaleDegrees() {
		set[d.Semitones()] = true
	}
	if m == theory.Minor {
		set[9], set[11] = true, true
	}
	return set
}

// quantile is the value that a share q of the values lie below.
func quantile(values []float64, q float64) float64 {
	sorted := slices.Clone(values)
	slices.Sort(sorted)
	return sorted[min(len(sorted)-1, int(q*float64(len(sorted))))]
}
