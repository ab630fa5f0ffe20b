package theory

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// Style is a body of music in which chords were counted.
type Style int

// The styles. Pop are 739 chart songs of 1958–91 in the McGill Billboard
// annotations 2.0 (Burgoyne, Wild and Fujinaga 2011), weighted by time. Rock
// are 200 songs by two analysts, RS 200 (de Clercq and Temperley 2011). Hymn
// are 96 hymns of congregations in four parts from the Open Hymnal Project, in
// the public domain. Chorale are 371 four-part chorales by the analyses of When
// in Rome (Gotham and others, from 2019). All but pop are counted per
// chord. Gospel is judgement: nothing was counted.
const (
	Pop Style = iota
	Rock
	Hymn
	Chorale
	Gospel
)

var styleNames = [...]string{Pop: "pop", Rock: "rock", Hymn: "hymn", Chorale: "chorale", Gospel: "gospel"}

// Styles returns all styles.
func Styles() []Style { return []Style{Pop, Rock, Hymn, Chorale, Gospel} }

// String returns the word that ParseStyle reads.
func (s Style) String() string {
	if s < 0 || int(s) >= len(styleNames) {
		return fmt.Sprintf("Style(%d)", int(s))
	}
	return styleNames[s]
}

// Source names the collection in which the chords were counted, or what they are
// judged by.
func (s Style) Source() string {
	return [...]string{
		Pop:     "739 chart songs 1958-91 (McGill Billboard 2.0, Burgoyne, Wild and Fujinaga 2011)",
		Rock:    "200 rock songs (RS 200, de Clercq and Temperley 2011)",
		Hymn:    "96 congregational hymns in four parts (Open Hymnal Project)",
		Chorale: "371 four-part chorales (analyses of When in Rome, Gotham and others)",
		Gospel:  "what teachers of church piano name as usual (judgement; nothing was counted)",
	}[s]
}

// Judged tells that nothing was counted in this style: its numbers are judgement.
func (s Style) Judged() bool { return s == Gospel }

// ErrStyle is wrapped by every error about a style that could not be read.
var ErrStyle = errors.New("not a style")

// ParseStyle reads "pop", "rock", "hymn", "chorale" or "gospel", in any case.
func ParseStyle(s string) (Style, error) {
	word := strings.ToLower(strings.TrimSpace(s))
	for i, name := range styleNames {
		if word == name {
			return Style(i), nil
		}
	}
	return 0, fmt.Errorf("%w: %s; want %s", ErrStyle, quote(s), strings.Join(styleNames[:], ", "))
}

// counted is what was counted in the songs of one style and mode. Roots are
// large numerals counted from the major scale, whatever stands on them.
type counted struct {
	// bass has a line for each degree in the bass: its name, how often it comes in
	// 100 chords, and the chords that stand on it in 100, those of 3 and more.
	bass string
	// next has a line for each root: the roots that follow it in 100 changes of
	// root.
	next string
	// roots are the roots in 100 chords where next was counted in other songs than
	// bass; empty where they follow from bass.
	roots string
	// stay is how many of 100 chord changes keep the root.
	stay float64
	// pairs has a line for each chord: how often which followed it. Where it is
	// given there is nothing else.
	pairs string
}

