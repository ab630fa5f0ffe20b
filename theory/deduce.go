package theory

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"
	"unicode"
)

// Bass is one note of a bass line, and what was heard above it.
type Bass struct {
	Degree Degree
	Heard  Above
}

// Above is what was heard above a bass: the kind of triad, the kind of seventh,
// single degrees that sound or do not. The zero Above is nothing. What counts
// is the chord, not the intervals above the bass: a minor triad is one in every
// inversion.
type Above struct {
	Triad   Triad
	Seventh Seventh
	// Sounds and Silent have bit n set for the degree n semitones above the tonic.
	Sounds, Silent uint16
}

// Triad is the kind of triad that was heard.
type Triad int8

// The triads. Suspended is any chord without a third.
const (
	AnyTriad Triad = iota // not heard
	MajorHeard
	MinorHeard
	DiminishedHeard
	AugmentedHeard
	SuspendedHeard
)

var triadNames = [...]string{"any", "major", "minor", "diminished", "augmented", "suspended"}

// String names the triad: "major", "minor", …; "any" where it was not heard.
func (t Triad) String() string { return triadNames[t] }

// Seventh is the kind of seventh that was heard.
type Seventh int8

// The sevenths.
const (
	AnySeventh  Seventh = iota // not heard, whether there is one
	NoSeventh                  // there is none
	SomeSeventh                // there is one
	MinorSeventh
	MajorSeventh
	DiminishedSeventh
)

var seventhNames = [...]string{"any", "none", "some", "minor", "major", "diminished"}

// String names the seventh: "none", "minor", …; "any" where it was not heard.
func (s Seventh) String() string { return seventhNames[s] }

// Triad returns the kind of triad that q has.
func (q Quality) Triad() Triad {
	third, has := q.Tone(3)
	fifth, _ := q.Tone(5)
	switch {
	case !has:
		return SuspendedHeard
	case third.Alter < 0 && fifth.Alter < 0:
		return DiminishedHeard
	case third.Alter < 0:
		return MinorHeard
	case fifth.Alter > 0:
		return AugmentedHeard
	}
	return MajorHeard
}

// Seventh returns the kind of seventh that q has, or NoSeventh.
func (q Quality) Seventh() Seventh {
	seventh, has := q.Tone(7)
	if !has {
		return NoSeventh
	}
	return [...]Seventh{DiminishedSeventh, MinorSeventh, MajorSeventh}[seventh.Alter+2]
}

// allows tells whether the chord can be what was heard.
func (h Above) allows(st standing) bool {
	seventh := st.roman.Chord.Quality.Seventh()
	return (h.Triad == AnyTriad || h.Triad == st.roman.Chord.Quality.Triad()) &&
		(h.Seventh == AnySeventh || h.Seventh == seventh || h.Seventh == SomeSeventh && seventh != NoSeventh) &&
		h.Sounds&^st.tones == 0 && h.Silent&st.tones == 0
}

// Candidate is a chord that may stand on a bass.
type Candidate struct {
	Roman Roman
	// P is its probability with all that was heard, here and on the other notes of
	// the line; Alone with what was heard here. Both sum to 1 over the candidates.
	P, Alone float64
	// Times is how often it stands on this bass in 100 chords, as counted (in hymns,
	// with the few chords added that fill the counts in); 0 where it is not among
	// those with 3 and more.
	Times int

	standing
}

// Deduction is what the chords over a bass line can be.
type Deduction struct {
	Key   Key
	Style Style
	// Places has one for each note of the line.
	Places []Place
	// Progressions are the most probable ones, the best first.
	Progressions []Progression
}

// Place is what is known of one chord.
type Place struct {
	Bass Bass
	// Candidates are all chords that what was heard allows, the most probable
	// first.
	Candidates []Candidate
	// Excluded are the counted chords that it does not allow, the most frequent
	// first. P and Alone are 0.
	Excluded []Candidate
	// Before is how often, in 100 changes of root, the root of the most probable
	// chord before this one goes on to the root of the most probable one here, and
	// After how often that goes on to the next; 0 where that is not among those
	// counted, or the root stays.
	Before, After int
	// Listen is the one more thing that tells most, if there is more to tell.
	Listen ListenFor
}

