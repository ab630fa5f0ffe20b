package compose

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"

	"singback/exercise"
	"singback/theory"
)

// Dictation is a question about what is heard: chords, of which the bass degrees
// or the qualities are to be named.
type Dictation struct {
	Of     exercise.Kind // BassSkill or QualitySkill; of a progression also RootSkill
	Key    theory.Key
	Chords []theory.Roman   // what sounds, in order
	Voices []theory.Voicing // where, as many
	Seed   uint64           // makes it again, with the same order

	asked []exercise.Skill // as the order spells them
}

// DictationOrder tells how a dictation is drawn.
type DictationOrder struct {
	Skill  exercise.Skill   // BassSkill or QualitySkill; it occurs at a random place
	Known  []exercise.Skill // what else may occur: those of other kinds do not; Skill may be among them
	Key    theory.Key       // major or minor
	Length int              // chords, 1 … MaxDictation
	Seed   uint64
}

// MaxDictation is the longest dictation, in chords.
const MaxDictation = 8

// quality is a chord quality that can be asked, and the degrees of major and of
// minor keys on which it is at home: as a chord of the scale, with the raised
// seventh in minor too, or as the usual borrowed or passing chord there (common
// practice).
type quality struct {
	name   string
	symbol string // as theory.ParseQuality reads it
	homes  [2]string
}

// qualities are in the order in which they are taught (common practice).
var qualities = []quality{
	{"maj", "maj", [2]string{"1 4 5", "b3 b6 b7 5"}},
	{"min", "m", [2]string{"2 3 6", "1 4 5"}},
	{"7", "7", [2]string{"5 2 1", "5 b7"}},
	{"dim", "dim", [2]string{"7", "2 7"}},
	{"m7", "m7", [2]string{"2 3 6", "1 4 5"}},
	{"maj7", "maj7", [2]string{"1 4", "b3 b6"}},
	{"sus4", "sus4", [2]string{"5 1", "5 1"}},
	{"sus2", "sus2", [2]string{"1 5", "1 5"}},
	{"6", "6", [2]string{"1 4", "b3 b6"}},
	{"m7b5", "m7b5", [2]string{"7 2", "2"}},
	{"dim7", "dim7", [2]string{"7 #4", "7"}},
	{"aug", "aug", [2]string{"5 1", "b3 5"}},
	{"mMaj7", "m(maj7)", [2]string{"4", "1"}},
}

func (q quality) tones() theory.Quality {
	t, err := theory.ParseQuality(q.symbol)
	if err != nil {
		panic(err) // the table is wrong
	}
	return t
}

// soundOf is a chord as a set of semitones above its root.
func soundOf(q theory.Quality) (set uint16) {
	for _, t := range q.Tones() {
		set |= 1 << t.Semitones()
	}
	return set
}

// Qualities returns the names of the chord qualities that can be asked, in the
// order in which they are taught.
func Qualities() []string {
	var names []string
	for _, q := range qualities {
		names = append(names, q.name)
	}
	return names
}

func qualityNamed(name string) (quality, bool) {
	i := slices.IndexFunc(qualities, func(q quality) bool { return q.name == name })
	if i < 0 {
		return quality{}, false
	}
	return qualities[i], true
}

// nameOfQuality returns the name of a quality that can be asked.
func nameOfQuality(t theory.Quality) (string, bool) {
	for _, q := range qualities {
		if soundOf(q.tones()) == soundOf(t) {
			return q.name, true
		}
	}
	return "", false
}

// qualityWords are names of qualities beside chord symbols.
var qualityWords = map[string]string{
	"major": "maj", "minor": "min", "diminished": "dim", "augmented": "aug", "dominant": "7", "seventh": "7", "sus": "sus4",
	"half-diminished": "m7b5",
}

// ParseQuality reads the quality of a chord as a symbol without its root ("maj",
// "min7", "ø7", "sus4") or as a word ("major", "diminished"), and returns its
// name among Qualities.
func ParseQuality(s string) (string, error) {
	word := strings.TrimSpace(s)
	if name, ok := qualityWords[strings.ToLower(word)]; ok {
		return name, nil
	}
	if q, ok := qualityNamed(word); ok {
		return q.name, nil
	}
	if word != "" {
		if t, err := theory.ParseQuality(word); err == nil {
			if name, ok := nameOfQuality(t); ok {
				return name, nil
			}
		}
	}
	return "", fmt.Errorf("no quality %.20q: want one of %s", s, strings.Join(Qualities(), ", "))
}