// The tables. What stands on each bass, and what follows what in rock and
// chorales, was counted on the whole of the three collections. Those counts
// have one row for what stands together in a bracket: III(7)/3, vii°(7)/3, ♯iv°
// or ø, vii° or ø7, and chords suspended with and without a seventh; they are
// split here as in the half of each collection that the tests count again. So
// are, since the counts leave them out: the basses ♭2 in major, and 3 and ♯4 in
// minor chorales; ♯4 in pop, which is only called mixed; what follows what in
// pop, and VII and ♯IV in chorales; and stay. After II in minor chorales only ii°
// was counted, a fifth of them: the row is that of all at hand.
var counts = [...][2]counted{
	Pop: {
		Major: {
			bass: `do 40: I 74, I7 13, Imaj7 3
				ra 0.4: bII 50, bIImaj7 20, bV64 13, bii7 6
				re 6: ii7 33, ii 30, II 14, II7 13
				me 1: bIII 69, bIIImaj7 8
				mi 4: iii 31, iii7 29, I6 19, III7 8, III 7
				fa 18: IV 76, IV7 9, IVmaj7 6, iv 3
				fi 0.5: #IV 21, II65 16, #IV7 13, #ivo 11, #IVmaj7 9, II6 7
				sol 17: V 56, V7 24, V7sus4 5, Vsus4 4, I64 3
				le 1: bVI 59, bVImaj7 20, bVI7 7
				la 7: vi 57, vi7 19, VI 9, VI7 7, IV6 3
				te 3: bVII 75, bVII7 6, bVII7sus4 3, bVIIsus4 1, I42 3
				ti 1: V6 35, VII 13, Imaj42 8, V65 5`,
			next: `I: IV 38, V 23, bVII 11, II 10, VI 10, bIII 3
				II: V 39, I 28, IV 14, VI 8, III 7
				bIII: IV 39, bVII 21, I 14, II 12, bVI 5, V 4
				III: VI 36, IV 24, II 21, I 8, V 5
				IV: I 52, V 31, II 4, bVII 4, III 3
				V: I 58, IV 25, VI 6, II 6
				bVI: bVII 31, V 17, bIII 12, I 11, bII 9, VI 8, IV 7
				VI: II 29, IV 28, I 16, V 15, III 7
				bVII: I 47, IV 36, V 5, bVI 4, VI 3, bIII 3
				VII: III 35, I 15, VI 14, IV 13, V 4`,
			stay: 8,
		},
		Minor: {
			bass: `do 48: i 58, i7 29, I 4
				re 1: II 26, ii7 23, bVII6 14
				me 6: bIII 75, bIIIsus4 6, i6 3
				fa 13: IV 30, iv 24, iv7 23, IV7 14
				sol 10: V7 25, v 20, V 18, v7 14, Vsus4 4, V7sus4 3
				le 9: bVI 68, bVImaj7 22, bVI7 4, bVII42 3
				la 1: vi 34, i/la 24
				te 11: bVII 72, bVII7sus4 4, bVIIsus4 3, bIII64 5
				ti 0.4: V65 38, vii 25`,
			next: `I: IV 29, bVI 27, bVII 18, bIII 11, V 11
				II: V 40, I 33, bIII 20, VI 3
				bIII: IV 38, bVI 22, I 18, bVII 15
				IV: I 41, V 19, bVI 16, bIII 11, bVII 10
				V: I 56, IV 19, bVI 14, II 5, bIII 3
				bVI: bVII 48, V 19, I 13, bIII 8, IV 7
				bVII: I 53, bVI 16, IV 11, bIII 9, V 8`,
			stay: 8,
		},
	},
	Rock: {
		Major: {
			bass: `do 33: I 90, IV64 4
				re 4: ii 58, ii7 16, II 16, V64 4, II7 3
				me 1: bIII 91
				mi 4: iii 46, I6 28, III 9, vi64 6, III7 4
				fa 24: IV 93
				fi 0.3: #ivo7 33, #IV 25, II6 19
				sol 18: V 78, V7 8, I64 4, v7 3, v 3
				le 1: bVI 73, iiø43 9, III6 5
				la 8: vi 76, IV6 10, vi7 8, VI 3
				te 5: bVII 90, I42 6
				ti 1: V6 62, iii64 9, VII 6`,
			next: rockNext, roots: rockRoots, stay: 2,
		},
		Minor: {
			bass: `do 34: i 90, I 4
				re 6: ii 68, ii7 11, bVII6 10
				me 7: bIII 93, i6 4
				fa 10: IV 51, iv 42, IV7 5
				sol 12: V 65, v 21, V7 6, V7sus4 5
				le 13: bVI 86, iv6 10
				la 2: vi 49, IV6 34, viø7 10
				te 15: bVII 95
				ti 0.5: V65 52, V6 39`,
			next: rockNext, roots: rockRoots, stay: 2,
		},
	},
	Gospel: gospelRows,
	Hymn:   {Major: {pairs: hymnsInMajor}, Minor: {pairs: hymnsInMinor}},
	Chorale: {
		Major: {
			bass: `do 23: I 92
				ra 0.1: VI65 75
				re 9: viio6 36, ii 35, ii7 18, V43 5
				mi 11: I6 83, iii 8, I65 3
				fa 13: IV 42, ii65 22, V42 21, ii6 9, IVmaj7 3
				fi 1: II65 60, II6 20, #ivø7 14, #ivo 5
				sol 22: V 60, V7 31, I64 6
				le 1: III6 48, III65 28
				la 11: vi 53, IV6 34, vi7 4, #ivo6 4
				te 0.4: I42 89
				ti 9: V6 55, V65 34, viiø7 6, viio 4`,
			next: `I: V 36, IV 27, II 17, VI 10
				II: V 71, VII 18, I 5
				III: IV 45, VI 25, I 10, V 9
				IV: V 36, I 27, II 12, VII 11
				#IV: V 100
				V: I 82, VI 8, IV 4
				VI: II 29, V 24, I 16, IV 13
				VII: I 92, VI 3, V 3`,
			stay: 20,
		},
		Minor: {
			bass: `do 26: i 82, I 10
				re 6: viio6 42, viio65 11, iiø7 14, V43 8, bVII6 8
				me 9: i6 81, bIII 11, IV42 5
				mi 1: I6 47, I65 36, #iiio7 13
				fa 11: iiø65 29, iv 25, V42 14, iio6 13, iv7 7
				fi 1: #ivo7 67, II65 26, II6 7
				sol 24: V 54, V7 27, i64 8, v 7
				le 8: iv6 46, bVI 35, iv65 4, bVImaj7 4
				la 2: IV6 49, IV65 42
				te 2: v6 47, bVII 31, I42 8
				ti 9: V6 44, V65 37, viio7 12, viio 6`,
			next: `I: V 37, IV 13, II 13, VII 9, bVI 7
				II: V 74, I 10, VII 9
				bIII: IV 27, bVI 14, V 11
				IV: V 44, I 25, VII 9
				#IV: V 94, I 6
				V: I 87, bVI 7
				bVI: II 42, IV 20, V 8
				bVII: bIII 57, VII 12
				VII: I 85, V 12`,
			stay: 20,
		},
	},
}

