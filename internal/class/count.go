package class

import (
	"math"
	"slices"

	"singback/exercise"
	"singback/exercise/grade"
	"singback/theory"
)

// What each criterion comes to. N is the number of written notes; right, out of tune,
// wrong, left out is what grade finds within the tolerance of the rules.
//
//	faults      Grading.Score, e^(−sum of all faults / 8)
//	jury        Grading.Pass
//	notes       right / N; notes that are not written cost nothing: counted in, the order
//	            of takes agrees no better with a jury
//	intervals   of the N − 1 steps those both of whose notes were sung and whose size
//	            is within √2 times the tolerance, since a step is off by two notes.
//	            Octaves are free where the rules let them be. A note that is wrong
//	            spoils the step to it and the one from it.
//	rhythm      of the notes with a time and those left out, the share that begin
//	            within a quarter of the line's usual note from where the singer's own
//	            tempo about them has it
//	flow        1, or 0 where the singer went back, waited for more than half of the
//	            line's usual note (in a line without rhythm: was silent for 1 s and
//	            more between two notes), or no note is right
//	bars        of the bars in which a note sounds, the share without a wrong note and
//	            one out of time (Grading.Segments: without bars, parts of four usual
//	            notes)
//	segments    the line in Pieces equal parts, or in half bars (without bars: in parts
//	            of two usual notes); of those in which a note begins, the share whose
//	            notes are all right and in time as of rhythm
//	intonation  the mean over the N notes of: 1 within 10 cents, falling in a line to 0
//	            at 50, and 0 of a note that is wrong or left out
//	steadiness  the mean of key, and of the tempo: 1 where the later half is at most
//	            10 % slower or faster than the earlier, falling in a line to 0 at 50 %
//	key         1 where the key moves by at most 25 cents, falling in a line to 0 at
//	            200: from the lowest to the highest running median of five notes' place
//
// Rhythm is not measured in a line without rhythm, steadiness and key with fewer than
// five sung notes, intervals in a line of one note. The weight of what is not measured
// is left out.
const (
	inTime      = 1.0 / 4 // of the line's usual note
	nearFull    = 10.0    // cents: what nobody hears in a song
	nearNone    = 50.0    // cents: half a semitone
	keyFull     = 25.0    // cents
	keyNone     = 200.0   // cents: a whole tone
	keyAbout    = 3       // notes to either side that tell the key
	keyWindow   = 5       // notes of a running median, of which two may be wrong
	tempoFull   = 0.1
	tempoNone   = 0.5
	tempoLeast  = 3   // steps in each half of which one that is odd does not move the median
	halfSegment = 2.0 // usual notes of a segment of a line without bars
)

// counted is what a criterion comes to.
type counted struct {
	value    float64
	measured bool
	spread   float64 // standard deviation of value by what the machine may have misheard
}

// marking is one take on its way to a mark.
type marking struct {
	rubric Rubric
	line   grade.Line
	take   grade.Performance
	g      grade.Grading
	rules  grade.Rules
	names  theory.Naming

	beat  float64   // the line's usual note, in its units
	place []float64 // of each written note: cents above the line's pitch and the take's key, drift and all
	sung  []bool    // of each written note: place means something
	timed bool      // onsets can be compared
	doubt []float64 // of each written note: probability that right or not right was misheard
	late  []float64 // of each written note: probability that in time or not was misheard
	shift float64   // cents by which the singer's key may have been misheard

	measuring, listening float64 // of the mark: see unsure.go
}

func newMarking(r Rubric, line grade.Line, take grade.Performance, g grade.Grading, rules grade.Rules, names theory.Naming) *marking {
	m := &marking{rubric: r, line: line, take: take, g: g, rules: rules, names: names}
	lengths := make([]float64, len(line.Notes))
	for i, n := range line.Notes {
		lengths[i] = n.Length
	}
	m.beat = median(lengths)
	m.timed = line.Timed && g.Pace > 0
	m.find()
	m.mishear()
	return m
}