// NewDictation draws a dictation.
//
// The bass of a bass dictation moves at random among the degrees, none twice in a
// row if there is another. Its chords are those that stand on them and follow each
// other in songs (theory.Deduce, in the style Pop), drawn by their probability,
// and voiced for a keyboard by the rules of voice leading where these can be kept.
//
// The chords of a quality dictation stand on degrees where they are at home in the
// key, with the root in the bass and all tones above it close together.
func NewDictation(o DictationOrder) (Dictation, error) {
	d := Dictation{Of: o.Skill.Kind, Key: o.Key, Seed: o.Seed}
	switch {
	case o.Key.Mode > theory.Minor:
		return d, fmt.Errorf("no chords of %s are known: want a major or minor key", o.Key)
	case o.Length < 1 || o.Length > MaxDictation:
		return d, fmt.Errorf("a dictation of %d chords is not possible: want 1 to %d", o.Length, MaxDictation)
	case o.Skill.Kind != exercise.BassSkill && o.Skill.Kind != exercise.QualitySkill:
		return d, fmt.Errorf("%s cannot be heard: want a bass degree or a chord quality", o.Skill)
	}
	rng := rand.New(rand.NewPCG(o.Seed, 0x6c697374656e))
	d.asked = drawSkills(o, rng)
	if d.Of == exercise.QualitySkill {
		for _, s := range d.asked {
			q, ok := qualityNamed(s.Chord)
			if !ok {
				return d, fmt.Errorf("no quality %.20q: want one of %s", s.Chord, strings.Join(Qualities(), ", "))
			}
			chord, voices := q.place(o.Key, rng)
			d.Chords, d.Voices = append(d.Chords, chord), append(d.Voices, voices)
		}
		return d, nil
	}
	return d, d.drawBass(rng)
}

// drawSkills draws what is asked of each chord.
func drawSkills(o DictationOrder, rng *rand.Rand) []exercise.Skill {
	pool := []exercise.Skill{o.Skill}
	for _, s := range o.Known {
		same := func(other exercise.Skill) bool { return SameSound(s, other) }
		if s.Kind == o.Skill.Kind && !slices.ContainsFunc(pool, same) {
			pool = append(pool, s)
		}
	}
	at := rng.IntN(o.Length)
	out := make([]exercise.Skill, o.Length)
	for i := range out {
		if i == at {
			out[i] = o.Skill
			continue
		}
		choices := slices.DeleteFunc(slices.Clone(pool), func(s exercise.Skill) bool {
			return i > 0 && s == out[i-1] || i+1 == at && s == o.Skill
		})
		if len(choices) == 0 {
			choices = slices.DeleteFunc(slices.Clone(pool), func(s exercise.Skill) bool { return i > 0 && s == out[i-1] })
		}
		if len(choices) == 0 {
			choices = pool
		}
		out[i] = choices[rng.IntN(len(choices))]
	}
	return out
}

// SameSound reports whether two bass degrees or two qualities sound the same.
func SameSound(a, b exercise.Skill) bool {
	if a.Kind != b.Kind {
		return false
	}
	if a.Kind == exercise.QualitySkill || a.Kind == exercise.InversionSkill {
		return a.Chord == b.Chord && a.Level == b.Level
	}
	return a.Degree.Semitones() == b.Degree.Semitones()
}

// How hard a progression is looked for: so many of the most probable ones.
const progressionsTried = 24

// drawBass draws chords for the bass degrees asked, and voices them.
func (d *Dictation) drawBass(rng *rand.Rand) error {
	line := make([]theory.Bass, len(d.asked))
	for i, s := range d.asked {
		line[i].Degree = s.Degree
	}
	found, err := theory.Deduce(d.Key, theory.Pop, line, progressionsTried)
	if err != nil {
		return fmt.Errorf("chords over %s: %w", d.asked[0], err)
	}
	rest := slices.Clone(found.Progressions)
	for len(rest) > 0 {
		total := 0.0
		for _, p := range rest {
			total += p.P
		}
		i, left := 0, rng.Float64()*total
		for ; i < len(rest)-1 && left >= rest[i].P; i++ {
			left -= rest[i].P
		}
		d.Chords = rest[i].Chords
		if voices, _, err := theory.KeyboardTexture().Voice(d.Chords); err == nil {
			d.Voices = voices
			return nil
		}
		rest = slices.Delete(rest, i, i+1)
	}
	// The rules allow none of them: each chord by itself.
	d.Chords = found.Progressions[0].Chords
	d.Voices = nil
	for _, c := range d.Chords {
		d.Voices = append(d.Voices, closed(c.Chord, c.Chord.Bass, 0))
	}
	return nil
}