// What follows what in rock was counted over all modes.
const (
	rockNext = `I: IV 39, V 22, bVII 14, VI 9
		II: V 37, I 36, IV 14
		III: IV 34, VI 32, II 19
		IV: I 57, V 27
		V: I 60, IV 22, VI 9
		VI: IV 36, I 23, II 16, V 15
		bVII: I 49, IV 24, bVI 17`
	rockRoots = "I 34, IV 22, V 17, bVII 7, VI 6, II 5, bVI 4, bIII 2, III 2"
)

// idiom is what a style says in keys of one mode, with everything that its
// table leaves out filled in. Chords are those of C.
type idiom struct {
	on    [12][]standing // by bass, in semitones above the tonic
	moves [12][12]int    // from root to root, in 100 as counted, 0 where it is not
	// ratio is how much likelier a root is after another than it is anywhere.
	ratio  [12][12]float64
	pairs  *pairs      // instead of ratio, where pairs of chords were counted
	weight [12]float64 // how often each bass comes, in any unit
}

// standing is a chord that may stand on a bass.
type standing struct {
	roman Roman
	share float64 // of all that stands on this bass: they sum to 1
	times int     // in 100, as counted; 0 where it was not
	// bass and root are in semitones above the tonic.
	bass, root int
	tones      uint16 // bit n: the tone n semitones above the tonic sounds
}

// How what the tables leave out is filled in.
const (
	// atLeast is what is left for chords that a row does not name, in 100: its
	// numbers are rounded.
	atLeast = 2
	// ownToForeign is how many chords of the key there are for one that is not, of
	// the same quality and inversion, among those that a row does not name. Of 1,
	// 4, 16 and 64 it gives the highest probability to the chords of most of the
	// reference halves.
	ownToForeign = 16
)

// vocabulary holds the qualities that a deduced chord may have: every triad that
// is heard, with every seventh that it has a symbol with.
var vocabulary = func() (qs []Quality) {
	for _, symbol := range strings.Fields("maj m dim + sus4 sus2 7 maj7 m7 m7b5 dim7 m(maj7) 7#5 maj7#5 7sus4 dim(maj7) maj7sus4") {
		q, err := ParseQuality(symbol)
		if err != nil {
			panic(err)
		}
		qs = append(qs, q)
	}
	return qs
}()