// Progression is one chord for each note of the line.
type Progression struct {
	P      float64
	Chords []Roman
}

// ListenFor is one thing to listen for.
type ListenFor struct {
	Asks AsksFor
	// Degree is what may sound above the bass, where Asks is ForDegree.
	Degree Degree
	// Bits is how much the answer tells on average, of what there is to know about
	// the chord. Where it is 0 there is nothing to ask.
	Bits float64
	// Answers are the possible ones, the most probable first.
	Answers []Reply
}

// AsksFor is what a question is about.
type AsksFor int8

// The questions.
const (
	ForDegree  AsksFor = iota // whether a degree sounds above the bass
	ForTriad                  // which triad it is
	ForSeventh                // whether there is a seventh
)

// Reply is one answer to a question, and what it leads to.
type Reply struct {
	Yes   bool  // to ForDegree and ForSeventh
	Triad Triad // to ForTriad
	P     float64
	// Then is the most probable chord after this answer, with its probability in P.
	Then Candidate
}

var (
	// ErrHeard is wrapped by every error about what was heard above a bass.
	ErrHeard = errors.New("not what can be heard above a bass")
	// ErrImpossible is wrapped by the error about a bass above which no chord is
	// what was heard.
	ErrImpossible = errors.New("no chord is what was heard")
)

// heardWords are words for what is heard besides those of a chord symbol.
var heardWords = map[string]string{
	"diminished": "dim", "augmented": "aug", "suspended": "sus4", "maj": "", "major": "", "M": "",
	"dominant": "7", "half-diminished": "m7b5", "hdim": "m7b5",
}

// ParseBassLine reads a bass line: degrees of k as ParseDegree reads them,
// separated by spaces, commas or bars. Behind each, after colons, may stand what
// was heard above it: a triad (maj min dim aug sus), a chord with a seventh (7
// maj7 min7 hdim7 dim7), both in every form of a chord symbol; no7 for no
// seventh, 7th for some seventh; and a degree that sounds (la or +la) or does
// not (-la). So "do fa:min sol:maj:no7 la:-do".
func ParseBassLine(s string, k Key, n Naming) ([]Bass, error) {
	var line []Bass
	for word := range strings.FieldsFuncSeq(s, func(r rune) bool { return r == ',' || r == '|' || unicode.IsSpace(r) }) {
		b, err := parseBass(word, k, n)
		if err != nil {
			return nil, fmt.Errorf("bass %d: %w", len(line)+1, err)
		}
		line = append(line, b)
	}
	if len(line) == 0 {
		return nil, fmt.Errorf("%w: the bass line is empty; want degrees like \"do fa:min sol do\"", ErrDegree)
	}
	return line, nil
}

func parseBass(s string, k Key, n Naming) (Bass, error) {
	parts := strings.Split(s, ":")
	d, err := ParseDegree(parts[0], k, n)
	if name, rest, ok := cutChartNumber(parts[0]); err != nil && ok && rest != "" {
		if _, chord := k.parseNumber(parts[0]); chord == nil {
			return Bass{}, fmt.Errorf("%w of %s: %s is a chord; want the bass, and behind a colon what was heard, like %s:min", ErrDegree, k.ASCII(), quote(s), name)
		}
	}
	if err != nil {
		return Bass{}, err
	}
	b := Bass{Degree: d}
	for _, part := range parts[1:] {
		if err := b.Heard.add(part, k, n); err != nil {
			return b, fmt.Errorf("%w: %s: %v", ErrHeard, quote(s), err)
		}
	}
	if b.Heard.Silent&(1<<d.Semitones()) != 0 {
		return b, fmt.Errorf("%w: %s: the bass itself sounds", ErrHeard, quote(s))
	}
	if b.Heard.Sounds&b.Heard.Silent != 0 {
		return b, fmt.Errorf("%w: %s: a degree sounds and does not", ErrHeard, quote(s))
	}
	return b, nil
}