// find says where each note was sung. Grading.Note.Cents is without the drift of the key,
// which counts here: how far that was is told by the sung notes about.
func (m *marking) find() {
	n := len(m.g.Notes)
	m.place, m.sung = make([]float64, n), make([]bool, n)
	var index []int
	var key []float64 // of the notes that a sung note answers: how far it is off beyond Cents
	for i, note := range m.g.Notes {
		m.sung[i] = note.Finding == grade.Right || note.Finding == grade.OutOfTune || note.Finding == grade.Wrong
		if w := note.Answer; m.sung[i] && w.Count > 0 {
			longest := w.First
			for j := w.First; j < w.First+w.Count; j++ {
				if a, b := m.take.Notes[j], m.take.Notes[longest]; a.Offset-a.Onset > b.Offset-b.Onset {
					longest = j
				}
			}
			index = append(index, i)
			key = append(key, fold(m.take.Notes[longest].Cents-m.line.Notes[i].Cents-m.g.Alignment.Transposition-note.Cents))
		}
	}
	k := 0
	for i, note := range m.g.Notes {
		for k < len(index) && index[k] < i {
			k++
		}
		about := median(key[max(0, k-keyAbout):min(len(key), k+keyAbout+1)])
		m.place[i] = note.Cents + about
		// Of a note that is right by the curve the sung note says another thing.
		if k < len(index) && index[k] == i && math.Abs(fold(key[k]-about)) < nearNone {
			m.place[i] = note.Cents + key[k]
		}
	}
}

// count is what a criterion comes to.
func (m *marking) count(c Criterion) counted {
	switch c {
	case Faults:
		return counted{value: m.g.Score, measured: true}
	case Jury:
		return counted{value: m.g.Pass, measured: true}
	case Notes:
		return m.notes()
	case Intervals:
		return m.intervals()
	case Rhythm:
		return m.rhythm()
	case Flow:
		return m.flow()
	case Bars:
		return m.parts(m.bars())
	case Segments:
		return m.parts(m.segments())
	case Intonation:
		return m.intonation()
	case Steadiness:
		return m.steadiness()
	}
	return m.key()
}

// right tells whether note i is right, were the singer's key by so many cents higher.
func (m *marking) right(i int, by float64) bool {
	switch n := m.g.Notes[i]; n.Finding {
	case grade.Right, grade.OutOfTune:
		if by == 0 {
			return n.Finding == grade.Right
		}
		return math.Abs(n.Cents-by) <= m.rules.Tolerance
	}
	return false
}

// inTime tells whether note i begins in time; known is false where nobody can tell.
func (m *marking) inTime(i int) (ok, known bool) {
	n := m.g.Notes[i]
	switch {
	case n.Finding == grade.Omitted:
		return false, true
	case !n.Timed:
		return true, false
	}
	return math.Abs(n.Late) <= inTime, true
}

func (m *marking) notes() counted {
	n := float64(len(m.g.Notes))
	share := func(by float64) float64 {
		v := 0.0
		for i := range m.g.Notes {
			if m.right(i, by) {
				v++
			}
		}
		return v / n
	}
	out := counted{value: share(0), measured: true}
	variance := 0.0
	for _, p := range m.doubt {
		variance += p * (1 - p) / (n * n)
	}
	out.spread = math.Sqrt(variance + m.common(share))
	return out
}

// common is the variance of a value by a key that was misheard, which moves all notes
// together.
func (m *marking) common(value func(by float64) float64) float64 {
	if m.shift == 0 {
		return 0
	}
	half := (value(m.shift) - value(-m.shift)) / 2
	bend := (value(m.shift)+value(-m.shift))/2 - value(0)
	return half*half + bend*bend
}

// step is how far the step from note i to the next is from its size, in cents; ok tells
// that both were sung.
func (m *marking) step(i int) (off float64, ok bool) {
	if !m.sung[i] || !m.sung[i+1] {
		return 0, false
	}
	return fold(m.place[i+1] - m.place[i]), true
}