// place puts a chord of this quality on one of its degrees.
func (q quality) place(k theory.Key, rng *rand.Rand) (theory.Roman, theory.Voicing) {
	homes := strings.Fields(q.homes[k.Mode])
	degree, err := exercise.ParseDegree(homes[rng.IntN(len(homes))])
	if err != nil {
		panic("compose: no degree " + q.homes[k.Mode]) // the table is wrong
	}
	root := k.Note(degree)
	chord := theory.Chord{Root: root, Quality: q.tones(), Bass: root}
	return k.Roman(chord), closed(chord, root, rng.IntN(3))
}

// closed voices a chord over a bass between E2 and D#3: above it the other tones,
// or of a triad all three, as close together as they can be, from the turn-th on,
// the lowest of them from E3 on.
func closed(c theory.Chord, bass theory.Note, turn int) theory.Voicing {
	const lowBass, lowHand = 40, 52 // E2, E3
	at := func(n theory.Note, from int) theory.Pitch {
		p := theory.Pitch{Note: n, Octave: -1}
		for p.MIDI() < from {
			p.Octave++
		}
		return p
	}
	v := theory.Voicing{at(bass, lowBass)}
	var hand []theory.Note
	for _, t := range c.Quality.Tones() {
		hand = append(hand, c.Note(t))
	}
	if len(hand) > 3 {
		hand = slices.DeleteFunc(hand, func(n theory.Note) bool { return n == bass })[:3]
	}
	from := lowHand
	for i := range hand {
		v[i+1] = at(hand[(i+turn)%3], from)
		from = v[i+1].MIDI() + 1
	}
	return v
}

// Skills returns what is asked of each chord.
func (d Dictation) Skills() []exercise.Skill {
	if d.asked != nil {
		return slices.Clone(d.asked)
	}
	out := make([]exercise.Skill, len(d.Chords))
	for i, c := range d.Chords {
		out[i] = told(d.Of, d.Key, c)
	}
	return out
}

// Read reads what somebody has named: a degree for each chord, in the naming, as
// movable syllables or as numbers; or a quality for each, see ParseQuality.
func (d Dictation) Read(text string, n theory.Naming) ([]exercise.Skill, error) {
	words := strings.FieldsFunc(text, func(r rune) bool { return r == ' ' || r == ',' || r == '\t' })
	var out []exercise.Skill
	for _, w := range words {
		if d.Of == exercise.QualitySkill {
			name, err := ParseQuality(w)
			if err != nil {
				return nil, err
			}
			out = append(out, exercise.Skill{Kind: exercise.QualitySkill, Chord: name})
			continue
		}
		degree, err := readName(w, d.Key, n)
		if err != nil {
			return nil, err
		}
		out = append(out, exercise.Skill{Kind: exercise.BassSkill, Degree: degree})
	}
	if len(out) != len(d.Chords) {
		what := "names"
		if len(d.Chords) == 1 {
			what = "name"
		}
		return nil, fmt.Errorf("%d given: want %d %s", len(out), len(d.Chords), what)
	}
	return out, nil
}

// readName reads the name of a degree in a naming, or else as a movable syllable or
// a number.
func readName(s string, k theory.Key, n theory.Naming) (theory.Degree, error) {
	d, first := theory.ParseDegree(s, k, n)
	if first == nil {
		return d, nil
	}
	for _, other := range []theory.Naming{theory.Movable, theory.Numbers} {
		if d, err := theory.ParseDegree(s, k, other); err == nil {
			return d, nil
		}
	}
	if len(s) > 40 {
		return d, errors.New("that is no degree: want names like " + n.NameASCII(k, theory.Degree{Step: 1}))
	}
	return d, first
}

// Right compares names with what sounds: degrees that sound the same are the same.
// Where a name is missing, it is wrong.
func (d Dictation) Right(names []exercise.Skill) []bool {
	right := make([]bool, len(d.Chords))
	for i, s := range d.Skills() {
		right[i] = i < len(names) && SameSound(s, names[i])
	}
	return right
}

// Material writes what sounds as Roman numerals, in ASCII: "I V6 vi".
func (d Dictation) Material() string {
	out := make([]string, len(d.Chords))
	for i, c := range d.Chords {
		out[i] = c.ASCII()
	}
	return strings.Join(out, " ")
}