// idioms makes each idiom when it is first asked for.
var idioms = func() (list [len(counts)][2]func() *idiom) {
	for s := range counts {
		for m := range counts[s] {
			list[s][m] = sync.OnceValue(func() *idiom {
				if c := counts[s][m]; c.pairs == "" {
					return newIdiom(c, Mode(m))
				}
				return newPairIdiom(counts[s][m].pairs, counts[s][Major].pairs, Key{Mode: Mode(m)}, list[Chorale][m]())
			})
		}
	}
	return list
}()

// newIdiom reads the counts and fills in what they leave out. What is left of
// a hundred in a row goes to all other chords of the vocabulary with that bass,
// in proportion to how common their quality is in these counts, to how common
// their inversion is, and sixteen to one for chords of the key. What is left of a
// hundred changes goes to all other roots as they are common.
func newIdiom(c counted, mode Mode) *idiom {
	k := Key{Mode: mode}
	t := newTable(k, c.bass)
	t.fill(k)
	id := idiom{on: t.on, weight: t.weight}
	roots := t.roots
	if c.roots != "" {
		roots = readRoots(c.roots)
		for r := range roots {
			roots[r] = max(roots[r], 0.3) // what is under 1 in 100 was not counted
		}
	}
	normalise(roots[:])
	id.move(c, &roots)
	return &id
}

// table is what was counted on each bass of a style in one mode, and the sums
// over all basses that fill it in.
type table struct {
	on         [12][]standing
	weight     [12]float64 // of each bass, in 100
	named      float64     // all weights that were counted
	roots      [12]float64 // weight of each root, whatever the bass
	qualities  map[Quality]float64
	inversions [4]float64
}

// newTable reads the rows of basses of k.
func newTable(k Key, list string) *table {
	t := &table{qualities: map[Quality]float64{}}
	for line := range strings.Lines(list) {
		head, row, _ := strings.Cut(line, ":")
		name, share := cutCount(head)
		bass, err := ParseDegree(name, k, Movable)
		if err != nil {
			panic(err)
		}
		on := bass.Semitones()
		t.weight[on] = share
		t.named += share
		for item := range strings.SplitSeq(row, ",") {
			numeral, times := cutCount(item)
			r, err := ParseRoman(numeral, k)
			if err != nil {
				panic(err)
			}
			st := k.stand(k.Roman(r.Chord))
			if k.Degree(r.Chord.Bass).Semitones() != on {
				panic(fmt.Sprintf("theory: %s does not stand on %s", numeral, name))
			}
			st.share, st.times = times/100, int(times)
			t.on[on] = append(t.on[on], st)
			t.roots[st.root] += share * times
			t.qualities[r.Chord.Quality] += share * times
			t.inversions[max(0, r.Chord.Inversion())] += share * times
		}
	}
	return t
}

// fill adds to each bass the chords that its row does not name; the shares on a
// bass then sum to 1.
func (t *table) fill(k Key) {
	total := 0.0
	for _, n := range t.inversions {
		total += n
	}
	for on := range t.on {
		if t.weight[on] == 0 { // not even its share was counted
			t.weight[on] = max(0.1, 100-t.named) / 4
		}
		left := 1.0
		for _, st := range t.on[on] {
			left -= st.share
		}
		left = max(left, atLeast/100.0)
		rest := k.standOn(on, t.on[on])
		sum := 0.0
		for i, st := range rest {
			// One in a thousand is as good as never counted.
			w := (t.qualities[st.roman.Chord.Quality]/total + 0.001) * (t.inversions[st.roman.Chord.Inversion()]/total + 0.001)
			if k.owns(st.roman.Chord) {
				w *= ownToForeign
			}
			rest[i].share = w
			sum += w
		}
		for i := range rest {
			rest[i].share *= left / sum
			t.roots[rest[i].root] += 100 * t.weight[on] * rest[i].share
		}
		t.on[on] = append(t.on[on], rest...)
		sum = 0
		for _, st := range t.on[on] {
			sum += st.share
		}
		for i := range t.on[on] {
			t.on[on][i].share /= sum
		}
	}
}