// stepRight tells whether the step from note i to the next is right.
func (m *marking) stepRight(i int) bool {
	off, ok := m.step(i)
	if !ok || math.Abs(off) > math.Sqrt2*m.rules.Tolerance {
		return false
	}
	free := m.rules.Octave || m.rules.Key
	return free || m.g.Notes[i].Answer.Octave == m.g.Notes[i+1].Answer.Octave
}

func (m *marking) intervals() counted {
	n := len(m.g.Notes) - 1
	if n < 1 {
		return counted{}
	}
	right, variance := 0, 0.0
	for i := range n {
		if m.stepRight(i) {
			right++
		}
		p := m.doubt[i] + m.doubt[i+1] // of notes; of a step by its own border
		if off, ok := m.step(i); ok {
			p = misheard + tail(math.Abs(math.Abs(off)-math.Sqrt2*m.rules.Tolerance)/(math.Sqrt2*heardCents))
		}
		p = min(p, 0.5)
		variance += 2 * p * (1 - p) // a note is in two steps
	}
	return counted{value: float64(right) / float64(n), measured: true, spread: math.Sqrt(variance) / float64(n)}
}

func (m *marking) rhythm() counted {
	if !m.timed {
		return counted{}
	}
	right, n, variance := 0, 0, 0.0
	for i := range m.g.Notes {
		ok, known := m.inTime(i)
		if !known {
			continue
		}
		if n++; ok {
			right++
		}
		variance += m.late[i] * (1 - m.late[i])
	}
	if n == 0 {
		return counted{}
	}
	return counted{value: float64(right) / float64(n), measured: true, spread: math.Sqrt(variance) / float64(n)}
}

// halts are the written notes before which the singer waited.
func (m *marking) halts() []int {
	if m.line.Timed {
		return m.g.Hesitations
	}
	var out []int
	end, any := 0.0, false
	for i, n := range m.g.Notes {
		w := n.Answer
		if w.Count == 0 {
			continue
		}
		if any && m.take.Notes[w.First].Onset-end >= grade.Hesitated {
			out = append(out, i)
		}
		end, any = m.take.Notes[w.First+w.Count-1].Offset, true
	}
	return out
}

func (m *marking) flow() counted {
	out := counted{measured: true, spread: haltDoubt}
	if m.g.Right > 0 && len(m.halts()) == 0 && len(m.g.Alignment.Restarts) == 0 {
		out.value = 1
	}
	return out
}

// bars are the borders of the bars, and the end; parts of four usual notes without.
func (m *marking) bars() []float64 { return m.borders(4, 1) }

// segments are the borders of the segments, and the end.
func (m *marking) segments() []float64 {
	first, last := m.line.Notes[0], m.line.Notes[len(m.line.Notes)-1]
	begin, end := first.Onset, last.Onset+last.Length
	if n := m.rubric.Pieces; n > 0 {
		var at []float64
		for k := range n {
			at = append(at, begin+(end-begin)*float64(k)/float64(n))
		}
		return append(at, end)
	}
	return m.borders(halfSegment, 2)
}

// borders divides the line at its bars, each in so many halves, or else into parts of so
// many usual notes.
func (m *marking) borders(usual float64, halves int) []float64 {
	first, last := m.line.Notes[0], m.line.Notes[len(m.line.Notes)-1]
	begin, end := first.Onset, last.Onset+last.Length
	var at []float64
	for k, b := range m.line.Bars {
		if b >= end-equal {
			break
		}
		next := end
		if k+1 < len(m.line.Bars) {
			next = m.line.Bars[k+1]
		} else if k > 0 { // as long as the one before
			next = b + b - m.line.Bars[k-1]
		}
		for h := range halves {
			if x := b + (next-b)*float64(h)/float64(halves); x < end-equal {
				at = append(at, x)
			}
		}
	}
	if len(at) == 0 {
		part := usual * m.beat
		if part <= 0 {
			return []float64{begin, end}
		}
		for x := begin; x < end-equal && len(at) <= len(m.line.Notes); x += part {
			at = append(at, x)
		}
	}
	if at[0] > begin {
		at[0] = begin
	}
	return append(at, end)
}