// add reads one part of what was heard.
func (h *Above) add(s string, k Key, n Naming) error {
	triad, seventh := AnyTriad, AnySeventh
	symbol, word := heardWords[s]
	if !word {
		symbol = s
	}
	q, err := parseQuality(symbol)
	switch third, has := q.Tone(3); {
	case s == "":
		return fmt.Errorf("nothing stands behind the colon; want what was heard, like min or 7")
	case s == "no7":
		seventh = NoSeventh
	case s == "7th":
		seventh = SomeSeventh
	case err == nil:
		_, two := q.Tone(2)
		_, four := q.Tone(4)
		if !has && !two && !four || third.Alter < -1 {
			return fmt.Errorf("%s has no third; leave it out, or say which degree sounds, like +sol", quote(s))
		}
		triad = q.Triad()
		if q.Seventh() != NoSeventh || q != triadOf(q) {
			seventh = q.Seventh() // a sixth or an added ninth was heard, and no seventh
		}
	default:
		name, silent := strings.CutPrefix(s, "-")
		if !silent {
			name = strings.TrimPrefix(s, "+")
		}
		d, err := ParseDegree(name, k, n)
		if err != nil {
			return fmt.Errorf("%s is not understood; want a triad (maj min dim aug sus), a seventh chord (7 maj7 min7 hdim7 dim7), no7, 7th, or a degree that sounds or does not (+%s -%s)",
				quote(s), n.NameASCII(k, Degree{6, 0}), n.NameASCII(k, Degree{6, 0}))
		}
		if silent {
			h.Silent |= 1 << d.Semitones()
		} else {
			h.Sounds |= 1 << d.Semitones()
		}
		return nil
	}
	if triad != AnyTriad && h.Triad != AnyTriad && triad != h.Triad {
		return fmt.Errorf("%v and %v: want one triad", h.Triad, triad)
	}
	if seventh != AnySeventh && h.Seventh != AnySeventh && seventh != h.Seventh {
		return fmt.Errorf("%s says another seventh than what stands before it; want one", quote(s))
	}
	h.Triad, h.Seventh = max(h.Triad, triad), max(h.Seventh, seventh)
	return nil
}

// triadOf returns q without what stands above its fifth.
func triadOf(q Quality) Quality {
	if _, third := q.Tone(3); third {
		q = q.without(2).without(4)
	}
	return q.without(6).without(7)
}

// Deduce tells what the chords over a bass line in k can be, and the n most
// probable progressions. It is exact: a first-order chain in which a chord's
// probability is its share of what stands on its bass in the style, times how
// much likelier its root is after the one before than it is anywhere; in hymns,
// how much likelier the chord is after the bass and root before, and as the first
// or last of a line. Every
// chord and every step has some probability, so what is heard is never
// impossible for being rare. The degree in the bass counts as it sounds: si and
// le are one.
//
// The key must be major or minor. An error wraps ErrImpossible where no chord
// has all the degrees that sound.
func Deduce(k Key, s Style, line []Bass, n int) (Deduction, error) {
	out := Deduction{Key: k, Style: s}
	if k.Mode != Major && k.Mode != Minor {
		return out, fmt.Errorf("%w: chords were counted in major and minor keys, not in %s", ErrKey, k.Mode)
	}
	return idioms[s][k.Mode]().deduce(out, line, n)
}

