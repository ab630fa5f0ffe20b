package grade

import "math"

// Measures are the amounts of the faults that a jury's verdicts can be compared
// with, each 0 for none, and each a sum over the notes, against their number: a
// fault counts where it stands, and as much there as anywhere else.
type Measures struct {
	// Missing is the mean square of what the notes lack of their due in tune: a
	// missing note is worse than three short ones.
	Missing float64
	// PassedOver is the part of it that was not waited for: the next note comes in
	// the place of one that was left out.
	PassedOver float64
	// Rhythm is how far the times from note to note, to the one after the next and
	// to the one after that are off, in beats, 1 at most each, and mean: a note that
	// is late moves six such times, and so does a wait.
	Rhythm float64
	// Added is the sound that belongs to no note and takes no note's place, against
	// the line's length.
	Added float64
}

// part is what a written note got of the curve: equal neighbours, which a curve
// reads as one, share what they got.
type part struct {
	due      float64 // frames
	onset    float64 // in units of the line
	from, to int     // frames
	tune     float64 // of its due, as of got

	lack   float64 // of its due, 0 … 1: see lacks
	closed float64 // of its due that was not waited for, 0 … 1
}

// step is a time between two notes that is off by cost, 0 … 1. The notes are of
// the line; the same twice stand for the beginning or the end.
type step struct {
	from, to int
	cost     float64
}

// notesOf is what the notes of a take say of the written ones.
type notesOf struct {
	octave bool                    // any octave is right
	bad    func(i int) bool        // note i is wrong or was left out
	sung   func(i int) float64     // seconds that were sung for note i
	onset  func(i int) float64     // second at which it was
	key    func(t float64) float64 // cents of the singer's key above the line at second t
}

// parted is a reading taken apart: what became of each written note, of the times
// between them, and of what is sung beside them.
type parted struct {
	parts []part
	steps []step
	extra []extra
	dues  float64 // frames of all notes
}

// extra is a frame of sound that belongs to no note, and how much of it takes no
// note's place.
type extra struct {
	frame int
	share float64
}

const (
	goodShare = 0.8 // of its due is a note that was held
	foundTune = 0.4 // of its due in tune is a note whose time is known
	freeTime  = 0.2 // beats by which a time from note to note may be off
	timeMost  = 1.0 // beats: being further off is no worse
	timeReach = 3   // notes on that a time is measured to
)

// lacks is what a note lacks of its due, 0 … 1.
func lacks(tune float64) float64 { return 1 - min(1, tune/goodShare) }

// apart takes a reading apart. Notes that are wrong or were left out have no share in
// what an equal neighbour got, but for what it does not need.
func (w *following) apart(line Line, notes notesOf) parted {
	p := parted{parts: make([]part, len(line.Notes))}
	for k, g := range w.notes {
		if w.rest[k] {
			continue
		}
		from, to := w.members(k, len(line.Notes))
		good, poor := 0.0, 0.0 // frames that are due to notes that are right, and to others
		for i := from; i < to; i++ {
			if d := line.Notes[i].Length * w.pace; notes.bad(i) {
				poor += d
			} else {
				good += d
			}
		}
		long := float64(g.to - g.from)
		first, rest := long/(good+poor), long/(good+poor) // of a frame that is due
		if good > 0 && poor > 0 {
			first = min(long, good) / good
			rest = max(0, long-good) / poor
			if rest > 1 {
				first, rest = long/(good+poor), long/(good+poor)
			}
		}
		at := float64(g.from)
		for i := from; i < to; i++ {
			n := &p.parts[i]
			n.due, n.onset = line.Notes[i].Length*w.pace, line.Notes[i].Onset
			n.from = int(at + 0.5)
			if notes.bad(i) {
				at += rest * n.due
			} else {
				at += first * n.due
			}
			n.to = int(at + 0.5)
			for f := n.from; f < n.to; f++ {
				n.tune += w.inTune(k, f, notes) / n.due
			}
			n.lack = lacks(n.tune)
			p.dues += n.due
			if i == from && i > 0 && notes.bad(i-1) && notes.sung(i-1) > 0 && notes.sung(i) > 0 {
				// What was sung for a wrong note before it, on its own pitch.
				n.from = max(n.from, min(n.to, w.fr.frame(notes.onset(i))))
			}
			for n.from < n.to && !w.fr.ok[n.from] { // silence is no part of it
				n.from++
			}
			for n.to > n.from && !w.fr.ok[n.to-1] {
				n.to--
			}
		}
	}
	p.within(w)
	p.between(w, notes)
	p.time(w)
	return p
}

// within looks for what is sung on another pitch in the midst of a note, or between equal
// ones: as far as they need not have had its time, it is a note more.
func (p *parted) within(w *following) {
	for k, g := range w.notes {
		if w.rest[k] {
			continue
		}
		due := w.line[k].Length * w.pace
		need := due*(1-min(1, g.tune)) + freeTime*w.beat*w.pace
		off := 0.0
		for f := g.from; f < g.to; f++ {
			if w.strays(k, f) {
				off++
			}
		}
		if off <= need {
			continue
		}
		for f := g.from; f < g.to; f++ {
			if w.strays(k, f) {
				p.extra = append(p.extra, extra{f, (off - need) / off})
			}
		}
	}
}