const equal = 1e-9 // times nearer than this are the same

// piece is what became of one part of the line.
type piece struct {
	number int
	notes  []int // that begin in it
	right  bool
}

// pieces are the parts of a line in which a note begins.
func (m *marking) pieces(at []float64, by float64) []piece {
	var out []piece
	k := -1
	for i, n := range m.line.Notes {
		moved := false
		for k+2 < len(at) && n.Onset >= at[k+1]-equal {
			k, moved = k+1, true
		}
		if moved || len(out) == 0 {
			out = append(out, piece{number: max(k, 0), right: true})
		}
		p := &out[len(out)-1]
		p.notes = append(p.notes, i)
		p.right = p.right && m.right(i, by)
		if m.timed {
			ok, known := m.inTime(i)
			p.right = p.right && (ok || !known)
		}
	}
	return out
}

// parts counts the parts of the line that are right, borders given.
func (m *marking) parts(at []float64) counted {
	all := m.pieces(at, 0)
	share := func(by float64) float64 {
		v := 0.0
		for _, p := range m.pieces(at, by) {
			if p.right {
				v++
			}
		}
		return v / float64(len(all))
	}
	variance := 0.0
	for _, p := range all {
		right := 1.0
		for _, i := range p.notes {
			right *= m.chance(i)
		}
		variance += right * (1 - right)
	}
	n := float64(len(all))
	return counted{value: share(0), measured: true, spread: math.Sqrt(variance/(n*n) + m.common(share))}
}

// chance is the probability that note i is right and in time.
func (m *marking) chance(i int) float64 {
	p := m.doubt[i]
	if m.right(i, 0) {
		p = 1 - p
	}
	if m.timed {
		if ok, known := m.inTime(i); known {
			q := m.late[i]
			if ok {
				q = 1 - q
			}
			p *= q
		}
	}
	return p
}

func (m *marking) intonation() counted {
	n := float64(len(m.g.Notes))
	share := func(by float64) float64 {
		v := 0.0
		for i := range m.g.Notes {
			v += m.near(i, by)
		}
		return v / n
	}
	variance := 0.0
	for i := range m.g.Notes {
		s := heardCents / (nearNone - nearFull)
		if v := m.near(i, 0); v == 0 && !m.sung[i] {
			s = m.doubt[i]
		}
		variance += s * s / (n * n)
	}
	return counted{value: share(0), measured: true, spread: math.Sqrt(variance + m.common(share))}
}

// near is how near note i lies, 0 to 1, were the singer's key so much higher.
func (m *marking) near(i int, by float64) float64 {
	n := m.g.Notes[i]
	if n.Finding != grade.Right && n.Finding != grade.OutOfTune {
		return 0
	}
	return falling(math.Abs(n.Cents-by), nearFull, nearNone)
}

// falling is 1 up to full, and falls in a line to 0 at none.
func falling(x, full, none float64) float64 { return max(0, min(1, (none-x)/(none-full))) }

// moved is how far the key moved, in cents; ok is false where too few notes were sung.
func (m *marking) moved() (cents float64, ok bool) {
	var at []float64
	for i, s := range m.sung {
		if s {
			at = append(at, m.place[i])
		}
	}
	if len(at) < keyWindow {
		return 0, false
	}
	low, high := math.Inf(1), math.Inf(-1)
	for k := 0; k+keyWindow <= len(at); k++ {
		v := median(at[k : k+keyWindow])
		low, high = min(low, v), max(high, v)
	}
	return high - low, true
}

