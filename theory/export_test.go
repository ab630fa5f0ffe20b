package theory

// Counted lets tests make a style of their own from counts, in the form in
// which those of pop, rock and chorales are written.
type Counted struct {
	Bass, Next, Roots string
	Stay              float64
}

// ReadCounts makes a style of one mode from counts.
func ReadCounts(cs Counted, m Mode) *idiom {
	return newIdiom(counted{bass: cs.Bass, next: cs.Next, roots: cs.Roots, stay: cs.Stay}, m)
}

// ReadPairs makes a style of one mode from pairs of chords, and for minor those
// in major.
func ReadPairs(pairs, major string, m Mode) *idiom {
	return newPairIdiom(pairs, major, Key{Mode: m}, idioms[Chorale][m]())
}

// Pairs returns the pairs of a style as they are written, "" where none were
// counted.
func Pairs(s Style, m Mode) string { return counts[s][m].pairs }

// Deduce is Deduce in these counts.
func (id *idiom) Deduce(k Key, line []Bass, n int) (Deduction, error) {
	return id.deduce(Deduction{Key: k}, line, n)
}

// Counts returns the counts of a style as they are written.
func Counts(s Style, m Mode) Counted {
	c := counts[s][m]
	return Counted{c.bass, c.next, c.roots, c.stay}
}

// Standing returns the chords of C that may stand on a bass so many semitones
// above the tonic, with their shares.
func Standing(s Style, m Mode, bass int) (chords []Chord, shares []float64, times []int) {
	for _, st := range idioms[s][m]().on[bass] {
		chords, shares, times = append(chords, st.roman.Chord), append(shares, st.share), append(times, st.times)
	}
	return chords, shares, times
}

// Step returns how much likelier a chord is after another than anywhere.
func Step(s Style, m Mode, a, b Candidate) float64 {
	return idioms[s][m]().step(a.bass, a.root, b.standing)
}

// Begin and End return how much likelier a chord is at the beginning and the end
// of a line than anywhere.
func Begin(s Style, m Mode, c Candidate) float64 { return idioms[s][m]().begin(c.standing) }

func End(s Style, m Mode, c Candidate) float64 { return idioms[s][m]().end(c.standing) }

// Moves returns how often in 100 a root is followed by another, as counted.
func Moves(s Style, m Mode, from, to int) int { return idioms[s][m]().moves[from][to] }