// strays tells whether frame f, of note k, has another pitch.
func (w *following) strays(k, f int) bool {
	return w.fr.ok[f] && inTune(octaveFold(w.fr.cents[f]-w.line[k].Cents-w.key[f])) == 0
}

// between looks at what lies between the notes that were found.
func (p *parted) between(w *following, notes notesOf) {
	last, at := -1, 0
	for i := 0; i <= len(p.parts); i++ {
		to := len(w.fr.ok)
		if i < len(p.parts) {
			if p.parts[i].tune < foundTune {
				continue
			}
			to = p.parts[i].from
		}
		p.gap(w, notes, last, i, at, to)
		if i < len(p.parts) {
			last, at = i, p.parts[i].to
		}
	}
}

// gap looks at the frames between the notes a and b, which were found.
func (p *parted) gap(w *following, notes notesOf, a, b, from, to int) {
	sound := 0.0
	for f := from; f < to; f++ {
		if w.fr.ok[f] {
			sound++
		}
	}
	due := 0.0
	for i := a + 1; i < b; i++ {
		due += p.parts[i].due
	}
	if over := sound - due; over > 0 {
		for f := from; f < to; f++ {
			if w.fr.ok[f] {
				p.extra = append(p.extra, extra{f, over / sound})
			}
		}
	}
	if due == 0 {
		return
	}
	closed := 1 - min(1, float64(to-from)/due)
	if a < 0 || b == len(p.parts) {
		// Whether the first or the last was waited for cannot be heard.
		closed *= 1 - 1/float64(b-a-1)
	}
	for i := a + 1; i < b; i++ {
		// A neighbour on the pitch of a wrong note takes its sound for its own.
		sung := notes.sung(i) / w.fr.step / p.parts[i].due
		p.parts[i].closed = min(closed, 1-min(1, sung))
	}
}

// time compares the times between the notes that were found with those of the
// line, in the tempo of most of the times from one note to the next: then a wait is
// one, and does not make the rest too fast. Before the first and after the last of
// them time goes on as written, so that a wait is worth the same at any place.
func (p *parted) time(w *following) {
	var found []int
	var paces []float64
	for i, n := range p.parts {
		if n.tune < foundTune {
			continue
		}
		if k := len(found); k > 0 {
			last := p.parts[found[k-1]]
			if n.onset > last.onset && n.from > last.from {
				paces = append(paces, float64(n.from-last.from)/(n.onset-last.onset))
			}
		}
		found = append(found, i)
	}
	pace := w.pace
	if len(paces) >= pacesLeast {
		pace = median(paces)
	}
	for reach := 1; reach <= timeReach; reach++ {
		for k := 1; k < len(found)+reach-1; k++ {
			from, to := max(0, k-reach), min(len(found)-1, k)
			if from >= to {
				continue
			}
			a, b := p.parts[found[from]], p.parts[found[to]]
			d := math.Abs(float64(b.from-a.from)/pace-b.onset+a.onset) / w.beat
			if cost := min(timeMost, d-freeTime); cost > 0 {
				p.steps = append(p.steps, step{found[from], found[to], cost})
			}
		}
	}
}

// pacesLeast is how many times from note to note tell a tempo.
const pacesLeast = 3

// stepsMost is how many times between notes a late note moves.
const stepsMost = timeReach * (timeReach + 1) / 2

// measures sums up.
func (p *parted) measures() Measures {
	var m Measures
	n := float64(len(p.parts))
	for _, v := range p.parts {
		m.Missing += v.lack * v.lack / n
		m.PassedOver += v.lack * v.lack * v.closed / n
	}
	for _, s := range p.steps {
		m.Rhythm += s.cost / (stepsMost * n)
	}
	for _, e := range p.extra {
		m.Added += e.share / p.dues
	}
	m.Added = min(1, m.Added)
	return m
}

// inTune is what frame f is in tune as note k of a reading, whose key follows the
// singer's: but not farther than homeNone from that of the whole take, or the line of its
// drift. Who ends a semitone sharp has sung wrong notes.
func (w *following) inTune(k, f int, notes notesOf) float64 {
	if !w.fr.ok[f] {
		return 0
	}
	cents := w.fr.cents[f] - w.line[k].Cents
	v := inTune(octaveFold(cents - w.key[f]))
	off := cents - notes.key(w.fr.time(f))
	if !notes.octave && math.Abs(off) > 600 {
		return 0
	}
	away := math.Abs(octaveFold(off))
	return v * max(strayWorth, min(1, (homeNone-away)/(homeNone-homeFull)))
}

const (
	homeFull   = 75.0 // cents
	homeNone   = 100.0
	strayWorth = 0.3 // of a frame beyond, which is in tune with its neighbours
)