// move sets how one root goes to another, from what was counted and how common
// each root is.
func (id *idiom) move(c counted, roots *[12]float64) {
	next := map[int]string{}
	for line := range strings.Lines(c.next) {
		from, list, _ := strings.Cut(line, ":")
		next[rootSemitones(from)] = list
	}
	for from := range 12 {
		to := readRoots(next[from])
		left, others := 100.0, 0.0
		for r := range to {
			id.moves[from][r] = int(to[r])
			left -= to[r]
			if to[r] == 0 && r != from {
				others += roots[r]
			}
		}
		left = max(left, atLeast)
		for r := range to {
			if to[r] == 0 && r != from {
				to[r] = left * roots[r] / others
			}
		}
		normalise(to[:])
		for r := range to {
			if p := to[r] * (1 - c.stay/100); r == from {
				id.ratio[from][r] = c.stay / 100 / roots[r]
			} else {
				id.ratio[from][r] = p / roots[r]
			}
		}
	}
}

// cutCount splits "ii65 22" into what was counted and how often.
func cutCount(s string) (what string, n float64) {
	f := strings.Fields(s)
	n, err := strconv.ParseFloat(f[1], 64)
	if err != nil {
		panic(err)
	}
	return f[0], n
}

// readRoots reads "IV 39, V 22" by semitones above the tonic.
func readRoots(list string) (ns [12]float64) {
	for item := range strings.SplitSeq(list, ",") {
		if strings.TrimSpace(item) != "" {
			root, n := cutCount(item)
			ns[rootSemitones(root)] = n
		}
	}
	return ns
}

func rootSemitones(numeral string) int {
	c, err := Key{}.parseNumeral(strings.TrimSpace(numeral))
	if err != nil {
		panic(err)
	}
	return Key{}.Degree(c.Root).Semitones()
}

// normalise divides ps by their sum, which it returns.
func normalise(ps []float64) (sum float64) {
	for _, p := range ps {
		sum += p
	}
	for i := range ps {
		ps[i] /= sum
	}
	return sum
}

// stand describes a chord of k that nothing is known of yet.
func (k Key) stand(r Roman) standing {
	st := standing{roman: r, bass: k.Degree(r.Chord.Bass).Semitones(), root: k.Degree(r.Chord.Root).Semitones()}
	for _, n := range r.Chord.Notes() {
		st.tones |= 1 << k.Degree(n).Semitones()
	}
	return st
}

// standOn returns every chord of the vocabulary with a bass so many semitones
// above the tonic, except those named. Suspended chords have only their root in
// the bass. Of the chords that divide the octave evenly, which sound the same
// whatever the root, there is the key's own or else the one on the bass.
func (k Key) standOn(bass int, named []standing) []standing {
	var list []standing
	for _, q := range vocabulary {
		_, third := q.Tone(3)
		even := q == AugmentedTriad || q == Diminished7
		var found []standing
		for inversion, tone := range q.Tones() {
			root := k.Note(rootAt(mod(bass-tone.Semitones(), 12), q))
			c := Chord{root, q, root}.inversion(inversion)
			switch {
			case even && len(found) > 0 && k.owns(c):
				found[0] = k.stand(k.Roman(c))
			case inversion == 0 || third && !even:
				found = append(found, k.stand(k.Roman(c)))
			}
		}
		for _, st := range found {
			if !slices.ContainsFunc(named, func(n standing) bool {
				return n.roman.Chord.Quality == q && (n.root == st.root || even && n.tones == st.tones)
			}) {
				list = append(list, st)
			}
		}
	}
	return list
}

// rootAt spells a root for a chord that no table names: as a note that was
// heard and not read, but a diminished chord on a black key of C leads up, as
// ♯i° and ♯v° do, except ♭iii°, which falls (common practice).
func rootAt(semitones int, q Quality) Degree {
	if fifth, _ := q.Tone(5); fifth.Alter < 0 {
		switch semitones {
		case 1:
			return Degree{1, 1}
		case 8:
			return Degree{5, 1}
		}
	}
	return nearest[semitones]
}