func (id *idiom) deduce(out Deduction, line []Bass, n int) (Deduction, error) {
	for i, b := range line {
		place := Place{Bass: b}
		sum := 0.0
		for _, st := range id.on[b.Degree.Semitones()] {
			switch c := out.candidate(st); {
			case b.Heard.allows(st):
				place.Candidates = append(place.Candidates, c)
				sum += st.share
			case st.times > 0:
				place.Excluded = append(place.Excluded, c)
			}
		}
		if len(place.Candidates) == 0 {
			return out, fmt.Errorf("%w: above bass %d, %s; want fewer degrees that sound or do not", ErrImpossible, i+1, out.Key.Note(b.Degree).ASCII())
		}
		for j := range place.Candidates {
			place.Candidates[j].Alone = place.Candidates[j].share / sum
		}
		sort.SliceStable(place.Excluded, func(i, j int) bool { return cmp.Compare(place.Excluded[j].Times, place.Excluded[i].Times) < 0 })
		out.Places = append(out.Places, place)
	}
	total := id.weigh(out.Places)
	paths := id.best(out.Places, total, n)
	for _, path := range paths {
		g := Progression{P: path.p}
		for i, at := range path.at {
			g.Chords = append(g.Chords, out.Places[i].Candidates[at].Roman)
		}
		out.Progressions = append(out.Progressions, g)
	}
	for i := range out.Places {
		cs := out.Places[i].Candidates
		sort.SliceStable(cs, func(i, j int) bool { return cmp.Compare(cs[j].P, cs[i].P) < 0 })
		out.Places[i].Listen = ask(out.Key, line[i].Degree, cs)
		if i > 0 {
			before := &out.Places[i-1]
			times := id.moves[before.Candidates[0].root][cs[0].root]
			before.After, out.Places[i].Before = times, times
		}
	}
	return out, nil
}

// candidate moves a chord of C into the key.
func (d Deduction) candidate(st standing) Candidate {
	up := Pitch{}.IntervalTo(Pitch{Note: d.Key.Tonic})
	r := st.roman
	r.Key, r.Local.Tonic, r.Chord = d.Key, r.Local.Tonic.Up(up), r.Chord.Up(up)
	return Candidate{Roman: r, Times: st.times, standing: st}
}

// weigh sets the probability of each candidate with the whole line, by passing
// weights forwards and backwards. What passes from chord to chord depends on
// the root of the first alone, since its bass is known. It returns the logarithm
// of the weight of all paths together.
func (id *idiom) weigh(places []Place) (total float64) {
	ahead := make([][]float64, len(places)) // of each candidate, with what came before
	for i, place := range places {
		ahead[i] = make([]float64, len(place.Candidates))
		var before [12]float64
		if i > 0 {
			before = byRoot(places[i-1], ahead[i-1])
		}
		for a, c := range place.Candidates {
			ahead[i][a] = id.bounds(places, i, c)
			if i > 0 {
				sum := 0.0
				for from, w := range before {
					sum += w * id.step(places[i-1].bass(), from, c.standing)
				}
				ahead[i][a] *= sum
			}
		}
		total += math.Log(normalise(ahead[i]))
	}
	var after [12]float64 // what comes after a root
	for i := len(places) - 1; i >= 0; i-- {
		cs := places[i].Candidates
		ps, with := make([]float64, len(cs)), make([]float64, len(cs))
		for a, c := range cs {
			ps[a], with[a] = ahead[i][a], id.bounds(places, i, c)
			if i < len(places)-1 {
				ps[a] *= after[c.root]
				with[a] *= after[c.root]
			}
		}
		normalise(ps)
		normalise(with)
		for a := range cs {
			cs[a].P = ps[a]
		}
		if i == 0 {
			break
		}
		for from := range after {
			after[from] = 0
			for a, c := range cs {
				after[from] += id.step(places[i-1].bass(), from, c.standing) * with[a]
			}
		}
	}
	return total
}

// bass returns the bass of a place, in semitones above the tonic.
func (p Place) bass() int { return p.Bass.Degree.Semitones() }

// bounds weighs a candidate alone, and where it begins or ends a line of more
// than one, as a beginning or an end.
func (id *idiom) bounds(places []Place, i int, c Candidate) float64 {
	w := c.Alone
	if i == 0 && len(places) > 1 {
		w *= id.begin(c.standing)
	}
	if i == len(places)-1 && i > 0 {
		w *= id.end(c.standing)
	}
	return w
}

// byRoot adds the weights of the candidates with the same root.
func byRoot(p Place, weights []float64) (sums [12]float64) {
	for a, c := range p.Candidates {
		sums[c.root] += weights[a]
	}
	return sums
}

// path is one candidate at each place, and its probability.
type path struct {
	p  float64
	at []int
}