// tempo is how much slower the later half is than the earlier: 0.1 is 10 % slower, and
// −0.1 as much faster; ok is false where nothing tells.
func (m *marking) tempo() (change float64, ok bool) {
	if !m.timed {
		return 0, false
	}
	var paces []float64
	last := -1
	for i, n := range m.g.Notes {
		if !n.Timed {
			continue
		}
		if last >= 0 && !slices.Contains(m.g.Hesitations, i) {
			due := m.line.Notes[i].Onset - m.line.Notes[last].Onset
			if took := n.Onset - m.g.Notes[last].Onset; due > 0 && took > 0 {
				paces = append(paces, took/due)
			}
		}
		last = i
	}
	half := len(paces) / 2
	if half < tempoLeast {
		return 0, false
	}
	a, b := median(paces[:half]), median(paces[len(paces)-half:])
	if b >= a {
		return b/a - 1, true
	}
	return 1 - a/b, true
}

func (m *marking) key() counted {
	moved, ok := m.moved()
	if !ok {
		return counted{}
	}
	return counted{value: falling(moved, keyFull, keyNone), measured: true, spread: heardCents / (keyNone - keyFull)}
}

func (m *marking) steadiness() counted {
	out := m.key()
	change, ok := m.tempo()
	if !ok {
		return out
	}
	tempo := falling(math.Abs(change), tempoFull, tempoNone)
	if !out.measured {
		return counted{value: tempo, measured: true, spread: heardTempo / (tempoNone - tempoFull)}
	}
	return counted{value: (out.value + tempo) / 2, measured: true, spread: math.Hypot(out.spread, heardTempo/(tempoNone-tempoFull)) / 2}
}

// How far the machine's ear may be off; see Mark.Error.
const (
	// heardCents is the standard deviation between two measurements of a note's pitch: those of
	// annotators of sight-singing against ours scatter by some 15 cents (go doc ./exercise/grade).
	heardCents = 15.0
	// heardOnset is that of the beginnings of notes, in seconds: people who mark them agree
	// within some 50 ms (the window of mir_eval).
	heardOnset = 0.04
	heardTempo = 0.05 // of a tempo
	misheard   = 0.02 // probability that a note was taken for another
	lostDoubt  = 0.1  // that a note that was not found was sung all the same
	unclear    = 0.3  // of one of which too little was heard
	haltDoubt  = 0.2  // that somebody else hears a halt, or none
)

// mishear says how likely it is that what was found of each note is otherwise.
func (m *marking) mishear() {
	n := len(m.g.Notes)
	m.doubt, m.late = make([]float64, n), make([]float64, n)
	found := 0
	for i, note := range m.g.Notes {
		p := misheard
		switch note.Finding {
		case grade.Omitted:
			p = lostDoubt
		case grade.NotHeard:
			p = unclear
		default:
			found++
			p += tail(math.Abs(math.Abs(note.Cents)-m.rules.Tolerance) / heardCents)
			if note.Answer.Count == 0 || note.Finding == grade.Right && math.Abs(m.place[i]) > exercise.MaxTolerance {
				p = max(p, lostDoubt)
			}
		}
		m.doubt[i] = min(p, 0.5)
		m.late[i] = misheard
		if note.Timed && m.g.Pace > 0 {
			border := math.Abs(math.Abs(note.Late)-inTime) * m.beat * m.g.Pace
			m.late[i] = min(0.5, misheard+tail(border/heardOnset))
		}
	}
	if found > 0 {
		m.shift = heardCents / math.Sqrt(float64(found))
	}
}

// tail is the probability that a normal variable exceeds z standard deviations.
func tail(z float64) float64 { return math.Erfc(z/math.Sqrt2) / 2 }

// fold brings cents to −600 … 600.
func fold(c float64) float64 { return c - 1200*math.Round(c/1200) }

// median is 0 without values.
func median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	s := slices.Sorted(slices.Values(x))
	return (s[(len(s)-1)/2] + s[len(s)/2]) / 2
}