// way is a path to a candidate: the logarithm of its weight, the candidate, and
// the way before it.
type way struct {
	log  float64
	at   int
	from *way
}

// best returns the n most probable paths, by keeping the n best ways to every
// root: a worse one to the same root is worse in all that follows. total is what
// weigh returns.
func (id *idiom) best(places []Place, total float64, n int) []path {
	var roots [12][]way // the best ways to each root
	var ends []way
	for i, place := range places {
		var next [12][]way
		for at, c := range place.Candidates {
			if i == 0 {
				next[c.root] = append(next[c.root], way{math.Log(id.bounds(places, i, c)), at, nil})
				continue
			}
			for from := range roots {
				if len(roots[from]) == 0 {
					continue
				}
				weight := math.Log(id.step(places[i-1].bass(), from, c.standing) * id.bounds(places, i, c))
				for j := range roots[from] {
					next[c.root] = append(next[c.root], way{roots[from][j].log + weight, at, &roots[from][j]})
				}
			}
		}
		ends = ends[:0]
		for r := range next {
			// Cut to its length, so that the next place does not write over it.
			roots[r] = slices.Clone(best(next[r], n))
			ends = append(ends, roots[r]...)
		}
	}
	var out []path
	for _, end := range best(ends, n) {
		p := path{math.Exp(end.log - total), make([]int, len(places))}
		for i, w := len(places)-1, &end; w != nil; i, w = i-1, w.from {
			p.at[i] = w.at
		}
		out = append(out, p)
	}
	return out
}

// best sorts ways and returns the n best.
func best(ws []way, n int) []way {
	sort.SliceStable(ws, func(i, j int) bool { return cmp.Compare(ws[j].log, ws[i].log) < 0 })
	return ws[:min(n, len(ws))]
}

// ask finds the question whose answer tells most: since a chord decides the
// answer, that is the one whose answers are most evenly divided. One about a
// degree, which is simpler to listen for, is kept unless another tells 5 % more.
func ask(k Key, bass Degree, cs []Candidate) ListenFor {
	var best ListenFor
	try := func(q ListenFor, answer func(Candidate) Reply) {
		for _, c := range cs {
			a := answer(c)
			i := slices.IndexFunc(q.Answers, func(b Reply) bool { return a.Yes == b.Yes && a.Triad == b.Triad })
			if i < 0 {
				a.Then = c // the most probable comes first
				q.Answers = append(q.Answers, a)
				i = len(q.Answers) - 1
			}
			q.Answers[i].P += c.P
		}
		for i, a := range q.Answers {
			if a.P > 0 {
				q.Answers[i].Then.P = a.Then.P / a.P
				q.Bits -= a.P * math.Log2(a.P)
			}
		}
		sort.SliceStable(q.Answers, func(i, j int) bool { return cmp.Compare(q.Answers[j].P, q.Answers[i].P) < 0 })
		if len(q.Answers) > 1 && q.Bits > 1.05*best.Bits+1e-9 {
			best = q
		}
	}
	for s := range 12 {
		if s != bass.Semitones() {
			try(ListenFor{Asks: ForDegree, Degree: nearest[s]}, func(c Candidate) Reply { return Reply{Yes: c.tones&(1<<s) != 0} })
		}
	}
	try(ListenFor{Asks: ForTriad}, func(c Candidate) Reply { return Reply{Triad: c.Roman.Chord.Quality.Triad()} })
	try(ListenFor{Asks: ForSeventh}, func(c Candidate) Reply { return Reply{Yes: c.Roman.Chord.Quality.Seventh() != NoSeventh} })
	if best.Bits > 0 && best.Asks == ForDegree {
		best.Degree = spelledIn(k, best.Degree, cs)
	}
	return best
}

// spelledIn spells a degree as the first chord does that has it.
func spelledIn(k Key, d Degree, cs []Candidate) Degree {
	for _, c := range cs {
		for _, n := range c.Roman.Chord.Notes() {
			if own := k.Degree(n); own.Semitones() == d.Semitones() {
				return own
			}
		}
	}
	return d
}
